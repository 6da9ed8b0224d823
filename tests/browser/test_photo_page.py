"""The photo page in a real browser: seen, measured and noted by mouse and by keyboard alone."""

from __future__ import annotations

import re

import pytest

from dryslate import wiring


def first_measured(project):
    """The photo with the most measurements, and its correction."""
    with wiring.survey_store(project, write=False) as store:
        rows = store.measurements()
        photo_id = next(m.photo_id for m in rows if m.kind == "outline")
        return photo_id, store.correction(photo_id)


def standing(project, photo_id):
    with wiring.survey_store(project, write=False) as store:
        return [m for m in store.measurements() if m.photo_id == photo_id]


def open_photo(page, photo_id):
    page.goto(f"/photos/{photo_id}")
    page.locator("html[data-photo=open]").wait_for(state="attached")
    return page.locator("#stage").bounding_box()


def reading(page):
    return page.locator("#reading .value").inner_text()


@pytest.mark.parametrize("light", ["light", "dark"])
def test_photo_page_fits_its_window_and_has_no_fault_of_access(
    light, server_of, open_page, web_project, shot, faults_of_access
):
    page = open_page(server_of(web_project), color_scheme=light)
    photo_id, _ = first_measured(web_project)
    open_photo(page, photo_id)
    assert page.locator("h1").count() == 1
    box = page.locator(".bench").bounding_box()
    assert box["y"] + box["height"] <= 720
    page.keyboard.press(".")
    page.wait_for_timeout(150)
    shot(page, f"photo-{light}")
    assert faults_of_access(page) == []
    page.set_viewport_size({"width": 390, "height": 800})
    page.wait_for_timeout(100)
    shot(page, f"photo-phone-{light}", full_page=True)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_drawing_lies_on_the_pixels_it_is_about(server_of, open_page, web_project):
    page = open_page(server_of(web_project))
    photo_id, row = first_measured(web_project)
    box = open_photo(page, photo_id)
    told = page.evaluate(
        "async () => { const m = await dryslateModule('photo/viewer.js');"
        " const view = await m.opened; view.show([100, 100, 140, 130], 0);"
        " await new Promise((r) => setTimeout(r, 100));"
        " const at = view.toScreen([120, 115]), back = view.toPhoto({x: at[0], y: at[1]});"
        " const s = view.scale, edge = view.toScreen([-0.5, -0.5]);"
        " const c = view.group.getCTM(); view.whole();"
        " await new Promise((r) => setTimeout(r, 100)); const corner = view.toScreen([-0.5, -0.5]);"
        " const end = view.toScreen([view.photo.width_px - 0.5, view.photo.height_px - 0.5]);"
        " return {drawer: view.drawerName, back, s, at, c: [c.a, c.e, c.f], corner, end,"
        " size: [view.element.clientWidth, view.element.clientHeight]}; }"
    )
    assert told["drawer"] == "canvas"
    assert told["back"] == pytest.approx([120, 115], abs=1e-6)
    a, e, f = told["c"]
    assert [120 * a + e, 115 * a + f] == pytest.approx(told["at"], abs=0.01)
    # whole photo in view: its outer edges, half a pixel from the outer centres, fill one side
    gaps = [told["corner"][0], told["corner"][1]]
    assert min(map(abs, gaps)) < 0.6
    ends = [told["size"][i] - told["end"][i] for i in (0, 1)]
    assert ends == pytest.approx(gaps, abs=1.0)
    card = page.locator('[data-layer="cards"] path.over').first.get_attribute("d")
    first = [float(v) for v in re.findall(r"[-\d.]+", card)[:2]]
    assert first == pytest.approx(row.result["cards"][0]["corners_px"][0])
    assert box["width"] > 600


def test_a_line_is_measured_and_saved_by_mouse_and_undone(
    server_of, open_page, own_project, shot, screen_of
):
    page = open_page(server_of(own_project))
    photo_id, row = first_measured(own_project)
    open_photo(page, photo_id)
    n_before = len(standing(own_project, photo_id))
    page.get_by_role("button", name="Line l", exact=True).click()
    (ax, ay), (bx, by) = row.geometry["corners_px"][:2]  # the card's own upper edge
    for x, y in ((ax, ay), (bx, by)):
        page.mouse.move(*screen_of(page, (x, y)), steps=2)
        page.mouse.click(*screen_of(page, (x, y)))
        page.wait_for_timeout(350)
    page.locator("#save-form").wait_for()
    page.get_by_label("edge").check()
    page.wait_for_timeout(150)
    # the card is 148 mm wide by its definition; a click is a screen pixel, several of the photo
    assert float(reading(page).split()[0]) == pytest.approx(row_width_mm(own_project, row), abs=2.5)
    shot(page, "photo-line")
    page.get_by_label("Which coral").fill("Edge of the card")
    page.get_by_role("button", name="Save Enter").click()
    page.get_by_text("Saved.").wait_for()
    assert len(standing(own_project, photo_id)) == n_before + 1
    page.keyboard.press("Control+z")
    page.get_by_text("No longer standing").wait_for()
    assert len(standing(own_project, photo_id)) == n_before
    page.get_by_role("button", name="Redo").click()
    page.get_by_role("button", name="Edge of the card, line").wait_for()
    assert len(standing(own_project, photo_id)) == n_before + 1


def test_points_may_be_set_close_to_each_other_and_are_still_dragged(
    server_of, open_page, own_project, screen_of
):
    page = open_page(server_of(own_project))
    photo_id, _ = first_measured(own_project)
    open_photo(page, photo_id)
    page.keyboard.press("k")
    page.locator("button[data-kind=corallites][aria-pressed=true]").wait_for()
    handles = page.locator('[data-layer="now"] .handle')
    x, y = screen_of(page, (700, 600))
    far = 14  # of the screen: two sides of one corallite in the whole photo
    for n, at in enumerate((x, x + far, x + 2 * far, x + 3 * far), start=1):
        page.mouse.click(at, y)
        handles.nth(n - 1).wait_for(state="attached")
        page.wait_for_timeout(350)  # two clicks within a third of a second are one double click
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 40, y, steps=4)
    page.mouse.up()
    assert handles.count() == 4
    assert float(handles.first.get_attribute("aria-valuenow")) < 680


def row_width_mm(project, row):
    """How wide the card of a correction is, by its definition."""
    return wiring.reference_tables(project).card(row.geometry["card"]).width_mm


def test_an_outline_and_its_corals_health_by_keyboard_alone(
    server_of, open_page, own_project, shot
):
    page = open_page(server_of(own_project))
    photo_id, _ = first_measured(own_project)
    open_photo(page, photo_id)
    keys = page.keyboard
    keys.press("o")
    for moves in ([], ["Control+ArrowRight"], ["Control+ArrowDown"]):
        for move in moves:
            keys.press(move)
        keys.press("Space")
    assert page.locator('[data-layer="now"] .handle').count() == 3
    keys.press("Control+z")
    assert page.locator('[data-layer="now"] .handle').count() == 2
    keys.press("Control+Shift+Z")
    keys.press("Enter")
    keys.press("t")
    assert page.get_by_label("top").is_checked()
    page.locator('[data-layer="now"] .handle').nth(0).focus()
    before = page.locator('[data-layer="now"] .handle').nth(0).get_attribute("aria-valuetext")
    keys.press("Shift+ArrowLeft")
    keys.press("ArrowLeft")
    after = page.locator('[data-layer="now"] .handle').nth(0).get_attribute("aria-valuetext")
    x0, x1 = (float(re.search(r"x ([\d.]+)", text)[1]) for text in (before, after))
    assert x0 - x1 == pytest.approx(11.0)
    assert not page.locator("#loupe").is_hidden()
    page.wait_for_timeout(150)
    shot(page, "photo-outline-keys")
    keys.press("Enter")  # no coral named yet: asks for it
    assert page.evaluate("document.activeElement.id") == "coral-label"
    keys.type("Keys 1")
    keys.press("Enter")
    page.get_by_text("Saved.").wait_for()
    saved = next(m for m in standing(own_project, photo_id) if m.colony == "Keys 1")
    assert saved.kind == "outline"
    assert saved.values["card_stood"] == "top"


def test_how_a_coral_looks_is_noted_by_keys_and_has_to_make_a_whole(
    server_of, open_page, own_project, shot
):
    page = open_page(server_of(own_project))
    photo_id, _ = first_measured(own_project)
    open_photo(page, photo_id)
    page.keyboard.press(".")
    keys = page.keyboard
    keys.press("h")
    assert page.evaluate("document.activeElement.id") == "normal_pct"
    keys.type("60")
    keys.press("Tab")
    keys.press("Tab")
    page.locator("#pale_pct").fill("50")
    keys.press("Enter")
    page.locator('#said [href*="health-sum-not-100"], #said').get_by_text("110").wait_for()
    page.locator("#pale_pct").fill("20")
    page.locator("#bleached_pct").fill("20")
    for name in ("recently_dead_pct", "old_dead_pct"):
        page.locator(f"#{name}").fill("0")
    assert "makes 100 %" in page.locator(".fractions .sum").inner_text()
    page.get_by_role("button", name="Save how it looks").click()
    page.locator("#undo[title='Save how it looks']").wait_for()
    page.expected_errors[:] = [e for e in page.expected_errors if "422" not in e]
    shot(page, "photo-health")
    with wiring.survey_store(own_project, write=False) as store:
        (health,) = store.coral_health()
    assert (health.normal_pct, health.pale_pct, health.bleached_pct) == (60.0, 20.0, 20.0)


def test_a_saved_measurement_is_set_better_and_moved_to_another_coral(
    server_of, open_page, own_project
):
    page = open_page(server_of(own_project))
    photo_id, _ = first_measured(own_project)
    open_photo(page, photo_id)
    page.keyboard.press(".")
    old = standing(own_project, photo_id)[0]
    page.get_by_role("button", name="Set its points better").first.click()
    page.locator('[data-layer="now"] .handle').first.wait_for()
    page.keyboard.press("ArrowRight")
    page.get_by_role("button", name="Save Enter").click()
    page.get_by_text("Saved.").wait_for()
    now = standing(own_project, photo_id)
    assert old.measurement_id not in {m.measurement_id for m in now}
    better = next(m for m in now if m.points_px[1:] == old.points_px[1:] and m.kind == old.kind)
    assert better.points_px[0][0] == pytest.approx(old.points_px[0][0] + 1.0)
    line = page.locator(f'li[data-id="{better.measurement_id}"]')
    line.locator("button.line").click()
    line.get_by_label("It is of another coral").fill("Moved")
    line.get_by_role("button", name="Move it there").click()
    page.get_by_role("button", name="Moved, ").wait_for()
    assert "Moved" in {m.colony for m in standing(own_project, photo_id)}


def test_slider_shows_both_pictures_and_the_grid_its_lines(server_of, open_page, web_project, shot):
    page = open_page(server_of(web_project))
    photo_id, _ = first_measured(web_project)
    box = open_photo(page, photo_id)
    page.wait_for_timeout(400)
    middle = {
        "x": box["x"] + box["width"] * 0.5,
        "y": box["y"] + box["height"] * 0.5,
        "width": 40,
        "height": 40,
    }
    corrected = page.screenshot(clip=middle)
    page.keyboard.press("x")
    page.wait_for_timeout(200)
    original = page.screenshot(clip=middle)
    assert corrected != original
    page.keyboard.press("x")
    page.wait_for_timeout(200)
    assert page.screenshot(clip=middle) == corrected
    page.keyboard.press("m")
    page.locator("[data-layer=grid] path").nth(10).wait_for(state="attached")
    assert "mm" in page.locator("#grid-button output").inner_text()
    shot(page, "mm-lines")
    page.keyboard.press("m")
    assert page.locator("[data-layer=grid] path").count() == 0
    with page.expect_download() as saved:
        page.keyboard.press("w")
    assert saved.value.suggested_filename.endswith("-part.png")


def test_a_point_set_from_afar_carries_more_doubt_until_it_is_moved_by_keys(
    server_of, open_page, web_project
):
    page = open_page(server_of(web_project))
    photo_id, _ = first_measured(web_project)
    box = open_photo(page, photo_id)
    page.keyboard.press("p")
    for share in (0.3, 0.5, 0.7):
        page.mouse.click(box["x"] + box["width"] * share, box["y"] + box["height"] * 0.5)
        page.wait_for_timeout(350)
    page.keyboard.press("Enter")
    page.get_by_text("a point may be").wait_for()
    cause = page.locator("#reading .budget li", has_text="where the points were set")
    far = cause.text_content()
    handles = page.locator('[data-layer="now"] .handle')
    for n in range(3):
        handles.nth(n).focus()
        page.keyboard.press("ArrowUp")
    page.wait_for_timeout(250)
    assert page.get_by_text("a point may be").count() == 0
    near = cause.text_content()
    doubts = [float(re.search(r"± ([\d.]+)", text)[1]) for text in (far, near)]
    assert doubts[1] < 0.7 * doubts[0]
    page.keyboard.press("i")  # after the last of an open line there is none to put it before
    assert handles.count() == 3
    handles.nth(0).focus()
    page.keyboard.press("i")
    assert handles.count() == 4
    page.keyboard.press("Delete")
    assert handles.count() == 3
    page.keyboard.press("Escape")
    assert handles.count() == 0


def test_tiles_are_there_before_the_viewer_asks_and_come_once(server_of, open_page, web_project):
    page = open_page(server_of(web_project))
    photo_id, _ = first_measured(web_project)
    open_photo(page, photo_id)
    page.wait_for_function("performance.getEntriesByName('photo-sharp').length > 0")
    told = page.evaluate(
        "() => ({opened: performance.getEntriesByName('photo-open')[0].startTime,"
        " tiles: performance.getEntriesByType('resource')"
        " .filter((e) => e.name.includes('/tiles/corrected/')).map((e) => [e.name, e.startTime])})"
    )
    assert min(at for _, at in told["tiles"]) < told["opened"]
    assert len({name for name, _ in told["tiles"]}) == len(told["tiles"])


def test_what_is_measured_comes_with_the_page(server_of, open_page, web_project):
    page = open_page(server_of(web_project))
    photo_id, _ = first_measured(web_project)
    asked = []
    page.on("request", lambda r: asked.append(r.url) if r.url.endswith("/state") else None)
    open_photo(page, photo_id)
    assert page.locator("#measured li").count() >= len(standing(web_project, photo_id))
    assert asked == []


def test_reading_is_asked_for_before_the_frame_and_only_once(
    server_of, open_page, own_project, screen_of
):
    page = open_page(server_of(own_project))
    photo_id, row = first_measured(own_project)
    open_photo(page, photo_id)
    x, y = screen_of(page, row.result["cards"][0]["corners_px"][0])
    page.keyboard.press("l")
    page.mouse.click(x, y)
    asked = []
    page.on("request", lambda r: asked.append(r) if r.url.endswith("/measure/try") else None)
    send = (
        "([kind, x, y]) => document.querySelector('#stage .openseadragon-canvas').dispatchEvent("
        "new PointerEvent(kind, {clientX: x, clientY: y, bubbles: true}))"
    )
    with page.expect_response("**/measure/try"):
        page.evaluate(send, ["pointerrawupdate", x + 80, y + 10])
    page.evaluate(send, ["pointermove", x + 80, y + 10])  # the same move, as the frame begins
    page.wait_for_timeout(200)
    assert len(asked) == 1
    assert "mm" in reading(page)
    with page.expect_response("**/measure/try"):  # browsers that know the second kind alone
        page.evaluate(send, ["pointermove", x + 90, y + 10])
    assert len(asked) == 2


def click_points(page, screen_of, points):
    for xy in points:
        page.mouse.click(*screen_of(page, xy))
        page.wait_for_timeout(350)  # two clicks within a third of a second are one double click


def test_an_outline_is_finished_without_a_keyboard_and_never_goes_to_the_coral_before(
    server_of, open_page, own_project, screen_of
):
    page = open_page(server_of(own_project))
    photo_id, _ = first_measured(own_project)
    open_photo(page, photo_id)
    start = page.get_by_role("button", name="Outline o", exact=True)
    finish, label = page.locator("#finish"), page.locator("#coral-label")
    start.click()
    click_points(page, screen_of, [(700, 600), (900, 600)])
    assert finish.is_disabled()
    click_points(page, screen_of, [(900, 800)])
    finish.click()
    label.fill("One")
    page.get_by_role("button", name="Save Enter").click()
    page.get_by_text("Saved.", exact=True).wait_for()
    start.click()
    click_points(page, screen_of, [(300, 200), (500, 200), (500, 400), (300, 200)])
    label.wait_for()
    assert label.input_value() == ""  # it was filled in with the coral before
    label.fill("One")
    assert "One has an outline in this photo already" in page.locator("#outlined").inner_text()
    label.fill("Two")
    assert page.locator("#outlined").inner_text() == ""
    page.get_by_role("button", name="Save Enter").click()
    page.get_by_role("button", name="Two, outline").wait_for()
    kept = {m.colony: len(m.points_px) for m in standing(own_project, photo_id)}
    assert (kept["One"], kept["Two"]) == (3, 3)
    start.click()
    page.locator("#drop-now").click()
    assert page.locator("#draw-bar").is_hidden()


def test_typed_shares_outlast_other_work_and_what_was_saved_is_said(
    server_of, open_page, own_project
):
    page = open_page(server_of(own_project))
    photo_id, _ = first_measured(own_project)
    open_photo(page, photo_id)
    keys = page.keyboard
    keys.press(".")
    keys.press("h")
    keys.type("90")
    keys.press("Tab")
    assert page.evaluate("document.activeElement.id") == "pale_pct"
    keys.type("5")
    keys.press("Shift+Tab")
    page.locator("#measured button.line").last.click()  # draws the panel anew
    page.locator("#measured button.line").first.click()
    typed = [page.locator(f"#{name}_pct").input_value() for name in ("normal", "pale")]
    assert typed == ["90", "5"]
    page.locator("#normal_pct").press("Enter")
    page.get_by_text("makes 95 %, 5 % to go · Saved.").wait_for()
    assert page.evaluate("document.activeElement.id") == "name-it"
    keys.press("Control+z")
    page.get_by_text("not judged: it stays unknown").wait_for()
    keys.press("Control+Shift+Z")
    page.get_by_text("makes 95 %, 5 % to go · Saved.").wait_for()
    keys.press("a")
    page.locator("#states[aria-busy=false]").wait_for(state="attached")
    assert "onward" in page.content()
    page.locator("#name").fill("Porites")
    with page.expect_navigation():
        page.locator(".sure button[value='4']").click()
    assert page.url.endswith(f"/photos/{photo_id}")
    page.locator("#said").get_by_text("Porites. Saved.").wait_for()


def test_the_bar_under_the_photo_is_one_row_in_french_too(server_of, open_page, web_project):
    page = open_page(server_of(web_project), locale="fr-FR")
    photo_id, _ = first_measured(web_project)
    open_photo(page, photo_id)
    boxes = [b.bounding_box() for b in page.locator(".stage-bar button").all()]
    assert len({round(box["y"]) for box in boxes}) == 1
    assert min(box["width"] for box in boxes) >= 44
