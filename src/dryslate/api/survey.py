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
    sites: Sequence[str] = (),
    dates: Sequence[str] = (),
    figures: Sequence[str] = (),
) -> tuple[ResultRow, ...]:
    """
    Make the figures of a project, each with its 95 % interval.

    Parameters
    ----------
    folder : str or Path
        A project; it is only read.
    sites, dates : sequence of str
        Of visits; empty: all.
    figures : sequence of str
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
    choice = ResultChoice(sites=sites, dates=dates, figures=figures)
    with wiring.survey_store(Path(folder), write=False) as store:
        return find_rows(store, wiring.result_settings(), choice)
