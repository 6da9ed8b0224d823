"""Community analysis as a tidy table: one figure a row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, astuple, dataclass, fields
from typing import Any

from dryslate.formats.table_csv import write_table_csv


@dataclass(frozen=True, slots=True, kw_only=True)
class CommunityRow:
    """
    One figure of a comparison of units.

    Parameters
    ----------
    design, kind_of_thing : str
    by : str
        ``zone``, ``visit``, ``site`` or ``group``.
    figure : str
        ``stress``, ``axis_1``, ``axis_2``; ``permanova_f``, ``permanova_r2_frac``, ``anosim_r``;
        ``dispersion_f``, ``distance_to_middle``; ``dissimilarity_frac``, ``contribution_frac``,
        ``contribution_sd``.
    term, first, second, thing, unit_id : str
        What it is about; empty where it is about no such thing.
    estimate : float or None
    df : float or None
    p, p_smallest : float or None
    n_permutations, n_distinct : int or None
    exchanged : str
    n_units, n_left_out, n_things_left_out : int
    method : str
        Dissimilarity, transform, middle of groups, and the seed.
    flags : tuple of str
    """

    design: str
    kind_of_thing: str
    by: str
    figure: str
    term: str = ""
    first: str = ""
    second: str = ""
    thing: str = ""
    unit_id: str = ""
    estimate: float | None = None
    df: float | None = None
    p: float | None = None
    p_smallest: float | None = None
    n_permutations: int | None = None
    n_distinct: int | None = None
    exchanged: str = ""
    n_units: int = 0
    n_left_out: int = 0
    n_things_left_out: int = 0
    method: str = ""
    flags: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {**asdict(self), "flags": list(self.flags)}


COLUMNS = tuple(field.name for field in fields(CommunityRow))


def community_csv(found: Sequence[CommunityRow]) -> bytes:
    """Write figures as CSV, one a row; several flags stand divided by semicolons."""
    rows = [
        ["; ".join(cell) if isinstance(cell, tuple) else cell for cell in astuple(row)]
        for row in found
    ]
    return write_table_csv(COLUMNS, rows)
