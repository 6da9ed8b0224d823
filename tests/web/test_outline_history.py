"""How a colony's outlines came to be, and its photos that are not here, on the pages."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from dryslate import wiring
from dryslate.app.archived_records import ArchivedFrame, ArchivedPhoto, ArchivedSketch
from dryslate.app.colony_outlines import confirm_outline, draw_outline, take_frame_away
from dryslate.app.geometry import geometry_from_dict
from dryslate.app.outline_history import outline_history
from dryslate.core.measure.outline import measure_outline
from dryslate.core.measure.result import MeasureSettings

VISIT = "Lantern Steps 2024-03-09"
AT = "2024-03-10T08:00:00Z"


@pytest.fixture
def pages(client_of, own_project):
    """A client of a project with one tagged colony."""
    found = client_of(own_project)
    found.post("/colonies", data={"label": "17", "visit": VISIT, "why": "random", "place": "rock"})
    return found


def outlined(project) -> tuple[str, str, tuple]:
    """Draw an outline, then another person a larger one; returns colony, photo and both."""
    with wiring.survey_store(project, write=True, who="Ines Varro") as store:
        (colony,) = store.colonies()
        row = next(m for m in store.measurements() if m.kind == "outline")
        first = row.points_px
        draw_outline(store, colony, row.photo_id, first, ("Ines Varro", AT))
    middle = [sum(axis) / len(first) for axis in zip(*first, strict=True)]
    second = tuple(
        (middle[0] + 1.1 * (x - middle[0]), middle[1] + 1.1 * (y - middle[1])) for x, y in first
    )
    with wiring.survey_store(project, write=True, who="Tomo Halle") as store:
        draw_outline(store, colony, row.photo_id, second, ("Tomo Halle", AT))
    return colony.organism_id, row.photo_id, (first, second)


def test_each_change_says_who_and_by_how_much(pages, own_project) -> None:
    organism, photo_id, (first, second) = outlined(own_project)
    with wiring.survey_store(own_project, write=False) as store:
        plane = geometry_from_dict(store.correction(photo_id).geometry)
        areas = [
            measure_outline(plane, points, MeasureSettings()).values["area_cm2"]
            for points in (first, second)
        ]
        latest, earlier, *rest = outline_history(store, store.colonies()[0])
    assert [latest.did, earlier.did] == ["drawn", "drawn"]
    assert [latest.who, earlier.who] == ["Tomo Halle", "Ines Varro"]
    assert earlier.before is None
    assert latest.before.area_cm2 == pytest.approx(areas[0], rel=1e-12)
    assert latest.after.area_cm2 == pytest.approx(areas[1], rel=1e-12)
    assert latest.change_pct == pytest.approx(21.0, abs=0.6), "1.1 x 1.1, in perspective"
    assert [one.did for one in rest] == ["added"]
    html = pages.get(f"/colonies/{organism}/outlines").text
    assert html.count("<svg") == 2
    assert "Tomo Halle" in html
    assert f"{areas[0]:.1f} ±" in html
    assert f"{areas[1]:.1f} ±" in html
    assert f"/colonies/{organism}/outlines" in pages.get(f"/colonies/{organism}").text


def test_confirming_and_taking_away_are_in_it_and_other_words_are_not(pages, own_project) -> None:
    organism, photo_id, _ = outlined(own_project)
    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        colony = store.colonies()[0]
        (frame,) = store.colony_frames(organism)
        store.save_colony_frame(replace(frame, noted_at="2024-03-11T08:00:00Z"))
        store.save_colony_frame(replace(frame, is_confirmed=False))
        confirm_outline(store, colony, photo_id, ("Ines Varro", AT))
        take_frame_away(store, colony, photo_id)
        did = [one.did for one in outline_history(store, colony)]
    assert did == ["removed", "confirmed", "drawn", "drawn", "added"]
    html = pages.get(f"/colonies/{organism}/outlines").text
    assert "Photo said not to show it" in html
    assert "no outline" in html


def test_without_a_scale_the_area_is_in_pixels(pages, own_project) -> None:
    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        (colony,) = store.colonies()
        bare = next(p for p in store.photos())
        row = store.correction(bare.photo_id)
        store.save_correction(replace(row, key="no card", outcome="no_card", geometry={}))
        square = ((100.0, 100.0), (200.0, 100.0), (200.0, 200.0), (100.0, 200.0))
        draw_outline(store, colony, bare.photo_id, square, ("Ines Varro", AT))
        latest = outline_history(store, colony)[0]
    assert latest.after.area_cm2 is None
    assert latest.after.area_px == pytest.approx(10_000.0)
    assert "10,000 px²" in pages.get(f"/colonies/{colony.organism_id}/outlines").text


def test_photos_that_are_not_here_are_listed_with_what_was_measured(pages, own_project) -> None:
    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        (colony,) = store.colonies()
        here = store.photos()[0].photo_id
        for photo_id, name in (("e" * 64, "IMG_0412.JPG"), (here, "IMG_0413.JPG")):
            store.save_archived_photo(
                ArchivedPhoto(
                    photo_id=photo_id, visit_id=VISIT, file_name=name, creator="Mara Lind"
                )
            )
            store.save_archived_frame(
                ArchivedFrame(
                    organism_id=colony.organism_id,
                    photo_id=photo_id,
                    observer="Mara Lind",
                    noted_at=AT,
                    outline_px=((1.0, 1.0), (9.0, 1.0), (9.0, 9.0)),
                    outline_how="drawn",
                    is_confirmed=True,
                    area_cm2=112.53,
                    area_cm2_u=3.2,
                    diameter_max_mm=131.2,
                    diameter_max_mm_u=1.5,
                )
            )
        store.save_archived_sketch(ArchivedSketch(organism_id=colony.organism_id, sha256="f" * 64))
    html = pages.get(f"/colonies/{colony.organism_id}").text
    part = html[html.index('id="elsewhere"') :]
    assert "IMG_0412.JPG" in part
    assert "112.5 ± 3.2 cm²" in part
    assert "131 ± 1.5 mm" in part
    assert part.count("taken in since") == 1
    assert "f" * 16 + "…" in html
    pages.post(f"/colonies/{colony.organism_id}/frames", data={"photo": "DRY_0001.JPG"})
    names = re.findall(r"IMG_041\d.JPG", pages.get(f"/colonies/{colony.organism_id}").text)
    assert len(names) == 1, "the one that is here now is among its photos"


def test_a_photo_whose_file_is_missing_is_told(pages, own_project) -> None:
    organism, photo_id, _ = outlined(own_project)
    assert "Its file is missing" not in pages.get(f"/colonies/{organism}").text
    with wiring.survey_store(own_project, write=False) as store:
        name = store.photo(photo_id).files[0].original_name
    kept = wiring.vault(own_project).path_of(photo_id, name)
    kept.rename(kept.with_name("elsewhere"))
    assert "Its file is missing" in pages.get(f"/colonies/{organism}").text


def test_a_colony_that_is_none_has_no_history(pages) -> None:
    answer = pages.get("/colonies/00000000-0000-6000-8000-000000000000/outlines")
    assert answer.status_code >= 400
