"""The lens file: a calibration as TOML, with the covariance of its parameters."""

from __future__ import annotations

import hashlib
import tomllib
from typing import Any

import numpy as np
import tomli_w

from dryslate.base.errors import FormatError
from dryslate.core.scale.camera import LensModel
from dryslate.core.scale.lens import Lens

VERSION = 1
NAMES: dict[LensModel, tuple[str, ...]] = {
    "normal": ("fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2", "k3"),
    "fisheye": ("fx", "fy", "cx", "cy", "k1", "k2", "k3", "k4"),
}


def format_lens(lens: Lens, note: str = "") -> str:
    """
    Write a lens as the text of a lens file.

    Parameters
    ----------
    lens : Lens
    note : str
        For people: camera, housing, port, water.

    Returns
    -------
    str
        TOML; `parse_lens` makes the same lens of it.
    """
    names = NAMES[lens.model]
    document: dict[str, Any] = {
        "lens_file": VERSION,
        "name": lens.name,
        "note": note,
        "model": lens.model,
        "width_px": lens.image_size_px[0],
        "height_px": lens.image_size_px[1],
        "n_views": lens.n_views,
        "rms_px": float(lens.rms_px),
        "radius_px": float(lens.radius_px),
        "parameters": dict(zip(names, lens.params.tolist(), strict=True)),
        "covariance": {
            "order": list(names),
            "rows": [row.tolist() for row in lens.covariance],
        },
    }
    return tomli_w.dumps(document)


def parse_lens(text: str, place: str) -> Lens:
    """
    Read the text of a lens file.

    Parameters
    ----------
    text : str
    place : str
        What to call the file in messages.

    Returns
    -------
    Lens
        Its identity is the SHA-256 of the text.

    Raises
    ------
    FormatError
        ``lens-file-broken`` when it is not TOML, lacks something, or holds impossible values;
        ``lens-file-newer`` when a later version of the program wrote it.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _broken(place, f"it is not TOML ({error})") from error
    version = document.get("lens_file")
    if isinstance(version, int) and version > VERSION:
        raise FormatError(
            "lens-file-newer",
            f"{place}: lens file version {version}; this program reads up to {VERSION}.",
            "Update the program, or calibrate again with this one.",
        )
    try:
        lens = _lens(document, hashlib.sha256(text.encode("utf-8")).hexdigest())
    except (KeyError, TypeError, ValueError) as error:
        raise _broken(place, f"{type(error).__name__}: {error}") from error
    return lens


def _broken(place: str, why: str) -> FormatError:
    """Build the error for a lens file that cannot be used."""
    return FormatError(
        "lens-file-broken",
        f"{place}: not a usable lens file: {why}.",
        "Calibrate again with: dryslate lens PHOTO... -o LENS.toml",
    )


def _lens(document: dict[str, Any], sha256: str) -> Lens:
    """Build the lens; raises KeyError, TypeError or ValueError where something is amiss."""
    model = document["model"]
    if model not in NAMES:
        raise ValueError(f"model {model!r}, expected {' or '.join(NAMES)}")
    names = NAMES[model]
    params = np.array([float(document["parameters"][name]) for name in names])
    if list(document["covariance"]["order"]) != list(names):
        raise ValueError("the covariance's order differs from that of the parameters")
    covariance = np.array(document["covariance"]["rows"], dtype=np.float64)
    width, height = int(document["width_px"]), int(document["height_px"])
    if covariance.shape != (len(names), len(names)):
        raise ValueError(f"covariance of shape {covariance.shape}")
    if not (np.isfinite(params).all() and np.isfinite(covariance).all()):
        raise ValueError("a parameter or its covariance is not a number")
    if not np.allclose(covariance, covariance.T, rtol=1e-6):
        raise ValueError("the covariance is not symmetrical")
    if np.diag(covariance).min() < 0 or min(width, height) < 1 or params[:2].min() <= 0:
        raise ValueError("a variance below zero, no frame, or a focal length of zero or less")
    return Lens(
        name=str(document.get("name", "")),
        model=model,
        image_size_px=(width, height),
        params=params,
        covariance=covariance,
        rms_px=float(document.get("rms_px", 0.0)),
        n_views=int(document.get("n_views", 0)),
        radius_px=float(document.get("radius_px", 0.0)),
        sha256=sha256,
    )
