"""Occurrences of an archive from corals noted on photos: names settled or not, sizes, health."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from dryslate.app.archive_rows import RowMaker
from dryslate.app.archive_tables import flat
from dryslate.app.archive_words import dumps
from dryslate.app.corals_elsewhere import numbers_only
from dryslate.app.review_state import latest_outcomes, settled_of, state_of
from dryslate.app.standing_names import first_look

if TYPE_CHECKING:
    from dryslate.app.identification_rows import (
        IdentificationRow,
        RecordRow,
        ReviewChanceRow,
        ReviewOutcomeRow,
    )
    from dryslate.app.ports import SurveyStore

STATUS: Mapping[str, str] = {
    "agreed": "verified: two observers agree, the second did not know the first's name",
    "settled": "verified: settled by a third observer",
    "together": "settled by the two observers together",
    "coarser": "not verified to this rank",
    "finer": "not verified to this rank",
    "open": "not verified: a second observer says otherwise",
    "reopened": "not verified: opened again",
}


@dataclass(frozen=True, kw_only=True)
class SecondLooks:
    """
    What second looks brought, put in order once.

    Parameters
    ----------
    latest : Mapping
        The outcome that holds, by record.
    outcomes : Mapping
        Every outcome, by record.
    chances : Mapping
        By identification.
    """

    latest: Mapping[str, ReviewOutcomeRow]
    outcomes: Mapping[str, Sequence[ReviewOutcomeRow]]
    chances: Mapping[str, ReviewChanceRow]


def second_looks_of(store: SurveyStore) -> SecondLooks:
    """Gather what second looks brought."""
    outcomes: dict[str, list[ReviewOutcomeRow]] = defaultdict(list)
    for one in store.review_outcomes():
        outcomes[one.record_id].append(one)
    return SecondLooks(
        latest=latest_outcomes(store),
        outcomes=outcomes,
        chances={one.identification_id: one for one in store.review_chances()},
    )


def write_coral(
    maker: RowMaker,
    store: SurveyStore,
    record: RecordRow,
    event: str,
    seconds: SecondLooks,
    organism: str,
) -> None:
    """
    Write a coral with its name, sizes and health; one that nobody named is left out and counted.

    Parameters
    ----------
    maker : RowMaker
    store : SurveyStore
    record : RecordRow
    event : str
        Of its unit, or of its visit.
    seconds : SecondLooks
    organism : str
        The tagged colony it is; empty: none.
    """
    looks = store.identifications(record.record_id)
    first = first_look(looks)
    if first is None:
        maker.left_out["corals without a name"] += 1
        return
    name, genera, rank, status = _name(first, looks, seconds.latest.get(record.record_id))
    verbatim = first.name_as_recorded
    found = maker.names.of(("", verbatim, name, genera, rank))
    assert found is not None  # a row with a name is always some living thing
    occurrence = maker.ids.of("record", record.record_id)
    health = store.coral_health_history(record.record_id)
    sure = [found.remarks]
    if first.p_stated is not None:
        sure.append(f"stated confidence {first.p_stated:g}")
    told = [record.note, record.place]
    told += [f"growth form: {record.growth_form}" if record.growth_form else ""]
    told += ["under 5 cm" if record.is_juvenile else ""]
    maker.occurrences.named(
        {
            "eventID": event,
            "occurrenceID": occurrence,
            "basisOfRecord": "MachineObservation" if record.photo_id else "HumanObservation",
            "occurrenceStatus": "present",
            "scientificName": found.name,
            "scientificNameID": found.name_id,
            "taxonRank": found.rank,
            "kingdom": found.kingdom,
            "genus": found.genus,
            "verbatimIdentification": verbatim,
            "identificationQualifier": first.qualifier or found.qualifier,
            "identifiedBy": " | ".join(dict.fromkeys(one.observer for one in looks)),
            "dateIdentified": looks[-1].identified_at,
            "identificationVerificationStatus": status,
            "identificationRemarks": "; ".join(part for part in sure if part),
            "individualCount": "1",
            "organismID": maker.ids.of("organism", organism) if organism else "",
            "recordedBy": record.observer,
            "recordNumber": record.colony,
            "vitality": _vitality(health[-1].shares()) if health else "",
            "associatedMedia": _media(record),
            "occurrenceRemarks": "; ".join(part for part in told if part),
            "dynamicProperties": _words(maker, store, record, looks, seconds),
        }
    )
    if organism:
        maker.met[organism] = event, occurrence
        maker.named[organism] = found
    _measure(maker, store, record, event, occurrence)
    if health:
        last, key = health[-1], ("health", record.record_id)
        who = last.observer, last.noted_at
        maker.shares((event, occurrence), last.shares(), "", key, who)


def _words(
    maker: RowMaker,
    store: SurveyStore,
    record: RecordRow,
    looks: Sequence[IdentificationRow],
    seconds: SecondLooks,
) -> str:
    """Say what no column carries: every look in its own words, its chance, what came of it."""
    ids = [one.identification_id for one in looks]

    def plain(row: Any, *left: str) -> dict[str, Any]:
        return _plain(maker.ids.anew(row) if maker.has_withheld else row, *left)

    said = {
        "record": plain(record, "measurement_ids", "visit_id"),
        "looks": [plain(one, "photo_regions") for one in looks],
        "chances": [plain(seconds.chances[one]) for one in ids if one in seconds.chances],
        "outcomes": [plain(one) for one in seconds.outcomes.get(record.record_id, ())],
        "health": [plain(one) for one in store.coral_health_history(record.record_id)],
        "measured": [
            {**_plain(one, "values"), "values": numbers_only(one.values)}
            for one in store.measurements_of(record.measurement_ids)
        ],
    }
    return dumps({"coral": {word: rows for word, rows in said.items() if rows}})


def _plain(row: Any, *left: str) -> dict[str, Any]:
    """Return what a row says; what it does not say is left out."""
    return {
        key: value
        for key, value in asdict(row).items()
        if key not in left and value not in (None, "", (), {})
    }


def _name(
    first: IdentificationRow,
    looks: Sequence[IdentificationRow],
    outcome: ReviewOutcomeRow | None,
) -> tuple[str, tuple[str, ...], str, str]:
    """Return the name that holds, its genera, its rank, and how far it was verified."""
    if outcome is None:
        return first.name, first.current_names, first.rank, "unverified"
    rows = {one.identification_id: one for one in looks}
    status = STATUS[state_of(outcome, rows)]
    name, genera, rank = settled_of(outcome, rows)
    if name:
        return name, genera, rank, status
    return first.name, first.current_names, first.rank, status


def _media(record: RecordRow) -> str:
    """Return what names the photo of a coral."""
    from dryslate.app.archive_ids import content_address

    return content_address(record.photo_id) if record.photo_id else ""


def _vitality(shares: Mapping[str, float | None]) -> str:
    """Say whether a coral lives, where its shares tell."""
    living = [shares[name] for name in ("normal_pct", "pale_pct", "bleached_pct")]
    if any(living):
        return "alive"
    return "" if None in living else "dead"


def _measure(
    maker: RowMaker, store: SurveyStore, record: RecordRow, event: str, occurrence: str
) -> None:
    """Write what was measured of a coral in photos, and what was noted of its size."""
    for row in store.measurements_of(record.measurement_ids):
        for value_name, unit in (("_mm", "millimetres"), ("_mm2", "square millimetres")):
            for key, value in _numbers(row.values, value_name):
                doubt = row.values.get(f"{key}_u")
                maker.measure(
                    (event, occurrence),
                    (
                        key.removesuffix(value_name).replace("_", " "),
                        f"{value:.6g}",
                        unit,
                    ),
                    key=(row.measurement_id, key),
                    accuracy=f"{doubt:.3g}" if isinstance(doubt, int | float) else "",
                    who=row.observer or "",
                    method="in a photo beside a scale card; accuracy is one standard uncertainty",
                )
    for measure, said in record.sizes_noted.items():
        if "value_mm" in said:
            maker.measure(
                (event, occurrence),
                (measure.replace("_", " "), f"{said['value_mm']:g}", "millimetres"),
                key=("noted", record.record_id, measure),
                accuracy=f"{said['u_mm']:g}" if said.get("u_mm") is not None else "",
                who=record.observer,
                when=record.noted_at,
                method=flat(f"by {said.get('how', 'eye')}; accuracy is one standard uncertainty"),
            )


def _numbers(values: Mapping[str, Any], ending: str) -> list[tuple[str, float]]:
    """Return the figures of a measurement that end so."""
    return [
        (key, float(value))
        for key, value in values.items()
        if key.endswith(ending) and isinstance(value, int | float) and f"{key}_u" in values
    ]
