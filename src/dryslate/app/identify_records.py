"""Saying what a record is called: the name as recorded, with what it is called today."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from dryslate.app.identification_rows import IdentificationRow, PhotoRegion, RecordRow, Role
from dryslate.app.identify import Identifier, all_at_once
from dryslate.app.identify_request import Words, parse_words
from dryslate.app.note_records import find_record, one_photo, require_time
from dryslate.app.noted_sizes import noted_as_evidence
from dryslate.app.ports import SurveyStore
from dryslate.app.visits import require_observer
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem, has_error
from dryslate.base.provenance import key_of
from dryslate.core.identify.confidence import P_STATED, WORDS
from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.name_book import NameMatch
from dryslate.core.identify.names import find_names
from dryslate.core.identify.posterior import score_evidence
from dryslate.core.identify.review import find_name_conflicts

ALL_EQUAL = "all_equal"
"""Word of stored evidence: its probability counts every genus as equally common."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NameRequest:
    """
    One name for one record.

    Parameters
    ----------
    record : str
        The colony's label, or eight or more digits of a record's id.
    name, observer : str
    photo : str or None
        Tells records of one label apart.
    confidence : int or None
    evidence : Evidence or None
        What was seen; its probability for the name is worked out unless `probability` is given.
    probability : float or None
    region : str or None
        The project's where not given.
    is_old_sense : bool
        The name follows a sheet from before the revisions.
    is_unlisted : bool
        Keep a name that the data do not list.
    photo_regions : tuple of PhotoRegion
    at : str or None
        When, ISO 8601 with offset.
    role : {"first", "second", "third"}
    together_with : str or None
        Who decides it too, at the same screen.
    """

    record: str
    name: str
    observer: str
    photo: str | None = None
    confidence: int | None = None
    evidence: Evidence | None = None
    probability: float | None = None
    region: str | None = None
    is_old_sense: bool = False
    is_unlisted: bool = False
    photo_regions: tuple[PhotoRegion, ...] = ()
    at: str | None = None
    role: Role = "first"
    together_with: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """
    A stored identification, and what is to be said about it.

    Parameters
    ----------
    row : IdentificationRow
    question : str
        About the sense of the name; empty: none.
    problems : tuple of Problem
    is_new : bool
        False where the same observer had said the very same before.
    """

    row: IdentificationRow
    question: str
    problems: tuple[Problem, ...]
    is_new: bool = True

    def as_dict(self) -> dict[str, Any]:
        """Return the identification for JSON."""
        return {
            **asdict(self.row),
            "question": self.question,
            "is_new": self.is_new,
            "problems": [p.as_dict() for p in self.problems],
        }

    def words(self) -> str:
        """Say what was stored."""
        return _told(self.row)


def name_record(
    store: SurveyStore, identifier: Identifier, request: NameRequest, now: str
) -> Named:
    """
    Add an identification to a record's history.

    Parameters
    ----------
    store : SurveyStore
    identifier : Identifier
    request : NameRequest
    now : str
        The time now, where the request has none.

    Returns
    -------
    Named

    Raises
    ------
    InputError
        ``name-unknown``, ``name-letters-ambiguous``, ``name-region-unknown``, ``name-empty``,
        ``name-confidence``, ``name-probability``, ``time-without-offset``; those of finding the
        record, and of evidence that cannot be used.
    """
    taxa = identifier.taxa
    record = find_record(store, request.record, request.photo)
    observer = require_observer(store, request.observer)
    region = request.region or store.region()
    match = _usable(find_names(request.name, taxa, region, request.is_old_sense), request)
    _require_key(request)
    sizes = sizes_of(store, record, request.evidence)
    row = IdentificationRow(
        identification_id="",
        record_id=record.record_id,
        role=request.role,
        name_as_recorded=match.text,
        name=match.name,
        current_names=match.genera,
        rank=match.rank,
        qualifier=match.qualifier,
        confidence=request.confidence,
        p_stated=P_STATED[request.confidence] if request.confidence is not None else None,
        probability=_probability(identifier, match, request, region),
        evidence=_weighed_evidence(request, identifier),
        conflicts=find_name_conflicts(match.genera, sizes, region, taxa),
        region=region,
        photo_regions=request.photo_regions,
        observer=observer,
        identified_at=require_time(request.at) if request.at else now,
        data_version=taxa.version,
        with_observer=request.together_with,
    )
    earlier = [i for i in store.identifications(record.record_id) if _is_by(i, row)]
    known = [i for i in earlier if _same_words(i, row) and i.identified_at == row.identified_at]
    known = known if request.at else [i for i in earlier[-1:] if _same_words(i, row)]
    if known:
        return Named(row=known[0], question=match.question, problems=match.problems, is_new=False)
    row = replace(row, identification_id=key_of({**_plain(row), "n": len(earlier)}))
    store.save_identification(row)
    return Named(row=row, question=match.question, problems=match.problems)


def _usable(match: NameMatch, request: NameRequest) -> NameMatch:
    """Return a match that can be recorded, or refuse."""
    if match.is_usable:
        return match
    if match.kind == "prefix":
        raise InputError(
            "name-letters-ambiguous",
            f"{match.text}: {match.question}",
            "Give more letters, or the whole name.",
        )
    open_name = match.kind in ("unknown", "suggestion") and match.problems[-1].slug
    if request.is_unlisted and open_name == "name-unknown":
        kept = tuple(
            replace(p, severity="note", fix="It is kept as it was written, as asked.")
            if p.severity == "error"
            else p
            for p in match.problems
        )
        return replace(
            match, kind="rank", name="", rank="none", genera=(), question="", problems=kept
        )
    fault = next(p for p in match.problems if p.severity == "error")
    raise InputError(fault.slug, f"{fault.place}: {fault.message}.", fault.fix)


def _require_key(request: NameRequest) -> None:
    """Refuse a confidence that is no key, and a probability that is none."""
    if request.confidence is not None and request.confidence not in P_STATED:
        keys = "; ".join(f"{k} {w}" for k, w in WORDS.items())
        raise InputError(
            "name-confidence", f"{request.confidence} is no key of confidence.", f"{keys}."
        )
    if request.probability is not None and not 0.0 <= request.probability <= 1.0:
        raise InputError(
            "name-probability",
            f"{request.probability} is no probability (expected 0 to 1).",
            "Give it as a share of 1.",
        )


def _probability(
    identifier: Identifier, match: NameMatch, request: NameRequest, region: str | None
) -> float | None:
    """The model's probability that the coral is one of the genera of the name."""
    if request.probability is not None or request.evidence is None or not match.genera:
        return request.probability
    evidence = replace(request.evidence, region=request.evidence.region or region)
    found = identifier.faults_of(evidence)
    if has_error(found):
        raise all_at_once(found)
    model = identifier.model(identifier.region_of(evidence))
    p_genus = score_evidence([replace(evidence, region=model.region)], model).p_genus[0]
    named = set(match.genera)
    return min(1.0, float(sum(p for g, p in zip(model.genera, p_genus, strict=True) if g in named)))


def _weighed_evidence(request: NameRequest, identifier: Identifier) -> dict[str, Any]:
    """Return evidence as it is stored, and whether every genus counted as equally common."""
    found = evidence_as_dict(request.evidence)
    is_alike = bool(found) and identifier.is_all_equal and request.probability is None
    return {**found, ALL_EQUAL: True} if is_alike else found


def sizes_of(
    store: SurveyStore, record: RecordRow, evidence: Evidence | None
) -> dict[str, tuple[float, float]]:
    """
    Return the sizes that a name can be held against: those given, else the record's own.

    What was measured in a photo goes before what was noted under water.

    A juvenile has none: sizes of adults do not apply to it. What was measured in the photo is a
    valley where somebody who named the coral said so.
    """
    if record.is_juvenile or (evidence is not None and evidence.is_small):
        return {}
    sizes = {m: (s.value_mm, s.u_mm) for m, s in (evidence.sizes if evidence else {}).items()}
    for row in store.measurements_of(record.measurement_ids):
        if row.kind == "corallites":
            value, u = row.values.get("corallite_mm"), row.values.get("corallite_mm_u")
            if value is not None and u is not None and "valley_width" not in sizes:
                sizes.setdefault(_measure_of(store, record), (float(value), float(u)))
    has_calice = bool(sizes.keys() & {"corallite_diameter", "valley_width"})
    for measure, (value, u) in noted_as_evidence(record.sizes_noted).items():
        if measure == "colony_diameter" or not has_calice:
            sizes.setdefault(measure, (value, u))
    return sizes


def _measure_of(store: SurveyStore, record: RecordRow) -> str:
    """What the width measured in a record's photo is: of calices, or of valleys."""
    said = [set(i.evidence.get("sizes_mm", {})) for i in store.identifications(record.record_id)]
    is_valley = any("valley_width" in sizes for sizes in said)
    return "valley_width" if is_valley else "corallite_diameter"


def evidence_as_dict(evidence: Evidence | None) -> dict[str, Any]:
    """Return evidence as it is stored; empty where none was given."""
    if evidence is None:
        return {}
    return {
        "seen": {c: sorted(s) for c, s in evidence.seen.items()},
        "not": {c: sorted(s) for c, s in evidence.not_seen.items()},
        "unclear": sorted(evidence.unclear),
        "sizes_mm": {m: [s.value_mm, s.u_mm] for m, s in evidence.sizes.items()},
        "juvenile": evidence.is_juvenile,
    }


def _plain(row: IdentificationRow) -> Mapping[str, Any]:
    """A row without its id, for hashing."""
    return {k: v for k, v in asdict(row).items() if k != "identification_id"}


def _is_by(earlier: IdentificationRow, row: IdentificationRow) -> bool:
    """Whether an identification is of the same observer in the same role."""
    return earlier.who() == row.who() and earlier.role == row.role


def _same_words(earlier: IdentificationRow, row: IdentificationRow) -> bool:
    """Whether two identifications say the same, whenever they were said."""
    same = replace(
        row, identification_id=earlier.identification_id, identified_at=earlier.identified_at
    )
    return same == earlier


def history_of(
    store: SurveyStore, record: str, photo: str | None = None
) -> tuple[tuple[dict[str, Any], str], ...]:
    """
    Return who called a record what, oldest first: each for JSON and in words.

    Raises
    ------
    InputError
        As of `find_record`.
    """
    rows = store.identifications(find_record(store, record, photo).record_id)
    return tuple(
        (asdict(row), f"{row.identified_at} {_who(row)} ({role_words(row)}): {_told(row)}")
        for row in rows
    )


def evidence_of(words: Words, region: str | None) -> Evidence | None:
    """
    Read what was typed of a coral; None where nothing was said.

    Raises
    ------
    InputError
        With every fault at once, under the slug of the first.
    """
    if not words.has_any:
        return None
    evidence, problems = parse_words(words, region)
    if has_error(problems):
        raise all_at_once(problems)
    return evidence


def parse_photo_regions(store: SurveyStore, texts: Sequence[str]) -> tuple[PhotoRegion, ...]:
    """
    Read parts of photos, each ``PHOTO:X0,Y0,X1,Y1`` in pixels of the upright original.

    Raises
    ------
    InputError
        ``name-looked-at`` where it is no box; as of `one_photo` for the photo.
    """
    found = []
    for text in texts:
        photo, _, box = text.rpartition(":")
        try:
            x0, y0, x1, y1 = (float(v) for v in box.split(","))
            is_box = bool(photo) and 0 <= x0 < x1 < math.inf and 0 <= y0 < y1 < math.inf
        except ValueError:
            is_box = False
        if not is_box:
            raise InputError(
                "name-looked-at",
                f"{text!r} is no part of a photo (expected PHOTO:X0,Y0,X1,Y1, upper left corner "
                "first).",
                "For example IMG_0412.jpg:820,400,1310,900.",
            )
        found.append((one_photo(store, photo).photo_id, x0, y0, x1, y1))
    return tuple(found)


def _who(row: IdentificationRow) -> str:
    """Everybody who said it."""
    return " and ".join(sorted(row.who()))


def role_words(row: IdentificationRow) -> str:
    """Return the look that a name came from; where the two who looked decided, it says so."""
    return row.role if row.with_observer is None else "together"


def _told(row: IdentificationRow) -> str:
    """Say an identification in one line."""
    now = row.name_now or ("" if row.name else "not in the data")
    name = f"{row.name_as_recorded} (today: {now})" if now else row.name_as_recorded
    sure = f"; {WORDS[row.confidence]}" if row.confidence else "; how sure was not stated"
    against = f"; speaks against it: {', '.join(row.conflicts)}" if row.conflicts else ""
    return f"{name}{sure}{against}"
