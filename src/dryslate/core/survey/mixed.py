"""Visits and sites with random units: changes by t with stated degrees of freedom."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc, stdtr, stdtrit

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.change import Change
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.intervals import ALIKE, P_HI
from dryslate.core.survey.methods import Figure, Method, find_rule
from dryslate.core.survey.mixed_bootstrap import Layout, reach_of_contrast
from dryslate.core.survey.mixed_likelihood import STEP, Likelihood, curvature_of, find_shares
from dryslate.core.survey.planning import POWER, change_seen
from dryslate.core.survey.spread import Spread

FloatArray = NDArray[np.float64]
FEWEST_SITES = 6
"""With fewer, intervals of contrasts come from the model drawn again."""
FEWEST_OBSERVERS = 5
"""With fewer, a variance between observers cannot be told."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class VisitedUnits:
    """
    Values of units at visits, one entry each time a unit was seen.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        NaN is blank.
    sites, visits, units : sequence, shape (n,)
        Units of two sites are never the same, whatever they are called.
    observers : sequence, shape (n,), or None
    """

    values: ArrayLike
    sites: Sequence[Hashable]
    visits: Sequence[Hashable]
    units: Sequence[Hashable]
    observers: Sequence[Hashable] | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MixedFit:
    """
    A fitted model: a mean for each site at each visit, units random.

    Parameters
    ----------
    cells : tuple of (site, visit)
    means : ndarray of float
        Of each cell, by generalised least squares.
    variances : dict
        ``unit``, ``observer`` (where it is in the model) and ``error``.
    n_values, n_units : int
    n_blank : int
    flags : tuple of Flag
    """

    cells: tuple[tuple[Hashable, Hashable], ...]
    means: FloatArray
    variances: dict[str, float]
    n_values: int
    n_units: int
    n_blank: int
    flags: tuple[Flag, ...]
    _likelihood: Likelihood
    _log_variances: FloatArray
    _layout: Layout

    @property
    def method(self) -> Method:
        """
        Return how intervals of contrasts are made, fixed by the design and the variances.

        Notes
        -----
        Drawn again (`mixed_bootstrap`) under `FEWEST_SITES` sites or where the variance of units
        came out 0, unless observers are in the model or no unit was seen twice; otherwise t. None
        where the fit did not settle.
        """
        if Flag.MODEL_NOT_CONVERGED in self.flags:
            return Method.NONE
        few = len({site for site, _ in self.cells}) < FEWEST_SITES
        only_units = set(self.variances) == {"unit", "error"}
        figure = Figure.MODEL_CHANGE
        if only_units and (few or self.variances["unit"] == 0):
            figure = Figure.MODEL_CHANGE_FEW
        return find_rule(figure).method

    def weights_of_change(self, first: Hashable, second: Hashable) -> FloatArray:
        """
        Return the contrast of the mean change of the sites that were seen at both visits.

        Raises
        ------
        InputError
            ``change-nothing-to-compare`` if there is none.
        """
        both = [
            site
            for site in dict.fromkeys(site for site, _ in self.cells)
            if {(site, first), (site, second)} <= set(self.cells)
        ]
        if not both:
            raise InputError(
                "change-nothing-to-compare",
                "No site was seen at both visits.",
                "A change of several sites needs a site with units at both.",
            )
        weights = np.zeros(len(self.cells))
        for site in both:
            weights[self.cells.index((site, second))] += 1 / len(both)
            weights[self.cells.index((site, first))] -= 1 / len(both)
        return weights

    def contrast(self, what: str, weights: ArrayLike, power: float = POWER) -> Change:
        r"""
        Return a weighted sum of cell means with its interval.

        Parameters
        ----------
        what : str
        weights : array_like of float
            Of each of `cells`.
        power : float

        Returns
        -------
        Change

        Notes
        -----
        By `method`: t of the model drawn and fitted again, as many standard errors as hold 95 % of
        them; the stated t and p are those that lead to the same interval. Or
        t with Satterthwaite's degrees of freedom, :math:`2 v^2 / g^T A g` with `g` the slope of the
        variance in the variances and `A` their covariance from the curvature of the restricted
        likelihood [1]_ [2]_. A variance that came out 0 takes no part.

        References
        ----------
        .. [1] Giesbrecht, F.G. & Burns, J.C. (1985). Two-stage analysis based on a mixed model.
           Biometrics 41, 477-486.
        .. [2] Fai, A.H.-T. & Cornelius, P.L. (1996). Approximate F-tests of multiple degree of
           freedom hypotheses. J. Stat. Comput. Simul. 54, 363-378.
        """
        c = np.asarray(weights, dtype=np.float64)
        estimate, method = float(c @ self.means), self.method
        stated = Estimate(
            what=what,
            estimate=estimate,
            method=method,
            n_units=self.n_units,
            flags=self.flags,
            n_blank=self.n_blank,
        )
        if method is Method.NONE:
            return Change(change=stated)
        variance, df = self._doubt(c)
        u, by_t = math.sqrt(variance), float(stdtrit(df, P_HI))
        times = by_t
        if method is Method.BOOTSTRAP_MIXED:
            share = self.variances["unit"] / self.variances["error"]
            times = reach_of_contrast(self._layout, share, c)
        t = estimate / u * by_t / times
        return Change(
            change=replace(
                stated, u=u, lo95=estimate - times * u, hi95=estimate + times * u, df=df
            ),
            t=t,
            p=float(2 * stdtr(df, -abs(t))),
            sees=change_seen(Spread(sd=u * times / by_t, df=df), 1.0, df, self.n_units, power),
        )

    def p_sites_differ(self, first: Hashable, second: Hashable) -> float | None:
        """
        Return p of "all sites changed alike" between two visits.

        None with fewer than two sites, or where the fit did not settle.

        Notes
        -----
        F with the smallest degrees of freedom among the sites' differences: on the safe side.
        """
        at = {cell: k for k, cell in enumerate(self.cells)}
        sites = [s for s, v in self.cells if v == first and (s, second) in at]
        rows = []
        for site in sites[1:]:
            row = np.zeros(len(self.cells))
            for one, sign in ((site, 1.0), (sites[0], -1.0)):
                row[at[one, second]] += sign
                row[at[one, first]] -= sign
            rows.append(row)
        if not rows or Flag.MODEL_NOT_CONVERGED in self.flags:
            return None
        matrix = np.array(rows)
        gap = matrix @ self.means
        cov = matrix @ self._likelihood.covariance(self._log_variances) @ matrix.T
        f = float(gap @ np.linalg.solve(cov, gap)) / len(rows)
        return float(fdtrc(len(rows), min(self._doubt(row)[1] for row in matrix), f))

    def _doubt(self, c: FloatArray) -> tuple[float, float]:
        """Variance of a contrast, and its degrees of freedom."""
        at = self._log_variances

        def variance(where: FloatArray) -> float:
            """Variance of the contrast at these variances."""
            return float(c @ self._likelihood.covariance(where) @ c)

        v = variance(at)
        curve = curvature_of(self._likelihood.deviance, at)
        slope = np.array(
            [
                (variance(at + step) - variance(at - step)) / (2 * STEP)
                for step in STEP * np.eye(len(at))
            ]
        )
        doubt = float(slope @ (2 * np.linalg.pinv(curve)) @ slope)
        most = float(self.n_values - len(self.cells))
        return v, min(max(2 * v**2 / doubt, 1.0), most) if doubt > 0 else most


def fit_visits(seen: VisitedUnits) -> MixedFit:
    r"""
    Fit a mean for each site at each visit, with units (and observers, from five on) random.

    Parameters
    ----------
    seen : VisitedUnits

    Returns
    -------
    MixedFit

    Raises
    ------
    InputError
        ``change-nothing-to-compare`` without more values than cells, or where those of each cell
        are alike.

    Notes
    -----
    :math:`y = X\beta + Z_u u + Z_o o + e` by restricted maximum likelihood [1]_, written in
    cross-products so that its cost goes with the number of units, not of values. Observers are
    random at `FEWEST_OBSERVERS` or more, else left out.

    References
    ----------
    .. [1] Patterson, H.D. & Thompson, R. (1971). Recovery of inter-block information when block
       sizes are unequal. Biometrika 58, 545-554.
    """
    values = np.asarray(seen.values, dtype=np.float64)
    kept = np.flatnonzero(np.isfinite(values)).tolist()
    # In one order, so that the seeded draws of `mixed_bootstrap` do not hang on that of the rows.
    kept.sort(key=lambda k: (str(seen.sites[k]), str(seen.visits[k]), str(seen.units[k])))
    y = values[kept]
    pairs = [(seen.sites[k], seen.visits[k]) for k in kept]
    cells = tuple(dict.fromkeys(pairs))
    units = [(seen.sites[k], seen.units[k]) for k in kept]
    n_units = len(set(units))
    if len(y) <= len(cells) or not _differ_within(y, pairs):
        raise InputError(
            "change-nothing-to-compare",
            "There are no more values than sites and visits, or those of each visit to a site are "
            "alike.",
            "A model needs two units or more at some site and visit.",
        )
    factors: dict[str, FloatArray] = {}
    flags = []
    if n_units < len(y):
        factors["unit"] = _members(units)
    observers = [] if seen.observers is None else [seen.observers[k] for k in kept]
    if len(set(observers)) >= FEWEST_OBSERVERS:
        factors["observer"] = _members(observers)
    elif len(set(observers)) > 1:
        flags.append(Flag.OBSERVERS_NOT_IN_MODEL)
    likelihood = Likelihood.of(y, _members(pairs), tuple(factors.values()))
    shares, is_found = find_shares(likelihood)
    if not is_found:
        flags.append(Flag.MODEL_NOT_CONVERGED)
    if (shares == 0).any():
        flags.append(Flag.VARIANCE_AT_ZERO)
    used = likelihood.only(shares > 0)
    error = used.error_variance(shares[shares > 0])
    log_variances = np.log(np.array([*(shares[shares > 0] * error), error]))
    variances = dict(zip(factors, (shares * error).tolist(), strict=True))
    return MixedFit(
        cells=cells,
        means=used.means(shares[shares > 0]),
        variances={**variances, "error": error},
        n_values=len(y),
        n_units=n_units,
        n_blank=len(values) - len(kept),
        flags=tuple(flags),
        _likelihood=used,
        _log_variances=log_variances,
        _layout=Layout(cells=_levels(pairs), units=_levels(units)),
    )


def _differ_within(y: FloatArray, cells: Sequence[Hashable]) -> bool:
    """Tell whether values differ in any cell, beyond the dust of arithmetic."""
    at = _levels(cells)
    means = np.bincount(at, weights=y) / np.bincount(at)
    return bool(np.abs(y - means[at]).max() > ALIKE * np.abs(y).max())


def _levels(labels: Sequence[Hashable]) -> NDArray[np.intp]:
    """Return the number of each entry's level, in the order they are met."""
    levels = {label: k for k, label in enumerate(dict.fromkeys(labels))}
    return np.array([levels[label] for label in labels], dtype=np.intp)


def _members(labels: Sequence[Hashable]) -> FloatArray:
    """Return 0 and 1: which entry belongs to which level, in the order they are met."""
    levels = _levels(labels)
    found = np.zeros((len(levels), int(levels.max()) + 1))
    found[np.arange(len(levels)), levels] = 1.0
    return found
