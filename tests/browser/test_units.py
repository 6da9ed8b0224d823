"""Units in a real browser: slates by one key, names, joining, moving and setting aside, undo."""

from __future__ import annotations

import io
import shutil
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from PIL import Image, ImageDraw
from typer.testing import CliRunner

from dryslate import wiring

VISIT = "Quiet Ledge 2024-05-19"
AT = f"/photos?visit={VISIT.replace(' ', '+')}"
WHO = "Ines Varro"
SLATES = (1, 4, 8)
MINUTES = (0, 1, 2, 3, 10, 11, 12, 13, 20, 21, 75, 76)


def made_photo(number: int) -> bytes:
    """A small photo of a slate, or of something green, with its time."""
    image = Image.new("RGB", (320, 240), (224, 224, 216) if number in SLATES else (30, 110, 130))
    if number in SLATES:
        ImageDraw.Draw(image).text((130, 80), f"T{SLATES.index(number) + 1}", "black", font_size=60)
    else:
        x = 20 * number
        ImageDraw.Draw(image).ellipse((x, 60, x + 90, 150), fill=(150, 90, 60))
    exif = Image.Exif()
    taken = datetime(2024, 5, 19, 9) + timedelta(minutes=MINUTES[number])
    exif.get_ifd(0x8769)[36867] = taken.strftime("%Y:%m:%d %H:%M:%S")
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif)
    return out.getvalue()


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A visit of twelve photos, three of them of slates."""
    from dryslate.cli.main import build_app

    card, trip = tmp_path_factory.mktemp("card"), tmp_path_factory.mktemp("units") / "trip"
    for number in range(len(MINUTES)):
        (card / f"IMG_{number:04d}.JPG").write_bytes(made_photo(number))
    said = ["--visit", *VISIT.rsplit(" ", 1), "--observer", WHO]
    result = CliRunner().invoke(build_app(), ["take", str(card), "--into", str(trip), *said])
    assert result.exit_code in (0, 3), result.output
    return trip


@pytest.fixture
def trip(taken: Path, tmp_path: Path) -> Path:
    """A copy of it that a test may change."""
    return Path(shutil.copytree(taken, tmp_path / "trip"))


def units_of(project: Path) -> dict[str | None, list[int]]:
    """Numbers of the photos by the name of their unit."""
    found: dict[str | None, list[int]] = {}
    with wiring.survey_store(project, write=False) as store:
        name = {u.unit_id: u.name for u in store.units()}
        joins = {j.photo_id: j for j in store.unit_photos()}
        for photo in store.photos():
            if photo.photo_id in joins:
                unit = name.get(joins[photo.photo_id].unit_id or "")
                found.setdefault(unit, []).append(int(photo.files[0].original_name[4:8]))
    return found


def link(page, number: int):
    """The link of a photo in the list."""
    return page.locator("#photos > li", has_text=f"IMG_{number:04d}").locator("> a")


def test_a_visit_is_sorted_into_units_with_the_keyboard_alone(
    server_of, open_page, trip, shot, faults_of_access
) -> None:
    page = open_page(server_of(trip))
    page.goto(AT)
    assert page.locator(".strip .band").count() == 2
    for number in SLATES:
        link(page, number).focus()
        page.keyboard.press("s")
        page.locator(f"#photos > li[data-slate]:has-text('IMG_{number:04d}')").wait_for()
    name = page.evaluate("document.activeElement.querySelector('.name').textContent")
    assert name == "IMG_0008.JPG"
    shot(page, "units-slates")
    link(page, 1).focus()
    page.keyboard.press("n")
    page.wait_for_url("**/units/*")
    for unit in ("T1", "T2", "T3"):
        page.locator("#unit-name:focus").wait_for()
        assert faults_of_access(page) == []
        page.keyboard.type(unit)
        if unit == "T1":
            page.keyboard.press("Tab")
            page.keyboard.type("tran")
            shot(page, "units-name")
            page.keyboard.press("Shift+Tab")
        before = page.url
        page.keyboard.press("Enter")
        page.wait_for_url(lambda url, was=before: url != was)
    page.wait_for_url("**/photos?*")
    assert units_of(trip) == {"T1": [1], "T2": [4], "T3": [8]}
    shot(page, "units-named")
    page.get_by_role("link", name="See what joining by time changes").press("Enter")
    page.get_by_role("heading", name="6 photos would change").wait_for()
    assert "54 min" in page.locator("main").inner_text()
    assert faults_of_access(page) == []
    shot(page, "units-join", full_page=True)
    page.get_by_role("button", name="Join 6 photos so").press("Enter")
    page.get_by_text("6 photos joined by time").wait_for()
    assert units_of(trip) == {"T1": [1, 2, 3], "T2": [4, 5, 6, 7], "T3": [8, 9]}
    assert faults_of_access(page) == []
    shot(page, "units-joined")


def test_enter_in_a_field_of_the_bar_does_what_its_line_says(server_of, open_page, trip) -> None:
    page = open_page(server_of(trip))
    page.goto(AT)
    link(page, 0).focus()
    page.keyboard.press("b")
    page.locator("#aside-note").press("Enter")
    page.locator("#photos > li[data-aside]:has-text('IMG_0000')").wait_for()
    link(page, 5).focus()
    page.keyboard.press("u")
    page.locator("#new-unit").fill("Q9")
    page.locator("#new-unit").press("Enter")
    page.locator(".strip .band", has_text="Q9").wait_for()
    assert units_of(trip) == {"Q9": [5]}
    link(page, 7).focus()
    page.keyboard.press("u")
    page.locator("#new-unit").fill("q9")
    page.locator("#new-unit").press("Enter")
    page.locator("#bar-said", has_text="unit-name-taken").wait_for()
    assert not page.locator("#tool-unit").evaluate("(tool) => tool.open")  # it lay over the words
    page.expected_errors[:] = [e for e in page.expected_errors if "409" not in e]
    page.keyboard.press("Escape")
    box = link(page, 6).locator("xpath=..").get_by_role("checkbox")
    box.check()
    box.press("Enter")
    assert page.locator("#chosen").inner_text() == "1 photo chosen"
    assert page.locator("#photos > li[data-slate]").count() == 0


def test_photos_are_moved_and_set_aside_by_mouse_and_all_is_undone(
    server_of, open_page, trip, shot, faults_of_access
) -> None:
    page = open_page(server_of(trip))
    page.goto(AT)
    link(page, 0).locator("xpath=..").get_by_role("checkbox").click()
    link(page, 3).locator("xpath=..").get_by_role("checkbox").click(modifiers=["Shift"])
    assert page.locator("#chosen").inner_text() == "4 photos chosen"
    page.locator("#tool-unit summary").click()
    shot(page, "units-bar")
    assert faults_of_access(page) == []
    page.get_by_label("or to a new unit called").fill("Q1")
    page.get_by_role("button", name="Begin it").click()
    page.locator(".strip .band", has_text="Q1").wait_for()
    assert units_of(trip) == {"Q1": [0, 1, 2, 3]}
    link(page, 11).locator("xpath=..").get_by_role("checkbox").click()
    page.locator("#tool-aside summary").click()
    page.locator("#aside-reason").select_option("not_reef")
    page.get_by_role("button", name="Set them aside").click()
    page.locator("#photos > li[data-aside]").wait_for()
    shot(page, "units-aside")
    assert faults_of_access(page) == []
    page.get_by_role("button", name="Undo").click()
    page.locator("#photos > li[data-aside]").wait_for(state="detached")
    page.keyboard.press("Control+z")
    page.locator(".strip .band", has_text="Q1").wait_for(state="detached")
    assert units_of(trip) == {}
    page.keyboard.press("Control+Shift+z")
    page.locator(".strip .band", has_text="Q1").wait_for()
    assert units_of(trip) == {"Q1": [0, 1, 2, 3]}
    page.locator(".strip .band", has_text="no unit").last.locator("a.show").click()
    page.wait_for_url("**stretch=*")
    assert page.locator("#photos > li[id]").count() == 2


def test_keys_choose_photos_put_them_to_a_unit_and_set_them_aside(
    server_of, open_page, trip, shot
) -> None:
    page = open_page(server_of(trip))
    page.goto(AT)
    link(page, 1).focus()
    page.keyboard.press("s")
    page.locator("#photos > li[data-slate]").wait_for()
    page.locator("#to-unit").wait_for(state="attached")
    link(page, 5).focus()
    page.keyboard.press(" ")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ ")
    assert page.locator("#chosen").inner_text() == "3 photos chosen"
    page.keyboard.press("u")
    assert page.evaluate("document.activeElement.id") == "to-unit"
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.locator("#photos .by-hand").nth(2).wait_for()
    assert units_of(trip) == {None: [1, 5, 6, 7]}
    link(page, 11).focus()
    page.keyboard.press("b")
    assert page.evaluate("document.activeElement.id") == "aside-reason"
    for key in ("Tab", "Tab", "Enter"):
        page.keyboard.press(key)
    page.locator("#photos > li[data-aside]").wait_for()
    page.keyboard.press("Escape")
    assert page.locator("#chosen").inner_text() == "no photo chosen"
    before = units_of(trip)
    link(page, 9).focus()
    page.keyboard.press("g")
    page.keyboard.press("s")  # the way to another page, not a slate
    page.wait_for_url("**/second")
    assert units_of(trip) == before


def test_refused_work_is_told_and_nothing_is_lost(server_of, open_page, trip, shot) -> None:
    page = open_page(server_of(trip))
    page.goto(AT)
    link(page, 2).focus()
    page.keyboard.press("b")
    page.locator("#aside-reason").select_option("other")
    page.get_by_role("button", name="Set them aside").click()
    page.locator("#bar-said [data-slug=aside-reason]").wait_for()
    assert page.locator("#chosen").inner_text() == "1 photo chosen"
    shot(page, "units-refused")
    page.expected_errors[:] = [e for e in page.expected_errors if "422" not in e]


@pytest.mark.parametrize("light", ["light", "dark"])
def test_strip_and_unit_are_sound_in_both_lights_and_on_a_phone(
    light, server_of, open_page, trip, shot, faults_of_access
) -> None:
    page = open_page(server_of(trip), color_scheme=light, viewport={"width": 390, "height": 800})
    page.goto(AT)
    link(page, 1).focus()
    page.keyboard.press("s")
    page.locator("#photos > li[data-slate]").wait_for()
    page.goto(AT)
    wider = "document.documentElement.scrollWidth <= innerWidth"
    for name, path in (("strip", AT), ("join", f"/units/join?visit={VISIT}"), ("unit", "")):
        if path:
            page.goto(path)
        else:
            page.goto(AT)
            page.get_by_role("link", name="Name it").click()
            page.wait_for_url("**/units/*")
        for width, height in ((390, 800), (1280, 720)):
            page.set_viewport_size({"width": width, "height": height})
            assert page.evaluate(wider), (name, width)
            assert faults_of_access(page) == [], (name, width)
            shot(page, f"units-{name}-{light}-{width}")
    small = page.evaluate(
        """() => [...document.querySelectorAll(".strip a, .work-bar button, .work-bar summary")]
        .map((e) => e.getBoundingClientRect()).filter((r) => r.height && r.height < 44).length"""
    )
    assert small == 0


def test_chosen_photos_are_put_to_another_visit_by_keyboard_and_undone(
    trip, server_of, open_page, faults_of_access
) -> None:
    page = open_page(server_of(trip))
    page.goto(AT)
    for number in (4, 5):
        page.locator("#photos input[name=photo]").nth(number).check()
    page.keyboard.press("u")
    page.get_by_role("button", name="They are of another visit").press("Enter")
    page.wait_for_url("**/visit/chosen?*")
    assert "IMG_0004.JPG, IMG_0005.JPG" in page.inner_text("main")
    assert faults_of_access(page) == []
    page.get_by_label("Site").fill("North Shelf")
    page.get_by_label("What was wrong").fill("of the second dive")
    page.get_by_role("button", name="Move them").press("Enter")
    page.wait_for_url("**/visit/edits?done=1")
    with wiring.survey_store(trip, write=False) as store:
        assert len(store.photos("North Shelf 2024-05-19")) == 2
    page.get_by_role("button", name="Undo").press("Enter")
    page.wait_for_url("**/visit/edits?done=2")
    assert (
        "undone: 2 photos of North Shelf 2024-05-19 are of Quiet Ledge 2024-05-19"
        in page.inner_text("main")
    )
    with wiring.survey_store(trip, write=False) as store:
        assert len(store.photos(VISIT)) == 12
        assert [visit.visit_id for visit in store.visits()] == [VISIT]
