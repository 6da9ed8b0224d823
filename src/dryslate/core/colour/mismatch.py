"""
How far off the card colours may be: the spectral-mismatch term, tabulated by simulation.

Corals are not the card's pigments: two things of one colour on land can differ under water and in
the camera. How much was simulated over waters, depths, cameras, cards and reef spectra by
``tools/spectral_mismatch.py``; this module reads that table and interpolates in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]

DOUBT_OF = 2
"""Counts the ways this doubt was stated: corrections made with an earlier one are redone."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mismatch:
    """
    Mismatch of one fit.

    Parameters
    ----------
    chroma : ndarray of float, shape (m,)
        Knots of corrected chroma C*ab.
    lab_u : ndarray of float, shape (m, h, 3) or (m, 3)
        At each knot, one standard uncertainty of L*, a*, b*; without hues, of lightness, along
        chroma and across it.
    de00_p95 : float
        Expected 95th percentile of CIEDE2000 of things off the card.
    hue_deg : ndarray of float, shape (h,) or None
        Knots of corrected hue, rising from 0.
    flat_u : ndarray of float, shape (k, 3), (3,) or None
        One standard uncertainty of L*, a*, b* of a thing known to be a spectrally flat grey.
    flat_lightness : ndarray of float, shape (k,) or None
        Knots of corrected lightness of `flat_u`; None where it is the same for all.
    """

    chroma: FloatArray
    lab_u: FloatArray
    de00_p95: float
    hue_deg: FloatArray | None = None
    flat_u: FloatArray | None = None
    flat_lightness: FloatArray | None = None

    def widened(self, factor: float) -> Mismatch:
        """Return it with every spread multiplied by a factor."""
        return Mismatch(
            chroma=self.chroma,
            lab_u=self.lab_u * factor,
            de00_p95=self.de00_p95 * factor,
            hue_deg=self.hue_deg,
            flat_u=None if self.flat_u is None else self.flat_u * factor,
            flat_lightness=self.flat_lightness,
        )

    def blended(self, other: Mismatch, share: float) -> Mismatch:
        """Return it with a share of another of the same knots."""
        mixed = (1.0 - share) * self.lab_u + share * other.lab_u
        p95 = (1.0 - share) * self.de00_p95 + share * other.de00_p95
        return replace(self, lab_u=mixed, de00_p95=p95)

    def flat_grey_covariance(self, lab: FloatArray) -> FloatArray:
        """Return the covariance for a thing known to be a flat grey; else as `covariance_at`."""
        if self.flat_u is None:
            return self.covariance_at(lab)
        u = self.flat_u
        if self.flat_lightness is not None:
            u = np.array([np.interp(lab[0], self.flat_lightness, column) for column in u.T])
        return np.asarray(np.diag(u * u), dtype=np.float64)

    def as_dict(self) -> dict[str, Any]:
        """Return plain values for JSON, read back by `mismatch_from_dict`."""
        return {
            "chroma": self.chroma.tolist(),
            "lab_u": self.lab_u.tolist(),
            "de00_p95": self.de00_p95,
            "hue_deg": None if self.hue_deg is None else self.hue_deg.tolist(),
            "flat_u": None if self.flat_u is None else self.flat_u.tolist(),
            "flat_lightness": None if self.flat_lightness is None else self.flat_lightness.tolist(),
        }

    def covariance_at(self, lab: FloatArray) -> FloatArray:
        """Return the covariance of L*, a*, b* for a corrected colour, shape (3, 3)."""
        a, b = float(lab[1]), float(lab[2])
        c = float(np.hypot(a, b))
        if self.hue_deg is not None:
            hue = float(np.rad2deg(np.arctan2(b, a))) % 360.0
            by_hue = [
                [np.interp(c, self.chroma, self.lab_u[:, h, i]) for h in range(len(self.hue_deg))]
                for i in range(3)
            ]
            u = np.array([np.interp(hue, self.hue_deg, row, period=360.0) for row in by_hue])
            return np.asarray(np.diag(u * u), dtype=np.float64)
        u = np.array([np.interp(c, self.chroma, self.lab_u[:, i]) for i in range(3)])
        cos, sin = (a / c, b / c) if c > 1e-9 else (1.0, 0.0)
        turn = np.array([[1.0, 0.0, 0.0], [0.0, cos, -sin], [0.0, sin, cos]])
        return np.asarray(turn @ np.diag(u * u) @ turn.T, dtype=np.float64)


def mismatch_from_dict(values: Mapping[str, Any]) -> Mismatch:
    """
    Rebuild a mismatch from what `Mismatch.as_dict` made, or an older version without hues.

    Parameters
    ----------
    values : Mapping

    Returns
    -------
    Mismatch

    Raises
    ------
    KeyError, ValueError
        If a part is missing or is no number.
    """
    hue_deg, flat_u = values.get("hue_deg"), values.get("flat_u")
    lightness = values.get("flat_lightness")
    return Mismatch(
        chroma=np.array(values["chroma"], dtype=np.float64),
        lab_u=np.array(values["lab_u"], dtype=np.float64),
        de00_p95=float(values["de00_p95"]),
        hue_deg=None if hue_deg is None else np.array(hue_deg, dtype=np.float64),
        flat_u=None if flat_u is None else np.array(flat_u, dtype=np.float64),
        flat_lightness=None if lightness is None else np.array(lightness, dtype=np.float64),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MismatchGrid:
    """
    The table of one kind of fit.

    Parameters
    ----------
    left_out : ndarray of float, shape (k,)
        Knots of the card's own mean left-out CIEDE2000.
    chroma : ndarray of float, shape (m,)
    lab_u : ndarray of float, shape (k, m, h, 3) or (k, m, 3)
    de00_p95 : ndarray of float, shape (k,)
    hue_deg : ndarray of float, shape (h,) or None
    """

    left_out: FloatArray
    chroma: FloatArray
    lab_u: FloatArray
    de00_p95: FloatArray
    hue_deg: FloatArray | None = None

    def at(self, left_out_de00: float) -> Mismatch:
        """Interpolate at a left-out difference, on a log scale; beyond the end it grows with it."""
        knots = np.log(self.left_out)
        x = float(np.clip(np.log(max(left_out_de00, 1e-3)), knots[0], knots[-1]))
        beyond = max(1.0, left_out_de00 / float(self.left_out[-1]))
        flat = self.lab_u.reshape(len(knots), -1)  # one column for each of the other knots
        u = np.array([np.interp(x, knots, column) for column in flat.T])
        return Mismatch(
            chroma=self.chroma,
            lab_u=u.reshape(self.lab_u.shape[1:]) * beyond,
            de00_p95=float(np.interp(x, knots, self.de00_p95)) * beyond,
            hue_deg=self.hue_deg,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MismatchTable:
    """
    Grids by kind of fit (``matrix``, ``gain``, ``one_point``) or by the fit's own name.

    ``greys:`` stands before it where the fit rests on greys only, ``flat:`` before that for things
    known to be flat greys (there the knots of chroma are of lightness), ``strained:`` for fits
    that stretch red (see `mismatch_of`).
    """

    grids: Mapping[str, MismatchGrid] = field(default_factory=dict)


def parse_mismatch_table(rows: Sequence[Mapping[str, str]]) -> MismatchTable:
    """
    Read the mismatch table from its rows.

    Parameters
    ----------
    rows : sequence of Mapping
        Columns ``fit``, ``left_out_de00``, ``chroma``, ``hue_deg``, ``lightness_u``, ``a_u``,
        ``b_u``, ``de00_p95``; every combination of knots of one fit must be there. Without
        ``hue_deg``: ``along_u`` and ``across_u`` (chroma) in place of ``a_u`` and ``b_u``.

    Returns
    -------
    MismatchTable

    Raises
    ------
    InputError
        ``colour-table-unreadable`` if a cell is missing or is not a number.

    Examples
    --------
    >>> parse_mismatch_table([]).grids
    {}
    """
    grids: dict[str, MismatchGrid] = {}
    try:
        for name in dict.fromkeys(line["fit"] for line in rows):
            grids[name] = _grid_of([line for line in rows if line["fit"] == name])
    except (KeyError, ValueError) as reason:
        raise InputError(
            "colour-table-unreadable", f"the table of spectral mismatch cannot be read: {reason}"
        ) from reason
    return MismatchTable(grids=grids)


def _grid_of(lines: Sequence[Mapping[str, str]]) -> MismatchGrid:
    """Build the grid of one fit; ValueError where a knot is missing."""
    has_hue = "hue_deg" in lines[0]
    names = ("lightness_u", "a_u", "b_u") if has_hue else ("lightness_u", "along_u", "across_u")
    axes = ("left_out_de00", "chroma", *(("hue_deg",) if has_hue else ()))
    knots = [sorted({float(line[axis]) for line in lines}) for axis in axes]
    lab_u = np.full((*map(len, knots), 3), np.nan)
    p95 = np.full(len(knots[0]), np.nan)
    for line in lines:
        at = tuple(k.index(float(line[axis])) for k, axis in zip(knots, axes, strict=True))
        lab_u[at] = [float(line[name]) for name in names]
        p95[at[0]] = float(line["de00_p95"])
    if np.isnan(lab_u).any():
        raise ValueError(f"knots of {lines[0]['fit']} are missing")
    return MismatchGrid(
        left_out=np.array(knots[0]),
        chroma=np.array(knots[1]),
        lab_u=lab_u,
        de00_p95=p95,
        hue_deg=np.array(knots[2]) if has_hue else None,
    )


STRAIN_CALM, STRAIN_FULL = 1.05, 1.3
"""Up to the first red is stretched as near the surface; from the second it is strained."""
_GAIN_SHARE = 0.4
"""Power of red's gain over green's in the strain: tells deep natural light best in simulation."""

_KINDS = {
    "neutral_gain": "gain",
    "gain_veil": "gain",
    "affine": "matrix",
    "root_polynomial_2": "matrix",
}


def _find_grid(table: MismatchTable, before: str, fit: str) -> MismatchGrid | None:
    """The grid of a fit by its own name, else by its kind."""
    return table.grids.get(before + fit) or table.grids.get(before + _KINDS.get(fit, fit))


def measure_red_strain(matrix: FloatArray, gain: FloatArray, to_srgb: FloatArray) -> float:
    """
    Measure how far a correction stretches red: as a sign of natural light that has lost it.

    Parameters
    ----------
    matrix : ndarray of float, shape (3, 3) or (3, 6)
        From terms of the file to linear sRGB, as in `Correction`.
    gain : ndarray of float, shape (3,)
        Gain of the neutrals.
    to_srgb : ndarray of float, shape (3, 3)
        Linear RGB of the file to linear sRGB.

    Returns
    -------
    float
        Length of the derivative of red by the three balanced channels, at a grey (1 where red
        is red alone), times red's gain over green's to the power of 0.4.

    Notes
    -----
    Lost red shows as a gain where the camera left it lost, and as green that must be taken off
    red again where the camera raised it by itself: a large gain goes with a short row. Neither
    tells deep natural light by itself; their product does.

    Examples
    --------
    >>> taken = np.array([[1.6, -0.6, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    >>> measure_red_strain(np.eye(3), np.ones(3), np.eye(3))
    1.0
    >>> round(measure_red_strain(taken, np.ones(3), np.eye(3)), 2)
    1.71
    >>> gain = np.array([4.0, 1.0, 1.0])
    >>> round(measure_red_strain(np.diag(gain), gain, np.eye(3)), 2)
    1.74
    """
    red = matrix[0, :3] / gain
    if matrix.shape[1] == 6:  # half of each square root's coefficient goes to each of its two
        root = np.sqrt(gain)
        rg, gb, rb = matrix[0, 3:] / (root * np.roll(root, -1))
        red = red + 0.5 * np.array([rg + rb, rg + gb, gb + rb])
    row = float(np.linalg.norm(red @ np.linalg.inv(to_srgb)))
    return float(row * (gain[0] / max(float(gain[1]), 1e-9)) ** _GAIN_SHARE)


def mismatch_of(
    fit: str,
    left_out_de00: float | None,
    table: MismatchTable | None,
    *,
    greys_only: bool,
    strain: float = STRAIN_CALM,
) -> Mismatch:
    """
    Look up the mismatch of one fit.

    Parameters
    ----------
    fit : str
        Kind of fit, as in `Correction`.
    left_out_de00 : float or None
        The card's own mean left-out CIEDE2000; None where nothing could be left out.
    table : MismatchTable or None
        None, or a table without this fit: a wide fallback.
    greys_only : bool
        The fit rests on greys only.
    strain : float
        From `measure_red_strain`; asked where the table knows strained fits.

    Returns
    -------
    Mismatch

    Notes
    -----
    Between a strain of 1.05 and of 1.3 the two grids of a fit are blended. The fallback (standard
    uncertainty of 5 in lightness and 7 across, 95th percentile 15) is a cautious judgement, not a
    measurement.

    Examples
    --------
    >>> mismatch_of("neutral_gain", None, None, greys_only=True).de00_p95
    15.0
    """
    before = "greys:" if greys_only else ""
    grid = None if table is None else _find_grid(table, before, fit)
    if table is not None and grid is not None:
        found = grid.at(float(grid.left_out[-1]) if left_out_de00 is None else left_out_de00)
        strained = _find_grid(table, f"strained:{before}", fit)
        if strained is not None:
            share = (strain - STRAIN_CALM) / (STRAIN_FULL - STRAIN_CALM)
            last = float(strained.left_out[-1])
            other = strained.at(last if left_out_de00 is None else left_out_de00)
            found = found.blended(other, float(np.clip(share, 0.0, 1.0)))
        flat = _find_grid(table, f"flat:{before}", fit)
        if flat is None:
            return found
        at = flat.at(float(flat.left_out[-1]) if left_out_de00 is None else left_out_de00)
        flat_u = at.lab_u.reshape(len(at.chroma), -1, 3)[:, 0]
        return replace(found, flat_u=flat_u, flat_lightness=at.chroma)
    lab_u = np.array([[5.0, 5.0, 5.0], [6.0, 9.0, 7.0], [7.0, 16.0, 10.0]])
    return Mismatch(chroma=np.array([0.0, 25.0, 60.0]), lab_u=lab_u, de00_p95=15.0)
