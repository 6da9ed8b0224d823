"""Work by hand on a photo's card in a real browser, by mouse and by keys, against known truth."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from PIL import Image, ImageDraw
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.project_records import Observer
from dryslate.cli.main import build_app


def run(*words: object) -> None:
    result = CliRunner().invoke(build_app(), [str(word) for word in words])
    assert result.exit_code in (0, 3), result.output


def cover_markers(path: Path, corners: np.ndarray, width_mm: float) -> None:
    """Paint over the four markers of a made photo; its patches and outline stay."""
    card = wiring.reference_tables().card("field")
    across, down = (corners[1] - corners[0]) / width_mm, (corners[3] - corners[0])
    down = down / card.height_mm
    with Image.open(path) as image:
        exif, pixels = image.info["exif"], image.convert("RGB")
    draw = ImageDraw.Draw(pixels)
    for m in card.markers:
        left, top, side = m.x_mm - 2, m.y_mm - 2, m.side_mm + 4
        ring = [(left, top), (left + side, top), (left + side, top + side), (left, top + side)]
        draw.polygon(
            [tuple(corners[0] + x * across + y * down) for x, y in ring], fill=(60, 70, 70)
        )
    pixels.save(path, "JPEG", quality=95, subsampling=0, exif=exif)


@pytest.fixture(scope="module")
def bare_project(tmp_path_factory, card_photos: ModuleType) -> tuple[Path, np.ndarray]:
    """A project with one photo whose card has lost its markers, and the card's true corners."""
    folder = tmp_path_factory.mktemp("bare")
    (folder / "memory").mkdir()
    photo = folder / "memory" / "CARD_0001.JPG"
    corners = card_photos.save_photo(card_photos.Plan(), photo)
    cover_markers(photo, corners, wiring.reference_tables().card("field").width_mm)
    trip = folder / "trip"
    visit = ("--visit", "Made wall", "2031-05-04")
    run("take", folder / "memory", "--into", trip, *visit, "--observer", "Ines Varro")
    run("correct", "--project", trip, "--port", "none", "--json")
    return trip, corners


@pytest.fixture
def bare(bare_project, tmp_path) -> tuple[Path, np.ndarray]:
    trip, corners = bare_project
    return Path(shutil.copytree(trip, tmp_path / "trip")), corners


def only_photo(project: Path, name: str | None = None):
    """The id of a photo, and its latest correction."""
    with wiring.survey_store(project, write=False) as store:
        photo = next(p for p in store.photos() if name in (None, p.files[0].original_name))
        return photo.photo_id, store.correction(photo.photo_id)


def open_photo(page, photo_id):
    page.goto(f"/photos/{photo_id}")
    page.locator("html[data-photo=open][data-card=ready]").wait_for(state="attached")


def saved(page):
    page.locator("#hand-spoken", has_text="Corrected anew.").wait_for(state="attached")


@pytest.mark.parametrize("light", ["light", "dark"])
def test_panel_and_its_tools_have_no_fault_of_access(
    light, server_of, open_page, web_project, shot, faults_of_access
):
    page = open_page(server_of(web_project), color_scheme=light)
    photo_id, _ = only_photo(web_project, "DRY_0001.JPG")
    open_photo(page, photo_id)
    page.keyboard.press("r")
    page.locator("#corners-try .values").wait_for()
    shot(page, f"card-corners-{light}")
    assert faults_of_access(page) == []
    page.set_viewport_size({"width": 390, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.locator("#card-panel").scroll_into_view_if_needed()
    shot(page, f"card-corners-phone-{light}")
    small = page.evaluate(
        "[...document.querySelectorAll('#card-panel button')].filter((b) =>"
        " b.offsetParent && b.getBoundingClientRect().height < 44).length"
    )
    assert small == 0


def test_corners_set_by_mouse_where_no_card_was_found_give_the_true_scale(
    server_of,
    open_page,
    bare,
    shot,
    screen_of,
):
    project, corners = bare
    photo_id, row = only_photo(project)
    assert row.outcome == "no_card"
    page = open_page(server_of(project))
    open_photo(page, photo_id)
    assert page.get_by_role("button", name="Line l", exact=True).is_disabled()
    page.get_by_role("button", name="Set its corners").click()
    page.get_by_label("Which card").select_option("field")
    for n, point in enumerate(corners):
        page.locator("#corners-hint", has_text=f"Corner {n + 1}").wait_for()
        page.mouse.click(*screen_of(page, point))
        page.wait_for_timeout(350)
    page.locator("#corners-try .values").wait_for()
    shot(page, "card-corners-set")
    # one corner dragged away, and undone
    x, y = screen_of(page, corners[2])
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 60, y + 40, steps=4)
    page.mouse.up()
    page.get_by_role("button", name="Undo").click()
    page.wait_for_timeout(800)
    page.get_by_role("button", name="Correct with these corners").click()
    saved(page)
    _, now = only_photo(project)
    set_px = np.array(now.geometry["corners_px"])
    step = 1.0 / page.evaluate(
        "async () => (await (await dryslateModule('photo/viewer.js')).opened).scale"
    )
    assert np.abs(set_px - corners).max() <= step  # a click is a whole pixel of the screen
    card = wiring.reference_tables().card("field")
    true_scale = float(np.hypot(*(corners[1] - corners[0]))) / card.width_mm
    scale = now.result["scale"]
    assert abs(scale["px_per_mm"] - true_scale) < 2 * scale["px_per_mm_u"]
    assert scale["px_per_mm"] == pytest.approx(true_scale, rel=0.02)
    card_told = now.result["card"]
    assert card_told["tilt_deg"] < 3 * card_told["tilt_deg_u"] + 3  # it lies straight
    assert now.geometry["by_hand"]["observer"] == "Ines Varro"
    assert not page.get_by_role("button", name="Line l", exact=True).is_disabled()
    assert "px/mm at the card" in page.locator("#scale-words").inner_text()
    if now.outcome == "corrected":  # its picture is shown at once
        assert page.locator("#share").is_enabled()
    page.locator("#card-panel").scroll_into_view_if_needed()
    shot(page, "card-corners-saved")
    page.keyboard.press("Control+z")
    page.get_by_text("No card was found in this photo.").wait_for()
    assert only_photo(project)[1].outcome == "no_card"
    page.keyboard.press("Control+Shift+Z")
    page.locator(".seen-card", has_text="corners set by hand").wait_for()
    assert only_photo(project)[1].key == now.key


def test_corners_moved_by_keys_alone_are_saved_and_taken_back(
    server_of, open_page, own_project, shot
):
    photo_id, row = only_photo(own_project, "DRY_0001.JPG")
    page = open_page(server_of(own_project))
    open_photo(page, photo_id)
    keys = page.keyboard
    keys.press("r")
    page.locator("#corners-try .values").wait_for()
    keys.press("3")
    for key in ("ArrowRight", "ArrowRight", "Shift+ArrowDown", "ArrowUp"):
        keys.press(key)
    assert page.locator("#loupe").is_visible()
    keys.press("Control+z")
    keys.press("Control+Shift+Z")
    page.wait_for_timeout(700)
    shot(page, "card-corners-keys")
    keys.press("Enter")
    saved(page)
    _, now = only_photo(own_project, "DRY_0001.JPG")
    moved = np.array(now.geometry["corners_px"]) - np.array(row.geometry["corners_px"])
    assert moved == pytest.approx(np.array([[0, 0], [0, 0], [2, 9], [0, 0]]), abs=1e-6)
    page.locator("#again").wait_for()
    page.locator("#take-again").focus()
    keys.press("Enter")
    page.locator("#undo[title='take new values']").wait_for()
    with wiring.survey_store(own_project, write=False) as store:
        mine = [m for m in store.measurements() if m.photo_id == photo_id]
        assert {m.correction_key for m in mine if m.kind != "colour"} == {now.key}
    keys.press("Control+z")
    page.locator("#again").wait_for()
    keys.press("Control+z")
    page.locator(".seen-card", has_text="found by 4 of its 4 markers").wait_for()
    assert only_photo(own_project, "DRY_0001.JPG")[1].key == row.key
    assert page.locator("#again").count() == 0


def test_corners_that_fold_say_so_and_cannot_be_saved(server_of, open_page, own_project):
    photo_id, row = only_photo(own_project, "DRY_0001.JPG")
    page = open_page(server_of(own_project))
    open_photo(page, photo_id)
    page.keyboard.press("r")
    page.locator("#corners-try .values").wait_for()
    page.keyboard.press("1")
    for _ in range(4):
        page.keyboard.press("Control+ArrowRight")
    page.locator('#corners-try [data-slug^="corners-"]').first.wait_for()
    assert page.locator("#corners-save").is_disabled()
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    assert page.locator("#corners-tool").is_hidden()
    assert only_photo(own_project, "DRY_0001.JPG")[1].key == row.key


def test_two_browsers_at_once_show_both_and_the_second_chooses(
    server_of, open_page, own_project, shot
):
    photo_id, _ = only_photo(own_project, "DRY_0001.JPG")
    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        store.save_observer(Observer(observer="Tomo Halle"))
    server = server_of(own_project)
    first, second = open_page(server, observer="Tomo Halle"), open_page(server)
    for page, key in ((first, "ArrowLeft"), (second, "ArrowRight")):
        open_photo(page, photo_id)
        page.keyboard.press("r")
        page.locator("#corners-try .values").wait_for()
        page.keyboard.press("1")
        page.keyboard.press(key)
        page.wait_for_timeout(500)
    first.keyboard.press("Enter")
    saved(first)
    theirs = only_photo(own_project, "DRY_0001.JPG")[1]
    second.keyboard.press("Enter")
    both = second.locator("#hand-both")
    both.get_by_text("Tomo Halle", exact=False).first.wait_for()
    second.expected_errors[:] = [e for e in second.expected_errors if "409" not in e]
    shot(second, "card-both")
    assert only_photo(own_project, "DRY_0001.JPG")[1].key == theirs.key
    both.get_by_role("button", name="Save mine").click()
    saved(second)
    mine = only_photo(own_project, "DRY_0001.JPG")[1]
    assert mine.geometry["by_hand"]["observer"] == "Ines Varro"
    assert re.fullmatch("[0-9a-f]{64}", mine.key)
    assert mine.key != theirs.key


CHIP = (622.0, 262.0)  # a grey chip lies there, on no card


def test_a_grey_point_is_picked_by_mouse_shared_and_taken_back(
    server_of,
    open_page,
    own_project,
    shot,
    faults_of_access,
    screen_of,
):
    photo_id, row = only_photo(own_project, "DRY_0001.JPG")
    other, before = only_photo(own_project, "DRY_0003.JPG")
    page = open_page(server_of(own_project))
    open_photo(page, photo_id)
    page.get_by_role("button", name="Grey point").click()
    page.mouse.click(*screen_of(page, CHIP))
    page.locator("#grey-try img").wait_for()
    shot(page, "card-grey-tried")
    assert faults_of_access(page) == []
    page.get_by_role("button", name="Correct by this point").click()
    saved(page)
    now = only_photo(own_project, "DRY_0001.JPG")[1]
    assert now.result["colour"]["fit"] == "one_point"
    # the chip, seen by its own pixels, is neutral in the corrected picture
    picture = own_project / now.corrected_path
    with Image.open(picture) as image:
        spot = np.array(image.convert("RGB").crop((618, 258, 627, 267))).reshape(-1, 3).mean(axis=0)
    assert np.ptp(spot) < 6
    assert page.locator("circle.picked").count() == 1
    page.get_by_role("button", name="Use this point for other photos").click()
    page.locator("#share-save").wait_for()
    assert faults_of_access(page) == []
    shot(page, "card-share")
    page.set_viewport_size({"width": 390, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.set_viewport_size({"width": 1280, "height": 720})
    page.locator("#share-save").click()
    page.locator("#jobs").get_by_text("done").wait_for()
    assert only_photo(own_project, "DRY_0003.JPG")[1].result["borrowed_from"] == photo_id
    page.keyboard.press("Control+z")
    page.locator("#jobs .job").nth(1).get_by_text("done").wait_for()
    assert only_photo(own_project, "DRY_0003.JPG")[1].key == before.key
    page.keyboard.press("Control+z")
    page.locator(".seen-card", has_text="its colours are measured").wait_for()
    assert only_photo(own_project, "DRY_0001.JPG")[1].key == row.key
    assert page.locator("circle.picked").count() == 0
    assert other != photo_id


def test_a_white_point_is_picked_by_keys_alone(server_of, open_page, own_project):
    photo_id, _ = only_photo(own_project, "DRY_0001.JPG")
    page = open_page(server_of(own_project))
    open_photo(page, photo_id)
    keys = page.keyboard
    keys.press("u")
    keys.press("Shift+ArrowUp")
    keys.press("Space")
    assert page.locator('[data-layer="hand"] .handle').count() == 1
    keys.press("Control+z")
    assert page.locator('[data-layer="hand"] .handle').count() == 0
    keys.press("Control+Shift+Z")
    at = page.locator('[data-layer="hand"] .handle').get_attribute("aria-valuetext")
    keys.press("ArrowDown")
    page.wait_for_timeout(800)
    page.locator("#white-save:enabled, #white-try [data-slug]").first.wait_for()
    if page.locator("#white-save").is_enabled():
        keys.press("Enter")
        saved(page)
        picked = only_photo(own_project, "DRY_0001.JPG")[1].colour["loan"]["picked"]
        assert picked["what"] == "white"
        assert picked["xy_px"][1] == pytest.approx(float(at.split("y ")[1]) + 1)
    else:
        assert page.locator("#white-try [data-slug]").count() > 0


DESIGN = "target24"


@pytest.fixture
def deck(tmp_path, card_photos: ModuleType) -> tuple[Path, np.ndarray]:
    """A project with a straight photo of a chart, and the true corners of that."""
    (tmp_path / "memory").mkdir()
    plan = card_photos.Plan(card=DESIGN, cast=(0.9, 1.0, 0.95), width_px=900.0)
    corners = card_photos.save_photo(plan, tmp_path / "memory" / "CHART.JPG")
    trip, visit = tmp_path / "trip", ("--visit", "Boat deck", "2031-05-04")
    run("take", tmp_path / "memory", "--into", trip, *visit, "--observer", "Ines Varro")
    return trip, corners


def refuse_name(page, field, name):
    """Type a name that no card can have; Enter in its field asks for it to be saved."""
    field.fill(name)
    field.press("Enter")
    page.locator("#said").get_by_text("cannot be the name of a card").wait_for()
    page.expected_errors[:] = [e for e in page.expected_errors if "422" not in e]


def test_a_card_is_defined_from_the_photo_with_its_true_size_and_put_away_again(
    server_of,
    open_page,
    deck,
    shot,
    faults_of_access,
    screen_of,
):
    project, corners = deck
    truth = wiring.reference_tables().card(DESIGN)
    across = (corners[1] - corners[0]) / truth.width_mm
    down = (corners[3] - corners[0]) / truth.height_mm

    def at(x_mm, y_mm):
        return corners[0] + x_mm * across + y_mm * down

    photo_id, _ = only_photo(project)
    page = open_page(server_of(project))
    open_photo(page, photo_id)
    page.keyboard.press("d")
    inner = [(p.x_mm + 10, p.y_mm + 14) for p in (truth.patches[0], truth.patches[-1])]
    marks = [*corners, at(10.0, 100.0), at(260.0, 100.0)]
    for x, y in inner:
        marks += [at(x, y), at(x + 14, y + 10)]
    for n, mark in enumerate(marks):
        page.mouse.click(*screen_of(page, mark))
        page.wait_for_timeout(350)
        assert page.locator('[data-layer="hand"] .handle').count() == n + 1
    page.keyboard.press("Backspace")  # the last mark anew, by keys alone
    x, y = (round(float(v)) for v in marks[-1])
    cross = page.locator('[data-layer="hand"] .cross path').first.get_attribute("d")
    found = [float(v) for v in re.findall(r"-?[\d.]+", cross)]
    now_y = round(found[1])
    for _ in range(abs(y - now_y)):
        page.keyboard.press("ArrowDown" if y > now_y else "ArrowUp")
    page.keyboard.press("Space")
    assert page.locator('[data-layer="hand"] .handle').count() == len(marks)
    page.get_by_label("Millimetres between the two ticks").fill("250")
    page.get_by_text("Patches in rows and columns").click()
    page.get_by_label("Columns").press("Enter")  # fills in
    page.locator("#define-patches li").nth(23).wait_for()
    page.locator("#define-try", has_text="Size of the card").wait_for()
    name = page.get_by_label("Name of the card")
    refuse_name(page, name, "Deck chart")
    name.fill("deck-chart")
    shot(page, "card-define")
    assert faults_of_access(page) == []
    name.press("Enter")
    page.get_by_text("Card deck-chart is saved in this project.").wait_for()
    assert page.locator("#said").inner_text() == ""
    assert page.get_by_role("link", name="Correct the photos of this visit by it").count() == 1
    shot(page, "card-defined")
    assert faults_of_access(page) == []
    card = wiring.reference_tables(project).card("deck-chart")
    assert card.width_mm == pytest.approx(truth.width_mm, rel=3 * card.print_scale_u_frac)
    assert card.height_mm == pytest.approx(truth.height_mm, rel=3 * card.print_scale_u_frac)
    assert len(card.patches) == 24
    assert 6 <= len(card.neutrals) <= 10  # as suggested by how they look
    page.get_by_role("button", name="Undo").click()
    page.get_by_text("Card deck-chart is saved in this project.").wait_for(state="detached")
    assert "deck-chart" not in [c.name for c in wiring.reference_tables(project).cards()]
    page.get_by_role("button", name="Redo").click()
    page.get_by_text("Card deck-chart is saved in this project.").wait_for()
    assert "deck-chart" in [c.name for c in wiring.reference_tables(project).cards()]


def test_a_photo_that_is_not_corrected_says_only_that_where_others_are_compared(
    server_of, open_page, deck
):
    project, _ = deck
    page = open_page(server_of(project))
    open_photo(page, only_photo(project)[0])
    assert page.locator("#share").is_hidden()
    words = page.locator("#share-words")
    assert words.inner_text() == "not corrected"
    box = words.bounding_box()
    assert box["x"] + box["width"] <= page.locator("#zoom-out").bounding_box()["x"]
