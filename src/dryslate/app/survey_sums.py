"""What a project's rows come to, summed where they are stored: nobody reads a million of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from dryslate.app.survey_records import NotedRow


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """
    What rows say is there, apart from where and how much.

    Parameters
    ----------
    category : str
    name : str
        The current name; the recorded one where the data do not list it.
    rank : str
    genera : tuple of str
        Current genera that the name can stand for.
    is_listed : bool
        Whether the data list the name; True without one.
    is_unreadable : bool
    kind : str
        Of rows that count; empty for what lies on the bottom.
    """

    category: str
    name: str
    rank: str
    genera: tuple[str, ...]
    is_listed: bool
    is_unreadable: bool
    kind: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverSum:
    """
    Rows of one unit that say the same of the bottom.

    Parameters
    ----------
    unit_id : str
    said : Said
    amount : float
        Metres of tape, points (1) or share of a cell that each of the rows stands for.
    n : int
        How many rows.
    """

    unit_id: str
    said: Said
    amount: float
    n: int


class SurveySumStore(Protocol):
    """Sums of what was noted in units."""

    def cover_sums(self) -> Iterable[CoverSum]:
        """
        Return stretches of tape, points and cells of all units, alike ones together.

        Those on photos that are set aside are left out. By unit, by what they say and
        by amount, so that a sum is the same in whatever order rows were stored.
        """

    def counted_rows(self) -> tuple[NotedRow, ...]:
        """
        Return counts, colonies and "none seen" of all units, in the order they were stored.

        Of units whose design has such rows; those on photos that are set aside are left out.
        """

    def n_survey_rows(self) -> Mapping[str, int]:
        """Return how many rows each unit has; units without any are not there."""

    def written_in(self) -> Iterable[tuple[str, str, str]]:
        """Return unit, place and photo (empty: none) of what was noted, each of them once."""

    def n_named(self) -> Mapping[str, int]:
        """Return how often each name was noted: rows, and what counts say; zeros are no finds."""

    def has_survey_rows(self, unit_id: str) -> bool:
        """Tell whether anything was noted in a unit."""

    def categories_in_use(self) -> frozenset[str]:
        """Return the categories that rows use, whatever list they are of."""
