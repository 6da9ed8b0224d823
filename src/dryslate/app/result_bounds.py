"""Names short of genus: what they leave open about the figure of each genus."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from dryslate.app.result_made import Bounds
from dryslate.app.result_tallies import NotedName

FloatArray = NDArray[np.float64]


def undetermined_of(thing: str, names: Mapping[str, NotedName]) -> tuple[str, ...]:
    """
    Return the names short of genus that may be a genus.

    Parameters
    ----------
    thing : str
    names : mapping of str to NotedName

    Returns
    -------
    tuple of str
        Things; empty where this one is not a genus itself.

    Notes
    -----
    A name that no list has, and a coral without a name, may be any.
    """
    own = names.get(thing)
    if own is None or not own.is_genus:
        return ()
    return tuple(
        other for other, noted in names.items() if not noted.is_genus and _may_be(noted, own)
    )


def bounds_of(
    own: Sequence[float], open_: Sequence[float], efforts: Sequence[float]
) -> Bounds | None:
    """
    Return the undetermined share, and the figure if all of it were this genus.

    Parameters
    ----------
    own, open_ : sequence of float
        Of each unit: what is this genus, and what may be. NaN in the first: blank.
    efforts : sequence of float

    Returns
    -------
    Bounds or None
        Of the mean of units; None where no unit carries the figure.

    Examples
    --------
    >>> bounds_of([3.0, 1.0], [1.0, 3.0], [10.0, 10.0])
    Bounds(undetermined_frac=0.5, if_all=0.4)
    """
    found, more, effort = (np.asarray(v, dtype=np.float64) for v in (own, open_, efforts))
    holds = np.isfinite(found) & np.isfinite(more) & (effort > 0)
    if not holds.any():
        return None
    found, more, effort = found[holds], more[holds], effort[holds]
    total = float((found + more).sum())
    share = float(more.sum()) / total if total > 0 else 0.0
    return Bounds(undetermined_frac=share, if_all=float(((found + more) / effort).mean()))


def genus_bounds(
    thing: str,
    names: Mapping[str, NotedName],
    own: Sequence[float],
    sums: Sequence[Mapping[str, float]],
    efforts: Sequence[float],
) -> Bounds | None:
    """
    Tell what names short of genus leave open about a thing.

    Parameters
    ----------
    thing : str
    names : mapping of str to NotedName
    own : sequence of float
        Of each unit; NaN: blank.
    sums : sequence of mapping of str to float
        Of each unit, by thing.
    efforts : sequence of float

    Returns
    -------
    Bounds or None
        None for what is no genus.
    """
    if thing not in names or not names[thing].is_genus:
        return None
    others = undetermined_of(thing, names)
    open_ = [math.fsum(unit.get(other, 0.0) for other in others) for unit in sums]
    return bounds_of(own, open_, efforts)


def bounds_of_genera(
    things: Sequence[str],
    names: Mapping[str, NotedName],
    own: Sequence[Sequence[float]],
    sums: Sequence[Mapping[str, float]],
    efforts: Sequence[float],
) -> list[Bounds | None]:
    """
    Tell the same of several things, worked out together.

    Parameters
    ----------
    things : sequence of str
    names : mapping of str to NotedName
    own : sequence of sequence of float
        Of each thing, of each unit; a unit that is blank of one is blank of all.
    sums, efforts : sequence
        As for `genus_bounds`.

    Returns
    -------
    list of Bounds or None
    """
    found: list[Bounds | None] = [None] * len(things)
    at = [k for k, thing in enumerate(things) if thing in names and names[thing].is_genus]
    effort = np.asarray(efforts, dtype=np.float64)
    held = np.asarray([own[k] for k in at], dtype=np.float64)
    holds: list[int] = []
    if at:
        holds = np.flatnonzero((effort > 0) & np.isfinite(held).all(axis=0)).tolist()
    if not holds:
        return found
    short = [(other, noted) for other, noted in names.items() if not noted.is_genus]
    there = {thing for unit in sums for thing in unit}
    open_ = [
        [other for other, said in short if other in there and _may_be(said, names[things[k]])]
        for k in at
    ]
    more = np.array(
        [
            [math.fsum(sums[u].get(other, 0.0) for other in others) for u in holds]
            for others in open_
        ]
    )
    held = np.ascontiguousarray(held[:, holds])
    total, undetermined = (held + more).sum(axis=1).tolist(), more.sum(axis=1).tolist()
    if_all = ((held + more) / effort[holds]).mean(axis=1).tolist()
    for k, whole, part, most in zip(at, total, undetermined, if_all, strict=True):
        share = part / whole if whole > 0 else 0.0
        found[k] = Bounds(undetermined_frac=share, if_all=most)
    return found


def _may_be(noted: NotedName, genus: NotedName) -> bool:
    """Tell whether a name short of genus may be this genus."""
    return not noted.genera or genus.genera[0] in noted.genera


def share_bounds(own: tuple[int, int], open_: tuple[int, int]) -> Bounds | None:
    """
    Return the same for a share of colonies.

    Parameters
    ----------
    own, open_ : (int, int)
        Cases and colonies of this genus, and of what may be it.

    Returns
    -------
    Bounds or None
        None without colonies.

    Examples
    --------
    >>> share_bounds((2, 8), (2, 2))
    Bounds(undetermined_frac=0.2, if_all=0.4)
    """
    n = own[1] + open_[1]
    if n == 0:
        return None
    return Bounds(undetermined_frac=open_[1] / n, if_all=(own[0] + open_[0]) / n)
