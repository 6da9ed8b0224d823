"""Names short of genus: what they leave open about the figure of each genus."""

from __future__ import annotations

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
    genus = own.genera[0]
    return tuple(
        other
        for other, noted in names.items()
        if not noted.is_genus and (not noted.genera or genus in noted.genera)
    )


def bounds_of(
    own: Sequence[float], open_: Sequence[float], efforts: Sequence[float], *, is_ratio: bool
) -> Bounds | None:
    """
    Return the undetermined share, and the figure if all of it were this genus.

    Parameters
    ----------
    own, open_ : sequence of float
        Of each unit: what is this genus, and what may be. NaN in the first: blank.
    efforts : sequence of float
    is_ratio : bool
        A ratio of sums; else the mean of units.

    Returns
    -------
    Bounds or None
        None where no unit carries the figure.

    Examples
    --------
    >>> bounds_of([3.0, 1.0], [1.0, 3.0], [10.0, 10.0], is_ratio=False)
    Bounds(undetermined_frac=0.5, if_all=0.4)
    """
    found, more, effort = (np.asarray(v, dtype=np.float64) for v in (own, open_, efforts))
    holds = np.isfinite(found) & np.isfinite(more) & (effort > 0)
    if not holds.any():
        return None
    found, more, effort = found[holds], more[holds], effort[holds]
    total = float((found + more).sum())
    share = float(more.sum()) / total if total > 0 else 0.0
    if is_ratio:
        return Bounds(undetermined_frac=share, if_all=total / float(effort.sum()))
    return Bounds(undetermined_frac=share, if_all=float(((found + more) / effort).mean()))
