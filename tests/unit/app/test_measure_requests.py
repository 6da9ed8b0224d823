"""Which photo, which card and which distance a request means."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dryslate.app.geometry import geometry_from_dict, geometry_to_dict, lens_of, plane_of
from dryslate.app.lens import board_of
from dryslate.app.measure import CardPlane, measure_thing, nearest
from dryslate.app.measure_project import find_photo, measurement_id
from dryslate.app.measure_request import (
    MeasureOptions,
    ToMeasure,
    gather,
    off_plane_of,
    parse_corners,
    parse_option_points,
)
from dryslate.app.records import Photo, PhotoFile, PhotoMetadata
from dryslate.base.errors import FormatError, InputError, SettingsError
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import FoundCard
from dryslate.core.scale.lens import Lens, LensPrior
from dryslate.core.scale.plane import plane_to_dict
from dryslate.formats.points_csv import Pick, parse_outline, parse_picks

SIZE = (1600, 1200)


def photo(name: str, digit: str) -> Photo:
    file = PhotoFile(sha256=digit * 64, original_name=name, size_bytes=1, kind="jpeg")
    return Photo(photo_id=digit * 64, visit_id="v", files=(file,), metadata=PhotoMetadata())


PHOTOS = (photo("IMG_1.JPG", "a"), photo("DCIM/101/img_2.jpg", "b"), photo("IMG_2.JPG", "c"))


def test_photos_are_found_by_name_in_any_case_or_by_hash() -> None:
    assert find_photo(PHOTOS, "img_1.jpg") is PHOTOS[0]
    assert find_photo(PHOTOS, "A" * 12) is PHOTOS[0]
    assert find_photo(PHOTOS, "c" * 64) is PHOTOS[2]


@pytest.mark.parametrize(
    ("name", "slug"),
    [
        ("IMG_9.JPG", "measure-photo-unknown"),
        ("aaa", "measure-photo-unknown"),
        ("IMG_2.jpg", "measure-photo-ambiguous"),
    ],
)
def test_photos_that_are_not_clear_are_refused(name: str, slug: str) -> None:
    with pytest.raises(InputError) as caught:
        find_photo(PHOTOS, name)
    assert caught.value.slug == slug


def test_a_measurement_is_named_by_what_it_is_of() -> None:
    pick = Pick(row=2, photo="x", colony="A", kind="length", points_px=((1.0, 2.0), (3.0, 4.0)))
    same = replace(pick, row=9, photo="y", observer="Ana")
    other = replace(pick, points_px=((1.0, 2.0), (3.0, 4.5)))
    assert measurement_id("p", pick) == measurement_id("p", same)
    assert (
        len({measurement_id("p", pick), measurement_id("q", pick), measurement_id("p", other)}) == 3
    )


def test_one_statement_about_the_distance_or_none() -> None:
    assert off_plane_of(None, None, None, in_plane=False) is None
    assert off_plane_of(None, None, None, in_plane=True).kind == "in_plane"
    assert off_plane_of(-5.0, 2.0, None, in_plane=False).mm == -5.0
    assert off_plane_of(None, None, "base", in_plane=False).kind == "base"
    for said in ((5.0, None, None, False), (None, 2.0, None, False), (5.0, 2.0, "top", False)):
        with pytest.raises(SettingsError) as caught:
            off_plane_of(*said[:3], in_plane=said[3])
        assert caught.value.slug == "measure-off-plane-unclear"


def test_what_is_asked_is_gathered_in_order(tmp_path) -> None:
    rim = tmp_path / "rim.csv"
    rim.write_text("# a coral\n0,0\n\n9,0\n9,9\n", "utf-8")
    things = gather(["1,2 3,4", "1,2 3,4 5,6"], [rim], [])
    assert [t.kind for t in things] == ["length", "polyline", "outline"]
    with pytest.raises(SettingsError) as caught:
        gather([], [], [])
    assert caught.value.slug == "measure-nothing-asked"
    with pytest.raises(InputError) as missing:
        gather([], [tmp_path / "none.csv"], [])
    assert missing.value.slug == "measure-file-unreadable"


def test_points_and_corners_that_cannot_be_read_are_refused() -> None:
    for text in ("1,2,3", "a,b", "nan,1 2,3"):
        with pytest.raises(SettingsError) as caught:
            parse_option_points(text, "--between")
        assert caught.value.slug == "measure-between-unclear"
    with pytest.raises(SettingsError):
        parse_corners("1,2 3,4 5,6")
    assert parse_corners(None) is None
    assert len(parse_corners("1,2 3,4 5,6 7,8")) == 4


def test_an_outline_file_with_a_bad_line_names_it() -> None:
    with pytest.raises(FormatError) as caught:
        parse_outline("x,y\n1,2\n3;4\n", "rim.csv")
    assert caught.value.slug == "points-not-numbers"
    assert "line 3" in caught.value.message


def test_a_table_reports_every_bad_line_and_keeps_the_good() -> None:
    text = "Photo\n"  # not the header
    with pytest.raises(FormatError) as caught:
        parse_picks(text, "picks.csv")
    assert caught.value.slug == "points-columns-missing"
    text = (
        "\ufeffphoto, colony ,kind,points,observer\n"
        'a.jpg,A1,Length,"1,2 3,4",Ana\n'
        "\n"
        "a.jpg,A1,length,,Ana\n"
        'a.jpg,A1,width,"1,2 3,4",\n'
    )
    picks, problems = parse_picks(text, "picks.csv")
    assert [(p.kind, p.points_px, p.observer) for p in picks] == [
        ("length", ((1.0, 2.0), (3.0, 4.0)), "Ana")
    ]
    assert [p.slug for p in problems] == ["points-row-incomplete", "points-kind-unknown"]
    assert problems[0].place == "picks.csv, line 4"


def found(shift: float = 0.0) -> FoundCard:
    card = CardDefinition(
        name="made",
        title="made",
        width_mm=150.0,
        height_mm=100.0,
        ground_lab_d65=(50.0, 0.0, 0.0),
        markers=(),
        patches=(),
    )
    mm = np.array([(0, 0), (150, 0), (150, 100), (0, 100)], dtype=float)
    px = 300.0 + shift + mm * 3.0
    return FoundCard(
        card=card,
        how="corners",
        corners_px=px,
        points_mm=mm,
        points_px=px,
        points_u_px=np.full(4, 0.5),
        card_to_px=np.array([[3.0, 0, 300], [0, 3.0, 300], [0, 0, 1]]),
    )


def test_a_kept_geometry_gives_back_the_plane() -> None:
    lens, problems = lens_of(PhotoMetadata(focal_35mm_mm=28.0), SIZE, None, "flat")
    assert problems == ()
    plane = plane_of(found(), SIZE, lens)
    again = geometry_from_dict(geometry_to_dict(found(), plane))
    assert plane_to_dict(again) == plane_to_dict(plane)
    assert geometry_from_dict({}) is None
    assert geometry_from_dict(geometry_to_dict(found(), None)) is None


def test_a_calibration_of_another_frame_falls_back_to_the_prior_and_says_so() -> None:
    lens = Lens(
        name="other",
        model="normal",
        image_size_px=(1600, 900),
        params=np.array([1500.0, 1500, 800, 450, 0, 0, 0, 0, 0]),
        covariance=np.eye(9),
    )
    used, problems = lens_of(PhotoMetadata(), SIZE, lens)
    assert isinstance(used, LensPrior)
    assert [(p.slug, p.severity) for p in problems] == [("lens-size-differs", "warning")]


def test_the_card_nearest_to_the_points_is_used() -> None:
    lens, _ = lens_of(PhotoMetadata(), SIZE, None)
    near, far = (
        CardPlane(card=name, plane=plane_of(found(shift), SIZE, lens))
        for name, shift in (("near", 0.0), ("far", 500.0))
    )
    thing = ToMeasure(kind="length", points_px=((320.0, 320.0), (400.0, 400.0)))
    assert nearest([far, near], thing) is near


def test_which_of_several_cards_was_used_is_said() -> None:
    lens, _ = lens_of(PhotoMetadata(), SIZE, None)
    planes = [
        CardPlane(card=name, plane=plane_of(found(shift), SIZE, lens))
        for name, shift in (("near", 0.0), ("far", 500.0))
    ]
    thing = ToMeasure(kind="length", points_px=((320.0, 320.0), (400.0, 400.0)))
    told = measure_thing("x.jpg", 0, thing, planes, MeasureOptions())
    assert told["card"] == "near"
    note = next(p for p in told["problems"] if p["slug"] == "measure-several-cards")
    assert "near card" in note["message"]


def test_a_board_that_makes_no_sense_is_refused() -> None:
    for words in (("circles", "10x7", 25.0), ("checkerboard", "10", 25.0), ("charuco", "9x6", 0.0)):
        with pytest.raises(SettingsError) as caught:
            board_of(*words, None, "4X4_50")
        assert caught.value.slug == "lens-board-unclear"
    assert board_of("charuco", "9x6", 20.0, None, "4X4_50").marker_mm == 15.0
