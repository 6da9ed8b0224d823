"""
Camera raw files, decoded to the camera's own linear light.

Nothing of the camera's picture making is applied: no white balance (multipliers of one), no
brightening, no curve, no sharpening. White balance and colour are what the card is for.
"""

from __future__ import annotations

from importlib import metadata as package_metadata
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dryslate.app.records import DecodedPhoto
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.colour.spaces import SRGB_TO_XYZ
from dryslate.files.photo_carry import (
    Carried,
    exif_of_tree,
    facts_of,
    metadata_of,
    no_colour,
    require_size,
)
from dryslate.files.photo_head import head_of
from dryslate.files.quiet import quiet_decoder
from dryslate.formats.exif import ExifTree, numbers_of
from dryslate.formats.icc import FloatArray

#: LibRaw's turn of the stored frame to the Exif orientation that does the same.
_ORIENTATION_OF_FLIP: Final = {0: 1, 3: 3, 5: 8, 6: 6}
#: DNG tags of the matrices and of the lights they hold for.
_DNG_MATRICES: Final = ((50721, 50778), (50722, 50779), (52531, 52529))
#: Exif codes of lights, nearest to D65 first: D65, daylight, fine weather, D55, D75, D50.
_DAYLIGHTS: Final = (21, 1, 9, 20, 22, 23)


def read_raw(path: Path, max_megapixels: float) -> DecodedPhoto:
    """
    Decode a camera raw file to 16-bit linear camera RGB.

    Parameters
    ----------
    path : Path
    max_megapixels : float
        Larger frames are refused before they are decoded.

    Returns
    -------
    DecodedPhoto
        ``linear_lut`` is the identity (65535 is the sensor's white level); ``to_srgb`` holds
        the camera's daylight matrix with its white balance.

    Raises
    ------
    InputError
        ``photo-unsupported``, ``photo-damaged``, ``photo-truncated``, ``photo-too-large``,
        ``photo-grey``.

    Notes
    -----
    Demosaicing is by pixel grouping (PPG) at full size: 600 ms for 24 megapixels against
    1240 ms of the library's default, without its false detail.
    """
    import rawpy

    place = path.name
    _, tree, notes = head_of(path)
    with quiet_decoder(), rawpy.RawPy() as raw:
        try:
            raw.open_file(str(path))
            sizes = raw.sizes
            require_size(sizes.width, sizes.height, max_megapixels, place)
            raw.unpack()
            if raw.num_colors != 3:
                raise no_colour(place)
            pixels = raw.postprocess(_settings(rawpy))
            matrix = np.asarray(raw.rgb_xyz_matrix, dtype=np.float64)[:3]
        except rawpy.LibRawError as error:
            raise _refused(error, place) from None
    stated = dng_matrix(tree)
    to_srgb = daylight_matrix(matrix if stated is None else stated)
    if to_srgb is None:
        to_srgb = np.eye(3)
        notes += (_no_matrix(place),)
    orientation = _ORIENTATION_OF_FLIP.get(sizes.flip, 1)
    to_srgb.setflags(write=False)
    return DecodedPhoto(
        pixels=pixels,
        linear_lut=_identity_lut(),
        to_srgb=to_srgb,
        kind="raw",
        metadata=metadata_of(facts_of(tree), orientation=orientation),
        segments=Carried(
            path=str(path), exif=exif_of_tree(tree, orientation), orientation=orientation
        ),
        decoder=_decoder(rawpy),
        notes=notes,
    )


def _decoder(rawpy: Any) -> str:
    """Return the decoder's name with what it was told to do."""
    library = ".".join(map(str, rawpy.libraw_version))
    return f"rawpy {package_metadata.version('rawpy')} (LibRaw {library}), linear, PPG"


def _settings(rawpy: Any) -> Any:
    """Return the settings of development: linear, camera RGB, nothing automatic."""
    return rawpy.Params(
        demosaic_algorithm=rawpy.DemosaicAlgorithm.PPG,
        user_wb=[1.0, 1.0, 1.0, 1.0],
        output_color=rawpy.ColorSpace.raw,
        output_bps=16,
        user_flip=0,
        no_auto_bright=True,
        adjust_maximum_thr=0.0,
        highlight_mode=rawpy.HighlightMode.Clip,
        gamma=(1.0, 1.0),
    )


def _identity_lut() -> NDArray[np.float32]:
    """Return linear light for linear codes."""
    lut = np.repeat(np.linspace(0.0, 1.0, 65536, dtype=np.float32)[:, None], 3, axis=1)
    lut.setflags(write=False)
    return lut


def dng_matrix(tree: ExifTree | None) -> FloatArray | None:
    """
    Return the matrix from XYZ to camera RGB that a DNG states for the light nearest to D65.

    Parameters
    ----------
    tree : ExifTree or None

    Returns
    -------
    ndarray of float, shape (3, 3), or None
        None where the file is no DNG or states none.

    References
    ----------
    DNG specification 1.7.1.0, ColorMatrix1, ColorMatrix2 and CalibrationIlluminant1, 2.
    """
    if tree is None:
        return None
    found: list[tuple[int, FloatArray]] = []
    for matrix_tag, light_tag in _DNG_MATRICES:
        values = numbers_of(tree.main.get(matrix_tag), tree.order)
        light = numbers_of(tree.main.get(light_tag), tree.order)
        if len(values) != 9 or None in values:
            continue
        code = int(light[0] or 0) if light else 0
        rank = _DAYLIGHTS.index(code) if code in _DAYLIGHTS else len(_DAYLIGHTS)
        found.append((rank, np.array(values, dtype=np.float64).reshape(3, 3)))
    return min(found, key=lambda pair: pair[0])[1] if found else None


def daylight_matrix(xyz_to_camera: FloatArray) -> FloatArray | None:
    """
    Return camera RGB to linear sRGB from a camera's daylight (D65) matrix.

    Parameters
    ----------
    xyz_to_camera : ndarray of float, shape (3, 3)

    Returns
    -------
    ndarray of float, shape (3, 3), or None
        Scaled so that a daylight white that fills the strongest channel becomes 1; None where
        the file states no usable matrix.
    """
    camera = xyz_to_camera @ SRGB_TO_XYZ
    white = camera.sum(axis=1)
    if not np.isfinite(camera).all() or white.min() <= 0 or abs(np.linalg.det(camera)) < 1e-6:
        return None
    matrix: FloatArray = np.linalg.inv(camera / white.max())
    return matrix


def _no_matrix(place: str) -> Problem:
    """Return the note on a camera that the decoder has no matrix for."""
    return Problem(
        slug="raw-no-matrix",
        severity="warning",
        place=place,
        message="no daylight matrix is known for this camera: its RGB is taken as sRGB.",
        fix="Use a card with measured colours, or the camera's JPEG.",
    )


def _refused(error: Exception, place: str) -> InputError:
    """Return the error for a file that LibRaw refuses."""
    name = type(error).__name__
    what = error.args[0].decode() if error.args and isinstance(error.args[0], bytes) else str(error)
    if "Unsupported" in name:
        return InputError(
            "photo-unsupported",
            f"{place}: this camera's raw files are not read ({what}).",
            "Convert it to DNG, or use the camera's JPEG.",
        )
    is_cut = "IO" in name or "Input/output" in what
    return InputError(
        "photo-truncated" if is_cut else "photo-damaged",
        f"{place}: the raw data cannot be decoded ({what}).",
        "Copy it again from the memory card.",
    )
