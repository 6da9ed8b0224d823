"""How units were sampled and what was noted in them, as they are stored."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from dryslate.core.survey.designs import SurveyRow, UnitDesign


@dataclass(frozen=True, slots=True, kw_only=True)
class Category:
    """
    A benthic category of one version of a project's list.

    Parameters
    ----------
    list_version : int
    category : str
        In plain words.
    group : str
        The broader group it counts to.
    is_hard_coral : bool
    definition : str
        What counts to it and what does not.
    """

    list_version: int
    category: str
    group: str
    is_hard_coral: bool
    definition: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CategoryMapping:
    """Which category of a later list stands for one of an earlier list."""

    from_version: int
    category: str
    to_version: int
    to_category: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedDesign:
    """How a unit was sampled, with the list its rows use, and who said so."""

    unit_id: str
    design: UnitDesign
    list_version: int | None
    observer: str
    stated_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NotedRow:
    """
    One thing noted in a unit, as stored.

    Parameters
    ----------
    row_no : int or None
        Given by the store; None before.
    unit_id : str
    row : SurveyRow
    name : str
        The current name; empty where the data do not list the recorded one.
    current_names : tuple of str
    rank : str
    observer, noted_at : str
    """

    unit_id: str
    row: SurveyRow
    observer: str
    noted_at: str
    name: str = ""
    current_names: tuple[str, ...] = ()
    rank: str = ""
    row_no: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SentBatch:
    """
    Rows that a browser sent, as they were stored.

    Parameters
    ----------
    batch_id : str
        Made in the browser before it was sent, so that what comes twice is stored once.
    unit_id : str
    row_nos : Mapping
        The browser's mark of each line to the number of its row.
    observer, stored_at : str
    """

    batch_id: str
    unit_id: str
    row_nos: Mapping[str, int]
    observer: str
    stored_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RowQuery:
    """
    Which rows of the whole project are wanted, and in what order.

    Parameters
    ----------
    visit_id, unit_id, design, kind, category, observer : str
        Empty: any.
    words : str
        In name, category, unit, note, lesion, reason or place; capitals do not count.
    order : str
        One of `ROW_ORDERS`.
    is_backwards : bool
    first, most : int
        How many to pass over, and how many to return at most.
    """

    visit_id: str = ""
    unit_id: str = ""
    design: str = ""
    kind: str = ""
    category: str = ""
    observer: str = ""
    words: str = ""
    order: str = "row_no"
    is_backwards: bool = False
    first: int = 0
    most: int = 100


ROW_ORDERS = (
    "row_no",
    "visit_id",
    "unit",
    "kind",
    "category",
    "name",
    "n",
    "longest_cm",
    "from_m",
    "observer",
    "noted_at",
)
"""What a table of rows can be put in order by; rows without it come last."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundRow:
    """A row with what it belongs to, for tables."""

    noted: NotedRow
    visit_id: str
    unit: str
    zone: str
    design: str


class SurveyRowStore(Protocol):
    """Categories, designs of units, and what was noted in them."""

    def categories(self, list_version: int | None = None) -> tuple[Category, ...]:
        """Return the categories of one version, or of all, in the order of the list."""

    def save_categories(self, categories: Sequence[Category]) -> None:
        """Store categories; one that is there stays as it is."""

    def category_mappings(self) -> tuple[CategoryMapping, ...]:
        """Return every mapping."""

    def save_category_mappings(self, mappings: Sequence[CategoryMapping]) -> None:
        """Store mappings; an older one of the same category is replaced."""

    def unit_designs(self, visit_id: str | None = None) -> tuple[StatedDesign, ...]:
        """Return how the units of one visit, or all, were sampled."""

    def save_unit_design(self, stated: StatedDesign) -> None:
        """Store how a unit was sampled, or its changed words."""

    def survey_rows(self, unit_id: str | None = None) -> tuple[NotedRow, ...]:
        """Return what was noted in one unit, or in all, in the order it was stored."""

    def save_survey_rows(self, rows: Iterable[NotedRow]) -> int:
        """Store rows, all or none: new ones where `row_no` is None; returns how many."""

    def delete_survey_rows(self, unit_id: str) -> int:
        """Take out what was noted in a unit (the change log keeps it); returns how many."""

    def delete_survey_row(self, row_no: int) -> bool:
        """Take out one row (the change log keeps it); False where there is none."""

    def find_survey_rows(self, query: RowQuery) -> tuple[tuple[FoundRow, ...], int]:
        """Return the rows that are wanted, and how many there are without `most`."""

    def sent_batches(self) -> tuple[SentBatch, ...]:
        """Return every batch that browsers sent, in the order it was stored."""

    def sent_batch(self, batch_id: str) -> SentBatch | None:
        """Return a batch that was stored, None where it was not."""

    def save_sent_batch(self, batch: SentBatch) -> None:
        """Write down a batch; one that is there stays as it is."""

    def last_row_no(self) -> int:
        """Return the highest number that a row was ever given; 0 before the first."""
