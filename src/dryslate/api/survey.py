"""Figures of a survey from a project folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from dryslate import wiring
from dryslate.app.result_choice import ResultChoice
from dryslate.app.result_rows import ResultRow
from dryslate.app.survey_results import survey_results as find_rows


def survey_results(
    folder: str | Path,
    *,
    sites: str | Sequence[str] = (),
    dates: str | Sequence[str] = (),
    figures: str | Sequence[str] = (),
) -> tuple[ResultRow, ...]:
    """
    Make the figures of a project, each with its 95 % interval.

    Parameters
    ----------
    folder : str or Path
        A project; it is only read.
    sites, dates : str or sequence of str
        Of visits, dates as year-month-day; empty: all.
    figures : str or sequence of str
        Names of figures, or how they begin: ``cover``, ``prevalence``; empty: all.

    Returns
    -------
    tuple of ResultRow
        One figure a row, the same rows as ``dryslate results`` writes.

    Raises
    ------
    InputError
        ``results-choice-unknown``.
    StoreError
        ``project-not-found`` and others that keep a project from being read.

    Examples
    --------
    A data frame of all cover (with pandas, which dryslate does not need)::

        import dataclasses, dryslate, pandas
        rows = dryslate.survey_results("trip", figures=["cover"])
        table = pandas.DataFrame(map(dataclasses.asdict, rows))
    """
    choice = ResultChoice(sites=_each(sites), dates=_each(dates), figures=_each(figures))
    with wiring.survey_store(Path(folder), write=False) as store:
        return find_rows(store, wiring.result_settings(), choice)


def _each(names: str | Sequence[str]) -> tuple[str, ...]:
    """Return one name or several as several."""
    return (names,) if isinstance(names, str) else tuple(names)
