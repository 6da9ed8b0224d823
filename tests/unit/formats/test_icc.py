"""Profiles against a colour engine that is not ours (LittleCMS, through Pillow)."""

from __future__ import annotations

import io
import struct
from types import ModuleType

import numpy as np
import pytest
from PIL import Image, ImageCms

from dryslate.base.errors import FormatError
from dryslate.core.colour.spaces import linear_to_srgb, srgb_to_linear
from dryslate.formats.colour_points import profile_from_code_points, profile_from_gamma
from dryslate.formats.icc import (
    RgbProfile,
    format_srgb_icc,
    optional_space_profile,
    parse_icc,
    srgb_profile,
)

CODES = np.random.default_rng(11).integers(0, 256, (40, 50, 3), dtype=np.uint8)


def srgb_by_engine(icc: bytes, codes: np.ndarray) -> np.ndarray:
    """The same codes in sRGB by the other engine, 8 bits."""
    engine = ImageCms.profileToProfile(
        Image.fromarray(codes),
        ImageCms.ImageCmsProfile(io.BytesIO(icc)),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    assert engine is not None
    return np.asarray(engine)


def srgb_by_us(profile: RgbProfile, codes: np.ndarray) -> np.ndarray:
    lut = profile.linear_lut(256)
    linear = np.take_along_axis(lut, codes.reshape(-1, 3), axis=0) @ profile.to_srgb.T
    return np.clip(linear_to_srgb(linear) * 255, 0, 255).reshape(codes.shape)


PARA = b"para" + bytes(4)
CURVES = {
    "exponent": None,
    "identity": b"curv" + bytes(4) + struct.pack(">I", 0),
    "table": b"curv"
    + bytes(4)
    + struct.pack(">I1024H", 1024, *(round(65535 * (i / 1023) ** 1.8) for i in range(1024))),
    "parametric 0": PARA + struct.pack(">HHi", 0, 0, round(2.2 * 65536)),
    "parametric 3": PARA
    + struct.pack(
        ">HH5i",
        3,
        0,
        *(round(v * 65536) for v in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)),
    ),
    "parametric 4": PARA
    + struct.pack(">HH7i", 4, 0, *(round(v * 65536) for v in (2.0, 0.9, 0.1, 0.2, 0.1, 0.0, 0.0))),
}


@pytest.mark.parametrize("name", CURVES)
def test_wide_profile_agrees_with_another_engine(made_photos: ModuleType, name: str) -> None:
    icc = made_photos.wide_icc(CURVES[name])
    ours = srgb_by_us(parse_icc(icc, "a.jpg"), CODES)
    theirs = srgb_by_engine(icc, CODES)
    inside = (ours > 0.5).all(-1) & (ours < 254.5).all(-1)  # clipping is each engine's own
    assert inside.sum() > 200
    assert np.abs(ours - theirs)[inside].max() <= 1.6  # their 8-bit table steps


def test_profile_of_the_engines_own_srgb_is_taken_as_srgb() -> None:
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    profile = parse_icc(icc, "a.jpg")
    assert profile.is_srgb_like
    assert "sRGB" in profile.name


def test_our_own_srgb_profile_is_accepted_by_another_engine_and_means_srgb() -> None:
    icc = format_srgb_icc()
    assert np.abs(srgb_by_engine(icc, CODES).astype(int) - CODES).max() <= 1
    assert ImageCms.getProfileName(ImageCms.ImageCmsProfile(io.BytesIO(icc))).startswith("sRGB")
    profile = parse_icc(icc, "a.jpg")
    assert profile.is_srgb_like
    assert profile.to_srgb == pytest.approx(np.eye(3), abs=5e-4)
    assert len(icc) < 600


def test_lut_of_srgb_is_the_standards_curve() -> None:
    lut = srgb_profile().linear_lut(256)
    assert lut[:, 1] == pytest.approx(srgb_to_linear(np.arange(256) / 255), abs=2e-7)
    assert srgb_profile().linear_lut(65536).shape == (65536, 3)
    assert not lut.flags.writeable


def test_wide_spaces_keep_white_and_are_not_srgb(made_photos: ModuleType) -> None:
    for profile in (
        parse_icc(made_photos.wide_icc(), "a.jpg"),
        optional_space_profile(),
        profile_from_code_points(12, 13, "a.heic"),
        profile_from_code_points(9, 1, "a.heic"),
    ):
        assert not profile.is_srgb_like
        assert profile.to_srgb @ np.ones(3) == pytest.approx(np.ones(3), abs=2e-3)


def test_stated_primaries_of_srgb_are_srgb() -> None:
    stated = (0.3127, 0.3290, 0.64, 0.33, 0.30, 0.60, 0.15, 0.06)
    assert profile_from_gamma(0.45455, stated, "a.png").is_srgb_like
    assert profile_from_gamma(0.45455, (), "a.png").is_srgb_like
    assert not profile_from_gamma(1.0, (), "a.png").is_srgb_like


@pytest.mark.parametrize("gamma", [0.0, 7.0])
def test_exponent_that_cannot_be_is_refused(gamma: float) -> None:
    with pytest.raises(FormatError, match="profile-damaged"):
        profile_from_gamma(gamma, (), "a.png")


@pytest.mark.parametrize("transfer", [16, 18])
def test_high_range_transfer_is_refused(transfer: int) -> None:
    with pytest.raises(FormatError, match="photo-high-range"):
        profile_from_code_points(9, transfer, "a.heic")


def test_unknown_code_points_are_named() -> None:
    with pytest.raises(FormatError, match="colour-code-unknown"):
        profile_from_code_points(77, 13, "a.heic")


def test_damaged_profiles_are_refused(made_photos: ModuleType) -> None:
    icc = made_photos.wide_icc()
    for bad in (b"", icc[:100], icc[:140], icc[:36] + b"nope" + icc[40:]):
        with pytest.raises(FormatError, match="profile-damaged"):
            parse_icc(bad, "a.jpg")
    falling = b"curv" + bytes(4) + struct.pack(">I3H", 3, 65535, 30000, 0)
    with pytest.raises(FormatError, match="does not rise"):
        parse_icc(made_photos.wide_icc(falling), "a.jpg")


def test_profile_made_of_tables_or_for_inks_is_named(made_photos: ModuleType) -> None:
    icc = made_photos.wide_icc()
    with pytest.raises(FormatError, match="profile-not-matrix"):
        parse_icc(icc.replace(b"rTRC", b"A2B0"), "a.jpg")
    with pytest.raises(FormatError, match="'CMYK'"):
        parse_icc(icc[:16] + b"CMYK" + icc[20:], "a.jpg")
