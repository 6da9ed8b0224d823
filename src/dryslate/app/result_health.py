"""Health of the colonies in units: prevalence, shares of tissue, lesions, published indices."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

from dryslate.app.result_bounds import share_bounds, undetermined_of
from dryslate.app.result_made import Made
from dryslate.app.result_settings import ResultSettings
from dryslate.app.result_tallies import NotedName, SampledAlike
from dryslate.app.result_units import BLANK, is_told_apart, survey_settings, things_of
from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.health.bleaching import SEVEN_CLASSES, class_of_colony
from dryslate.core.survey.colony_health import (
    area_cm2,
    examined,
    is_bleached,
    is_pale_or_bleached,
    lesions_of,
    live_pct,
    looked_for_lesions,
)
from dryslate.core.survey.designs import SurveyRow
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.prevalence import estimate_prevalence, estimate_tissue_share
from dryslate.core.survey.statement import SurveySettings

Rows = Sequence[Sequence[SurveyRow]]
ALIKE = "each colony counts alike"
BY_AREA = "colonies weighed by their area, as ellipses"
ANY_LESION = "any lesion"

SIGNS: tuple[tuple[str, Callable[[SurveyRow], bool]], ...] = (
    ("prevalence_bleached_frac", is_bleached),
    ("prevalence_pale_or_bleached_frac", is_pale_or_bleached),
    ("prevalence_recently_dead_frac", lambda row: (row.recently_dead_pct or 0.0) > 0),
    ("prevalence_old_dead_frac", lambda row: (row.old_dead_pct or 0.0) > 0),
)
"""Prevalences, each with the sign that makes a colony a case."""


def health_of(
    group: SampledAlike, names: Mapping[str, NotedName], settings: ResultSettings
) -> Iterator[Made]:
    """
    Make the figures of health of units that were sampled alike.

    Parameters
    ----------
    group : SampledAlike
    names : mapping of str to NotedName
    settings : ResultSettings

    Yields
    ------
    Made

    Notes
    -----
    Of colonies examined: their shares were noted and they were not wholly old dead. Prevalence is
    given of categories too; shares of tissue, lesions and indices of each name and of all corals.
    """
    survey = survey_settings(group, settings)
    flags = (Flag.CHOSEN_LEFT_OUT,) if any(any(t.chosen.values()) for t in group.tallies) else ()
    for thing in things_of(group.tallies, "colonies"):
        units = [one.colonies.get(thing, []) for one in group.tallies]
        seen = [examined(rows) for rows in units]
        made: list[Made] = []
        if any(seen):
            made += _prevalences(group, thing, seen, names, survey)
            if is_told_apart(thing):
                made += _shares(thing, seen, survey)
                made.append(_index(thing, seen, survey))
        if is_told_apart(thing):
            made += _lesions(thing, units, survey)
        yield from (one.flagged(*flags) for one in made)


def _prevalences(
    group: SampledAlike,
    thing: str,
    seen: Rows,
    names: Mapping[str, NotedName],
    survey: SurveySettings,
) -> Iterator[Made]:
    """Colonies with each sign, of those examined."""
    n = [len(rows) for rows in seen]
    others = undetermined_of(thing, names)
    open_ = [r for one in group.tallies for o in others for r in examined(one.colonies.get(o, ()))]
    for what, is_case in SIGNS:
        cases = [sum(map(is_case, rows)) for rows in seen]
        found = estimate_prevalence(cases, n, survey, what=what)
        bounds = None
        if thing in names and names[thing].is_genus:
            bounds = share_bounds((sum(cases), sum(n)), (sum(map(is_case, open_)), len(open_)))
        yield Made(thing=thing, found=found, n_colonies=sum(n), bounds=bounds)


def _shares(thing: str, seen: Rows, survey: SurveySettings) -> Iterator[Made]:
    """Bleached share of live tissue, and how much of colonies is dead."""
    n = sum(map(len, seen))
    live = [[row for row in rows if live_pct(row) > 0] for rows in seen]
    sums = [sum((row.bleached_pct or 0.0) for row in rows) for rows in live]
    totals = [sum(map(live_pct, rows)) for rows in live]
    if any(totals):
        what = "bleached_of_live_frac"
        found = estimate_tissue_share(sums, totals, survey, what=what)
        yield Made(thing=thing, found=found, about=ALIKE, n_colonies=sum(map(len, live)))
        areas = [[area_cm2(row) for row in rows] for rows in live]
        if all(area is not None for rows in areas for area in rows):
            pairs = [list(zip(rows, a, strict=True)) for rows, a in zip(live, areas, strict=True)]
            sums = [sum((row.bleached_pct or 0) * (a or 0) for row, a in rows) for rows in pairs]
            totals = [sum(live_pct(row) * (a or 0) for row, a in rows) for rows in pairs]
            found = estimate_tissue_share(sums, totals, survey, what=what)
            yield Made(thing=thing, found=found, about=BY_AREA, n_colonies=sum(map(len, live)))
    for what, name in (
        ("partial_mortality_recent_frac", "recently_dead_pct"),
        ("partial_mortality_old_frac", "old_dead_pct"),
    ):
        sums = [sum((getattr(row, name) or 0.0) / 100 for row in rows) for rows in seen]
        found = estimate_tissue_share(sums, [len(rows) for rows in seen], survey, what=what)
        yield Made(thing=thing, found=found, about=ALIKE, n_colonies=n)


def _index(thing: str, seen: Rows, survey: SurveySettings) -> Made:
    """Bleaching index of seven classes, 0 to 100; none where a colony fits in no class."""
    what, top = "bleaching_index_seven_classes_pct", SEVEN_CLASSES.classes[-1].weight
    sums, uncovered = [0.0 for _ in seen], []
    for k, rows in enumerate(seen):
        for row in rows:
            try:
                at = class_of_colony(_five(row), SEVEN_CLASSES)
            except InputError:
                uncovered.append(row)
                continue
            if at is not None:
                sums[k] += SEVEN_CLASSES.classes[at].weight
    n = sum(map(len, seen))
    if uncovered:
        first = f", the first at {uncovered[0].place}" if uncovered[0].place else ""
        flags = (*survey.scope_flags(), Flag.MIX_NOT_COVERED)
        none = Estimate(what=what, estimate=None, n_units=len(seen), flags=flags)
        about = f"{len(uncovered)} of {n} colonies fit in no class of the index{first}"
        return Made(thing=thing, found=none, about=about, n_colonies=n)
    found = estimate_tissue_share(sums, [top * len(rows) for rows in seen], survey, what=what)
    scaled = replace(
        found,
        estimate=_percent(found.estimate),
        u=_percent(found.u),
        lo95=_percent(found.lo95),
        hi95=_percent(found.hi95),
    )
    return Made(
        thing=thing,
        found=scaled,
        about=f"ranks of seven classes, {SEVEN_CLASSES.paper}",
        n_colonies=n,
    )


def _percent(value: float | None) -> float | None:
    """Return a fraction in per cent."""
    return None if value is None else 100 * value


def _five(row: SurveyRow) -> tuple[float, float, float, float, float]:
    """Return the shares of a colony that was examined."""
    return (
        row.normal_pct or 0.0,
        row.pale_pct or 0.0,
        row.bleached_pct or 0.0,
        row.recently_dead_pct or 0.0,
        row.old_dead_pct or 0.0,
    )


def _lesions(thing: str, units: Rows, survey: SurveySettings) -> Iterator[Made]:
    """Prevalence of each lesion by its word, of colonies that were looked at for lesions."""
    looked = [looked_for_lesions(rows) for rows in units]
    words = sorted({word for rows in looked if rows for row in rows for word in lesions_of(row)})
    n = [BLANK if rows is None else len(rows) for rows in looked]
    for word in (*words, ANY_LESION) if words else ():
        cases = [BLANK if rows is None else sum(_has(row, word) for row in rows) for rows in looked]
        found = estimate_prevalence(cases, n, survey, what="prevalence_lesion_frac")
        total = sum(len(rows) for rows in looked if rows is not None)
        yield Made(thing=thing, found=found, about=word, n_colonies=total)


def _has(row: SurveyRow, word: str) -> bool:
    """Tell whether a colony has a lesion of that word, or any."""
    found = lesions_of(row)
    return bool(found) if word == ANY_LESION else word in found
