"""The report of a small project, made as a person would: take, correct, measure, report."""

from __future__ import annotations

import html.parser
import json
import re
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.records import ControlObject
from dryslate.base.errors import DryslateError
from dryslate.cli.main import build_app

VOID = {"meta", "img", "br", "rect", "circle", "path", "use", "input", "link", "hr"}


def run(*words: object) -> Any:
    done = CliRunner().invoke(build_app(), [*map(str, words)])
    if isinstance(done.exception, DryslateError):
        raise done.exception
    return done


class Page(html.parser.HTMLParser):
    """Reads a page: its text, links and anything that would be fetched."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.fetched: list[str] = []
        self.words: list[str] = []
        self.feed(text)
        self.text = " ".join(" ".join(self.words).split())

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if tag not in VOID:
            self.open.append(tag)
        if "id" in given:
            self.ids.append(given["id"])
        if tag == "a":
            self.links.append(given["href"])
        for name in ("src", "srcset", "data", "action", "poster"):
            if name in given and not given[name].startswith("data:"):
                self.fetched.append(given[name])
        if tag in ("link", "script", "iframe", "object"):
            self.fetched.append(tag)

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.open.pop() == tag, f"</{tag}> closes another element"

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)


@pytest.fixture(scope="module")
def trip(tmp_path_factory: pytest.TempPathFactory, card_photos: ModuleType) -> Path:
    """A project with a corrected photo, one without a card, and something that is no photo."""
    folder = tmp_path_factory.mktemp("report")
    source, project = folder / "card", folder / "Far <reef> & bay"
    source.mkdir()
    plan = card_photos.Plan()
    card_photos.save_photo(plan, source / "IMG_0001.jpg")
    card_photos.save_photo(
        card_photos.Plan(card=None, seed=3, taken="2031:05:04 15:00:00", orientation=6),
        source / "IMG_0002.jpg",
    )
    whole = (source / "IMG_0001.jpg").read_bytes()
    (source / "IMG_0003.jpg").write_bytes(whole[: len(whole) // 3])
    run(
        *("take", source, "--into", project, "--visit", "North bay", "2031-05-04"),
        *("--observer", "Ana"),
    )
    run("correct", "--project", project)
    with wiring.survey_store(project, write=True) as store, store.write():
        store.save_control_object(
            ControlObject(name="bar", kind="length", value=(100.0,), value_u=(0.1,))
        )
    corners = card_photos.card_pixels(plan)[1]
    cell = '"' + " ".join(f"{x:.2f},{y:.2f}" for x, y in corners) + '"'
    edge = '"' + " ".join(f"{x:.2f},{y:.2f}" for x, y in corners[:2]) + '"'
    table = folder / "picks.csv"
    table.write_text(
        "photo,colony,kind,points,card_stood,off_plane_mm,off_plane_mm_u\n"
        f"IMG_0001.jpg,N-1 <b>,outline,{cell},base,,\n"
        f"IMG_0001.jpg,N-2,length,{edge},,,\n"
        f"IMG_0001.jpg,bar,length,{edge},,0,1\n",
        encoding="utf-8",
    )
    run("measure", "--project", project, "--from", table, "--observer", "Ana")
    return project


@pytest.fixture(scope="module")
def page(trip: Path) -> Page:
    run("report", trip)
    return Page((trip / "reports" / "report.html").read_text(encoding="utf-8"))


def test_report_is_one_whole_file_that_fetches_nothing(trip: Path, page: Page) -> None:
    assert page.fetched == []
    assert page.open == []
    assert {link for link in page.links if not link.startswith("#")} == set()
    text = (trip / "reports" / "report.html").read_text(encoding="utf-8")
    outside = re.findall(r"url\(([^)]*)\)", text) + re.findall(r"@import[^;]*", text)
    assert all(u.startswith("#") for u in outside)
    addresses = set(re.findall(r"https?://[^\s\"'<>]+", text))
    assert addresses <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}


def test_every_link_leads_to_a_place_that_stands_once(page: Page) -> None:
    anchors = [i for i in page.ids if not i.startswith(("p-", "m", "clip", "DejaVu", "figure"))]
    own = {link[1:] for link in page.links}
    assert own <= set(page.ids)
    assert all(anchors.count(i) == 1 for i in own)


def test_report_says_what_was_done_and_what_was_not(page: Page) -> None:
    assert "1 corrected with own card" in page.text
    assert "no card found" in page.text
    assert "could not be read" in page.text
    assert "Photos left as they are" in page.text
    assert "IMG_0002.jpg" in page.text
    assert "--white X,Y" in page.text  # what would help


def test_report_shows_measured_corals_with_doubt_and_control_objects(
    trip: Path, page: Page
) -> None:
    with wiring.survey_store(trip, write=False) as store:
        (row,) = (r for r in store.measurements() if r.colony == "N-2")
    value, u = row.values["length_mm"], row.values["length_mm_u"]
    assert re.search(rf"{value:.0f}[.\d]* ± {u:.0f}", page.text)
    assert "distance from the card's plane" in page.text
    assert "not stated: assumed within a quarter" in page.text
    assert "Control objects" in page.text
    assert "N-1 <b>" in page.text  # shown, not obeyed
    assert "longest diameter" in page.text


def test_report_names_card_values_hashes_and_versions(trip: Path, page: Page) -> None:
    with wiring.survey_store(trip, write=False) as store:
        photos, rows = store.photos(), store.corrections()
    for photo in photos:
        assert photo.photo_id in page.text
    assert all(r.key in page.text for r in rows)
    assert "numpy" in page.text
    assert "nominal values in air" in page.text


def test_report_has_the_cautions_and_no_dive_advice(page: Page) -> None:
    for words in ("Touch nothing", "hydrocorals sting", "permits", "training", "data come second"):
        assert words in page.text
    assert "decompression" not in page.text.lower()


def test_same_records_give_the_same_bytes(trip: Path, tmp_path: Path) -> None:
    for name in ("a.html", "b.html"):
        assert run("report", trip, "-o", tmp_path / name).exit_code == 0
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.html").read_bytes()


def test_json_answer_counts_what_the_report_shows(trip: Path, tmp_path: Path) -> None:
    done = run("report", trip, "-o", tmp_path / "r.html", "--picture-px", "200", "--json")
    answer = json.loads(done.stdout)
    assert answer["n_visits"] == 1
    assert answer["n_photos"] == sum(answer["outcomes"].values()) == 3
    assert answer["n_measurements"] == 2
    assert Path(answer["report"]).stat().st_size < 400_000


def test_before_and_after_pictures_differ_as_the_correction_says(trip: Path, page: Page) -> None:
    import base64
    import io

    from PIL import Image

    text = (trip / "reports" / "report.html").read_text(encoding="utf-8")
    found = re.findall(r'data:image/jpeg;base64,([^"]+)"', text)
    pictures = [np.asarray(Image.open(io.BytesIO(base64.b64decode(f))), float) for f in found]
    assert len(pictures) == 5  # the first pair, once more as its own entry, and the one left alone
    assert {p.shape for p in pictures} == {(600, 900, 3)}  # all upright, whatever the file's turn
    before, after = (p.reshape(-1, 3).mean(axis=0) for p in pictures[:2])
    assert before[0] < 0.8 * before[1]  # the made water is blue-green
    assert after[0] > before[0]
    assert abs(after[0] - after[1]) < abs(before[0] - before[1])


def test_wishes_that_cannot_be_met_are_refused(trip: Path, tmp_path: Path) -> None:
    with pytest.raises(DryslateError) as caught:
        run("report", trip, "--picture-px", "9")
    assert caught.value.slug == "picture-size-wrong"
    (tmp_path / "file").write_text("x")
    with pytest.raises(DryslateError) as caught:
        run("report", trip, "-o", tmp_path / "file" / "r.html")
    assert caught.value.slug == "write-failed"


def test_empty_project_gives_a_report_that_says_so(tmp_path: Path) -> None:
    run("new", tmp_path / "empty")
    run("report", tmp_path / "empty")
    text = (tmp_path / "empty" / "reports" / "report.html").read_text(encoding="utf-8")
    assert "There are no visits yet" in Page(text).text
