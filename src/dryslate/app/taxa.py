"""Check the genus data: what is wrong, what nothing separates, how much rests on memory."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from dryslate.app.ports import ReferenceTables
from dryslate.base.problems import Problem, has_error
from dryslate.core.identify.taxa_checks import (
    ClosePair,
    MemoryShare,
    check_taxa,
    find_close_pairs,
    measure_memory_share,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TaxaReport:
    """
    What a check of the genus data found.

    Parameters
    ----------
    version : str
    n_genera, n_profiles, n_characters, n_lookalikes : int
    memory : MemoryShare
    unseparated : tuple of ClosePair
        Pairs that no usual state and no usual size separates.
    by_one : tuple of ClosePair
        Pairs that one character or measure holds apart.
    problems : tuple of Problem
    """

    version: str
    n_genera: int
    n_profiles: int
    n_characters: int
    n_lookalikes: int
    memory: MemoryShare
    unseparated: tuple[ClosePair, ...]
    by_one: tuple[ClosePair, ...]
    problems: tuple[Problem, ...]

    @property
    def is_sound(self) -> bool:
        """Whether nothing is an error."""
        return not has_error(self.problems)

    def as_dict(self) -> dict[str, Any]:
        """Return plain values, for JSON."""
        return {
            "version": self.version,
            "n_genera": self.n_genera,
            "n_profiles": self.n_profiles,
            "n_characters": self.n_characters,
            "n_lookalikes": self.n_lookalikes,
            "memory": asdict(self.memory),
            "unseparated": [_pair_dict(p) for p in self.unseparated],
            "held_apart_by_one": [_pair_dict(p) for p in self.by_one],
            "problems": [p.as_dict() for p in self.problems],
        }

    def words(self) -> str:
        """Return the report in words."""
        memory = self.memory
        lines = [
            f"Genus data {self.version}: {self.n_genera} genera and other answers, "
            f"{self.n_profiles} looks, {self.n_characters} characters, "
            f"{self.n_lookalikes} look-alike pairs, {memory.n_kinds} species rows in use.",
            f"From memory, no source opened: {memory.n_states_memory} of {memory.n_states} states "
            f"({100 * memory.states_frac:.0f} %), {memory.n_sizes_memory} of {memory.n_sizes} size "
            f"ranges, {memory.n_lookalikes_memory} of {memory.n_lookalikes} look-alike texts.",
            "Nothing separates (no usual state, no usual size):"
            if self.unseparated
            else "Every two genera of a region differ in a usual state or a usual size.",
            *(f"  {_pair_words(p)}" for p in self.unseparated),
            f"Held apart by one character or size alone: {len(self.by_one)} pairs"
            + (":" if self.by_one else "."),
            *(f"  {_pair_words(p)}: {p.separators[0]}" for p in self.by_one),
        ]
        n_errors = sum(p.severity == "error" for p in self.problems)
        lines.append(
            f"Problems: {len(self.problems)}, of them errors: {n_errors}."
            if self.problems
            else "No problems."
        )
        return "\n".join(lines)


def check_tables(tables: ReferenceTables) -> TaxaReport:
    """
    Check the built-in genus data, with a project's additions where there are some.

    Parameters
    ----------
    tables : ReferenceTables

    Returns
    -------
    TaxaReport
    """
    data, problems = tables.taxa()
    close = find_close_pairs(data, most_separators=1)
    return TaxaReport(
        version=data.version,
        n_genera=len(data.genera),
        n_profiles=len(data.profiles),
        n_characters=len(data.characters),
        n_lookalikes=len(data.lookalikes),
        memory=measure_memory_share(data),
        unseparated=tuple(p for p in close if not p.separators),
        by_one=tuple(p for p in close if p.separators),
        problems=(*problems, *check_taxa(data)),
    )


def _pair_dict(pair: ClosePair) -> dict[str, Any]:
    """A close pair as plain values."""
    return {**asdict(pair), "regions": sorted(pair.regions)}


def _pair_words(pair: ClosePair) -> str:
    """A close pair in words."""
    a = f"{pair.genus_a} ({pair.profile_a})" if pair.profile_a else pair.genus_a
    b = f"{pair.genus_b} ({pair.profile_b})" if pair.profile_b else pair.genus_b
    return f"{a} and {b}"
