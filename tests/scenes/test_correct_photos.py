"""Made photos with a card, from file to corrected file: what is true of them comes out."""

from __future__ import annotations

import pickle
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from PIL import Image

from dryslate.app.correct import cards_wanted, colour_settings, correct_photos
from dryslate.app.correct_one import correct_one, sha256_of
from dryslate.app.correction_records import CorrectJob, CorrectSettings
from dryslate.base.errors import InputError, SettingsError

TRUSTED = CorrectSettings(nominal_as_measured=True, port="none")
KEYS = {
    "photo",
    "sha256",
    "card",
    "cards",
    "other_markers",
    "borrowed_from",
    "colour",
    "scale",
    "corrected",
    "problems",
}


@pytest.fixture(scope="module")
def trip(tmp_path_factory: pytest.TempPathFactory, card_photos: ModuleType) -> dict[str, Any]:
    """A folder of made photos, corrected once for all tests that only look."""
    folder = tmp_path_factory.mktemp("trip")
    plans = {
        "plain": card_photos.Plan(),
        "turned": card_photos.Plan(orientation=6, seed=2),
        "bare": card_photos.Plan(card=None, seed=3),
    }
    corners = {
        name: card_photos.save_photo(plan, folder / f"{name}.jpg") for name, plan in plans.items()
    }
    (folder / "empty.jpg").write_bytes(b"")
    photos = [folder / f"{name}.jpg" for name in (*plans, "empty")]
    before = {photo: photo.read_bytes() for photo in photos}
    answers = list(correct_photos(photos, folder / "out", TRUSTED, card_photos.workshop()))
    return {
        "folder": folder,
        "corners": corners,
        "before": before,
        "photos": photos,
        "answers": {photo.stem: answer for photo, answer in zip(photos, answers, strict=True)},
    }


def test_each_photo_has_one_answer_in_the_order_given(trip: dict[str, Any]) -> None:
    outcomes = [answer.outcome for answer in trip["answers"].values()]
    assert outcomes == ["corrected", "corrected", "no_card", "unreadable"]


@pytest.mark.parametrize("name", ["plain", "turned", "bare", "empty"])
def test_document_has_every_key_that_scripts_rely_on(trip: dict[str, Any], name: str) -> None:
    document = trip["answers"][name].result
    assert set(document) >= KEYS
    assert set(document["card"]) >= {
        "found",
        "name",
        "corners_px",
        "n_markers",
        "tilt_deg",
        "tilt_deg_u",
        "values",
    }
    assert set(document["colour"]) >= {
        "usable",
        "fit",
        "left_out_de00_median",
        "left_out_de00_p95",
        "off_card_de00_p95",
        "gain",
        "n_patches",
        "dropped",
    }
    assert set(document["scale"]) >= {"usable", "px_per_mm", "px_per_mm_u"}
    for problem in document["problems"]:
        assert set(problem) == {"slug", "severity", "place", "message", "fix"}
        assert problem["place"]


@pytest.mark.parametrize("name", ["plain", "turned"])
def test_corners_are_those_of_the_card_in_the_upright_photo(
    trip: dict[str, Any], name: str
) -> None:
    found = np.array(trip["answers"][name].result["card"]["corners_px"])
    assert np.abs(found - trip["corners"][name]).max() < 0.5


def test_scale_and_tilt_of_a_card_seen_from_the_front(trip: dict[str, Any]) -> None:
    document = trip["answers"]["plain"].result
    true = 620.0 / 150.0 if document["card"]["name"] == "field" else None
    assert document["scale"]["usable"]
    u = document["scale"]["px_per_mm_u"]
    assert document["scale"]["px_per_mm"] == pytest.approx(true, abs=max(3 * u, 0.02))
    assert document["card"]["tilt_deg"] < 8


def test_corrected_greys_are_grey_again(trip: dict[str, Any]) -> None:
    """The ground of the card is a neutral of its own: the cast must be gone there."""
    answer = trip["answers"]["plain"]
    with Image.open(answer.result["corrected"]) as image:
        corrected = np.asarray(image.convert("RGB")).astype(float)
    with Image.open(trip["photos"][0]) as image:
        original = np.asarray(image.convert("RGB")).astype(float)
    corners = trip["corners"]["plain"]
    middle = corners.mean(axis=0)
    inside = (corners[0] * 0.985 + middle * 0.015).round().astype(int)  # just inside its edge
    x, y = inside
    cell = np.s_[y - 2 : y + 3, x - 2 : x + 3]
    was, now = original[cell].mean(axis=(0, 1)), corrected[cell].mean(axis=(0, 1))
    assert np.ptp(was) > 20
    assert np.ptp(now) < 6


def test_stored_pixels_of_a_turned_photo_stay_turned_with_their_orientation(
    trip: dict[str, Any],
) -> None:
    with Image.open(trip["answers"]["turned"].result["corrected"]) as image:
        assert image.size == (1000, 1500)
        assert image.getexif()[0x0112] == 6


def test_preview_is_upright_and_small(trip: dict[str, Any]) -> None:
    with Image.open(trip["answers"]["turned"].result["preview"]) as image:
        assert image.size == (1500, 1000)
        assert 0x0112 not in image.getexif()


def test_the_file_says_what_was_done(trip: dict[str, Any]) -> None:
    answer = trip["answers"]["plain"]
    head = Path(answer.result["corrected"]).read_bytes()[:100_000].decode("latin-1")
    assert answer.result["sha256"] in head
    for word in ("card_values", "nominal", "off_card_de00_p95", "true only near the card"):
        assert word in head


def test_originals_are_not_touched(trip: dict[str, Any]) -> None:
    for photo, data in trip["before"].items():
        assert photo.read_bytes() == data


def test_no_card_is_said_and_nothing_is_written(trip: dict[str, Any]) -> None:
    document = trip["answers"]["bare"].result
    assert document["corrected"] is None
    assert not document["card"]["found"]
    assert [p["slug"] for p in document["problems"]] == ["correct-no-card"]
    assert not list((trip["folder"] / "out").glob("bare*"))


def test_a_bad_file_is_listed_and_the_rest_goes_on(trip: dict[str, Any]) -> None:
    answer = trip["answers"]["empty"]
    assert answer.result["problems"][0]["slug"] == "photo-empty"
    assert answer.metadata is None


def test_residuals_are_kept_for_every_patch(trip: dict[str, Any]) -> None:
    rows = trip["answers"]["plain"].residuals
    assert len(rows) == len({row.patch_id for row in rows}) > 20
    known = [row.residual_de00 for row in rows if not row.dropped]
    assert np.median(known) < 3


def one_job(photo: Path, card_photos: ModuleType, settings: CorrectSettings) -> CorrectJob:
    work = card_photos.workshop()
    wanted = cards_wanted(work.tables, settings)
    return CorrectJob(
        path=photo,
        name=str(photo),
        reader=work.reader,
        settings=settings,
        cards=wanted.marked,
        plain_cards=wanted.plain,
        colour=colour_settings(work.tables, settings),
    )


def test_job_and_answer_survive_pickling_so_that_another_runner_could_take_them(
    trip: dict[str, Any], card_photos: ModuleType
) -> None:
    job = pickle.loads(pickle.dumps(one_job(trip["photos"][0], card_photos, TRUSTED)))
    answer = pickle.loads(pickle.dumps(correct_one(job)))
    assert answer.outcome == "corrected"
    assert answer.result["sha256"] == sha256_of(trip["photos"][0])


def test_nominal_card_serves_greys_only_and_says_so(
    trip: dict[str, Any], card_photos: ModuleType
) -> None:
    answer = correct_one(one_job(trip["photos"][0], card_photos, CorrectSettings(port="none")))
    assert answer.result["colour"]["fit"] in ("neutral_gain", "gain_veil")
    assert answer.result["card"]["values"]["status"] == "nominal"
    assert "nominal_values" in answer.result["colour"]["flags"]


def test_no_red_signal_is_refused_with_its_number_and_keeps_the_scale(
    tmp_path: Path, card_photos: ModuleType
) -> None:
    card_photos.save_photo(card_photos.Plan(cast=(0.002, 0.6, 0.8)), tmp_path / "deep.jpg")
    (answer,) = correct_photos([tmp_path / "deep.jpg"], tmp_path, TRUSTED, card_photos.workshop())
    assert answer.outcome == "refused"
    assert answer.result["corrected"] is None
    assert answer.result["scale"]["usable"]
    assert "colour-no-red-signal" in [p["slug"] for p in answer.result["problems"]]
    assert not list(tmp_path.glob("*-corrected*"))


def test_corners_given_by_hand_need_the_name_of_the_card_and_one_photo(
    tmp_path: Path, card_photos: ModuleType
) -> None:
    corners = ((0.0, 0.0), (9.0, 0.0), (9.0, 6.0), (0.0, 6.0))
    photos = [tmp_path / "a.jpg", tmp_path / "b.jpg"]
    nameless = CorrectSettings(corners_px=corners)
    with pytest.raises(SettingsError) as caught:
        next(correct_photos(photos[:1], tmp_path, nameless, card_photos.workshop()))
    assert caught.value.slug == "correct-corners-need-card"
    named = replace(nameless, card_names=("field",))
    with pytest.raises(SettingsError) as caught:
        next(correct_photos(photos, tmp_path, named, card_photos.workshop()))
    assert caught.value.slug == "correct-one-photo"


def test_unknown_card_is_refused_before_any_photo_is_read(
    tmp_path: Path, card_photos: ModuleType
) -> None:
    settings = CorrectSettings(card_names=("feild",))
    with pytest.raises(InputError) as caught:
        next(correct_photos([tmp_path / "a.jpg"], tmp_path, settings, card_photos.workshop()))
    assert caught.value.slug == "card-unknown"


def test_a_photo_given_twice_is_corrected_once_and_told(
    tmp_path: Path, trip: dict[str, Any], card_photos: ModuleType
) -> None:
    photo = trip["photos"][0]
    again = photo.parent / ".." / photo.parent.name / photo.name
    answers = list(correct_photos([photo, again], tmp_path, TRUSTED, card_photos.workshop()))
    assert len(answers) == 1
    assert "correct-given-twice" in [p["slug"] for p in answers[0].result["problems"]]
    assert [p.name for p in tmp_path.glob("*corrected.jpg")] == ["plain-corrected.jpg"]


def test_two_photos_of_one_name_keep_apart(tmp_path: Path, card_photos: ModuleType) -> None:
    photos = []
    for i, folder in enumerate(("one", "two")):
        (tmp_path / folder).mkdir()
        photos.append(tmp_path / folder / "IMG_1.jpg")
        card_photos.save_photo(card_photos.Plan(seed=20 + i), photos[-1])
    for _ in range(2):  # again gives the same names, not a third and fourth file
        answers = list(correct_photos(photos, tmp_path / "o", TRUSTED, card_photos.workshop()))
        names = [Path(a.result["corrected"]).name for a in answers]
        assert names == ["IMG_1-corrected.jpg", "IMG_1-corrected-2.jpg"]
    assert len(list((tmp_path / "o").glob("*corrected*.jpg"))) == 4  # with their previews


def test_sixteen_bit_tiff(tmp_path: Path, trip: dict[str, Any], card_photos: ModuleType) -> None:
    import tifffile

    settings = replace(TRUSTED, is_tiff=True, has_preview=False)
    (answer,) = correct_photos([trip["photos"][0]], tmp_path, settings, card_photos.workshop())
    pixels = tifffile.imread(answer.result["corrected"])
    assert pixels.dtype == np.uint16
    assert pixels.shape == (1000, 1500, 3)
    assert answer.result["preview"] is None
    with Image.open(trip["answers"]["plain"].result["corrected"]) as image:
        eight = np.asarray(image).astype(float)
    assert np.abs(pixels / 257.0 - eight).mean() < 2.0


def test_folder_that_takes_no_file_is_told_photo_by_photo(
    tmp_path: Path, trip: dict[str, Any], card_photos: ModuleType
) -> None:
    out = tmp_path / "out"
    out.write_text("a file where the folder should be")
    (answer,) = correct_photos([trip["photos"][0]], out, TRUSTED, card_photos.workshop())
    assert answer.outcome == "not_written"
    assert answer.result["problems"][0]["slug"] in ("write-failed", "folder-read-only")


def test_a_photo_the_program_fails_on_does_not_stop_the_rest(
    tmp_path: Path, trip: dict[str, Any], card_photos: ModuleType
) -> None:
    class Reader(type(card_photos.workshop().reader)):  # type: ignore[misc]
        def read(self, path: Path) -> Any:
            if path.stem == "bare":
                raise RuntimeError("made to fail")
            return super().read(path)

    photos = [trip["photos"][2], trip["photos"][0]]
    work = card_photos.workshop(reader=Reader())
    answers = list(correct_photos(photos, tmp_path, TRUSTED, work))
    assert [a.outcome for a in answers] == ["unreadable", "corrected"]
    assert answers[0].result["problems"][0]["slug"] == "correct-unexpected"
    assert "made to fail" in answers[0].result["problems"][0]["message"]
