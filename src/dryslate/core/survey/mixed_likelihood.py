"""Restricted likelihood of a model with a mean for each cell and random factors."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
STEP = 1e-3
"""Of logarithms of variances, for slopes by differences."""
_FLAT = 1e-4
_DUST = 1e-13
"""Of the sum of squares: less than this is not told from 0 by a difference of large numbers."""
_MOST_ROOT = 1e4


@dataclass(frozen=True, slots=True, eq=False)
class Likelihood:
    """Restricted likelihood from cross-products; variances of factors relative to the error's."""

    n: int
    widths: tuple[int, ...]
    zz: FloatArray
    zx: FloatArray
    zy: FloatArray
    xx: FloatArray
    xy: FloatArray
    yy: float
    shift: float

    @classmethod
    def of(cls, y: FloatArray, x: FloatArray, factors: tuple[FloatArray, ...]) -> Likelihood:
        """Take the cross-products of values, cells and factors."""
        z = np.hstack(factors) if factors else np.zeros((len(y), 0))
        shift = float(y.mean())
        away = y - shift
        return cls(
            n=len(y),
            widths=tuple(f.shape[1] for f in factors),
            zz=z.T @ z,
            zx=z.T @ x,
            zy=z.T @ away,
            xx=x.T @ x,
            xy=x.T @ away,
            yy=float(away @ away),
            shift=shift,
        )

    def only(self, kept: NDArray[np.bool_]) -> Likelihood:
        """Leave factors out."""
        columns = np.repeat(kept, self.widths)
        return Likelihood(
            n=self.n,
            widths=tuple(w for w, k in zip(self.widths, kept, strict=True) if k),
            zz=self.zz[np.ix_(columns, columns)],
            zx=self.zx[columns],
            zy=self.zy[columns],
            xx=self.xx,
            xy=self.xy,
            yy=self.yy,
            shift=self.shift,
        )

    def _reduced(self, shares: FloatArray) -> tuple[float, FloatArray, FloatArray, float]:
        """Log determinant of V, and X'V⁻¹X, X'V⁻¹y, y'V⁻¹y, the error's variance being 1."""
        root = np.sqrt(np.repeat(shares, self.widths))
        if not len(root):
            return 0.0, self.xx, self.xy, self.yy
        lower = np.linalg.cholesky(np.eye(len(root)) + root[:, None] * self.zz * root)
        x = np.linalg.solve(lower, root[:, None] * self.zx)
        y = np.linalg.solve(lower, root * self.zy)
        log_det = 2 * float(np.log(np.diag(lower)).sum())
        return log_det, self.xx - x.T @ x, self.xy - x.T @ y, self.yy - float(y @ y)

    def _rest(self, shares: FloatArray) -> tuple[float, FloatArray, float]:
        """Log determinants of V and X'V⁻¹X, the latter, and what the means leave over."""
        log_det, xx, xy, yy = self._reduced(shares)
        left = max(yy - float(xy @ np.linalg.solve(xx, xy)), _DUST * self.yy)
        return log_det + float(np.linalg.slogdet(xx)[1]), xx, left

    def profile(self, shares: FloatArray) -> float:
        """Deviance at the best error variance for these shares."""
        dets, xx, left = self._rest(shares)
        free = self.n - len(xx)
        return dets + free * math.log(left / free)

    def deviance(self, log_variances: FloatArray) -> float:
        """Deviance at variances of the factors and of the error, in logarithms."""
        error = math.exp(log_variances[-1])
        dets, xx, left = self._rest(np.exp(log_variances[:-1]) / error)
        return dets + (self.n - len(xx)) * math.log(error) + left / error

    def error_variance(self, shares: FloatArray) -> float:
        """Best error variance for these shares."""
        _, xx, left = self._rest(shares)
        return left / (self.n - len(xx))

    def means(self, shares: FloatArray) -> FloatArray:
        """Means of the cells."""
        _, xx, xy, _ = self._reduced(shares)
        return np.asarray(np.linalg.solve(xx, xy) + self.shift)

    def covariance(self, log_variances: FloatArray) -> FloatArray:
        """Covariance of the cells' means."""
        error = math.exp(log_variances[-1])
        _, xx, _, _ = self._reduced(np.exp(log_variances[:-1]) / error)
        return np.asarray(error * np.linalg.inv(xx))


def find_shares(likelihood: Likelihood) -> tuple[FloatArray, bool]:
    """Find each factor's variance over the error's, 0 where it adds nothing; and whether found."""
    from scipy.optimize import Bounds, minimize

    n = len(likelihood.widths)
    if not n:
        return np.zeros(0), True
    if n == 1:
        return _one_share(likelihood)
    tries = [
        minimize(  # type: ignore[call-overload]  # its stubs take no plain bounds
            lambda root: likelihood.profile(root**2),
            np.full(n, start),
            method="L-BFGS-B",
            bounds=Bounds(np.zeros(n), np.full(n, _MOST_ROOT)),
            tol=1e-12,
        )
        for start in (0.1, 1.0, 3.0)
    ]
    best = min(tries, key=lambda one: one.fun)
    roots = np.where(best.x < _FLAT, 0.0, best.x)
    for k in range(n):  # an edge that is as good is the simpler answer
        edge = np.where(np.arange(n) == k, 0.0, roots)
        if likelihood.profile(edge**2) <= best.fun + 1e-9:
            roots = edge
    reached = sum(abs(one.fun - best.fun) < 1e-5 for one in tries)
    return roots**2, bool(reached > 1 and (best.x < _MOST_ROOT).all())


def _one_share(likelihood: Likelihood) -> tuple[FloatArray, bool]:
    """Find the one factor's variance over the error's: on a grid, then between its neighbours."""
    from scipy.optimize import minimize_scalar

    def deviance(root: float) -> float:
        """Deviance at the root of the share."""
        return likelihood.profile(np.array([root**2]))

    grid = np.concatenate([[0.0], np.geomspace(1e-2, _MOST_ROOT, 40)])
    found = [deviance(root) for root in grid]
    at = int(np.argmin(found))
    if at == len(grid) - 1:
        return np.array([grid[at] ** 2]), False
    between = (grid[max(at - 1, 0)], grid[at + 1])
    best = minimize_scalar(deviance, bounds=between, method="bounded", options={"xatol": 1e-9})
    root = 0.0 if best.x < _FLAT or found[0] <= best.fun + 1e-9 else float(best.x)
    return np.array([root**2]), True


def curvature_of(deviance: Callable[[FloatArray], float], at: FloatArray) -> FloatArray:
    """Second derivatives by differences."""
    n = len(at)
    steps = STEP * np.eye(n) * 10
    found = np.zeros((n, n))
    for i in range(n):
        for j in range(i, n):
            a, b = steps[i], steps[j]
            four = deviance(at + a + b) - deviance(at + a - b)
            four += deviance(at - a - b) - deviance(at - a + b)
            found[i, j] = found[j, i] = four / (4 * (10 * STEP) ** 2)
    return found
