"""What a photo page tells the browser to fetch before its scripts have run."""

from __future__ import annotations

import re

import pytest

from dryslate import wiring
from dryslate.web.tiles_ahead import tiles_ahead


def view_of(width: int, height: int, corrected: str | None = "v1-b") -> dict[str, object]:
    n, longest = 1, max(width, height)
    while longest > 512:
        longest, n = (longest + 1) // 2, n + 1
    keys = {"original": "v1", "corrected": corrected}
    size = {"width_px": width, "height_px": height, "tile_px": 512, "n_levels": n}
    return {"photo_id": "ab", "keys": keys, **size}


def levels_of(addresses: tuple[str, ...]) -> list[int]:
    return [int(re.search(r"/(\d+)/\d+_\d+\.jpg", one)[1]) for one in addresses]


def test_photo_of_24_megapixels_is_fetched_as_laptops_show_it() -> None:
    *_, sharp = tiles_ahead(view_of(6000, 4000))
    levels = levels_of(sharp.addresses)
    assert {level: levels.count(level) for level in set(levels)} == {4: 1, 3: 2, 2: 6}
    assert len(set(sharp.addresses)) == len(sharp.addresses)
    assert sharp.addresses[0] == "/photos/ab/tiles/corrected/4/0_0.jpg?k=v1-b"
    assert sharp.addresses[-1] == "/photos/ab/tiles/corrected/2/2_1.jpg?k=v1-b"
    least = "(max-resolution: 1dppx) and (min-width: 1199px) and (min-height: 666px)"
    assert sharp.media == f"{least} and (max-width: 1948px), {least} and (max-height: 1165px)"


def test_no_window_fetches_more_than_a_dozen_tiles_of_one_level() -> None:
    for size in ((6000, 4000), (4000, 3000), (9000, 700), (300, 200), (3000, 12000)):
        for ahead in tiles_ahead(view_of(*size)):
            levels = levels_of(ahead.addresses)
            assert max(levels.count(level) for level in levels) <= 12


def test_photo_that_is_not_corrected_comes_as_it_is() -> None:
    for ahead in tiles_ahead(view_of(6000, 4000, corrected=None)):
        assert all("/tiles/original/" in one and one.endswith("?k=v1") for one in ahead.addresses)


def test_page_names_tiles_that_there_are(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    with wiring.survey_store(read_only_project, write=False) as store:
        photo_id = store.measurements()[0].photo_id
    html = pages.get(f"/photos/{photo_id}").text
    named = re.findall(r'<link rel="preload" as="image"[^>]* href="([^"]+)"', html)
    assert named
    for address in set(named):
        answer = pages.get(address)
        assert answer.status_code == 200
        assert "immutable" in answer.headers["cache-control"]  # the page's own key: kept, used once


@pytest.mark.parametrize(("page", "lazy"), [(1, [False, False, True]), (2, [True])])
def test_pictures_on_the_first_screen_of_the_list_are_not_put_off(
    client_of, read_only_project, monkeypatch, page: int, lazy: list[bool]
) -> None:
    monkeypatch.setattr("dryslate.app.photo_list.FIRST_STEP", 3)
    monkeypatch.setattr("dryslate.web.routes.photos.PICTURES_AT_ONCE", 2)
    html = client_of(read_only_project).get(f"/photos?page={page}").text
    pictures = re.findall(r"<img[^>]+/thumb/[^>]+>", html)
    assert ['loading="lazy"' in one for one in pictures] == lazy
