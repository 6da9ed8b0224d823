"""The choice between fits: hue groups are left out in turn; ties go to simplicity or knowledge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.core.card.definition import Patch
from dryslate.core.colour.correction import FitName
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.estimate import Belief, Observations, fit_parameters, predict
from dryslate.core.colour.signal import grey_levels
from dryslate.core.colour.spaces import linear_srgb_to_lab

FloatArray = NDArray[np.float64]

N_GROUPS_MOST = 6
WORSE_MOST = 0.05
"""What a tie may cost, as a share of the best mean, where the standard error allows more."""
_OUTLIER = 3.0
_CHI2_MEDIAN = 0.455
"""Median of chi-squared with one degree of freedom."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """
    A fit that may be chosen.

    Parameters
    ----------
    fit : str
        As in `Correction`.
    has_tone : bool
    belief : Belief
    shares : ndarray of float, shape (n,)
        Patches that the fit may use (1) or not (0).
    """

    fit: FitName
    has_tone: bool
    belief: Belief
    shares: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trial:
    """
    A candidate, fitted to everything and judged on what was left out.

    Parameters
    ----------
    candidate : Candidate
    theta : ndarray of float, shape (p,)
    covariance : ndarray of float, shape (p, p)
        Scaled by the left-out residuals where these are larger than expected.
    left_out_de00 : ndarray of float, shape (m,)
        CIEDE2000 of each left-out patch.
    by_group : ndarray of float, shape (k,)
        Mean of them in each group.
    """

    candidate: Candidate
    theta: FloatArray
    covariance: FloatArray
    left_out_de00: FloatArray
    by_group: FloatArray

    @property
    def score(self) -> tuple[float, float]:
        """Mean over groups and its standard error."""
        k = len(self.by_group)
        if k == 0:
            return float("inf"), 0.0
        spread = float(self.by_group.std(ddof=1)) if k > 1 else 0.0
        return float(self.by_group.mean()), spread / float(np.sqrt(k))


def hue_groups(patches: list[Patch]) -> list[NDArray[np.intp]]:
    """
    Group coloured patches by hue, and greys by level.

    Parameters
    ----------
    patches : list of Patch
        All used patches, greys and colours.

    Returns
    -------
    list of ndarray of int
        Indices into `patches`; each group is left out together.

    Notes
    -----
    A card's own ``hue_group`` is used where every colour has one; otherwise the colours are
    sorted by hue angle and cut into at most six groups of about equal size. The greys make two
    more groups, every other level each, since pale and bleached things are near grey; on a card
    without colours each level, with its twin, is a group.

    Examples
    --------
    >>> grey = Patch(
    ...     patch_id="n", x_mm=0, y_mm=0, width_mm=1, height_mm=1, role="neutral",
    ...     lab_d65=(50, 0, 0),
    ... )
    >>> [g.tolist() for g in hue_groups([grey])]
    [[0]]
    """
    levels = _level_groups(patches)
    colours = [i for i, patch in enumerate(patches) if patch.role == "colour"]
    if not colours:
        return levels
    greys = [np.concatenate(levels[first::2]) for first in (0, 1) if len(levels) > first]
    names = [patches[i].hue_group for i in colours]
    if all(names):
        return [
            np.array([i for i, name in zip(colours, names, strict=True) if name == group])
            for group in dict.fromkeys(names)
        ] + greys
    hue = {i: float(np.arctan2(patches[i].lab_d65[2], patches[i].lab_d65[1])) for i in colours}
    in_order = np.array(sorted(colours, key=hue.__getitem__), dtype=np.intp)
    n_groups = max(1, min(N_GROUPS_MOST, len(colours) // 2))
    return [*np.array_split(in_order, n_groups), *greys]


def _level_groups(patches: list[Patch]) -> list[NDArray[np.intp]]:
    """Indices of the greys of each level, darkest first."""
    greys = np.array([i for i, p in enumerate(patches) if p.role == "neutral"], dtype=np.intp)
    if len(greys) == 0:
        return []
    levels = np.array(grey_levels(tuple(patches[i] for i in greys)))
    lightness = np.array([patches[i].lab_d65[0] for i in greys])
    level = np.argmin(np.abs(lightness[:, None] - levels), axis=1)
    return [greys[level == k] for k in range(len(levels))]


def score_candidates(
    candidates: list[Candidate], seen: Observations, lab: FloatArray, groups: list[NDArray[np.intp]]
) -> list[Trial]:
    """
    Fit each candidate to everything and to everything but each group.

    Parameters
    ----------
    candidates : list of Candidate
    seen : Observations
    lab : ndarray of float, shape (n, 3)
        Reference Lab (D65).
    groups : list of ndarray of int

    Returns
    -------
    list of Trial
        In the order of the candidates.

    Notes
    -----
    A patch whose residual is more than three times its spread counts less, in proportion (it may
    be dirty, covered or wrongly valued). The covariance is scaled up where left-out residuals are
    larger than their spread. Candidates with as many terms and the same patches are fitted side by
    side; leaving out a group of which a candidate uses nothing changes nothing, so that is not
    fitted again.

    References
    ----------
    .. [1] Huber 1964, Annals of Mathematical Statistics 35(1):73-101 (weights).

    Examples
    --------
    See `choose_trial`.
    """
    groups = [group for group in groups if len(group)]
    alike: dict[tuple[int, bytes], list[int]] = {}
    for i, candidate in enumerate(candidates):
        key = (candidate.belief.n_terms, candidate.shares.tobytes())
        alike.setdefault(key, []).append(i)
    trials: dict[int, Trial] = {}
    for members in alike.values():
        scored = _score_alike([candidates[i] for i in members], seen, lab, groups)
        trials.update(zip(members, scored, strict=True))
    return [trials[i] for i in range(len(candidates))]


def _score_alike(
    candidates: list[Candidate], seen: Observations, lab: FloatArray, groups: list[NDArray[np.intp]]
) -> list[Trial]:
    """Score candidates with as many terms and the same patches, all their fits side by side."""
    k, n_terms, used = len(candidates), candidates[0].belief.n_terms, candidates[0].shares > 0
    mean = np.stack([c.belief.mean for c in candidates])
    prior = np.stack([c.belief.precision for c in candidates])
    shares = np.stack([c.shares for c in candidates])[:, used]
    own = _only(seen, used)
    theta, _ = fit_parameters(own, Belief(mean=mean, precision=prior), shares)
    gap = _whitened_gap(theta, own, n_terms)
    size = np.sqrt((gap * gap).sum(axis=-1))
    full = shares * np.minimum(1.0, _OUTLIER / np.maximum(size, _OUTLIER))
    kept, fold_of = _folds(used, groups)
    n_folds = len(kept)
    theta, precision = fit_parameters(
        own,
        Belief(mean=np.repeat(mean, n_folds, axis=0), precision=np.repeat(prior, n_folds, axis=0)),
        (full[:, None] * kept).reshape(k * n_folds, -1),
        start=np.repeat(theta, n_folds, axis=0),
        n_steps=3,
    )
    prediction, _ = predict(theta, seen, n_terms)
    theta = theta.reshape(k, n_folds, -1)
    prediction = prediction.reshape(k, n_folds, *seen.reference.shape)
    covariance = np.linalg.inv(precision.reshape(k, n_folds, *precision.shape[1:])[:, 0])
    patch, sizes = np.concatenate(groups), np.array([len(group) for group in groups])
    left = prediction[:, np.repeat(fold_of, sizes), patch]
    differences = ciede2000(linear_srgb_to_lab(left), lab[patch])
    excess = (seen.whitener[patch] @ (seen.reference[patch] - left)[..., None])[..., 0]
    too_large = np.median(excess.reshape(k, -1) ** 2, axis=1) / _CHI2_MEDIAN
    by_group = np.add.reduceat(differences, np.cumsum(sizes) - sizes, axis=1) / sizes
    return [
        Trial(
            candidate=candidate,
            theta=theta[i, 0],
            covariance=covariance[i] * max(1.0, float(too_large[i])),
            left_out_de00=differences[i],
            by_group=by_group[i],
        )
        for i, candidate in enumerate(candidates)
    ]


def _folds(
    used: NDArray[np.bool_], groups: list[NDArray[np.intp]]
) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
    """Used patches that each fold keeps, the first fold all of them; and the fold of each group."""
    out = np.zeros((len(groups), len(used)), dtype=bool)
    for row, group in enumerate(groups):
        out[row, group] = True
    out = out[:, used]
    matters = out.any(axis=1)
    kept = ~np.vstack([np.zeros(out.shape[1], dtype=bool), out[matters]])
    return kept, np.where(matters, np.cumsum(matters), 0)


def _only(seen: Observations, used: NDArray[np.bool_]) -> Observations:
    """Keep the observations of some patches."""
    return Observations(
        encoded=seen.encoded[used],
        place=seen.place[used],
        reference=seen.reference[used],
        whitener=seen.whitener[used],
        gain=seen.gain,
    )


def _whitened_gap(theta: FloatArray, seen: Observations, n_terms: int) -> FloatArray:
    """Residuals in units of their spread, shape (k, n, 3)."""
    prediction, _ = predict(theta, seen, n_terms)
    return np.asarray((seen.whitener @ (seen.reference - prediction)[..., None])[..., 0])


def choose_trial(trials: list[Trial], *, is_informed: bool = False) -> Trial:
    """
    Choose among the trials that are within one standard error, and 5 %, of the best.

    Parameters
    ----------
    trials : list of Trial
        Simplest first.
    is_informed : bool
        The fuller fits start from what simulation expects for such gains (see `MatrixPrior`).

    Returns
    -------
    Trial
        Of those that tie, the simplest; the fullest where `is_informed`.

    Notes
    -----
    A full matrix without prior knowledge follows its patches, so a tie goes to the simplest. One
    that is held by a prior does not, and knows something of things that are not on the card: in
    two families of simulated scenes it served them better wherever the card saw a tie (and left-out
    patches of real photographs too), so there a tie goes to the fullest.

    The statistic is the mean CIEDE2000 of left-out groups. Of one kind of fit, the better of
    straight and bent tone curve goes forward (its prior already pulls it straight). The standard
    error is that of the
    difference to the best, over groups: groups are hard or easy for all candidates alike, so the
    error of the mean itself would hide real differences. With a handful of groups that error is
    coarse, so a tie may cost at most 5 % of the best mean.

    References
    ----------
    .. [1] Breiman, Friedman, Olshen & Stone 1984, Classification and Regression Trees, 3.4.3
       (the one-standard-error rule).

    Examples
    --------
    >>> belief = Belief(mean=np.zeros(16), precision=np.eye(16))
    >>> def trial(fit, by_group):
    ...     plain = Candidate(fit=fit, has_tone=False, belief=belief, shares=np.ones(1))
    ...     return Trial(
    ...         candidate=plain, theta=np.zeros(16), covariance=np.eye(16),
    ...         left_out_de00=np.ones(3), by_group=np.array(by_group),
    ...     )
    >>> near, best = trial("neutral_gain", [2.0, 3.0, 4.0]), trial("affine", [2.3, 2.5, 4.0])
    >>> choose_trial([near, best]) is near
    True
    """
    by_fit: dict[str, Trial] = {}
    for trial in trials:
        name = trial.candidate.fit
        if name not in by_fit or trial.score[0] < by_fit[name].score[0]:
            by_fit[name] = trial
    best = min(by_fit.values(), key=lambda trial: trial.score[0])
    in_order = list(by_fit.values())
    for trial in reversed(in_order) if is_informed else in_order:
        behind = trial.by_group - best.by_group
        error = behind.std(ddof=1) / np.sqrt(len(behind)) if len(behind) > 1 else 0.0
        if behind.mean() <= min(error, WORSE_MOST * best.score[0]):
            return trial
    return best
