"""Any small survey that goes into an archive comes out of it with the same figures."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dryslate import wiring
from dryslate.app.archive_import import read_archive, save_archive
from dryslate.app.archive_make import ArchiveTools, make_archive
from dryslate.app.archive_others import NameFinder
from dryslate.app.colony_records import Colony
from dryslate.app.project_records import Original
from dryslate.app.publication_records import SitePlace
from dryslate.app.records import Photo, PhotoFile, PhotoMetadata, Visit
from dryslate.app.survey_records import NotedRow, StatedDesign
from dryslate.app.survey_results import survey_results
from dryslate.app.unit_records import SetAside, Unit
from dryslate.core.identify.names import find_names
from dryslate.core.survey.designs import DESIGNS, EDGE_RULES, ROW_KINDS, SurveyRow, UnitDesign

AT, WHO = "2024-05-20T09:00:00Z", "Ines Varro"
NAMES = ("", "Favites", "cf. Porites", "Favia", "Merulinidae", "stony coral, not known", "Wrongus")
CATEGORIES = ("", "hard coral", "soft coral", "sand", "dead coral", "turf", "home made")
TAXA = wiring.reference_tables(Path()).taxa()[0]
SETTINGS = wiring.result_settings()
lengths = st.floats(0, 50, allow_nan=False).map(lambda x: round(x, 3))
texts = st.sampled_from(("", "shadow", "a\tb", 'said "x"\nand more', "é ; {}"))


class Box:
    """The files of an archive, in memory."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}
        self.tables: dict[str, io.StringIO] = {}

    def table(self, name: str) -> io.StringIO:
        return self.tables.setdefault(name, io.StringIO(newline=""))

    def add_text(self, name: str, text: str) -> None:
        self.files[name] = text.encode("utf-8")

    def add_file(self, name: str, parts) -> None:
        self.files[name] = b"".join(parts)

    def add_tables(self, names) -> None:
        for name in names:
            self.files[name] = self.tables[name].getvalue().encode("utf-8")

    def names(self) -> tuple[str, ...]:
        return tuple(self.files)

    def open(self, name: str) -> io.BytesIO:
        return io.BytesIO(self.files[name])

    def read(self, name: str, most_bytes: int) -> bytes:
        return self.files[name]


@st.composite
def rows(draw: Any, design: str) -> SurveyRow:
    kind = draw(st.sampled_from(ROW_KINDS[design]))
    said: dict[str, Any] = {
        "kind": kind,
        "category": draw(st.sampled_from(CATEGORIES)),
        "name": draw(st.sampled_from(NAMES)),
        "note": draw(texts),
        "lesion": draw(texts),
        "place": draw(texts),
        "growth_form": draw(st.sampled_from((None, "massive"))),
        "tag": draw(st.sampled_from(("", "7", "8"))),
    }
    if kind == "intercept":
        begin = draw(lengths)
        said |= {"from_m": begin, "to_m": round(begin + draw(lengths), 3)}
        said["unreadable"] = draw(texts)
    elif kind == "point":
        said |= {"at_m": draw(lengths), "unreadable": draw(texts)}
        if design == "photo_points":
            said |= {"photo_id": draw(st.sampled_from("abc")) * 64, "x_px": 0.1, "y_px": 1 / 3}
    elif kind == "cell":
        said |= {"cell": draw(st.integers(1, 9)), "unreadable": draw(texts)}
        said["cover_pct"] = draw(st.none() | st.floats(0, 100).map(lambda x: round(x, 2)))
    else:
        said["n"] = draw(st.none() | st.integers(0, 2_000_000)) if kind != "none_seen" else None
    if kind == "colony":
        said["n"] = draw(st.none() | st.integers(0, 5))
        said["longest_cm"] = draw(st.none() | st.floats(0.1, 300))
        said["across_line_m"] = draw(st.none() | st.floats(0.01, 2))
        if draw(st.booleans()):
            pale = draw(st.integers(0, 100))
            said |= {"normal_pct": 100.0 - pale, "pale_pct": float(pale), "bleached_pct": 0.0}
    return SurveyRow(**said)


@st.composite
def designs(draw: Any) -> UnitDesign:
    design = draw(st.sampled_from(DESIGNS))
    return UnitDesign(
        design=design,
        is_permanent=draw(st.booleans()),
        length_m=draw(st.sampled_from((None, 10.0, 12.5))),
        width_m=1.0,
        spacing_m=0.5,
        area_m2=draw(st.sampled_from((None, 1 / 3))),
        n_points=4,
        seed=draw(st.none() | st.integers(0, 9)),
        minutes=draw(st.sampled_from((None, 7.5))),
        edge_rule=draw(st.sampled_from((None, *EDGE_RULES))),
        searched=tuple(draw(st.lists(st.sampled_from(("Favites", "Porites")), unique=True))),
    )


units = designs().flatmap(
    lambda d: st.tuples(st.just(d), st.lists(rows(d.design), max_size=7), st.sampled_from("xyz"))
)
surveys = st.lists(
    st.tuples(st.sampled_from(("Ledge", "Spur")), st.sampled_from((19, 20)), units),
    min_size=1,
    max_size=6,
)


def fill(store: Any, survey: Any, *, is_sensitive: bool) -> None:
    """Note a survey, with a photo set aside and a colony tagged because it looked unwell."""
    first = Visit(visit_id="Ledge 2024-05-19", site="Ledge", date="2024-05-19", observer=WHO)
    store.save_visit(first)
    for letter in "abc":
        key = letter * 64
        store.save_original(Original(sha256=key, size_bytes=1, kind="jpeg", kept_path="x.jpg"))
        file = PhotoFile(sha256=key, original_name="x.JPG", size_bytes=1, kind="jpeg")
        made = Photo(photo_id=key, visit_id=first.visit_id, files=(file,), metadata=PhotoMetadata())
        store.save_photo(made)
    store.save_set_aside(SetAside(photo_id="c" * 64, reason="blurred", observer=WHO, set_at=AT))
    store.save_colony(
        Colony(organism_id="o-1", site="Ledge", label="7", first_visit_id=first.visit_id,
               why_tagged="stressed", observer=WHO, tagged_at=AT)
    )  # fmt: skip
    if is_sensitive:
        place = SitePlace(site="Ledge", latitude_deg=-8.35, longitude_deg=115.51, grid_deg=0.1,
                          observer=WHO, stated_at=AT)  # fmt: skip
        store.save_site_place(place)
    for k, (site, day, (design, noted, zone)) in enumerate(survey):
        date = f"2024-05-{day}"
        visit = Visit(visit_id=f"{site} {date}", site=site, date=date, observer=WHO)
        store.save_visit(visit)
        unit = Unit(unit_id=f"u{k}", visit_id=visit.visit_id, name=f"U{k}", zone=zone, observer=WHO)
        store.save_unit(unit)
        stated = StatedDesign(
            unit_id=unit.unit_id, design=design, list_version=None, observer=WHO, stated_at=AT
        )
        store.save_unit_design(stated)
        store.save_survey_rows([as_noted(unit.unit_id, one) for one in noted])


def as_noted(unit_id: str, row: SurveyRow) -> NotedRow:
    found = NotedRow(unit_id=unit_id, row=row, observer="Mara", noted_at=AT)
    if not row.name:
        return found
    match = find_names(row.name, TAXA, "indo_pacific")
    return replace(found, name=match.name, current_names=match.genera, rank=match.rank)


def figures(store: Any, *, is_named: bool) -> list[str]:
    """Return every figure; where the site's name was withheld, without it and units' ids."""
    found = list(survey_results(store, SETTINGS))
    if not is_named:
        found = [replace(row, site="", unit_ids=()) for row in found]
    return sorted(map(repr, found))


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(surveys, st.booleans())
@pytest.mark.filterwarnings("ignore")
def test_archive_read_back_gives_the_same_figures(memory_store, survey, is_sensitive) -> None:
    kind = type(memory_store)
    old, new, box = kind(who=WHO), kind(who=WHO), Box()
    fill(old, survey, is_sensitive=is_sensitive)
    tools = ArchiveTools(
        taxa=TAXA, usual=SETTINGS.usual, category_names={}, picture=lambda *_: None
    )
    make_archive(old, tools, box)
    names = NameFinder(taxa=TAXA, region=None, who=WHO, at=AT)
    read = read_archive(box, "a.zip", names)
    assert read.is_sound, [str(p) for p in read.problems if p.severity == "error"]
    save_archive(new, read, WHO)
    is_named = not is_sensitive
    assert figures(new, is_named=is_named) == figures(old, is_named=is_named)
