"""Tagged colonies in the browser: a logger's file sent by the form, and a colony's page whole."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dryslate import wiring
from dryslate.app.archived_records import ArchivedFrame, ArchivedPhoto, ArchivedSketch
from dryslate.app.colonies import TagRequest, tag_colony
from dryslate.app.colony_outlines import draw_outline
from dryslate.app.colony_records import Neighbour

SITE, DATE = "Lantern Steps", "2024-03-09"
WHO, NOW = "Ines Varro", "2024-03-09T20:00:00Z"
WIDER = "() => document.documentElement.scrollWidth - innerWidth"
FILE = "\n".join(
    ["time,temperature_c"]
    + [
        f"2024-{m:02d}-{d:02d}T{h:02d}:00,31"
        for m in (2, 3)
        for d in range(1, 29)
        for h in range(24)
    ]
)


@pytest.fixture
def placed(own_project):
    """A project with a tagged colony that has neighbours and a stake; returns its address."""
    with wiring.survey_store(own_project, write=True, who=WHO) as store:
        request = TagRequest(label="17", observer=WHO, visit=(SITE, DATE), why="random")
        colony = tag_colony(store, request, NOW, wiring.new_identity)
        beside = (
            Neighbour(what="18", bearing_deg=40.0, distance_m=0.8),
            Neighbour(what="19", bearing_deg=200.0),
        )
        stake = {"from_what": "21", "bearing_deg": 120.0, "distance_m": 6.5}
        store.save_colony(replace(colony, neighbours=beside, **stake))
    return own_project, f"/colonies/{colony.organism_id}"


def test_logger_is_sent_by_keyboard_and_what_is_wrong_is_said_beside_the_form(
    placed, server_of, open_page, tmp_path
) -> None:
    project, address = placed
    path = tmp_path / "reef.csv"
    path.write_text(FILE, "utf-8")
    page = open_page(server_of(project))
    page.goto("/colonies")
    page.locator("#logger-file").set_input_files(path)
    page.locator("#warmest_c").fill("29,0")
    page.locator("#warmest_source").fill("made up")
    page.locator("#warmest_source").press("Enter")
    page.locator("#logger-said [data-slug=logger-time-no-zone]").first.wait_for()
    assert page.locator("#logger-said [data-slug]").count() == 20
    assert page.locator("#warmest_source").input_value() == "made up"  # nothing is typed twice
    assert all("422" in said for said in page.expected_errors)  # the browser's own line on it
    page.expected_errors.clear()
    page.locator("#zone").fill("+05:00")
    page.locator("#zone").press("Enter")
    page.get_by_role("link", name="reef.csv").wait_for()
    page.goto(address)
    assert "16.0, 28 Mar 2024" in page.locator("section[aria-labelledby=heat]").inner_text()
    assert "°C-weeks" in page.locator(".timeline").inner_text()


def outline(store) -> None:
    """Draw a colony's outline twice, and let an archive name a photo of it that is not here."""
    (colony,) = store.colonies()
    row = next(m for m in store.measurements() if m.kind == "outline")
    for by in (0.0, 12.0):
        points = tuple((x + by, y) for x, y in row.points_px)
        draw_outline(store, colony, row.photo_id, points, (WHO, NOW))
    named = ArchivedPhoto(photo_id="e" * 64, visit_id=colony.first_visit_id, file_name="a.jpg")
    store.save_archived_photo(named)
    frame = ArchivedFrame(
        organism_id=colony.organism_id,
        photo_id=named.photo_id,
        observer=WHO,
        noted_at=NOW,
        outline_px=row.points_px,
        outline_how="drawn",
        area_cm2=112.5,
        area_cm2_u=3.2,
    )
    store.save_archived_frame(frame)
    store.save_archived_sketch(ArchivedSketch(organism_id=colony.organism_id, sha256="f" * 64))


@pytest.mark.parametrize("seen", ["light en-GB", "dark fr-FR"])
def test_colony_with_heat_and_place_has_no_fault_of_access_and_fits_a_phone(  # noqa: PLR0917  one fixture each
    seen, placed, server_of, open_page, shot, faults_of_access, english_left, tmp_path
) -> None:
    from dryslate.app.site_loggers import LoggerSettings, keep_logger

    light, locale = seen.split()
    project, address = placed
    settings = LoggerSettings(warmest_c="29", warmest_source="inventée", zone="+05:00")
    with wiring.survey_store(project, write=True, who=WHO) as store:
        keep_logger(store, (SITE, "reef.csv", FILE.encode()), settings, (WHO, NOW))
        outline(store)
    page = open_page(server_of(project), color_scheme=light, locale=locale)
    for k, path in enumerate(("/colonies", address, f"{address}/outlines")):
        page.set_viewport_size({"width": 1280, "height": 720})
        page.goto(path)
        for summary in page.locator("details:not([open]) > summary").all():
            summary.click()
        assert faults_of_access(page) == [], path
        shot(page, f"colonies-{k}-{light}-{locale[:2]}", full_page=True)
        if locale == "fr-FR":
            names = english_left.MADE_UP | {"reef", "csv", "jpg", "grey", "chip"}
            left = english_left.english_in(english_left.shown_in(page.content()), names)
            assert left == [], path
        page.set_viewport_size({"width": 390, "height": 800})
        assert page.evaluate(WIDER) <= 0, path
        shot(page, f"colonies-{k}-{light}-{locale[:2]}-phone", full_page=True)
