"""The list of photos and taking in, in a real browser: by mouse and by keyboard."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

from dryslate import wiring

GOLD = Path(__file__).resolve().parents[1] / "gold" / "photos"


def test_originals_show_while_the_key_is_held_and_arrows_go_from_photo_to_photo(
    server_of, open_page, web_project, shot, faults_of_access
) -> None:
    page = open_page(server_of(web_project))
    page.goto("/photos")
    picture = page.locator("#photos img[data-original]").first
    corrected = picture.get_attribute("src")
    page.keyboard.down("o")
    assert "/thumb/original.jpg" in picture.get_attribute("src")
    page.keyboard.up("o")
    assert picture.get_attribute("src") == corrected
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    name = page.evaluate("document.activeElement.querySelector('.name').textContent")
    assert name == page.locator("#photos .name").nth(1).text_content()
    shot(page, "photos")
    assert faults_of_access(page) == []
    page.keyboard.press("Enter")
    page.wait_for_url("**/photos/*")
    assert page.locator("h1").text_content().strip() == name


def test_photos_are_sent_compared_and_taken_in(
    server_of, open_page, own_project, tmp_path, shot, faults_of_access
) -> None:
    page = open_page(server_of(own_project))
    page.goto("/take")
    assert faults_of_access(page) == []
    shot(page, "take", full_page=True)
    bad = tmp_path / "IMG_9.JPG"
    bad.write_text("no photo at all" * 20, "utf-8")
    sent = [str(p) for p in sorted(GOLD.glob("*.JPG"))[:2]]
    page.get_by_label("or photos one by one").set_input_files([*sent, str(bad)])
    form = page.locator("#upload")
    form.get_by_label("Site").fill("Quiet Ledge")
    form.get_by_label("Date of the dive").fill("2024-05-19")
    page.get_by_role("button", name="Send them").click()
    page.get_by_role("link", name="See what came of it").wait_for()
    assert "IMG_9.JPG" in page.locator("#upload-left-out").text_content()
    shot(page, "take-sent", full_page=True)
    page.get_by_role("link", name="See what came of it").click()
    page.get_by_text("one copy: do not wipe").wait_for()
    shot(page, "take-done", full_page=True)
    assert faults_of_access(page) == []
    with wiring.survey_store(own_project, write=False) as store:
        rows = [r for r in store.card_files() if r.visit_id == "Quiet Ledge 2024-05-19"]
    told = {hashlib.sha256(Path(p).read_bytes()).hexdigest() for p in sent}
    assert {row.sha256 for row in rows} == told
    page.expected_errors[:] = [e for e in page.expected_errors if "422" not in e]


def test_hash_reckoned_in_pieces_is_the_published_one(server_of, open_page, web_project) -> None:
    """FIPS 180-4's examples (one block, two blocks), and Python's hash over piece boundaries."""
    page = open_page(server_of(web_project))
    script = """async (lengths) => {
      const { sha256InPieces } = await import("/static/js/sha256.js");
      const bytes = (n) => Uint8Array.from({ length: n }, (_, i) => (i * 7 + (i >> 8)) & 255);
      const found = [];
      for (const n of lengths) found.push(await sha256InPieces(new Blob([bytes(n)])));
      for (const text of ["abc", "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"])
        found.push(await sha256InPieces(new Blob([text])));
      return found;
    }"""
    lengths = [0, 1, 55, 56, 63, 64, 65, 119, 120, 128, (4 << 20) - 1, 4 << 20, (4 << 20) + 57]
    *found, abc, longer = page.evaluate(script, lengths)
    for n, told in zip(lengths, found, strict=True):
        data = bytes((i * 7 + (i >> 8)) & 255 for i in range(n))
        assert told == hashlib.sha256(data).hexdigest(), n
    assert abc == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert longer == "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"


def test_refused_form_comes_back_as_it_was_typed(
    server_of, open_page, own_project, tmp_path, shot, faults_of_access
) -> None:
    page = open_page(server_of(own_project))
    page.goto("/take")
    page.get_by_label("Site").first.fill("Quiet Ledge")
    page.get_by_label("Zone, where all is of one").first.fill("crest")
    page.get_by_label("Folder of the card").fill(str(tmp_path / "none"))
    page.get_by_role("button", name="Take it in").click()
    page.get_by_role("heading", name="Not done").wait_for()
    assert faults_of_access(page) == []
    shot(page, "take-refused")
    page.get_by_role("link", name="Back, with what was typed").click()
    page.wait_for_url("**/take#again")
    page.wait_for_function("document.getElementById('source').value !== ''")
    assert page.get_by_label("Folder of the card").input_value() == str(tmp_path / "none")
    assert page.get_by_label("Site").first.input_value() == "Quiet Ledge"
    assert page.get_by_label("Zone, where all is of one").first.input_value() == "crest"
    page.expected_errors[:] = [e for e in page.expected_errors if "422" not in e]


def test_a_job_says_that_the_program_is_gone(server_of, open_page, own_project, shot) -> None:
    server = server_of(own_project)
    page = open_page(server)
    page.route(
        "**/jobs/0123456789abcdef/events",
        lambda route: route.fulfill(
            content_type="text/event-stream",
            body='data: {"title": "Taking in", "what": "", "n_done": 2, "n_total": 64,'
            ' "left_s": 9, "state": "running", "problems": [], "page": null}\n\n',
        ),
    )
    page.evaluate(
        "async () => (await import(document.querySelector('script[src*=\"page.js\"]').src))"
        ".follow({job: '0123456789abcdef', title: 'Taking in', what: '', n_done: 2,"
        " n_total: 64, left_s: 9})"
    )
    page.get_by_text("dryslate does not answer: was it stopped?").wait_for()  # the stream ended
    shot(page, "job-lost")


def test_a_photo_whose_file_is_damaged_or_gone_is_told_in_the_list(
    server_of, open_page, own_project
) -> None:
    with wiring.survey_store(own_project, write=False) as store:
        cut, gone = store.photos("Lantern Steps 2024-03-09")[:2]
    paths = [
        wiring.vault(own_project).path_of(one.photo_id, one.files[0].original_name)
        for one in (cut, gone)
    ]
    paths[0].chmod(0o644)
    paths[0].write_bytes(paths[0].read_bytes()[:60_000])
    paths[1].unlink()
    shutil.rmtree(own_project / "derived")
    page = open_page(server_of(own_project))
    page.goto("/photos?visit=Lantern+Steps+2024-03-09")
    for one in (cut, gone):
        line = page.locator(f"#p-{one.photo_id}")
        line.get_by_text("cannot be shown").wait_for()
        assert line.locator("img").count() == 0
    page.expected_errors.clear()
