"""
How far off the card colours may be: the spectral-mismatch term, tabulated by simulation.

Corals are not the card's pigments: two things of one colour on land can differ under water and in
the camera. How much was simulated over waters, depths, cameras, cards and reef spectra by
``tools/spectral_mismatch.py``; this module reads that table and interpolates in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mismatch:
    """
    Mismatch of one fit.

    Parameters
    ----------
    chroma : ndarray of float, shape (m,)
        Knots of corrected chroma C*ab.
    lab_u : ndarray of float, shape (m, 3)
        At each knot, one standard uncertainty of lightness, along chroma and across it.
    de00_p95 : float
        Expected 95th percentile of CIEDE2000 of things off the card.
    """

    chroma: FloatArray
    lab_u: FloatArray
    de00_p95: float

    def widened(self, factor: float) -> Mismatch:
        """Return it with every spread multiplied by a factor."""
        return Mismatch(
            chroma=self.chroma, lab_u=self.lab_u * factor, de00_p95=self.de00_p95 * factor
        )

    def covariance_at(self, lab: FloatArray) -> FloatArray:
        """Return the covariance of L*, a*, b* for a corrected colour, shape (3, 3)."""
        a, b = float(lab[1]), float(lab[2])
        c = float(np.hypot(a, b))
        u = np.array([np.interp(c, self.chroma, self.lab_u[:, i]) for i in range(3)])
        cos, sin = (a / c, b / c) if c > 1e-9 else (1.0, 0.0)
        turn = np.array([[1.0, 0.0, 0.0], [0.0, cos, -sin], [0.0, sin, cos]])
        return np.asarray(turn @ np.diag(u * u) @ turn.T, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MismatchGrid:
    """
    The table of one kind of fit.

    Parameters
    ----------
    left_out : ndarray of float, shape (k,)
        Knots of the card's own mean left-out CIEDE2000.
    chroma : ndarray of float, shape (m,)
    lab_u : ndarray of float, shape (k, m, 3)
    de00_p95 : ndarray of float, shape (k,)
    """

    left_out: FloatArray
    chroma: FloatArray
    lab_u: FloatArray
    de00_p95: FloatArray

    def at(self, left_out_de00: float) -> Mismatch:
        """Interpolate at a left-out difference, on a log scale; beyond the end it grows with it."""
        knots = np.log(self.left_out)
        x = float(np.clip(np.log(max(left_out_de00, 1e-3)), knots[0], knots[-1]))
        beyond = max(1.0, left_out_de00 / float(self.left_out[-1]))
        flat = self.lab_u.reshape(len(knots), -1)
        u = np.array([np.interp(x, knots, column) for column in flat.T])
        return Mismatch(
            chroma=self.chroma,
            lab_u=u.reshape(self.lab_u.shape[1:]) * beyond,
            de00_p95=float(np.interp(x, knots, self.de00_p95)) * beyond,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MismatchTable:
    """Grids by kind of fit; ``greys:`` before the name where the fit rests on greys only."""

    grids: Mapping[str, MismatchGrid] = field(default_factory=dict)


def parse_mismatch_table(rows: Sequence[Mapping[str, str]]) -> MismatchTable:
    """
    Read the mismatch table from its rows.

    Parameters
    ----------
    rows : sequence of Mapping
        Columns ``fit``, ``left_out_de00``, ``chroma``, ``lightness_u``, ``along_u``, ``across_u``,
        ``de00_p95``; every combination of knots of one fit must be there.

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
            lines = [line for line in rows if line["fit"] == name]
            left = sorted({float(line["left_out_de00"]) for line in lines})
            chroma = sorted({float(line["chroma"]) for line in lines})
            lab_u = np.full((len(left), len(chroma), 3), np.nan)
            p95 = np.full(len(left), np.nan)
            for line in lines:
                i = left.index(float(line["left_out_de00"]))
                j = chroma.index(float(line["chroma"]))
                lab_u[i, j] = [float(line[k]) for k in ("lightness_u", "along_u", "across_u")]
                p95[i] = float(line["de00_p95"])
            if np.isnan(lab_u).any():
                raise ValueError(f"knots of {name} are missing")
            grids[name] = MismatchGrid(
                left_out=np.array(left), chroma=np.array(chroma), lab_u=lab_u, de00_p95=p95
            )
    except (KeyError, ValueError) as reason:
        raise InputError(
            "colour-table-unreadable", f"the table of spectral mismatch cannot be read: {reason}"
        ) from reason
    return MismatchTable(grids=grids)


def mismatch_of(
    fit: str, left_out_de00: float | None, table: MismatchTable | None, *, greys_only: bool
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

    Returns
    -------
    Mismatch

    Notes
    -----
    The fallback (standard uncertainty of 5 in lightness and 7 across, 95th percentile 15) is a
    cautious judgement, not a measurement.

    Examples
    --------
    >>> mismatch_of("neutral_gain", None, None, greys_only=True).de00_p95
    15.0
    """
    name = f"greys:{fit}" if greys_only else fit
    if table is not None and name in table.grids:
        grid = table.grids[name]
        return grid.at(float(grid.left_out[-1]) if left_out_de00 is None else left_out_de00)
    lab_u = np.array([[5.0, 5.0, 5.0], [6.0, 9.0, 7.0], [7.0, 16.0, 10.0]])
    return Mismatch(chroma=np.array([0.0, 25.0, 60.0]), lab_u=lab_u, de00_p95=15.0)
