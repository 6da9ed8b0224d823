"""The whole day in one go, from an empty folder to corals named and looked at twice."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from dryslate import wiring

GOLD = Path(__file__).resolve().parents[1] / "gold"
FIRST, SECOND = "Ines Varro", "Tomo Halle"
LONG_MS = 120_000  # a job of the computer's, on a busy machine
CORAL = "Q-1"
# The table coral of the first photo, clockwise, and its longest line, as the stored list has them.
OUTLINE = [(829, 262), (831, 187), (891, 156), (1019, 182), (1095, 277), (1072, 350), (935, 352)]
SEEN = {  # as a diver sees it: question on the page, words of the answer
    "How do the cups sit together?": "one leading cup at each tip",
    "What shape is the whole colony?": "a flat table on a stalk",
}


class Mouse:
    """A hand that points and clicks, and types only what has to be typed."""

    def __init__(self, page) -> None:
        self.page = page

    def press(self, place) -> None:
        """Press a button or follow a link."""
        place.click()

    def fill(self, field, text: str) -> None:
        """Write into a field."""
        field.click()
        field.fill(text)

    def choose(self, field, text: str) -> None:
        """Choose from a list."""
        field.select_option(text)

    def outline(self, points, screen_of) -> None:
        """Set the corners of an outline where the pointer is."""
        self.press(self.page.get_by_role("button", name="Outline o", exact=True))
        for point in points:
            self.page.mouse.click(*screen_of(self.page, point))
            self.page.wait_for_timeout(
                350
            )  # two clicks within a third of a second are one double click
        self.page.keyboard.press("Enter")

    def answer(self, words: str | None) -> None:
        """Answer the question that stands there."""
        states = self.page.locator("#states button")
        place = states.filter(has_text=words) if words else self.page.locator("#unclear")
        place.click()

    def take_name(self, confidence: int) -> None:
        """Take the name that the evidence leads to."""
        self.page.locator("#accept").click()
        self.page.locator(f".sure button[value='{confidence}']").click()


class Keys:
    """A hand that has no mouse: Tab to it, then Enter, arrows or typing."""

    def __init__(self, page) -> None:
        self.page = page
        page.mouse.move(0, 0)

    def _go_to(self, place) -> None:
        wanted = place.element_handle()
        for _ in range(200):
            if self.page.evaluate("(e) => document.activeElement === e", wanted):
                return
            self.page.keyboard.press("Tab")
        pytest.fail(f"no Tab leads to {place}")

    def press(self, place) -> None:
        """Go to a button or link, and press Enter."""
        self._go_to(place)
        self.page.keyboard.press("Enter")

    def fill(self, field, text: str) -> None:
        """Go to a field and type."""
        self._go_to(field)
        if field.get_attribute("type") == "date":
            year, month, day = text.split("-")
            self.page.keyboard.type(f"{month}{day}{year}")  # the browser's own language orders them
        else:
            self.page.keyboard.press("Control+a")
            self.page.keyboard.type(text)

    def choose(self, field, text: str) -> None:
        """Go to a list and type the beginning of what is wanted."""
        self._go_to(field)
        words = field.locator(f"option[value='{text}']").inner_text()
        self.page.keyboard.type(words)

    def outline(self, points, screen_of) -> None:
        """Set the corners of an outline by moving the cross with the arrows."""
        del screen_of
        keys = self.page.keyboard
        keys.press("o")
        self.page.locator("button[data-kind=outline][aria-pressed=true]").wait_for()
        keys.press("Space")
        handle = self.page.locator('[data-layer="now"] .handle')
        told = handle.get_attribute("aria-valuetext")
        at = [float(v) for v in re.search(r"x ([\d.]+); y ([\d.]+)", told).groups()]
        keys.press("Backspace")
        for point in points:
            for axis, (less, more) in enumerate((("Left", "Right"), ("Up", "Down"))):
                far = round(point[axis] - at[axis])
                for step, held in ((200, "Control+"), (20, "Shift+"), (1, "")):
                    for _ in range(abs(far) // step):
                        keys.press(f"{held}Arrow{more if far > 0 else less}")
                    far = (abs(far) % step) * (1 if far > 0 else -1)
                at[axis] = at[axis] + round(point[axis] - at[axis])
            keys.press("Space")
        keys.press("Enter")

    def answer(self, words: str | None) -> None:
        """Answer the question that stands there by the key on its answer."""
        button = self.page.locator("#states button", has_text=words) if words else None
        self.page.keyboard.press(button.locator("kbd").inner_text() if button else "0")

    def take_name(self, confidence: int) -> None:
        """Take the name that the evidence leads to."""
        self.page.keyboard.press("Enter")
        self.page.keyboard.press(str(confidence))


def name_coral(page, do) -> None:
    """Answer until the evidence leads to a genus, and give that name."""
    for _ in range(10):
        page.locator("#states[aria-busy=false]").wait_for(state="attached")
        if page.locator("#verdict").inner_text().strip() == "Acropora":
            break
        do.answer(SEEN.get(page.locator("#question").inner_text()))
    with page.expect_navigation():
        do.take_name(4)


def take_in_and_correct(page, do, shot, how: str) -> None:
    """Say who works and in which sea, take the card in, correct its photos."""
    main = page.locator("main")
    do.fill(main.get_by_label("Your name"), FIRST)
    do.press(main.get_by_role("button", name="Begin"))
    main.get_by_text("Nothing has been taken in yet.").wait_for()
    do.press(page.locator("header").get_by_role("link", name=FIRST))
    do.choose(main.get_by_label("The project works in"), "indo_pacific")
    with page.expect_navigation():
        do.press(main.get_by_role("button", name="Set", exact=True))
    assert main.get_by_label("The project works in").input_value() == "indo_pacific"

    do.press(page.locator("header .trip a"))
    do.press(main.get_by_role("link", name="Take in a memory card"))
    form = page.locator("form[action='/take/folder']")
    do.fill(form.get_by_label("Site"), "Quiet Ledge")
    do.fill(form.get_by_label("Date of the dive"), "2024-03-09")
    do.fill(form.get_by_label("Folder of the card"), str(GOLD / "photos"))
    do.press(form.get_by_role("button", name="Take it in"))
    main.get_by_text("one copy: do not wipe").wait_for(timeout=LONG_MS)
    shot(page, f"day-{how}-taken")

    do.press(main.get_by_role("link", name="Correct the photos"))
    do.press(main.get_by_role("button", name="Correct these 4 photos"))
    page.locator("#jobs").get_by_text("done").wait_for(timeout=LONG_MS)
    with page.expect_navigation():
        do.press(page.locator("#jobs").get_by_role("link", name="See"))
    shot(page, f"day-{how}-corrected")


def outline_and_name(page, do, screen_of, shot, how: str) -> None:
    """Outline a coral in the first photo, and name it."""
    main = page.locator("main")
    page.goto("/photos")
    do.press(main.get_by_role("link", name="DRY_0001.JPG"))
    page.locator("html[data-photo=open]").wait_for(state="attached")
    do.outline(OUTLINE, screen_of)
    page.locator("#save-form").wait_for()
    do.fill(main.get_by_label("Which coral"), CORAL)
    page.keyboard.press("Enter")
    page.get_by_text("Saved.").wait_for()
    shot(page, f"day-{how}-outlined")

    page.goto("/")
    do.press(main.get_by_role("link", name="Name the first"))
    name_coral(page, do)
    shot(page, f"day-{how}-named")


def look_a_second_time(page, do, shot, how: str) -> None:
    """Draw the coral for a second look, and let somebody else look who is not told the name."""
    main = page.locator("main")
    page.goto("/second")
    do.fill(main.get_by_label("Random share, per cent"), "100")
    with page.expect_navigation():
        do.press(main.get_by_role("button", name="Draw", exact=True))
    do.press(page.locator("header").get_by_role("link", name=FIRST))
    do.fill(main.get_by_label("Somebody else"), SECOND)
    do.press(main.get_by_role("button", name="Begin"))
    page.locator("header").get_by_role("link", name=SECOND).wait_for()

    page.goto("/")
    do.press(main.get_by_role("link", name="Look at the first").last)
    do.press(main.get_by_role("link", name="Look at it"))
    page.locator("#states[aria-busy=false]").wait_for(state="attached")
    assert "Acropora" not in main.inner_text()
    name_coral(page, do)
    page.get_by_text("Both said the same: Acropora.").wait_for()
    shot(page, f"day-{how}-agreed")


@pytest.mark.parametrize("hand", [Mouse, Keys])
def test_day_from_an_empty_folder_to_two_looks(
    hand, server_of, open_page, screen_of, tmp_path, shot
) -> None:
    project = tmp_path / "trip"
    project.mkdir()
    page = open_page(server_of(project), observer=None)
    do, how = hand(page), hand.__name__.lower()
    take_in_and_correct(page, do, shot, how)
    outline_and_name(page, do, screen_of, shot, how)
    look_a_second_time(page, do, shot, how)

    with wiring.survey_store(project, write=False) as store:
        (record,) = store.records()
        looks = store.identifications(record.record_id)
    assert (record.colony, record.observer) == (CORAL, FIRST)
    assert [(look.observer, look.name) for look in looks] == [
        (FIRST, "Acropora"),
        (SECOND, "Acropora"),
    ]
    page.goto("/")
    main = page.locator("main")
    left = main.locator("li[data-kind]").evaluate_all("(rows) => rows.map((r) => r.dataset.kind)")
    assert not {"not_corrected", "no_name", "second_look", "third_look"} & set(left), left
    agreed = main.locator("dl.tally div", has_text=re.compile("agreed or settled"))
    assert agreed.locator("dd").text_content() == "1"
    shot(page, f"day-{how}-home")
