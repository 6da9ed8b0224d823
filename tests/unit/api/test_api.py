"""The Python face works from an array to a colour and a length with doubt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import dryslate
from dryslate.base.problems import Problem
from dryslate.core.card.rendering import render_picture
from dryslate.core.scale.lens import Lens
from dryslate.formats.card_toml import format_card
from dryslate.formats.lens_toml import format_lens

MARGIN_PX = 60
PX_PER_MM = 5.0


@pytest.fixture(scope="module")
def photo() -> dryslate.api.OpenPhoto:
    """The field card lying flat on a brown ground, seen square on, in good light."""
    card = next(c for c in dryslate.cards() if c.name == "field")
    picture = render_picture(card, PX_PER_MM)
    img = np.full(
        (picture.shape[0] + 2 * MARGIN_PX, picture.shape[1] + 2 * MARGIN_PX, 3), (96, 84, 60)
    ).astype(np.uint8)
    img[MARGIN_PX:-MARGIN_PX, MARGIN_PX:-MARGIN_PX] = picture
    img += np.random.default_rng(5).integers(0, 3, img.shape, dtype=np.uint8)
    return dryslate.photo_from_array(img)


def test_length_on_the_card_is_recovered_from_an_array(photo) -> None:
    card = dryslate.find_cards(photo).cards[0]
    plane = dryslate.fit_plane(photo, card, port="none")
    settings = dryslate.MeasureSettings(
        point_u_px=0.0, off_plane=dryslate.OffPlane(kind="in_plane")
    )
    points = [[MARGIN_PX, MARGIN_PX], [MARGIN_PX + 100 * PX_PER_MM, MARGIN_PX]]
    length = dryslate.measure_length(plane, points, settings)
    assert length.values["length_mm"] == pytest.approx(100.0, abs=0.3)
    assert length.values["length_mm_lo95"] < 100.0 < length.values["length_mm_hi95"]


def test_nominal_card_keeps_to_its_greys_and_says_so(photo) -> None:
    card = dryslate.find_cards(photo).cards[0]
    colour = dryslate.fit_colour(photo, card)
    assert colour.usable
    assert colour.fit in ("neutral_gain", "gain_veil")
    corrected = dryslate.apply_correction(photo, colour)
    assert corrected.shape == photo.pixels.shape
    assert corrected.dtype == np.uint8


def test_colour_of_an_area_has_an_interval_that_holds_a_true_grey(photo) -> None:
    card = dryslate.find_cards(photo).cards[0]
    colour = dryslate.fit_colour(photo, card, nominal_as_measured=True)
    grey = next(p for p in card.card.neutrals if 40 < p.lab_d65[0] < 60)
    x, y = (MARGIN_PX + PX_PER_MM * v for v in (grey.x_mm, grey.y_mm))
    near, far = 8, PX_PER_MM * grey.width_mm - 8
    outline = [(x + i, y + j) for i, j in ((near, near), (far, near), (far, far), (near, far))]
    seen = dryslate.measure_colour(photo, colour, outline)
    assert np.all(np.less_equal(seen.values["lab_lo95"], grey.lab_d65))
    assert np.all(np.greater_equal(seen.values["lab_hi95"], grey.lab_d65))


def test_wrong_arrays_are_refused_with_what_was_expected(photo) -> None:
    for wrong in (np.zeros((3, 3)), np.zeros((4, 4, 3)), np.zeros((0, 0, 3), np.uint8)):
        with pytest.raises(ValueError, match="expected uint8"):
            dryslate.photo_from_array(wrong)
    card = dryslate.find_cards(photo).cards[0]
    colour = dryslate.fit_colour(photo, card)
    with pytest.raises(dryslate.DryslateError, match="measure-colour-few-pixels"):
        dryslate.measure_colour(photo, colour, [(10, 10), (14, 10), (14, 14), (10, 14)])


def test_points_that_are_no_pairs_are_not_read_as_other_points(photo) -> None:
    plane = dryslate.fit_plane(photo, dryslate.find_cards(photo).cards[0], port="none")
    three = [[100, 100, 0], [200, 100, 0], [200, 200, 0], [100, 200, 0]]
    for measure in (dryslate.measure_length, dryslate.measure_outline, dryslate.measure_corallites):
        for wrong in (three, np.ravel(three)[:8]):
            with pytest.raises(ValueError, match=r"expected points of shape \(n, 2\)"):
                measure(plane, wrong)
    colour = dryslate.fit_colour(photo, dryslate.find_cards(photo).cards[0])
    with pytest.raises(ValueError, match="expected points of shape"):
        dryslate.measure_colour(photo, colour, three)


def test_what_is_stated_is_used_or_refused(photo, tmp_path) -> None:
    card = dryslate.find_cards(photo).cards[0]
    with pytest.raises(ValueError, match="'bowl'"):
        dryslate.fit_plane(photo, card, port="bowl")
    with pytest.raises(ValueError, match="'stated'"):
        dryslate.OffPlane(mm=30.0, mm_u=5.0)
    with pytest.raises(ValueError, match="'rim'"):
        dryslate.OffPlane(kind="rim")
    with pytest.raises(dryslate.DryslateError, match="lens-file-missing"):
        dryslate.read_lens(tmp_path / "none.toml")


def test_lens_of_another_frame_is_refused_and_not_left_out(photo, tmp_path) -> None:
    width, height = photo.size_px
    path = tmp_path / "lens.toml"
    settings = dryslate.MeasureSettings(off_plane=dryslate.OffPlane(kind="in_plane"))
    card = dryslate.find_cards(photo).cards[0]
    ends = [[MARGIN_PX, MARGIN_PX], [MARGIN_PX + 100 * PX_PER_MM, MARGIN_PX]]

    def write(image_size_px: tuple[int, int]) -> None:
        params = [1.4 * width, 1.4 * width, width / 2, height / 2, 0, 0, 0, 0, 0]
        lens = Lens(
            name="made up",
            model="normal",
            image_size_px=image_size_px,
            params=np.array(params, dtype=np.float64),
            covariance=1e-8 * np.eye(len(params)),
            radius_px=float(np.hypot(width, height)),
        )
        path.write_text(format_lens(lens), encoding="utf-8")

    write((width, height))
    plane = dryslate.fit_plane(photo, card, lens=dryslate.read_lens(path))
    assert dryslate.measure_length(plane, ends, settings).values["length_mm"] > 0
    write((height, width * 3))
    with pytest.raises(dryslate.DryslateError, match="lens"):
        dryslate.fit_plane(photo, card, lens=dryslate.read_lens(path))


def test_fit_that_is_refused_corrects_nothing(photo) -> None:
    white = dryslate.photo_from_array(np.maximum(photo.pixels, 254))
    card = dryslate.find_cards(photo).cards[0]
    colour = dryslate.fit_colour(white, card)
    assert not colour.usable
    with pytest.raises(dryslate.DryslateError, match="colour-too-few-patches"):
        dryslate.apply_correction(white, colour)


def test_fit_for_looking_only_still_corrects_the_picture(photo) -> None:
    colour = dryslate.fit_colour(photo, dryslate.find_cards(photo).cards[0])
    doubtful = Problem(slug="colour-looking-only", severity="error", place="card", message="wide")
    looking = replace(colour, usable=False, problems=(doubtful,))
    expected = dryslate.apply_correction(photo, colour)
    np.testing.assert_array_equal(dryslate.apply_correction(photo, looking), expected)


def test_sixteen_bits_give_the_colour_of_eight(photo) -> None:
    deep = dryslate.photo_from_array(photo.pixels.astype(np.uint16) * 257)
    card = dryslate.find_cards(deep).cards[0]
    shallow = dryslate.find_cards(photo).cards[0]
    np.testing.assert_allclose(card.corners_px, shallow.corners_px, atol=0.05)
    of_deep = dryslate.apply_correction(deep, dryslate.fit_colour(deep, card))
    of_shallow = dryslate.apply_correction(photo, dryslate.fit_colour(photo, shallow))
    assert np.mean(np.abs(of_deep.astype(int) - of_shallow)) < 1.0


def test_cards_of_a_project_are_listed_with_their_measured_values(tmp_path) -> None:
    field = next(c for c in dryslate.cards() if c.name == "field")
    (tmp_path / "cards").mkdir()
    ours = replace(field, name="ours")
    (tmp_path / "cards/ours.toml").write_text(format_card(ours), encoding="utf-8")
    names = [card.name for card in dryslate.cards(tmp_path)]
    assert names[0] == "ours"
    assert "field" not in names


def test_unknown_name_is_no_part_of_the_package() -> None:
    with pytest.raises(AttributeError, match="no_such_thing"):
        _ = dryslate.no_such_thing
    assert "find_cards" in dir(dryslate)
