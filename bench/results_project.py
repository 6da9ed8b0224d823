"""
Projects with very many points on photos, written through the store's own tables.

Each site has its own mix of categories and genera, each visit and unit strays from it. Some points
cannot be read, some names stop short of the genus, some photos are set aside. Everything is drawn
from one seed. Rows go in by bulk, with the columns that an import fills; where the change log is
left out (it doubles the database), that is said.
"""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from dryslate import wiring
from dryslate.app.category_list import read_categories
from dryslate.app.survey_records import Category
from dryslate.core.identify.names import find_names
from dryslate.store.change_triggers import change_triggers
from dryslate.store.rows import to_json
from dryslate.store.sqlite import SqliteSurveyStore

WHEN, OBSERVER = "2031-05-05T18:00:00Z", "Bench"
REGION = "indo_pacific"
N_VISITS, N_UNITS, N_PHOTOS, N_POINTS = 5, 8, 10, 25
N_GENERA = 40
SHORT = ("Acroporidae", "Merulinidae", "Favites or Goniastrea", "cannot tell")
"""Names short of the genus."""
MORE = ("loose algae", "tube worm", "sea pen", "lost gear", "shell bed", "foraminiferan sand")
"""Categories beside the usual ones, so that there are thirty."""
UNREADABLE = ("in shade", "blurred", "hidden by a fish", "on the tape")
COLUMNS = (
    "unit_id",
    "kind",
    "category",
    "name_as_recorded",
    "name",
    "current_names",
    "rank",
    "photo_id",
    "x_px",
    "y_px",
    "unreadable",
    "place",
    "observer",
    "noted_at",
)


@dataclass(frozen=True, kw_only=True)
class Size:
    """How many sites; each has 5 visits of 8 units of 10 photos of 25 points."""

    sites: int
    is_logged: bool = True

    @property
    def n_rows(self) -> int:
        return self.sites * N_VISITS * N_UNITS * N_PHOTOS * N_POINTS


def points_project(folder: Path, size: Size, seed: int = 1) -> Path:
    """Make a project below an empty folder; returns it."""
    project = folder / "points"
    wiring.project_folders().lay_out(project)
    wiring.new_store(project, who=OBSERVER).close()
    with wiring.survey_store(project, write=True, who=OBSERVER) as store:
        db = store._db
        db.execute("PRAGMA synchronous = OFF")
        db.execute("PRAGMA foreign_keys = OFF")
        if not size.is_logged:
            for statement in change_triggers(db):
                if statement.startswith("DROP"):
                    db.execute(statement)
        store.save_region(REGION)
        with store.write():
            _fill(store, project, size, np.random.default_rng(seed))
        for statement in change_triggers(db) if not size.is_logged else ():
            db.execute(statement)
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return project


def _fill(store: SqliteSurveyStore, project: Path, size: Size, rng: np.random.Generator) -> None:
    """Write everything."""
    db = store._db
    listed = _categories()
    store.save_categories(listed)
    _many(db, "observers", ("observer",), [(OBSERVER,)])
    sites = [f"Made Reef {i + 1:04d}" for i in range(size.sites)]
    days = [f"{2031 + k}-05-04" for k in range(N_VISITS)]
    visits = [(f"{s} {d}", s, d, OBSERVER) for s in sites for d in days]
    _many(db, "sites", ("site",), [(s,) for s in sites])
    _many(db, "visits", ("visit_id", "site", "date", "observer"), visits)
    units = [(_hash("unit", v[0], k), v[0], f"T{k + 1}") for v in visits for k in range(N_UNITS)]
    columns = ("unit_id", "visit_id", "kind", "name", "observer")
    _many(db, "units", columns, [(u, v, "photo_station", n, OBSERVER) for u, v, n in units])
    _many(
        db,
        "unit_designs",
        ("unit_id", "design", "is_permanent", "n_points", "list_version", "observer", "stated_at"),
        [(u, "photo_points", 0, N_POINTS, 1, OBSERVER, WHEN) for u, _, _ in units],
    )
    photos = [(_hash("photo", u, k), v, u) for u, v, _ in units for k in range(N_PHOTOS)]
    _photos(db, photos)
    aside = [(p, "blurred", OBSERVER, WHEN) for p, _, _ in photos[::97]]
    _many(db, "photos_set_aside", ("photo_id", "reason", "observer", "set_at"), aside)
    _many(db, "survey_rows", COLUMNS, _points(photos, listed, _named(project), rng))


def _hash(*words: object) -> str:
    return hashlib.sha256(" ".join(map(str, words)).encode()).hexdigest()


def _many(db: Any, table: str, columns: tuple[str, ...], rows: Any) -> None:
    marks = ", ".join("?" for _ in columns)
    db.executemany(f"INSERT OR IGNORE INTO {table} ({', '.join(columns)}) VALUES ({marks})", rows)


def _categories() -> tuple[Category, ...]:
    usual = read_categories(wiring.usual_categories())
    more = [
        Category(
            list_version=1, category=name, group="other", is_hard_coral=False, definition="Made up."
        )
        for name in MORE
    ]
    return tuple(replace(one, list_version=1) for one in (*usual, *more))


def _named(project: Path) -> list[tuple[str, str, str, str]]:
    """Names with what the program looks up for them: recorded, current, its genera, rank."""
    taxa = wiring.import_tools(project).taxa
    genera = sorted(name for name in taxa.genera)[:N_GENERA]
    found = []
    for text in (*genera, *SHORT):
        match = find_names(text, taxa, REGION)
        found.append((text, match.name, to_json(list(match.genera)), match.rank))
    return found


def _photos(db: Any, photos: list[tuple[str, str, str]]) -> None:
    """Photos with their files, joined to their units."""
    ids = [p for p, _, _ in photos]
    _many(
        db,
        "originals",
        ("sha256", "size_bytes", "kind", "kept_path"),
        ((p, 8_000_000, "jpeg", f"originals/{p[:2]}/{p}.jpg") for p in ids),
    )
    _many(
        db,
        "photos",
        ("photo_id", "visit_id", "observer"),
        ((p, v, OBSERVER) for p, v, _ in photos),
    )
    _many(
        db,
        "photo_files",
        ("sha256", "photo_id", "original_name", "position"),
        ((p, p, f"P{k:07d}.JPG", 0) for k, p in enumerate(ids)),
    )
    _many(db, "unit_photos", ("photo_id", "unit_id", "how"), ((p, u, "hand") for p, _, u in photos))


def _points(
    photos: list[tuple[str, str, str]],
    listed: tuple[Category, ...],
    named: list[tuple[str, str, str, str]],
    rng: np.random.Generator,
) -> Iterator[tuple[Any, ...]]:
    """The rows of all points, photo by photo."""
    per_unit, per_site = N_PHOTOS, N_PHOTOS * N_UNITS * N_VISITS
    words = [one.category for one in listed]
    corals = [one.is_hard_coral for one in listed]
    weight = np.where(corals, 6.0, 0.25)
    place = itertools.count(2)
    none = ("", "", "[]", "")
    for at, (photo, _, unit) in enumerate(photos):
        if at % per_site == 0:
            cover, genera = rng.dirichlet(weight), rng.dirichlet(np.full(len(named), 0.3))
        if at % per_unit == 0:
            here = rng.dirichlet(30 * cover + 0.01)
            genus_here = rng.dirichlet(20 * genera + 0.01)
            shape = (per_unit, N_POINTS)
            drawn = rng.choice(len(words), shape, p=here).tolist()
            name_of = rng.choice(len(named), shape, p=genus_here).tolist()
            lost = (rng.random(shape) < 0.04).tolist()
            xy = np.round(rng.random((*shape, 2)) * (6000, 4000), 1).tolist()
        k = at % per_unit
        for c, n, is_lost, (x, y) in zip(drawn[k], name_of[k], lost[k], xy[k], strict=True):
            where = f"points.csv, row {next(place)}"
            if is_lost:
                row = (unit, "point", "", *none, photo, x, y, UNREADABLE[n % 4], where)
            else:
                name = named[n] if corals[c] else none
                row = (unit, "point", words[c], *name, photo, x, y, "", where)
            yield (*row, OBSERVER, WHEN)
