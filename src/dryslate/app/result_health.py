"""Health of the colonies in units: prevalence and shares of tissue."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from dryslate.app.result_made import Made
from dryslate.app.result_tallies import NotedName
from dryslate.core.survey.colony_health import examined, is_bleached, is_pale_or_bleached
from dryslate.core.survey.prevalence import estimate_prevalence
from dryslate.core.survey.statement import SurveySettings
from dryslate.core.survey.tally import UnitTally


def health_of(
    tallies: Sequence[UnitTally], names: Mapping[str, NotedName], settings: SurveySettings
) -> Iterator[Made]:
    """
    Make the figures of health of units that were sampled alike.

    Parameters
    ----------
    tallies : sequence of UnitTally
        Of one design.
    names : mapping of str to NotedName
    settings : SurveySettings

    Yields
    ------
    Made
    """
    for thing in sorted({thing for one in tallies for thing in one.colonies}):
        seen = [examined(one.colonies.get(thing, ())) for one in tallies]
        n = [len(rows) for rows in seen]
        if not sum(n):
            continue
        for is_case, what in (
            (is_bleached, "prevalence_bleached_frac"),
            (is_pale_or_bleached, "prevalence_pale_or_bleached_frac"),
        ):
            cases = [sum(map(is_case, rows)) for rows in seen]
            found = estimate_prevalence(cases, n, settings, what=what)
            yield Made(thing=thing, found=found, n_colonies=sum(n))
