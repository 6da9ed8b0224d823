"""Tagged colonies as they are stored: identity, what became of them, fractions, frames, colours."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Literal, Protocol

from dryslate.app.coral_health import SHARES

Why = Literal["random", "place", "stressed"]
WHYS: tuple[Why, ...] = ("random", "place", "stressed")
"""Why a colony was tagged: drawn by chance; by its place; because it looked unwell."""

State = Literal["seen", "not_found", "dead", "tag_lost", "not_looked_for"]
STATES: tuple[State, ...] = ("seen", "tag_lost", "dead", "not_found", "not_looked_for")
"""What became of a colony on a visit; `tag_lost` was found by its place, without its tag."""
MET: frozenset[State] = frozenset({"seen", "tag_lost", "dead"})
"""States of a colony that somebody found."""

OutlineHow = Literal["", "drawn", "aligned", "tie_points"]
Points = tuple[tuple[float, float], ...]
TiePoints = Sequence[tuple[tuple[float, float], tuple[float, float]]]
"""Pairs of the same spot: in the photo with the outline, and in the one it is carried to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """
    What stands beside a colony.

    Parameters
    ----------
    what : str
        In words, or the label of another tagged colony.
    bearing_deg, distance_m : float or None
        From the colony; None where not taken.
    """

    what: str
    bearing_deg: float | None = None
    distance_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Colony:
    """
    One tagged colony.

    Parameters
    ----------
    organism_id : str
        Its identity for life, made once.
    site, label, first_visit_id : str
        The label is what the tag says now.
    why_tagged : str
        One of `WHYS`.
    place : str
        How to find it again, in words.
    depth_m : float or None
    from_what : str
        What bearing and distance are taken from.
    bearing_deg, distance_m : float or None
    neighbours : tuple of Neighbour
    sketch_sha256 : str or None
        A picture of the map sketch, one of the project's originals.
    note, observer, tagged_at : str
    """

    organism_id: str
    site: str
    label: str
    first_visit_id: str
    why_tagged: Why
    observer: str
    tagged_at: str
    place: str = ""
    depth_m: float | None = None
    from_what: str = ""
    bearing_deg: float | None = None
    distance_m: float | None = None
    neighbours: tuple[Neighbour, ...] = ()
    sketch_sha256: str | None = None
    note: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {**asdict(self), "neighbours": [asdict(n) for n in self.neighbours]}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """
    What became of a colony on one visit.

    Parameters
    ----------
    organism_id, visit_id : str
    state : str
        One of `STATES`; lost is not dead.
    record_id : str or None
        The coral noted on that visit that it is; its names are the colony's.
    note, observer, noted_at : str
    """

    organism_id: str
    visit_id: str
    state: State
    observer: str
    noted_at: str
    record_id: str | None = None
    note: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class ColonyFractions:
    """
    One observer's judgement of a colony on a visit; a later one follows an earlier one.

    Parameters
    ----------
    organism_id, visit_id, observer, noted_at : str
    normal_pct, pale_pct, bleached_pct, recently_dead_pct, old_dead_pct : float or None
        Per cent of the surface; None where it was not judged.
    lesion : str
        Lesions in plain words.
    """

    organism_id: str
    visit_id: str
    observer: str
    noted_at: str
    normal_pct: float | None = None
    pale_pct: float | None = None
    bleached_pct: float | None = None
    recently_dead_pct: float | None = None
    old_dead_pct: float | None = None
    lesion: str = ""

    def shares(self) -> dict[str, float | None]:
        """Return the shares by name."""
        return {name: getattr(self, name) for name in SHARES}

    @property
    def is_empty(self) -> bool:
        """Whether it says nothing: an earlier judgement was taken back."""
        return not self.lesion and all(value is None for value in self.shares().values())

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class ColonyFrame:
    """
    A photo of a colony, with its outline in it.

    Parameters
    ----------
    organism_id, photo_id, observer, noted_at : str
    is_reference : bool
        The photo on which the outline was drawn first.
    outline_px : tuple of points
        In pixels of the upright original; empty: not outlined.
    outline_how : str
        ``drawn``, ``aligned``, ``tie_points`` or empty.
    is_confirmed : bool
        A person saw the outline lie right.
    carried_from : str or None
        The photo that the outline was carried from.
    misfit_px, misfit_mm : float or None
    n_matches : int or None
    tie_points_px : sequence of pairs of points
        Those that a person picked, where the outline was carried by them.
    """

    organism_id: str
    photo_id: str
    observer: str
    noted_at: str
    is_reference: bool = False
    outline_px: Points = ()
    outline_how: OutlineHow = ""
    is_confirmed: bool = False
    carried_from: str | None = None
    misfit_px: float | None = None
    misfit_mm: float | None = None
    n_matches: int | None = None
    tie_points_px: TiePoints = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            **asdict(self),
            "outline_px": [list(p) for p in self.outline_px],
            "tie_points_px": [[list(a), list(b)] for a, b in self.tie_points_px],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class ColonyColour:
    """
    The colour of a colony's outlined area in one frame.

    Parameters
    ----------
    organism_id, photo_id, outline_key, correction_key, measured_at : str
    measured : Mapping
        As `dryslate.app.colony_colours` writes it.
    """

    organism_id: str
    photo_id: str
    outline_key: str
    correction_key: str
    measured_at: str
    measured: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class StressOnset:
    """
    When stress set in at a site, or for one colony.

    Parameters
    ----------
    onset_id, site : str
    organism_id : str or None
        None: every tagged colony of the site.
    onset_date, reason, observer, stated_at : str
    is_taken_back : bool
    """

    onset_id: str
    site: str
    onset_date: str
    reason: str
    observer: str
    stated_at: str
    organism_id: str | None = None
    is_taken_back: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return asdict(self)


class ColonyStore(Protocol):
    """Tagged colonies and all that is noted of them."""

    def colonies(self, site: str | None = None) -> tuple[Colony, ...]:
        """Return the colonies of one site, or all, in the order tagged."""

    def save_colony(self, colony: Colony) -> None:
        """Store a colony, or its changed words; identity, site and first visit never change."""

    def colony_sightings(self, organism_id: str | None = None) -> tuple[Sighting, ...]:
        """Return what became of one colony, or of all, by date of the visit."""

    def save_colony_sighting(self, sighting: Sighting) -> None:
        """Store what became of a colony on a visit; what held before is in the change log."""

    def colony_fractions(self, organism_id: str | None = None) -> tuple[ColonyFractions, ...]:
        """Return the latest judgement of each colony, visit and observer, in the order saved."""

    def colony_fraction_history(self, organism_id: str) -> tuple[ColonyFractions, ...]:
        """Return every judgement of one colony, oldest first."""

    def save_colony_fractions(self, row: ColonyFractions) -> None:
        """Add a judgement; the same words of the same observer again change nothing."""

    def colony_frames(self, organism_id: str | None = None) -> tuple[ColonyFrame, ...]:
        """Return the frames of one colony, or of all, in the order added."""

    def save_colony_frame(self, frame: ColonyFrame) -> None:
        """Store a frame, or its changed outline."""

    def delete_colony_frame(self, organism_id: str, photo_id: str) -> None:
        """Take a photo away from a colony, with its colour; the change log keeps what was."""

    def colony_colours(self, organism_id: str | None = None) -> tuple[ColonyColour, ...]:
        """Return the measured colours of one colony's frames, or of all."""

    def save_colony_colours(self, rows: Iterable[ColonyColour]) -> None:
        """Store measured colours; those of an earlier outline or correction are replaced."""

    def tagged_rows(self) -> tuple[tuple[int, str, str], ...]:
        """Return number, unit and tag of the rows in units that name a tag."""

    def stress_onsets(self, *, with_taken_back: bool = False) -> tuple[StressOnset, ...]:
        """Return when stress set in, by date."""

    def save_stress_onset(self, onset: StressOnset) -> None:
        """Store an onset, or its changed words."""
