"""Tiles and small copies of photos, as the browser asks for them."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from PIL import Image, ImageOps

from dryslate import wiring
from dryslate.app.geometry import geometry_from_dict
from dryslate.core.scale.plane import apply_plane


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data)).convert("RGB")


def photos_of(project):
    with wiring.survey_store(project, write=False) as store:
        return store.photos(), {p.photo_id: store.correction(p.photo_id) for p in store.photos()}


@pytest.fixture(scope="module")
def pages(web_project, tmp_path_factory):
    """A project of this module's own, whose pictures are made once."""
    import shutil

    return shutil.copytree(web_project, tmp_path_factory.mktemp("pictures") / "trip")


def test_a_small_copy_has_at_most_400_px_and_lies_upright(client_of, pages):
    photos, _ = photos_of(pages)
    client = client_of(pages)
    for photo in photos:
        answer = client.get(f"/photos/{photo.photo_id}/thumb/original.jpg")
        assert answer.status_code == 200
        assert answer.headers["content-type"] == "image/jpeg"
        file = photo.files[0]
        path = wiring.vault(pages).path_of(file.sha256, file.original_name)
        upright = ImageOps.exif_transpose(Image.open(path)).convert("RGB")
        small = opened(answer.content)
        assert max(small.size) == 400
        assert small.width / small.height == pytest.approx(upright.width / upright.height, 0.01)
        same = np.asarray(upright.resize(small.size, Image.Resampling.BOX), float)
        assert np.mean(np.abs(same - np.asarray(small, float))) < 6.0


def test_tiles_put_together_are_the_photo(client_of, pages):
    photos, _ = photos_of(pages)
    photo = photos[0]
    file = photo.files[0]
    path = wiring.vault(pages).path_of(file.sha256, file.original_name)
    upright = ImageOps.exif_transpose(Image.open(path)).convert("RGB")
    client = client_of(pages)
    whole = Image.new("RGB", upright.size)
    for row in range(-(-upright.height // 512)):
        for column in range(-(-upright.width // 512)):
            answer = client.get(f"/photos/{photo.photo_id}/tiles/original/0/{column}_{row}.jpg")
            assert answer.status_code == 200
            whole.paste(opened(answer.content), (512 * column, 512 * row))
    apart = np.abs(np.asarray(whole, float) - np.asarray(upright, float))
    assert np.mean(apart) < 4.0  # a second JPEG compression, no shift
    beside = client.get(f"/photos/{photo.photo_id}/tiles/original/0/99_0.jpg")
    assert beside.status_code == 404
    assert beside.json()["problems"][0]["slug"] == "picture-no-tile"


def test_a_corrected_picture_is_kept_for_long_only_under_its_own_key(client_of, pages):
    photos, rows = photos_of(pages)
    photo = next(p for p in photos if rows[p.photo_id].corrected_path)
    key = f"v1-{rows[photo.photo_id].key[:32]}"
    client = client_of(pages)
    for way in ("thumb/corrected.jpg", "tiles/corrected/0/0_0.jpg"):
        known = client.get(f"/photos/{photo.photo_id}/{way}?k={key}")
        assert known.status_code == 200
        assert "immutable" in known.headers["cache-control"]
        older = client.get(f"/photos/{photo.photo_id}/{way}?k=v1-0000")
        assert older.status_code == 200
        assert "no-cache" in older.headers["cache-control"]
        tag = {"if-none-match": older.headers["etag"]}
        again = client.get(f"/photos/{photo.photo_id}/{way}", headers=tag)
        assert again.status_code == 304


def test_pictures_of_what_is_not_there_are_refused(client_of, pages, own_project):
    client = client_of(pages)
    unknown = client.get(f"/photos/{'0' * 64}/thumb/original.jpg")
    assert unknown.status_code == 404
    assert unknown.json()["problems"][0]["slug"] == "photo-not-in-project"
    assert client.get("/photos/../../etc/thumb/original.jpg").status_code in {404, 422}
    assert client.get(f"/photos/{'0' * 64}/thumb/else.jpg").status_code == 422
    assert client.get(f"/photos/{'0' * 64}/thumb/original.jpg?k=-").status_code == 422
    from dataclasses import replace

    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        photo = store.photos()[0]
        row = store.correction(photo.photo_id)
        assert row is not None
        store.save_correction(replace(row, key="0" * 64, outcome="no_card", corrected_path=None))
    refused = client_of(own_project).get(f"/photos/{photo.photo_id}/thumb/corrected.jpg")
    assert refused.status_code == 404
    assert refused.json()["problems"][0]["slug"] == "picture-not-corrected"


def test_a_new_correction_takes_the_place_of_the_older_ones_pictures(client_of, own_project):
    from dataclasses import replace

    client = client_of(own_project)
    photos, rows = photos_of(own_project)
    photo = next(p for p in photos if rows[p.photo_id].corrected_path)
    way = f"/photos/{photo.photo_id}"
    assert client.get(f"{way}/thumb/corrected.jpg").status_code == 200
    assert client.get(f"{way}/tiles/corrected/0/0_0.jpg").status_code == 200
    folder = own_project / "derived" / "tiles" / photo.photo_id[:2] / photo.photo_id
    before = {path.name for path in folder.glob("corrected-*")}
    assert len(before) == 2
    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        store.save_correction(replace(rows[photo.photo_id], key="f" * 64))
    assert client.get(f"{way}/thumb/corrected.jpg").status_code == 200
    assert client.get(f"{way}/tiles/corrected/0/0_0.jpg").status_code == 200
    after = {path.name for path in folder.glob("corrected-*")}
    assert len(after) == 2
    assert not before & after


def test_a_part_to_take_away_has_a_bar_as_long_as_it_says(client_of, pages):
    photos, rows = photos_of(pages)
    photo = next(p for p in photos if rows[p.photo_id].geometry.get("plane"))
    way = f"/photos/{photo.photo_id}/crop.png?box=200,100,1000,700&variant=original"
    answer = client_of(pages).get(way)
    assert answer.status_code == 200
    assert "attachment" in answer.headers["content-disposition"]
    image = Image.open(io.BytesIO(answer.content))
    image.load()
    assert image.text["Title"] == photo.files[0].original_name
    assert photo.photo_id in image.text["Source"]
    said = re.search(r"Bar: ([\d.]+) mm ± ([\d.]+) mm", image.text["Description"])
    length_mm, length_mm_u = float(said[1]), float(said[2])
    assert length_mm in {1, 2, 5, 10, 20, 50, 100, 200}
    pixels = np.asarray(image.convert("RGB"))[:600]
    row = np.all(
        pixels[600 - 20] == 255, axis=-1
    )  # inside the bar, which ends 14 px above the edge
    runs = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
    bar_px = max(b - a for a, b in zip(runs[::2], runs[1::2], strict=True))
    plane = geometry_from_dict(rows[photo.photo_id].geometry)
    ends = [(599.5 - bar_px / 2, 399.5), (599.5 + bar_px / 2, 399.5)]
    (ax, ay), (bx, by) = apply_plane(plane, ends).xy_mm
    assert np.hypot(bx - ax, by - ay) == pytest.approx(length_mm, abs=0.6 / plane.px_per_mm)
    assert 0 < length_mm_u < 0.05 * length_mm


def test_no_bar_without_a_scale_that_can_be_trusted(client_of, own_project):
    from dataclasses import replace

    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        photo = store.photos()[0]
        row = store.correction(photo.photo_id)
        result = {**row.result, "scale": {"usable": False}}
        store.save_correction(replace(row, key="0" * 64, result=result))
    client = client_of(own_project)
    way = f"/photos/{photo.photo_id}/crop.png?variant=original&box=0,0,300,200"
    refused = client.get(way)
    assert refused.status_code == 422
    assert refused.json()["problems"][0]["slug"] == "picture-no-scale"
    plain = client.get(f"{way}&bar=no")
    image = Image.open(io.BytesIO(plain.content))
    image.load()
    assert "No scale" in image.text["Description"]
    assert image.width == 600  # enlarged twice to be readable
    assert client.get(f"/photos/{photo.photo_id}/crop.png?box=9,9,9,9").status_code == 422
    out = client.get(f"/photos/{photo.photo_id}/crop.png?bar=no&box=90000,0,90900,50")
    assert out.json()["problems"][0]["slug"] == "picture-box-unclear"
