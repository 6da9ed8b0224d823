"""Some of the figures of a survey, by site, date and figure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dryslate.app.result_rows import ResultRow
from dryslate.app.result_tallies import SampledAlike
from dryslate.base.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultChoice:
    """
    Which figures are wanted; empty: all.

    Parameters
    ----------
    sites, dates : sequence of str
        Of visits.
    figures : sequence of str
        Names of figures, or how they begin: ``cover``, ``prevalence``.
    """

    sites: Sequence[str] = ()
    dates: Sequence[str] = ()
    figures: Sequence[str] = ()

    def has_group(self, group: SampledAlike) -> bool:
        """Whether figures of these units are wanted."""
        return self.has_site(group.site) and (not self.dates or group.date in self.dates)

    def has_site(self, site: str) -> bool:
        """Whether a site is wanted, in whatever letters."""
        wanted = {name.casefold() for name in self.sites}
        return not wanted or site.casefold() in wanted

    def pick(self, found: Sequence[ResultRow], groups: Sequence[SampledAlike]) -> list[ResultRow]:
        """
        Return the rows of the wanted figures.

        Raises
        ------
        InputError
            ``results-choice-unknown`` for a site, date or figure that the records do not have.
        """
        _require("site", self.sites, {group.site for group in groups}, is_start=False)
        _require("date", self.dates, {group.date for group in groups}, is_start=False)
        _require("figure", self.figures, {row.figure for row in found}, is_start=True)
        starts = tuple(name.casefold() for name in self.figures)
        return [row for row in found if not starts or row.figure.startswith(starts)]


def _require(kind: str, wanted: Sequence[str], known: set[str], *, is_start: bool) -> None:
    """Refuse what is not there, and say what is."""
    words = [one.casefold() for one in known]
    for one in wanted:
        word = one.casefold()
        if word in words or (is_start and any(k.startswith(word) for k in words)):
            continue
        raise InputError(
            "results-choice-unknown",
            f"No {kind} {one!r} among these results.",
            f"There are: {', '.join(sorted(known)) or 'none'}.",
        )
