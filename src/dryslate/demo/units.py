"""The stations of the made-up trip as units, by hand: no slate was photographed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryslate import wiring

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore

DEPTH_U_M = 0.3
"""What a diver's gauge leaves open, in metres: an invented value like the trip itself."""


def begin_units(project: Path, truth: Sequence[Mapping[str, Any]]) -> int:
    """
    Make each station of each visit a photo station with its photos; those that are there stay.

    Frames that only repeat a tagged colony are of no unit: nobody chose them by chance.

    Parameters
    ----------
    project : Path
    truth : sequence of Mapping
        Of each photo: ``photo``, ``site``, ``date``, ``station``, ``depth_m``, ``observer``,
        ``shows``.

    Returns
    -------
    int
        How many were made now.
    """
    from dryslate.app.unit_words import UnitWords
    from dryslate.app.units import move_photos, start_unit
    from dryslate.app.visits import find_visit

    stations: dict[tuple[str, str, str], list[Mapping[str, Any]]] = {}
    for doc in truth:
        stations.setdefault((doc["site"], doc["date"], doc["station"]), []).append(doc)
    n_made = 0
    for (site, date, station), docs in stations.items():
        observer = str(docs[0]["observer"])
        with wiring.survey_store(project, write=True, who=observer) as store:
            visit_id = find_visit(store, site, date).visit_id
            if station in {unit.name for unit in store.units(visit_id)}:
                continue
            repeats = {str(doc["photo"]) for doc in docs if doc["shows"] == "colonies"}
            ids, apart = _ids(store, visit_id, docs, repeats)
            move_photos(store, apart, None)
            if not ids:
                continue
            words = UnitWords(
                name=station,
                kind="photo_station",
                depth_m=float(docs[0]["depth_m"]),
                depth_m_u=DEPTH_U_M,
            )
            start_unit(store, visit_id, words, observer, ids)
            n_made += 1
    return n_made


def _ids(
    store: SurveyStore, visit_id: str, docs: Sequence[Mapping[str, Any]], repeats: set[str]
) -> tuple[list[str], list[str]]:
    """Return a station's photos by id, and apart those that only repeat a colony."""
    by_name = {f.original_name: p.photo_id for p in store.photos(visit_id) for f in p.files}
    names = [str(doc["photo"]) for doc in docs if str(doc["photo"]) in by_name]
    ids = [by_name[name] for name in names if name not in repeats]
    return ids, [by_name[name] for name in names if name in repeats]
