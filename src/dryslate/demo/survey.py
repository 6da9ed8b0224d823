"""The records of the made-up trip: imported as a surveyor's tables are, and held to the truth."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dryslate import wiring
from dryslate.base.errors import InputError
from dryslate.demo.survey_rows import SWIM_M2_PER_MINUTE, Tables, as_sheets, draw_records
from dryslate.demo.survey_truth import HARD, Key, VisitTruth, plan_survey, true_figures

if TYPE_CHECKING:
    from dryslate.app.result_rows import ResultRow

N_STATION_POINTS = 20
STATION_SEED = 11


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyDone:
    """
    What became of the made-up survey.

    Parameters
    ----------
    table : Path
        Every figure, one a row.
    n_units, n_rows, n_figures : int
    n_held, n_compared : int
        Figures whose truth lies in the stated interval, of those whose truth is known.
    truths : tuple of VisitTruth
    """

    table: Path
    n_units: int
    n_rows: int
    n_figures: int
    n_held: int
    n_compared: int
    truths: tuple[VisitTruth, ...]

    def rows(self) -> list[tuple[str, str]]:
        """Return what to show."""
        return [
            ("units, rows", f"{self.n_units}, {self.n_rows}"),
            ("figures with their interval", str(self.n_figures)),
            ("truth within the 95 % interval", f"{self.n_held} of {self.n_compared}"),
        ]


def survey_trip(
    folder: Path, project: Path, truth: Sequence[Mapping[str, Any]], seed: int
) -> SurveyDone:
    """
    Note the records of every visit of the trip, and make the figures.

    Parameters
    ----------
    folder : Path
        Of the demo: tables and truth are written there.
    project : Path
    truth : sequence of Mapping
        Of each photo, as `dryslate.demo.trip_truth.truth_of` makes it.
    seed : int

    Returns
    -------
    SurveyDone
    """
    truth = [d for d in truth if d["is_survey"]]
    visits = {(d["site"], d["date"], d["observer"]): None for d in truth}
    truths = plan_survey(sorted(visits, key=lambda v: v[1]), seed)
    for visit in truths:
        here = [d for d in truth if (d["site"], d["date"]) == (visit.site, visit.date)]
        photos = [d for d in here if d["shows"] != "colonies"]
        units, rows = draw_records(visit, seed)
        more_units, more_rows = read_stations(project, visit, photos)
        place = folder / "tables" / f"{visit.site} {visit.date}"
        tables = ([*units, *more_units], [*rows, *more_rows])
        import_records(project, place, tables, visit.observer)
    said = json.dumps([visit.as_dict() for visit in truths], indent=1)
    wiring.save_file(folder / "survey-truth.json", said.encode("utf-8"))
    return _figures(project, folder / "results.csv", truths)


def import_records(project: Path, folder: Path, tables: Tables, observer: str) -> None:
    """
    Write tables and import them as a surveyor does: timed swims as a workbook, the rest as CSV.

    Parameters
    ----------
    project : Path
    folder : Path
        Of the visit's tables.
    tables : tuple
        Units and rows; those that were imported before stay as they are.
    observer : str

    Raises
    ------
    InputError
        ``demo-records-refused`` where a fault stands against them.
    """
    from dryslate.formats.table_csv import write_table_csv
    from dryslate.formats.table_xlsx import write_table_xlsx

    folder.mkdir(parents=True, exist_ok=True)
    swims = {unit["unit"] for unit in tables[0] if unit["design"] == "timed_swim"}
    parts: list[Tables] = [([], []), ([], [])]
    for k, some in enumerate(tables):
        for row in some:
            parts[row["unit"] in swims][k].append(row)
    files = {name: folder / f"{name}.csv" for name in ("units", "rows")}
    for name, (columns, cells) in as_sheets(*parts[False]).items():
        wiring.save_file(files[name], write_table_csv(columns, cells))
    _import(project, tuple(files.values()), observer)
    book = folder / "timed-swims.xlsx"
    wiring.save_file(book, write_table_xlsx(as_sheets(*parts[True])))
    _import(project, (book,), observer)


def _import(project: Path, paths: tuple[Path, ...], observer: str) -> None:
    """Import tables by the use case behind ``dryslate records import``."""
    from dryslate.app.import_run import ImportRequest, run_import

    request = ImportRequest(tables=paths, observer=observer, is_saved=True)
    with wiring.survey_store(project, write=True, who=observer) as store:
        try:
            plan, n_stored = run_import(store, request, wiring.import_tools(project))
        except InputError as error:
            if error.slug != "unit-has-rows":
                raise
            return
    if n_stored == 0:
        said = "; ".join(str(problem) for problem in plan.problems[:5])
        raise InputError(
            "demo-records-refused",
            f"{paths[0]}: the made-up records were refused: {said}",
            "This is a fault of the program; please tell its authors.",
        )


def read_stations(project: Path, visit: VisitTruth, photos: Sequence[Mapping[str, Any]]) -> Tables:
    """Read random points on the photos of each station: what the pictures show there."""
    from dryslate.core.survey.points import place_points

    with wiring.survey_store(project, write=False) as store:
        ids = {
            file.original_name: photo.photo_id
            for photo in store.photos(f"{visit.site} {visit.date}")
            for file in photo.files
        }
    units, rows = [], []
    for station in dict.fromkeys(str(doc["station"]) for doc in photos):
        key = {"site": visit.site, "date": visit.date, "unit": station}
        stated = {"design": "photo_points", "n_points": N_STATION_POINTS, "point_rule": "random"}
        units.append({**key, "observer": visit.observer, **stated, "seed": STATION_SEED})
        for doc in photos:
            photo_id = ids.get(str(doc["photo"]))
            if doc["station"] != station or photo_id is None:
                continue
            size = (int(doc["size_px"][0]), int(doc["size_px"][1]))
            places = place_points("random", N_STATION_POINTS, size, STATION_SEED, photo_id)
            rows += [
                {**key, "kind": "point", "photo": photo_id, "x_px": float(x), "y_px": float(y),
                 **_shown_at(doc, float(x), float(y))}
                for x, y in places
            ]  # fmt: skip
    return units, rows


def _shown_at(doc: Mapping[str, Any], x_px: float, y_px: float) -> dict[str, str]:
    """What the picture shows at a point: a colony, the card, or the ground between."""
    if doc["card"] is not None and _is_inside(doc["card"]["corners_px"], x_px, y_px):
        return {"unreadable": "the card lies there"}
    for colony in doc["colonies"]:
        if _is_inside(colony["outline_px"], x_px, y_px):
            return {"category": HARD, "name": str(colony["genus"])}
    return {"category": "bare rock"}


def _is_inside(outline_px: Sequence[Sequence[float]], x_px: float, y_px: float) -> bool:
    """Tell whether a point lies in an outline: how often a ray to the right crosses it."""
    a = np.asarray(outline_px, dtype=np.float64)
    b = np.roll(a, -1, axis=0)
    crosses = (a[:, 1] > y_px) != (b[:, 1] > y_px)
    rise = np.where(crosses, b[:, 1] - a[:, 1], 1.0)
    at_x = a[:, 0] + (y_px - a[:, 1]) * (b[:, 0] - a[:, 0]) / rise
    return bool((crosses & (x_px < at_x)).sum() % 2)


def _figures(project: Path, table: Path, truths: Sequence[VisitTruth]) -> SurveyDone:
    """Make the figures, write them, and hold them to the truth."""
    from dryslate.app.result_rows import results_table
    from dryslate.app.survey_results import survey_results

    with wiring.survey_store(project, write=False) as store:
        found = survey_results(store, wiring.result_settings())
        n_units, n_rows = len(store.unit_designs()), len(store.survey_rows())
    wiring.save_file(table, results_table(found))
    drawn = [row for row in found if row.zone]
    held = held_of(drawn, truths)
    return SurveyDone(
        table=table,
        n_units=n_units,
        n_rows=n_rows,
        n_figures=len(found),
        n_held=sum(inside for _, inside in held),
        n_compared=len(held),
        truths=tuple(truths),
    )


def held_of(found: Iterable[ResultRow], truths: Sequence[VisitTruth]) -> list[tuple[Key, bool]]:
    """
    Hold figures to the truth.

    Parameters
    ----------
    found : iterable of ResultRow
    truths : sequence of VisitTruth

    Returns
    -------
    list of (key, bool)
        Each figure of known truth that states an interval, and whether the truth lies in it.
    """
    known = {key: value for t in truths for key, value in true_figures(t, SWIM_M2_PER_MINUTE)}
    held = []
    for row in found:
        key = (row.site, row.date, row.design, row.figure, row.kind_of_thing, row.thing)
        if key in known and row.lo95 is not None and row.hi95 is not None:
            held.append((key, row.lo95 <= known[key] <= row.hi95))
    return held
