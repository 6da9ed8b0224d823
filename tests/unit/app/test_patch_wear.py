"""A patch that stands out in photo after photo is named; a bad photo names none."""

from __future__ import annotations

from dryslate.app.patch_wear import find_worn_patches
from dryslate.app.project_records import PatchResidual


def rows(n_photos: int, bad: str | None, value: float = 12.0, other: float = 2.0):
    return [
        PatchResidual(
            photo_id=f"p{i}",
            correction_key="k",
            card="field",
            card_key="c",
            patch_id=patch,
            residual_de00=value if patch == bad else other,
        )
        for i in range(n_photos)
        for patch in ("a", "b", "c", "d", "e")
    ]


def test_patch_is_named_after_ten_bad_photos_not_after_nine() -> None:
    assert find_worn_patches(rows(9, "b")) == ()
    (worn,) = find_worn_patches(rows(10, "b"))
    assert worn.slug == "card-patch-worn"
    assert worn.place == "card field, patch b"
    assert "Clean or replace patch b" in worn.fix


def test_photos_in_which_every_patch_is_off_name_none() -> None:
    assert find_worn_patches(rows(20, "b", value=12.0, other=11.0)) == ()


def test_few_bad_photos_on_a_long_trip_are_not_the_card() -> None:
    many = [
        r
        if int(r.photo_id[1:]) < 12 or r.patch_id != "b"
        else PatchResidual(
            photo_id=r.photo_id,
            correction_key="k",
            card="field",
            card_key="c",
            patch_id="b",
            residual_de00=2.0,
        )
        for r in rows(60, "b")
    ]
    assert find_worn_patches(many) == ()


def test_a_second_run_on_the_same_photos_counts_them_once() -> None:
    assert find_worn_patches(rows(6, "b") + rows(6, "b")) == ()


def test_dropped_patches_are_about_the_photo() -> None:
    covered = [
        PatchResidual(
            photo_id=f"p{i}",
            correction_key="k",
            card="field",
            card_key="c",
            patch_id="b",
            residual_de00=None,
            dropped="covered",
        )
        for i in range(30)
    ]
    assert find_worn_patches(rows(30, None) + covered) == ()
