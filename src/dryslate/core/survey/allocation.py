"""Photos in a unit and points on a photo against units: what the spread of units is made of."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.core.survey.planning import PlannedUnits
from dryslate.core.survey.spread import Spread, require_plan

FloatArray = NDArray[np.float64]
UnitPhotos = Sequence[tuple[float, float]]
"""The photos of one unit: points on the thing, and points read, of each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoComponents:
    """
    What makes the spread of unit values.

    Parameters
    ----------
    units, photos, points : float
        Variance between units apart from their photos, between photos of a unit apart from their
        points, and of one point; 0 where it came out below.
    ms_units, df_units : float
        Variance of unit means as found, pooled within visits.
    ms_photos, df_photos : float
        Variance of photos within units as found.
    photos_per_unit, points_per_photo : float
        Harmonic means of the past.
    """

    units: float
    photos: float
    points: float
    ms_units: float
    df_units: float
    ms_photos: float
    df_photos: float
    photos_per_unit: float
    points_per_photo: float

    def spread(self, photos: int, points: int) -> Spread:
        r"""
        Return the spread of units that have so many photos with so many points.

        Parameters
        ----------
        photos, points : int

        Returns
        -------
        Spread

        Notes
        -----
        :math:`s^2 = s_u^2 + s_p^2/m + s_e^2/mk` [1]_; degrees of freedom by Satterthwaite [2]_
        from the mean squares that it is made of, never more than these have together.

        References
        ----------
        .. [1] Cochran, W.G. (1977). Sampling Techniques, 3rd ed., section 10.3.
        .. [2] Satterthwaite, F.E. (1946). An approximate distribution of estimates of variance
           components. Biometrics Bull. 2, 110-114.
        """
        require_plan(photos >= 1 and points >= 1)
        variance = self.units + self.photos / photos + self.points / (photos * points)
        require_plan(variance > 0)
        beside = self.ms_photos * (1 / photos - 1 / self.photos_per_unit)
        doubt = self.ms_units**2 / self.df_units + beside**2 / self.df_photos
        df = min(max(variance**2 / doubt, 1.0), self.df_units + self.df_photos)
        return Spread(sd=math.sqrt(variance), df=df)


@dataclass(frozen=True, slots=True, kw_only=True)
class Allocation:
    """
    One way to share out the work.

    Parameters
    ----------
    photos, points : int
        Photos in a unit, points on a photo.
    sd : float
        Of units so sampled.
    plan : PlannedUnits
    work_min : float or None
        For all units, where what each takes was stated.
    """

    photos: int
    points: int
    sd: float
    plan: PlannedUnits
    work_min: float | None = None

    @property
    def all_photos(self) -> int:
        """Photos of all units."""
        return self.plan.units * self.photos


def photo_components(*visits: Sequence[UnitPhotos]) -> PhotoComponents:
    r"""
    Take the spread of past units apart: units, photos in a unit, points on a photo.

    Parameters
    ----------
    *visits : sequence of UnitPhotos
        Units of each visit and site; a photo without a point read is left out.

    Returns
    -------
    PhotoComponents

    Raises
    ------
    InputError
        ``plan-impossible`` without two units in a visit, two photos in a unit, or any spread.

    Notes
    -----
    Nested analysis of variance [1]_ with equal weight for each photo and unit; the variance of a
    point is :math:`y(1-y)k/(k-1)` of a photo with :math:`k` points, averaged. Points in fields or
    on a grid vary less; the part of photos then takes up the difference.

    References
    ----------
    .. [1] Cochran, W.G. (1977). Sampling Techniques, 3rd ed., sections 10.3 to 10.6.

    Examples
    --------
    >>> found = photo_components([
    ...     [(10, 25), (14, 25)], [(4, 25), (6, 25)], [(15, 25), (9, 25)], [(7, 25), (9, 25)]])
    >>> print(f"{found.units:.4f} {found.photos:.4f} {found.points:.3f}")
    0.0125 0.0031 0.222
    >>> print(f"{found.spread(2, 25).sd:.3f} {found.spread(8, 25).sd:.3f}")
    0.136 0.118
    """
    means: list[FloatArray] = []
    within = df_photos = 0.0
    inverse_photos: list[float] = []
    inverse_points: list[float] = []
    spreads: list[float] = []
    for visit in visits:
        here = []
        for unit in visit:
            seen = [(on, read) for on, read in unit if read > 0]
            if not seen:
                continue
            y = np.array([on / read for on, read in seen])
            here.append(float(y.mean()))
            inverse_photos.append(1 / len(y))
            inverse_points += [1 / read for _, read in seen]
            spreads += [
                v * (1 - v) * k / (k - 1) for v, (_, k) in zip(y, seen, strict=True) if k > 1
            ]
            within += float(((y - y.mean()) ** 2).sum())
            df_photos += len(y) - 1
        means.append(np.array(here))
    df_units = float(sum(max(len(g) - 1, 0) for g in means))
    require_plan(df_units > 0 and df_photos > 0 and bool(spreads))
    ms_units = sum(float(((g - g.mean()) ** 2).sum()) for g in means if len(g)) / df_units
    ms_photos, points = within / df_photos, float(np.mean(spreads))
    require_plan(ms_units > 0 and ms_photos > 0)
    mu, kappa = float(np.mean(inverse_photos)), float(np.mean(inverse_points))
    return PhotoComponents(
        units=max(ms_units - ms_photos * mu, 0.0),
        photos=max(ms_photos - points * kappa, 0.0),
        points=points,
        ms_units=ms_units,
        df_units=df_units,
        ms_photos=ms_photos,
        df_photos=df_photos,
        photos_per_unit=1 / mu,
        points_per_photo=1 / kappa,
    )


def share_out(
    found: PhotoComponents,
    photos: ArrayLike,
    points: ArrayLike,
    plan: Callable[[Spread], PlannedUnits],
    minutes: tuple[float, float, float] | None = None,
) -> tuple[Allocation, ...]:
    """
    Plan the units for each number of photos and points.

    Parameters
    ----------
    found : PhotoComponents
    photos, points : array_like of int
    plan : callable
        Units that a spread needs: for the wished interval or change.
    minutes : tuple of float, or None
        What one unit takes without its photos, one photo without its points, and one point.

    Returns
    -------
    tuple of Allocation
        Photos slowest.
    """
    made = []
    for m in np.atleast_1d(photos).tolist():
        for k in np.atleast_1d(points).tolist():
            spread = found.spread(int(m), int(k))
            units = plan(spread)
            work = None
            if minutes is not None:
                unit, photo, point = minutes
                work = units.units * (unit + m * (photo + k * point))
            made.append(
                Allocation(photos=int(m), points=int(k), sd=spread.sd, plan=units, work_min=work)
            )
    return tuple(made)
