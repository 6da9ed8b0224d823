"""The kinds of a region, whose sizes and growth forms go together."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.core.identify.evidence import MEASURES
from dryslate.core.identify.observer import (
    ErrorRates,
    FloatArray,
    confusion_of,
    nearness_of,
    state_shares,
)
from dryslate.core.identify.taxa import Frequency, Kind, Profile, SizeRange, TaxaData

GROWTH = "growth_form"
WHOLE_SHARE = 0.8  # of a profile stays with the profile as a whole: few specimens were measured
LOOKS_MIXED = 0.1  # of the colonies of a look show a character as the genus as a whole does
OWN_GROWTH = 0.3  # of a kind's growth forms is its own; the rest is the profile's
LEAST_LOG_SD = 0.15  # of sizes within a kind: colonies of one species differ by that much
OTHER_MEASURE_LOG_SD = 0.25  # valley width read for calice width, and the other way
LIKE_MEASURE = {"corallite_diameter": "valley_width", "valley_width": "corallite_diameter"}
OTHER_MEASURE_SHARE = 0.3  # of those who measure take the one where the other is what is there
Z90, Z995 = 1.2816, 2.5758  # of the normal distribution: 80 % and 99 % lie within


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KindTable:
    """
    Sizes and growth forms that go together, over all kinds of a region.

    Parameters
    ----------
    starts : ndarray of int, shape (n_profiles,)
        First kind of each profile; kinds are in the order of the profiles.
    made_of : tuple of Kind or None
        None: the profile as a whole.
    share : ndarray of float, shape (n_kinds,)
        Sums to one over each profile.
    p_growth : ndarray of float, shape (n_kinds, n_growth_forms)
        Chance that an observer writes each growth form.
    log_mean, log_sd : Mapping of str to ndarray of float, shape (n_kinds,)
        Of the size in millimetres, by measure.
    measured_share : Mapping of str to ndarray of float, shape (n_kinds,)
        How often those who measure take this measure: 1, or `OTHER_MEASURE_SHARE` where only
        the other of valley and calice width is known (nobody measures valleys across round cups).
    wide : Mapping of str to (float, float)
        Mean and standard deviation of the log size over all kinds: for kinds whose size is not
        known, and for the tail of those whose size is.
    """

    starts: NDArray[np.intp]
    made_of: tuple[Kind | None, ...]
    share: FloatArray
    p_growth: FloatArray
    log_mean: Mapping[str, FloatArray]
    log_sd: Mapping[str, FloatArray]
    measured_share: Mapping[str, FloatArray]
    wide: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Looks:
    """
    Which genus each profile is a look of.

    Parameters
    ----------
    genus_of : ndarray of int, shape (n_profiles,)
    share : ndarray of float, shape (n_profiles,)
        Within the genus; sums to one over each.
    """

    genus_of: NDArray[np.intp]
    share: FloatArray

    def mean(self, shown: FloatArray, profiles: NDArray[np.intp]) -> FloatArray:
        """
        Return what the genus of each profile shows as a whole.

        Parameters
        ----------
        shown : ndarray of float, shape (n, n_states)
            How often each of the profiles shows each state.
        profiles : ndarray of int, shape (n,)

        Returns
        -------
        ndarray of float, shape (n, n_states)
        """
        genus, share = self.genus_of[profiles], self.share[profiles]
        whole = np.zeros((len(self.genus_of), shown.shape[1]))
        np.add.at(whole, genus, share[:, None] * shown)
        whole /= np.maximum(np.bincount(genus, share, len(whole)), 1e-300)[:, None]
        of_each: FloatArray = whole[genus]
        return of_each


def kind_table(
    taxa: TaxaData,
    profiles: tuple[Profile, ...],
    finest: frozenset[str],
    rates: ErrorRates,
    looks: Looks,
) -> KindTable:
    """All kinds of the region: the profile as a whole first, then its kinds."""
    growth = taxa.characters.get(GROWTH)
    states = tuple(growth.states) if growth else ()
    confusion = (
        confusion_of(growth, rates, nearness_of(growth, taxa)) if growth else np.zeros((0, 0))
    )
    starts: list[int] = []
    share: list[float] = []
    made_of: list[Kind | None] = []
    own_shares: list[FloatArray] = []
    shares_made: dict[tuple[tuple[str, Frequency], ...], FloatArray] = {}
    sizes: dict[str, list[tuple[float, float, float]]] = {m: [] for m in MEASURES}
    average = _average_growth(profiles, states, rates)
    of_whole: list[FloatArray] = []
    for profile in profiles:
        starts.append(len(share))
        rows = profile.states.get(GROWTH)
        whole = (
            state_shares({s: r.frequency for s, r in rows.items()}, states, rates)
            if rows
            else average
        )
        of_whole.append(whole)
        for kind, weight in _with_whole(profile, finest):
            own = whole
            if kind and kind.growth_forms:
                forms = tuple(kind.growth_forms.items())
                if forms not in shares_made:
                    shares_made[forms] = state_shares(kind.growth_forms, states, rates)
                own = shares_made[forms]
            share.append(weight)
            made_of.append(kind)
            own_shares.append(own)
            for measure in MEASURES:
                sizes[measure].append(_size_of(profile, kind, measure))
    every = np.arange(len(profiles))
    n_kinds = np.diff([*starts, len(share)])
    wholes = np.array(of_whole).reshape(len(profiles), len(states))
    own_growth = np.array(own_shares).reshape(len(share), len(states))
    p_growth = OWN_GROWTH * own_growth + (1.0 - OWN_GROWTH) * np.repeat(wholes, n_kinds, 0)
    of_genus = np.repeat(looks.mean(wholes, every), n_kinds, 0)
    p_growth = (1.0 - LOOKS_MIXED) * p_growth + LOOKS_MIXED * of_genus
    p_growth = p_growth.reshape(len(share), len(states)) @ confusion
    wide = {m: _wide_of(np.array(sizes[m])) for m in MEASURES}
    means, sds, measured = {}, {}, {}
    for measure, triples in sizes.items():
        mean, sd, measured[measure] = np.array(triples).T
        means[measure] = np.where(np.isfinite(mean), mean, wide[measure][0])
        sds[measure] = np.where(np.isfinite(sd), sd, wide[measure][1])
    return KindTable(
        starts=np.array(starts, np.intp),
        made_of=tuple(made_of),
        share=np.array(share),
        p_growth=p_growth,
        log_mean=means,
        log_sd=sds,
        measured_share=measured,
        wide=wide,
    )


def _average_growth(
    profiles: tuple[Profile, ...], states: tuple[str, ...], rates: ErrorRates
) -> FloatArray:
    """What the region shows, for profiles whose growth form is not known."""
    rows = [
        state_shares({s: r.frequency for s, r in p.states[GROWTH].items()}, states, rates)
        for p in profiles
        if GROWTH in p.states
    ]
    return np.mean(rows, axis=0) if rows else np.full(len(states), 1.0 / max(len(states), 1))


def _with_whole(profile: Profile, finest: frozenset[str]) -> Iterator[tuple[Kind | None, float]]:
    """The profile as a whole (None) and its kinds of the region, with shares that sum to one."""
    here = [k for k in profile.kinds if (k.regions & finest or not k.regions) and k.share > 0]
    total = sum(k.share for k in here)
    yield None, WHOLE_SHARE if here else 1.0
    for kind in here:
        yield kind, (1.0 - WHOLE_SHARE) * kind.share / total


def _size_of(profile: Profile, kind: Kind | None, measure: str) -> tuple[float, float, float]:
    """Mean and standard deviation of the log size of a kind (nan: not known), how often taken."""
    other = LIKE_MEASURE.get(measure, "")
    of_one = "colony_diameter" if measure == "corallite_diameter" and _is_single(profile) else ""
    stand_ins = ((measure, 0.0, 1.0), (other, OTHER_MEASURE_LOG_SD, OTHER_MEASURE_SHARE))
    for sizes in (kind.sizes if kind else {}, profile.sizes):
        for name, wider, share in (*stand_ins, (of_one, 0.0, 1.0)):
            if name in sizes:
                mean, sd = log_normal_of(sizes[name])
                return mean, math.hypot(sd, wider), share
    return math.nan, math.nan, 1.0


def _is_single(profile: Profile) -> bool:
    """Whether the coral is one polyp, so that its cup is as wide as itself."""
    rows = profile.states.get("coloniality", {})
    return {s for s, r in rows.items() if r.frequency == "usual"} == {"solitary"}


def log_normal_of(size: SizeRange) -> tuple[float, float]:
    r"""
    Return mean and standard deviation of the log of a size, from its published range.

    Parameters
    ----------
    size : SizeRange

    Returns
    -------
    mean, sd : float
        Of the natural logarithm of the size in millimetres.

    Notes
    -----
    The usual range is taken as the middle 80 % and the full range as the middle 99 % of a
    log-normal distribution; the standard deviation is the mean of the two, at least 0.15. Sizes of
    organisms are skewed to the right, hence the logarithm. A range of zero width keeps the floor.

    Examples
    --------
    >>> s = SizeRange(low_mm=4, usual_low_mm=5, usual_high_mm=8, high_mm=10, source="made up")
    >>> mean, sd = log_normal_of(s)
    >>> print(f"{math.exp(mean):.2f} {sd:.3f}")
    6.32 0.181
    """
    low, high = math.log(max(size.low_mm, 1e-3)), math.log(max(size.high_mm, 1e-3))
    usual_low = math.log(max(size.usual_low_mm, 1e-3))
    usual_high = math.log(max(size.usual_high_mm, 1e-3))
    sd = 0.5 * ((usual_high - usual_low) / (2 * Z90) + (high - low) / (2 * Z995))
    return 0.5 * (usual_low + usual_high), max(sd, LEAST_LOG_SD)


def _wide_of(pairs: FloatArray) -> tuple[float, float]:
    """Mean and standard deviation of the log size over all kinds that know theirs."""
    known = pairs[np.isfinite(pairs[:, 0])]
    if not len(known):
        return math.log(10.0), 1.5
    mean = float(known[:, 0].mean())
    sd = math.sqrt(float(known[:, 0].var() + (known[:, 1] ** 2).mean()))
    return mean, max(sd, 0.8)


def full_range(profile: Profile, measure: str) -> tuple[float, float]:
    """
    Return the full range of a size over a profile and its kinds.

    Parameters
    ----------
    profile : Profile
    measure : str

    Returns
    -------
    (float, float)
        In millimetres; not a number where it is not known.
    """
    known = [s[measure] for s in (profile.sizes, *(k.sizes for k in profile.kinds)) if measure in s]
    if not known:
        return math.nan, math.nan
    return min(r.low_mm for r in known), max(r.high_mm for r in known)
