"""Made photos of cards on a table: values found beside a target, in a tray, drift, own cards."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from dryslate.app.card_characterise import characterise
from dryslate.app.card_compare import compare_twins
from dryslate.app.card_from_photo import define_card
from dryslate.app.card_marks import CardMarks, PatchBox
from dryslate.app.card_photos import find_one, open_photo
from dryslate.app.card_values import CharacteriseOptions
from dryslate.base.errors import DryslateError
from dryslate.core.card.picture import draw_labels
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_srgb_to_lab, linear_to_srgb
from dryslate.files.photos import FilePhotoReader
from dryslate.files.reference_tables import FileReferenceTables

TABLES = FileReferenceTables()
READER = FilePhotoReader()
SIZE = (1200, 1800)  # rows, columns
# A camera's colours differ from sRGB: rows sum to one, so that greys stay grey.
CAMERA = np.array([[0.88, 0.10, 0.02], [0.06, 0.90, 0.04], [0.02, 0.12, 0.86]])
GAIN = np.array([0.90, 0.80, 0.72])


def true_values(card, seed, spread=4.0):
    """The same card as some printer made it: every value moved a little."""
    rng = np.random.default_rng(seed)
    patches = []
    for p in card.patches:
        step = rng.normal(0, spread, 3) * (0.5, 0.15, 0.15 if p.role == "neutral" else 1)
        step = step if p.role == "neutral" else rng.normal(0, spread, 3)
        lab = np.clip(np.array(p.lab_d65) + step, (15, -80, -80), (96, 80, 80))
        patches.append(replace(p, lab_d65=tuple(float(v) for v in lab)))
    twins = {p.patch_id: p for p in patches}
    return replace(
        card,
        patches=tuple(
            replace(p, lab_d65=twins[p.twin_of].lab_d65)
            if p.twin_of and p.twin_of < p.patch_id
            else p
            for p in patches
        ),
    )


def table(things, *, light=1.0, tilt=None, seed=0, gloss=0.0):
    """
    Draw cards on a grey table in linear sRGB, then as a camera's JPEG codes.

    `things` are (card or linear colour, x, y, px_per_mm or size, turn in degrees).
    """
    rng = np.random.default_rng(seed)
    scene = np.full((*SIZE, 3), 0.12)
    for what, x, y, scale, turn in things:
        if isinstance(what, np.ndarray):
            scene[y - scale : y + scale, x - scale : x + scale] = what
            continue
        labels = draw_labels(what, 8.0)
        palette = np.array([lab_to_linear_srgb(m.lab_d65) for m in labels.materials] + [[0.12] * 3])
        drawn = (palette[labels.labels] + gloss).astype(np.float32)
        c, s = np.cos(np.radians(turn)) * scale / 8, np.sin(np.radians(turn)) * scale / 8
        place = np.array([[c, -s, x], [s, c, y], [tilt or 0.0, 0.0, 1.0]])
        mask = cv2.warpPerspective(
            (labels.labels >= 0).astype(np.float32), place, SIZE[::-1], flags=cv2.INTER_AREA
        )
        small = cv2.warpPerspective(drawn, place, SIZE[::-1], flags=cv2.INTER_LINEAR)
        scene = np.where(mask[..., None] > 0.5, small, scene)
    rows, cols = np.mgrid[0 : SIZE[0], 0 : SIZE[1]]
    shade = 1.0 + 0.04 * (cols / SIZE[1] - 0.5) - 0.03 * (rows / SIZE[0] - 0.5)
    raw = (scene @ CAMERA.T) * GAIN * light * shade[..., None]
    raw = cv2.GaussianBlur(raw, (0, 0), 0.8)
    raw = raw + rng.normal(0, 0.004, raw.shape) * np.sqrt(np.maximum(raw, 0.01))
    return np.rint(255 * linear_to_srgb(np.clip(raw, 0, 1))).astype(np.uint8)


def save(img, path: Path) -> Path:
    Image.fromarray(img).save(path, quality=95, subsampling=0)
    return path


def test_values_beside_a_known_target_are_true_within_their_doubt(tmp_path) -> None:
    field, known = TABLES.card("field"), TABLES.card("target24")
    owned = true_values(field, 1)
    photos = [
        save(
            table([(known, a, 120, 2.9, 1.0), (owned, b, 700, 4.6, -2.0)], light=0.95, seed=seed),
            tmp_path / f"p{seed}.jpg",
        )
        for seed, (a, b) in enumerate([(120, 950), (850, 150), (420, 520)])
    ]
    options = CharacteriseOptions(
        card="field", known="target24", photos=photos, out=tmp_path / "field.toml", serial="A17"
    )
    done = characterise(TABLES, READER, options)
    assert done["status"] == "from_photos"
    truth = {p.patch_id: np.array(p.lab_d65) for p in owned.patches}
    assert len(done["patches"]) >= 0.9 * len(truth)
    z, de = [], []
    for row in done["patches"]:
        off = np.array(row["lab_d65"]) - truth[row["id"]]
        z += list(np.abs(off) / np.array(row["lab_u"]))
        de.append(float(ciede2000(row["lab_d65"], truth[row["id"]])))
    nominal = [float(ciede2000(p.lab_d65, truth[p.patch_id])) for p in field.patches]
    assert np.mean(np.array(z) < 1.96) >= 0.85
    assert np.median(de) < 0.6 * np.median(nominal)
    assert np.median(de) < 2.5


def test_water_values_from_a_tray_follow_the_true_change(tmp_path) -> None:
    field = TABLES.card("field")
    air = true_values(field, 2)
    air = replace(
        air,
        status="measured",
        patches=tuple(replace(p, lab_u=(0.3, 0.3, 0.3)) for p in air.patches),
    )
    TABLES.save_card(air, tmp_path / "air.toml")

    def wet(p):
        linear = np.maximum((lab_to_linear_srgb(p.lab_d65) - 0.012) * 0.92, 0.002)
        return replace(p, lab_d65=tuple(float(v) for v in linear_srgb_to_lab(linear)))

    in_water = replace(air, patches=tuple(wet(p) for p in air.patches))
    ptfe = np.full(3, 0.93)
    shots = {}
    for name, card, light in (("dry", air, 1.0), ("filled", in_water, 0.9)):
        img = table([(card, 250, 250, 6.0, 3.0), (ptfe, 1500, 500, 60, 0)], light=light, seed=5)
        shots[name] = save(img, tmp_path / f"{name}.jpg")
    options = CharacteriseOptions(
        card=str(tmp_path / "air.toml"),
        dry=shots["dry"],
        filled=shots["filled"],
        ptfe_px=((1500.0, 500.0), (1500.0, 500.0)),
        out=tmp_path / "water.toml",
    )
    done = characterise(TABLES, READER, options)
    assert done["medium"] == "water"
    truth = {p.patch_id: np.array(p.lab_d65) for p in in_water.patches}
    before = {p.patch_id: np.array(p.lab_d65) for p in air.patches}
    z, ratio = [], []
    for row in done["patches"]:
        off = np.array(row["lab_d65"]) - truth[row["id"]]
        z += list(np.abs(off) / np.array(row["lab_u"]))
        ratio.append(np.linalg.norm(off) / np.linalg.norm(truth[row["id"]] - before[row["id"]]))
    assert np.mean(np.array(z) < 1.96) >= 0.9
    assert np.median(ratio) < 0.35
    assert TABLES.card(str(tmp_path / "water.toml")).medium == "water"


def test_faded_patch_is_named_and_the_rest_hold(tmp_path) -> None:
    twin = true_values(TABLES.card("field"), 3, spread=1.0)
    faded = replace(
        twin,
        patches=tuple(
            replace(p, lab_d65=(p.lab_d65[0] + 6, p.lab_d65[1] * 0.6, p.lab_d65[2] * 0.6))
            if p.patch_id == "rose"
            else p
            for p in twin.patches
        ),
    )
    one = save(
        table([(twin, 60, 300, 5.4, 0), (faded, 940, 300, 5.4, 0)], seed=1), tmp_path / "both.jpg"
    )
    done = compare_twins(TABLES, READER, (one, one), "field", None)
    assert any("farther left" in note for note in done["notes"])
    assert done["replace"] == ["rose"]
    assert [p["slug"] for p in done["problems"]] == ["card-patch-moved"]
    first = save(table([(twin, 500, 300, 5.4, 0)], seed=2), tmp_path / "twin.jpg")
    second = save(table([(faded, 400, 200, 5.4, 4)], seed=3, light=0.9), tmp_path / "dive.jpg")
    done = compare_twins(TABLES, READER, (first, second), "field", None)
    assert done["replace"] == ["rose"]
    with pytest.raises(DryslateError) as caught:
        compare_twins(TABLES, READER, (first, first), "field", None)
    assert caught.value.slug == "card-twin-not-seen"
    assert "twin.jpg: the one photo that was given for both cards shows 1, not two." in str(
        caught.value
    )


def own_card():
    """A card of somebody's own: no markers."""
    field = TABLES.card("field")
    return replace(field, name="mine", markers=(), lanyard_hole=None, thumb_zone=None)


def marks_of(card, scale, x, y):
    """What a careful person would mark in the straight photo of that card."""
    bar = card.scale_bar

    def at(mm_x, mm_y):
        return (x + mm_x * scale, y + mm_y * scale)

    w, h = card.width_mm, card.height_mm
    return CardMarks(
        name="mine",
        title="",
        corners_px=[at(0, 0), at(w, 0), at(w, h), at(0, h)],
        ticks_px=[at(bar.x_mm, bar.y_mm), at(bar.x_mm + 100, bar.y_mm)],
        ticks_mm=100.0,
        patches=[
            PatchBox(
                patch_id=p.patch_id,
                role=p.role,
                box_px=(
                    *at(p.x_mm, p.y_mm),
                    *at(p.x_mm + p.width_mm, p.y_mm + p.height_mm),
                ),
            )
            for p in card.patches
        ],
    )


def test_card_defined_from_a_straight_photo_is_found_in_another(tmp_path) -> None:
    card = own_card()
    photo = save(table([(card, 200, 150, 9.0, 0)], seed=4), tmp_path / "straight.jpg")
    (tmp_path / "trip").mkdir()
    tables = FileReferenceTables(tmp_path / "trip")
    done = define_card(tables, READER, photo, marks_of(card, 9.0, 200, 150), None)
    assert done["width_mm"] == pytest.approx(150, rel=3 * done["print_scale_u_frac"])
    assert done["height_mm"] == pytest.approx(100, rel=3 * done["print_scale_u_frac"])
    assert done["print_scale_u_frac"] > 0.002
    mine = tables.card("mine")
    assert mine.status == "nominal"
    for p, q in zip(mine.patches, card.patches, strict=True):
        assert (p.x_mm, p.y_mm) == pytest.approx((q.x_mm, q.y_mm), abs=0.2)
    other = save(
        table([(card, 500, 200, 6.0, 12)], tilt=2e-5, seed=5, light=0.8), tmp_path / "other.jpg"
    )
    found = find_one(open_photo(READER, other), mine, tables)
    centre = found.corners_px.mean(axis=0)
    c, s = np.cos(np.radians(12)), np.sin(np.radians(12))
    expected = np.array([500 + 6 * (75 * c - 50 * s), 200 + 6 * (75 * s + 50 * c)])
    assert centre == pytest.approx(expected, abs=25)
    assert found.how == "picture"


@pytest.mark.parametrize(
    ("change", "slug"),
    [
        ({"ticks_mm": 0.0}, "card-ticks-wrong"),
        ({"corners_px": [(200, 150), (1550, 150), (1550, 1050), (500, 1050)]},
         "card-photo-not-straight"),
        ({"corners_px": [(1550, 150), (200, 150), (200, 1050), (1550, 1050)]},
         "corners-wrong-order"),
    ],
)  # fmt: skip
def test_marks_that_cannot_be_are_refused(tmp_path, change, slug) -> None:
    card = own_card()
    photo = save(table([(card, 200, 150, 9.0, 0)], seed=4), tmp_path / "straight.jpg")
    marks = replace(marks_of(card, 9.0, 200, 150), **change)
    with pytest.raises(DryslateError) as caught:
        define_card(FileReferenceTables(tmp_path), READER, photo, marks, tmp_path / "m.toml")
    assert caught.value.slug == slug
    assert not (tmp_path / "m.toml").exists()


def test_empty_box_and_card_without_greys_are_refused(tmp_path) -> None:
    card = own_card()
    photo = save(table([(card, 200, 150, 9.0, 0)], seed=4), tmp_path / "straight.jpg")
    marks = marks_of(card, 9.0, 200, 150)
    empty = replace(marks.patches[0], box_px=(400, 400, 400, 500))
    colours = [p for p in marks.patches if p.role == "colour"]
    for patches, slug in (([empty, *marks.patches[1:]], "card-box-wrong"), (colours, "neutral")):
        with pytest.raises(DryslateError) as caught:
            define_card(
                FileReferenceTables(tmp_path),
                READER,
                photo,
                replace(marks, patches=patches),
                tmp_path / "m.toml",
            )
        assert slug in caught.value.slug


def test_ptfe_point_beside_the_white_piece_is_refused(tmp_path) -> None:
    air = replace(true_values(TABLES.card("field"), 2), status="measured")
    TABLES.save_card(air, tmp_path / "air.toml")
    img = table([(air, 250, 250, 6.0, 3.0), (np.full(3, 0.93), 1500, 500, 60, 0)], seed=5)
    photo = save(img, tmp_path / "dry.jpg")
    for point in ((1560.0, 500.0), (3.0, 3.0)):
        options = CharacteriseOptions(
            card=str(tmp_path / "air.toml"), dry=photo, filled=photo, ptfe_px=(point, point)
        )
        with pytest.raises(DryslateError) as caught:
            characterise(TABLES, READER, options)
        assert caught.value.slug == "ptfe-not-in-photo"


def test_target_in_hopeless_light_is_refused_with_the_reason(tmp_path) -> None:
    field = TABLES.card("field")
    owned = replace(field, status="measured")
    white = np.full(3, 0.3 / 16)
    img = table([(owned, 250, 250, 6.0, 3.0), (white, 1500, 500, 60, 0)], seed=5, light=16.0)
    photo = save(img, tmp_path / "bright.jpg")
    TABLES.save_card(owned, tmp_path / "air.toml")
    options = CharacteriseOptions(
        card=str(tmp_path / "air.toml"), dry=photo, filled=photo, ptfe_px=((1500, 500),) * 2
    )
    with pytest.raises(DryslateError) as caught:
        characterise(TABLES, READER, options)
    assert caught.value.slug == "card-known-unusable"
    assert "grey levels" in caught.value.message


def test_uneven_light_on_twin_greys_is_said(tmp_path) -> None:
    field, known = TABLES.card("field"), TABLES.card("target24")
    img = table([(known, 100, 120, 2.9, 0), (field, 950, 150, 5.0, 0)], seed=6)
    fade = np.linspace(1.0, 0.45, 650)[None, :, None]
    img = img.copy()
    img[:, -650:] = np.rint(img[:, -650:] * fade)
    options = CharacteriseOptions(
        known="target24", photos=(save(img, tmp_path / "p.jpg"),), out=tmp_path / "f.toml"
    )
    done = characterise(TABLES, READER, options)
    assert "card-light-uneven" in {p["slug"] for p in done["problems"]}
