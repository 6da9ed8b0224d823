"""A figure on its way from the units' sums to its row."""

from __future__ import annotations

from dataclasses import dataclass, replace

from dryslate.base.quality import Flag
from dryslate.core.survey.estimate import Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """
    What names short of genus leave open about the figure of a genus.

    Parameters
    ----------
    undetermined_frac : float
        Share of what may be this genus that was not told to genus.
    if_all : float or None
        The figure if all of that were this genus; the figure itself is as if none were.
    """

    undetermined_frac: float
    if_all: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """
    A figure of a thing.

    Parameters
    ----------
    thing : str
        Its kind and word, as the sums key it.
    found : Estimate
    about : str
        What the figure is about beyond its name: a size class, a cut-off, an estimand.
    n_colonies : int or None
        Colonies that carry it, where it is of colonies.
    bounds : Bounds or None
        Of a genus.
    """

    thing: str
    found: Estimate
    about: str = ""
    n_colonies: int | None = None
    bounds: Bounds | None = None

    def flagged(self, *more: Flag) -> Made:
        """
        Return it with further flags.

        Parameters
        ----------
        *more : Flag

        Returns
        -------
        Made
        """
        flags = tuple(dict.fromkeys((*self.found.flags, *more)))
        return replace(self, found=replace(self.found, flags=flags))
