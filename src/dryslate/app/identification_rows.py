"""Rows about corals and their names: records, identifications, and the second observer's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from dryslate.core.identify.names import bare_name

Role = Literal["first", "second", "third"]
PhotoRegion = tuple[str, float, float, float, float]
"""Photo id and a box x0, y0, x1, y1 in pixels of the upright original."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordRow:
    """
    One coral that was noted, apart from what it is called.

    Parameters
    ----------
    record_id : str
        Hash of visit, photo, colony and kind: the same noted twice is one row.
    kind, colony, visit_id : str
    photo_id : str or None
    growth_form : str or None
        As seen; never taken from the name.
    is_juvenile : bool or None
    measurement_ids : tuple of str
    place : str
        Where within the visit, as written.
    sizes_noted : Mapping
        Noted under water, not measured in a photo: by measure ``value_mm``, ``u_mm``, ``how``.
    note, observer : str
    noted_at : str
        ISO 8601 with its offset from UTC.
    """

    record_id: str
    colony: str
    visit_id: str
    observer: str
    noted_at: str
    kind: str = "colony"
    photo_id: str | None = None
    growth_form: str | None = None
    is_juvenile: bool | None = None
    measurement_ids: tuple[str, ...] = ()
    note: str = ""
    place: str = ""
    sizes_noted: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class IdentificationRow:
    """
    Who called a record what, when, how sure and on what evidence; never changed.

    Parameters
    ----------
    identification_id, record_id : str
    role : {"first", "second", "third"}
    name_as_recorded, name : str
        As written, and the current name (empty where the data do not list it).
    current_names : tuple of str
        Current genera the name can stand for.
    rank, qualifier : str
    confidence : int or None
    p_stated : float or None
        What the key stood for.
    probability : float or None
        The model's.
    evidence : Mapping
        ``seen``, ``not``, ``unclear``, ``sizes_mm``, ``juvenile``, as given; ``all_equal`` where
        the probability counts every genus as equally common.
    conflicts : tuple of str
    region : str or None
    photo_regions : tuple of PhotoRegion
    observer : str
    identified_at : str
        ISO 8601 with its offset from UTC.
    data_version : str
    with_observer : str or None
        Who decided it too, at the same screen; None: one person said it.
    """

    identification_id: str
    record_id: str
    role: Role
    name_as_recorded: str
    name: str
    current_names: tuple[str, ...]
    rank: str
    observer: str
    identified_at: str
    data_version: str
    qualifier: str = ""
    confidence: int | None = None
    p_stated: float | None = None
    probability: float | None = None
    evidence: Mapping[str, Any] = field(default_factory=dict)
    conflicts: tuple[str, ...] = ()
    region: str | None = None
    photo_regions: tuple[PhotoRegion, ...] = ()
    with_observer: str | None = None

    @property
    def name_now(self) -> str:
        """The current name where another was written, its qualifier aside; else empty."""
        written = bare_name(self.name_as_recorded)
        return self.name if self.name.casefold() != written.casefold() else ""

    def who(self) -> frozenset[str]:
        """Return everybody who said it."""
        return frozenset(n for n in (self.observer, self.with_observer) if n is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewDrawRow:
    """One draw for the second observer: seed, settings, who and when."""

    draw_id: str
    seed: int
    random_frac: float
    least_probability: float
    observer: str
    drawn_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewChanceRow:
    """The chance one identification had in a draw, and whether and why it was drawn."""

    identification_id: str
    record_id: str
    draw_id: str
    p_drawn: float
    is_drawn: bool
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewOutcomeRow:
    """
    What came of a second look, or of a third.

    Parameters
    ----------
    outcome_id, record_id, first_id, second_id : str
    third_id : str or None
    rank_shared : str
    is_agreed : bool or None
    agreed_at : str
        As `dryslate.core.identify.review.Agreement`.
    settled_name : str
        Empty while it is open.
    settled_names : tuple of str
    settled_rank, observer, decided_at : str
    relation : str
        The second name beside the first: ``same``, ``coarser``, ``finer`` or ``differs``; empty in
        rows of before this was kept.
    settled_how : str
        ``agreed``, ``third``, ``together`` or ``reopened``; empty while it is open, and in rows of
        before this was kept.
    """

    outcome_id: str
    record_id: str
    first_id: str
    second_id: str
    rank_shared: str
    is_agreed: bool | None
    agreed_at: str
    observer: str
    decided_at: str
    third_id: str | None = None
    settled_name: str = ""
    settled_names: tuple[str, ...] = ()
    settled_rank: str = ""
    relation: str = ""
    settled_how: str = ""
