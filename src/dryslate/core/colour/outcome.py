"""What a colour fit answers, what it can be told, and both as plain values for JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.base.quality import Flag
from dryslate.core.colour.correction import (
    Correction,
    FitName,
    correction_from_dict,
    correction_to_dict,
)
from dryslate.core.colour.light import UNSEEN_CURVATURE, LightDoubt
from dryslate.core.colour.mismatch import Mismatch, MismatchTable, mismatch_from_dict
from dryslate.core.colour.prior import MatrixPrior
from dryslate.core.colour.signal import LOOKING_ONLY

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourSettings:
    """
    What the surveyor can tell the colour fit.

    Parameters
    ----------
    nominal_as_measured : bool
        Trust the values of a nominal card as if they had been measured.
    under_water : bool
        The photo was taken under water; a card whose values hold in air is then less certain.
    is_encoded : bool
        The values come from a photo with a picture style (JPEG, HEIC, PNG); False for raw files,
        which are linear already, so that no tone curve is tried.
    matrix_prior : MatrixPrior or None
        Read by `parse_matrix_prior` from the table ``spectral_prior``; None: near the plain gain.
    mismatch_table : MismatchTable or None
        Read by `parse_mismatch_table` from the table ``spectral_mismatch``; None: a wide fallback.
    """

    nominal_as_measured: bool = False
    under_water: bool = True
    is_encoded: bool = True
    matrix_prior: MatrixPrior | None = None
    mismatch_table: MismatchTable | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ColourFit:
    """
    A colour correction with everything that is known of its quality.

    Parameters
    ----------
    usable : bool
        False where the correction is refused, or good for looking only; `problems` says why.
    fit : str
        The chosen kind of fit (as in `Correction`).
    correction : Correction
        What to apply; not to be applied where `can_be_shown` is False.
    gain : ndarray of float, shape (3,)
        Gain per channel of the neutrals, from file-linear values (tone and veil undone) to
        reflectance.
    noise_after_gain : ndarray of float, shape (3,)
        Standard deviation of one pixel of the mid grey, after the gain, in linear light.
    veil : ndarray of float, shape (3,)
        Veiling light in the file's linear RGB.
    left_out_de00_median, left_out_de00_p95 : float or None
        CIEDE2000 of patches that were left out of the fit; None where none could be left out.
    off_card_de00_p95 : float or None
        Expected 95th percentile of the CIEDE2000 of things that are not on the card.
    n_patches : int
        Patches that the fit rests on.
    dropped : Mapping
        Reason by patch id for each dropped patch.
    problems : tuple of Problem
    flags : tuple of Flag
    covariance : ndarray of float, shape (p, p)
        Covariance of the matrix (row by row), the veil (3), the two tone parameters and the light
        field's slope per pixel (2), in that order.
    mismatch : Mismatch
        The spectral-mismatch term.
    common_u : ndarray of float, shape (3,)
        One standard uncertainty of L*, a*, b* that the card's own values and medium bring to
        every colour alike.
    candidates : Mapping
        Mean left-out CIEDE2000 and its standard error by candidate.
    light : LightDoubt or None
        How sure the light is away from the card; None where there is no card.
    """

    usable: bool
    fit: FitName
    correction: Correction
    gain: FloatArray
    noise_after_gain: FloatArray
    veil: FloatArray
    left_out_de00_median: float | None
    left_out_de00_p95: float | None
    off_card_de00_p95: float | None
    n_patches: int
    covariance: FloatArray
    mismatch: Mismatch
    common_u: FloatArray
    dropped: Mapping[str, str] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
    flags: tuple[Flag, ...] = ()
    candidates: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    light: LightDoubt | None = None

    def __post_init__(self) -> None:
        for name in ("gain", "noise_after_gain", "veil", "covariance", "common_u"):
            array = np.array(getattr(self, name), dtype=np.float64)
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    @property
    def is_looking_only(self) -> bool:
        """Whether a corrected picture is worth looking at while no colour is to be measured."""
        reasons = {problem.slug for problem in self.problems if problem.severity == "error"}
        return not self.usable and reasons == {LOOKING_ONLY}

    @property
    def can_be_shown(self) -> bool:
        """Whether a corrected picture is to be written."""
        return self.usable or self.is_looking_only


def fit_to_dict(fit: ColourFit) -> dict[str, Any]:
    """
    Turn a colour fit into plain values, for JSON.

    Parameters
    ----------
    fit : ColourFit

    Returns
    -------
    dict
        Read back by `fit_from_dict` without loss.
    """
    return {
        "usable": fit.usable,
        "fit": fit.fit,
        "correction": correction_to_dict(fit.correction),
        "gain": fit.gain.tolist(),
        "noise_after_gain": fit.noise_after_gain.tolist(),
        "veil": fit.veil.tolist(),
        "left_out_de00_median": fit.left_out_de00_median,
        "left_out_de00_p95": fit.left_out_de00_p95,
        "off_card_de00_p95": fit.off_card_de00_p95,
        "n_patches": fit.n_patches,
        "covariance": fit.covariance.tolist(),
        "mismatch": fit.mismatch.as_dict(),
        "common_u": fit.common_u.tolist(),
        "dropped": dict(fit.dropped),
        "problems": [problem.as_dict() for problem in fit.problems],
        "flags": [str(flag) for flag in fit.flags],
        "candidates": {name: list(score) for name, score in fit.candidates.items()},
        "light": None if fit.light is None else fit.light.as_dict(),
    }


def _light_from_dict(values: Mapping[str, Any] | None) -> LightDoubt | None:
    """Rebuild the doubt of the light; None where there is none."""
    if values is None:
        return None
    x, y = values["centre_px"]
    red, blue = values.get("tint", (0.0, 0.0))
    return LightDoubt(
        centre_px=(float(x), float(y)),
        half_px=float(values["half_px"]),
        slope=float(values["slope"]),
        ripple=float(values.get("ripple", 0.0)),
        curvature=float(values.get("curvature", UNSEEN_CURVATURE)),
        tint=(float(red), float(blue)),
    )


def fit_from_dict(values: Mapping[str, Any]) -> ColourFit:
    """
    Rebuild a colour fit from what `fit_to_dict` made.

    Parameters
    ----------
    values : Mapping

    Returns
    -------
    ColourFit

    Raises
    ------
    InputError
        ``colour-fit-unreadable`` if a part is missing or of the wrong kind.
    """
    try:
        return ColourFit(
            usable=bool(values["usable"]),
            fit=values["fit"],
            correction=correction_from_dict(values["correction"]),
            gain=np.array(values["gain"], dtype=np.float64),
            noise_after_gain=np.array(values["noise_after_gain"], dtype=np.float64),
            veil=np.array(values["veil"], dtype=np.float64),
            left_out_de00_median=values["left_out_de00_median"],
            left_out_de00_p95=values["left_out_de00_p95"],
            off_card_de00_p95=values["off_card_de00_p95"],
            n_patches=int(values["n_patches"]),
            covariance=np.array(values["covariance"], dtype=np.float64),
            mismatch=mismatch_from_dict(values["mismatch"]),
            common_u=np.array(values["common_u"], dtype=np.float64),
            dropped=dict(values["dropped"]),
            problems=tuple(Problem(**problem) for problem in values["problems"]),
            flags=tuple(Flag(flag) for flag in values["flags"]),
            candidates={k: (float(v[0]), float(v[1])) for k, v in values["candidates"].items()},
            light=_light_from_dict(values.get("light")),
        )
    except (KeyError, TypeError, ValueError, IndexError) as reason:
        if isinstance(reason, InputError):
            raise
        raise InputError(
            "colour-fit-unreadable",
            f"the stored colour fit cannot be read: {reason}",
            "Correct the photo again.",
        ) from reason
