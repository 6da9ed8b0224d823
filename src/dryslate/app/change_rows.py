"""The tidy table of changes: one a row, with what it was compared with and what could be seen."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import asdict, astuple, dataclass, fields, replace
from typing import Any

from dryslate.app.unit_values import Series, VisitValues
from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.change import Change, Reading
from dryslate.core.survey.change_rates import adjust_many, rates_of_change
from dryslate.formats.table_csv import write_table_csv


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeRow:
    """
    One change.

    Parameters
    ----------
    site : str
        Several stand divided by a semicolon.
    zone, design, figure, kind_of_thing, thing : str
    kind : str
        ``visits`` (one site, later less earlier), ``trend`` (a year, through its visits),
        ``sites`` (mean change of several sites, by a mixed model) or ``contrast`` (impact less
        control sites).
    first, last : str
        Dates; of a round of visits its first day.
    before, after : float or None
        Means.
    estimate, u, lo95, hi95 : float or None
    method : str
    df : float or None
    n_units, n_blank : int
        Units of a change of visits, visits of a trend, sites of a contrast.
    t, p, p_adjusted : float or None
        Raw, and for the share of false finds among all tests of the table.
    n_tests : int
        Of the table.
    sees, sees_lo95, sees_hi95, power : float or None
        Smallest change that this design sees with that power, with the doubt of its spread.
    p_sites_differ : float or None
        Of "all sites changed alike"; of a mixed model.
    level : str
        Of a name: the rank at which it was compared, ``several names`` or ``as written``.
    together : tuple of str
        Names or categories that were put together for the comparison; empty: it stands alone.
    undetermined_first, undetermined_last : float or None
        Of a name: the share of what is it or may be it that was not told to it, at the earlier
        and the later visits.
    relative, annual_rate : float or None
        After over before, less 1; the steady rate a year that gives it. Figures alone.
    reading : str
        ``changed``, ``not_shown`` (read `sees` with it) or ``not_known``.
    flags, unit_ids : tuple of str
    """

    site: str
    zone: str
    design: str
    figure: str
    kind_of_thing: str
    thing: str
    kind: str
    first: str
    last: str
    before: float | None
    after: float | None
    estimate: float | None
    u: float | None
    lo95: float | None
    hi95: float | None
    method: str
    df: float | None
    n_units: int
    n_blank: int
    t: float | None
    p: float | None
    p_adjusted: float | None
    n_tests: int
    sees: float | None
    sees_lo95: float | None
    sees_hi95: float | None
    power: float | None
    p_sites_differ: float | None
    level: str
    together: tuple[str, ...]
    undetermined_first: float | None
    undetermined_last: float | None
    relative: float | None
    annual_rate: float | None
    reading: str
    flags: tuple[str, ...]
    unit_ids: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        lists = {name: list(getattr(self, name)) for name in ("together", "flags", "unit_ids")}
        return {**asdict(self), **lists}


COLUMNS = tuple(f.name for f in fields(ChangeRow))


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """
    What a change is between.

    Parameters
    ----------
    kind, site, first, last : str
    before, after : float or None
    unit_ids : tuple of str
    flags : tuple of Flag
        Beside those of the figure.
    p_sites_differ : float or None
    earlier, later : tuple of VisitValues
        Visits that tell what share was not told to a name.
    """

    kind: str
    site: str
    first: str
    last: str
    before: float | None = None
    after: float | None = None
    unit_ids: tuple[str, ...] = ()
    flags: tuple[Flag, ...] = ()
    p_sites_differ: float | None = None
    earlier: tuple[VisitValues, ...] = ()
    later: tuple[VisitValues, ...] = ()


def change_row(
    series: Series, between: Compared, found: Change, worst: Change | None = None
) -> ChangeRow:
    """
    Put a change into its row; p is adjusted later, with all of the table.

    Parameters
    ----------
    series : Series
        Tells zone, design, figure and thing.
    between : Compared
    found : Change
    worst : Change, optional
        The same if what was not told to a name had gone against the change. A change that this
        does not show is not known, and flagged ``names_leave_open``.

    Returns
    -------
    ChangeRow
    """
    change, sees = found.change, found.sees
    reading, flags = found.reading(), [*change.flags, *between.flags, *series.flags]
    if reading is Reading.CHANGED and worst is not None and not _stands(found, worst):
        reading = Reading.NOT_KNOWN
        flags.append(Flag.NAMES_LEAVE_OPEN)
    relative, annual = _rates(between)
    return ChangeRow(
        site=between.site,
        zone=series.zone,
        design=series.design,
        figure=series.figure,
        kind_of_thing=series.kind_of_thing,
        thing=series.thing,
        kind=between.kind,
        first=between.first,
        last=between.last,
        before=between.before,
        after=between.after,
        estimate=change.estimate,
        u=change.u,
        lo95=change.lo95,
        hi95=change.hi95,
        method=str(change.method),
        df=change.df,
        n_units=change.n_units,
        n_blank=change.n_blank,
        t=found.t,
        p=found.p,
        p_adjusted=None,
        n_tests=0,
        sees=None if sees is None else sees.change,
        sees_lo95=None if sees is None else sees.lo95,
        sees_hi95=None if sees is None else sees.hi95,
        power=None if sees is None else sees.power,
        p_sites_differ=between.p_sites_differ,
        level=series.level,
        together=series.together,
        undetermined_first=_undetermined(series, between.earlier),
        undetermined_last=_undetermined(series, between.later),
        relative=relative,
        annual_rate=annual,
        reading=str(reading),
        flags=tuple(str(flag) for flag in dict.fromkeys(flags)),
        unit_ids=between.unit_ids,
    )


def _stands(found: Change, worst: Change) -> bool:
    """Tell whether the worst case shows a change the same way."""
    is_up = (found.change.estimate or 0.0) > 0
    is_still_up = (worst.change.estimate or 0.0) > 0
    return worst.reading() is Reading.CHANGED and is_up == is_still_up


def _undetermined(series: Series, visits: Sequence[VisitValues]) -> float | None:
    """Return the share that was not told to a name; None for what is no name, or was not seen."""
    every = sum(visit.own + visit.open for visit in visits)
    if series.kind_of_thing != "name" or not every:
        return None
    return sum(visit.open for visit in visits) / every


def _rates(between: Compared) -> tuple[float | None, float | None]:
    """Return the relative and the annual rate, where both means are above 0."""
    if between.kind != "visits" or between.before is None or between.after is None:
        return None, None
    first, last = (datetime.date.fromisoformat(text) for text in (between.first, between.last))
    try:
        rates = rates_of_change(between.before, between.after, (last - first).days / 365.25)
    except InputError:
        return None, None
    return rates.relative, rates.annual_rate


def with_adjusted(rows: Sequence[ChangeRow]) -> tuple[ChangeRow, ...]:
    """Say of how many tests each p is one, and adjust it for them."""
    many = adjust_many([row.p for row in rows])
    return tuple(
        replace(row, p_adjusted=p, n_tests=many.n_tests)
        for row, p in zip(rows, many.adjusted, strict=True)
    )


def changes_table(rows: Sequence[ChangeRow]) -> bytes:
    """Write changes as CSV, one a row; several flags or units stand divided by semicolons."""
    cells = [
        ["; ".join(cell) if isinstance(cell, tuple) else cell for cell in astuple(row)]
        for row in rows
    ]
    return write_table_csv(COLUMNS, cells)
