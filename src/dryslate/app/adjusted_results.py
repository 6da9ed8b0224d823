"""Cover and density by name, corrected for misnaming: beside the raw, with the wider doubt."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from dryslate.app.result_figures import COUNT_DESIGNS, COVER_DESIGNS
from dryslate.app.result_health import SIGNS
from dryslate.app.result_made import Made
from dryslate.app.result_rows import ResultRow, row_of
from dryslate.app.result_tallies import UNNAMED, NotedName, SampledAlike
from dryslate.app.result_units import unseen
from dryslate.app.review_state import latest_outcomes, settled_of
from dryslate.app.survey_words import BY_LOOKS, BY_TABLE, TOGETHER
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.base.quality import Flag
from dryslate.core.survey.colony_health import examined
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.methods import Method
from dryslate.core.survey.named_amounts import state_amount, state_drawn
from dryslate.core.survey.outside_table import (
    OutsideTable,
    correct_by_table,
    correct_prevalence_by_table,
    prepare_table,
)
from dryslate.core.survey.second_looks import (
    CorrectedAmounts,
    Pooling,
    SecondLook,
    correct_by_second_looks,
    pool_names,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dryslate.app.ports import SurveyStore
    from dryslate.app.result_choice import ResultChoice
    from dryslate.app.result_settings import ResultSettings
    from dryslate.app.result_tallies import Tallied
    from dryslate.core.identify.taxa import TaxaData
    from dryslate.formats.confusion_csv import ConfusionTable


FEWEST_UNITS = 2
"""Units that tell how units differ."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NameFacts:
    """
    What is known of names.

    Parameters
    ----------
    lookalikes : tuple of (str, str)
    families : mapping of str to str
    """

    lookalikes: tuple[tuple[str, str], ...] = ()
    families: Mapping[str, str] = field(default_factory=dict)


def name_facts(taxa: TaxaData) -> NameFacts:
    """Take look-alikes and families from the genus data."""
    return NameFacts(
        lookalikes=tuple((one.genus_a, one.genus_b) for one in taxa.lookalikes),
        families={name: genus.family for name, genus in taxa.genera.items()},
    )


def second_looks(store: SurveyStore) -> list[SecondLook]:
    """
    Return the settled second looks of a project, each with its unit and its chance.

    Parameters
    ----------
    store : SurveyStore

    Returns
    -------
    list of SecondLook
        Of corals settled to one genus. A photo in no unit is a unit of its own; corals without a
        photo go by their place within the visit, which may be the name of a unit.
    """
    outcomes = latest_outcomes(store)
    if not outcomes:
        return []
    rows = {one.identification_id: one for one in store.identifications()}
    chances = {one.identification_id: one.p_drawn for one in store.review_chances()}
    records = {one.record_id: one for one in store.records()}
    units = {one.photo_id: one.unit_id for one in store.unit_photos() if one.unit_id}
    called = {(one.visit_id, one.name): one.unit_id for one in store.units()}
    found = []
    for outcome in outcomes.values():
        first, record = rows[outcome.first_id], records[outcome.record_id]
        _, genera, rank = settled_of(outcome, rows)
        if len(genera) != 1 or rank != "genus" or outcome.first_id not in chances:
            continue
        photo = record.photo_id or ""
        place = called.get((record.visit_id, record.place), f"{record.visit_id} {record.place}")
        found.append(
            SecondLook(
                unit=units.get(photo, photo or place),
                first=first.name or first.name_as_recorded,
                settled=genera[0],
                p_drawn=chances[outcome.first_id],
            )
        )
    return found


def adjusted_results(
    store: SurveyStore, tallied: Tallied, settings: ResultSettings, choice: ResultChoice
) -> tuple[tuple[ResultRow, ...], tuple[Problem, ...]]:
    """
    Correct cover and density by name.

    Parameters
    ----------
    store : SurveyStore
    tallied : Tallied
        The sums of all units.
    settings : ResultSettings
        With `names`; its `error_table` is inverted, without one the project's own second looks
        correct.
    choice : ResultChoice
        Its sites and dates; figures are picked later.

    Returns
    -------
    rows : tuple of ResultRow
        ``cover_adjusted_frac``, ``density_adjusted_per_m2`` and ``count_adjusted_per_min``; for
        names that were pooled also the raw figure of the pool; by a table from outside also the
        prevalences, for second looks do not say which colonies were ill.
    problems : tuple of Problem
        ``names-not-adjusted``: which names were not, and why.

    Raises
    ------
    InputError
        ``confusion-not-usable`` and ``confusion-name-unknown`` for a table from outside.
    """
    outside = settings.error_table
    looks = [] if outside is not None else second_looks(store)
    if settings.names is None or (outside is None and not looks):
        return (), ()
    facts, ready = settings.names(), None
    if outside is not None:
        _require_known(outside, tallied.names, facts)
        ready = prepare_table(outside.rows, outside.checked)
    pooling = pool_names(looks, facts.lookalikes, facts.families)
    rows = tuple(
        row_of(group.where, group.design, one, group.unit_ids)
        for group in tallied.groups
        if choice.has_group(group)
        for one in (
            _by_looks(group, tallied.names, looks, pooling)
            if outside is None or ready is None
            else (
                *_by_table(group, tallied.names, outside.names, ready),
                *_prevalence_by_table(group, outside.names, ready),
            )
        )
    )
    noted = {thing.split("\t")[1] for thing in tallied.names}
    few = {name: n for name, n in pooling.too_few.items() if name in noted}
    few |= {name: 0 for name in noted - set(pooling.pool_of) - set(few) if not outside}
    few.pop(UNNAMED.split("\t")[1], None)
    return rows, _told(few)


def _told(few: Mapping[str, int]) -> tuple[Problem, ...]:
    """Say which names were not corrected."""
    if not few:
        return ()
    said = ", ".join(f"{name} ({n})" for name, n in sorted(few.items()))
    return (
        Problem(
            slug="names-not-adjusted",
            severity="note",
            place="",
            message=f"Too few settled second looks, also with look-alikes and family: {said}. "
            "Their figures stay as named.",
            fix="Have more corals of these names looked at again.",
        ),
    )


def _require_known(
    outside: ConfusionTable, names: Mapping[str, NotedName], facts: NameFacts
) -> None:
    """Refuse a table with names that neither the genus data nor the records have."""
    known = {thing.split("\t")[1] for thing in names} | set(facts.families)
    unknown = sorted(set(outside.names) - known)
    if unknown:
        raise InputError(
            "confusion-name-unknown",
            f"The table of confusions has names that nothing here knows: {', '.join(unknown)}.",
            "Write the names as the records have them.",
        )


def _by_table(
    group: SampledAlike,
    names: Mapping[str, NotedName],
    classes: Sequence[str],
    ready: OutsideTable,
) -> Iterator[Made]:
    """Correct the figures of units that were sampled alike by a table from outside."""
    amounts = _amounts(group, names)
    if amounts is None:
        return
    things, values, _ = amounts
    _, adjusted = _figure_names(group)
    read = _by_class(things, values, {name: name for name in classes}, classes)
    if not read.any():
        return  # none of the table's names was met here
    found = correct_by_table(read, ready, is_share=adjusted.endswith("_frac"))
    for k, name in enumerate(classes):
        if not (found.raw[k] > 0 or found.estimate[k] > 0):
            continue
        estimate = state_drawn(
            adjusted, ready, found, k, len(group.units), is_plots=group.is_permanent
        )
        yield Made(thing=f"name\t{name}", found=estimate, about=BY_TABLE)


def _prevalence_by_table(
    group: SampledAlike, classes: Sequence[str], ready: OutsideTable
) -> Iterator[Made]:
    """Correct prevalence by name of units that were sampled alike by a table from outside."""
    seen = [
        [examined(one.colonies.get(f"name\t{name}", ())) for name in classes]
        for one in group.tallies
    ]
    seen = [unit for unit in seen if any(unit)]
    if len(seen) < FEWEST_UNITS:
        return
    n = np.array([[len(rows) for rows in unit] for unit in seen], dtype=np.float64)
    chosen = any(any(one.chosen.values()) for one in group.tallies)
    for what, is_case in SIGNS:
        cases = np.array([[sum(map(is_case, rows)) for rows in unit] for unit in seen])
        found = correct_prevalence_by_table(cases, n - cases, ready)
        figure = what.replace("_frac", "_adjusted_frac")
        for k, name in enumerate(classes):
            if not (n[:, k].any() and cases.any() and np.isfinite(found.estimate[k])):
                continue
            stated = state_drawn(figure, ready, found, k, len(seen), is_plots=group.is_permanent)
            made = Made(
                thing=f"name\t{name}",
                found=stated,
                about=BY_TABLE,
                n_colonies=int(n[:, k].sum()),
            )
            yield made.flagged(Flag.CHOSEN_LEFT_OUT) if chosen else made


def _by_looks(
    group: SampledAlike,
    names: Mapping[str, NotedName],
    looks: Sequence[SecondLook],
    pooling: Pooling,
) -> Iterator[Made]:
    """Correct the figures of units that were sampled alike by second looks."""
    amounts = _amounts(group, names)
    if amounts is None:
        return
    things, values, units = amounts
    figure, adjusted = _figure_names(group)
    pool_of = pooling.pool_of
    among = [_pooled(one, pool_of) for one in looks if one.first in pool_of]
    classes = sorted({pool_of.get(t, t) for t in things} | {one.settled for one in among})
    pooled = _by_class(things, values, pool_of, classes)
    try:
        found = correct_by_second_looks(pooled, units, among, classes)
    except InputError:
        return  # second looks at one unit alone
    stated = set(pool_of.values())
    for k, name in enumerate(classes):
        if name not in stated or not (found.raw[k] > 0 or found.estimate[k] > 0):
            continue
        estimate = _state(found, k, (adjusted, Method.TWICE_NAMED), group)
        yield Made(thing=f"name\t{name}", found=estimate, about=BY_LOOKS)
        if " or " in name and name not in things:
            raw = CorrectedAmounts(
                classes=found.classes,
                raw=found.raw,
                estimate=found.raw,
                u=pooled.std(axis=0, ddof=1) / np.sqrt(len(pooled)),
                df=np.full(len(classes), len(pooled) - 1.0),
            )
            own = Method.T_LOGIT if figure.endswith("_frac") else Method.T_LOG
            yield Made(
                thing=f"name\t{name}",
                found=_state(raw, k, (figure, own), group),
                about=TOGETHER,
            )


def _pooled(look: SecondLook, pool_of: Mapping[str, str]) -> SecondLook:
    """Say a second look in pools."""
    return replace(
        look,
        first=pool_of[look.first],
        settled=pool_of.get(look.settled, look.settled),
    )


def _figure_names(group: SampledAlike) -> tuple[str, str]:
    """Name the raw and the corrected figure of a design."""
    if group.design in COVER_DESIGNS:
        return "cover_frac", "cover_adjusted_frac"
    if group.design == "timed_swim":
        return "count_per_min", "count_adjusted_per_min"
    return "density_per_m2", "density_adjusted_per_m2"


def _state(
    found: CorrectedAmounts, k: int, what: tuple[str, Method], group: SampledAlike
) -> Estimate:
    """State one corrected amount."""
    return state_amount(
        what,
        (float(found.estimate[k]), float(found.u[k]), float(found.df[k])),
        len(group.units),
        is_plots=group.is_permanent,
    )


def _amounts(
    group: SampledAlike, names: Mapping[str, NotedName]
) -> tuple[list[str], NDArray[np.float64], list[str]] | None:
    """Return the names noted, their amounts in each unit, and the units; None where none is."""
    is_cover = group.design in COVER_DESIGNS
    if not is_cover and group.design not in COUNT_DESIGNS:
        return None
    which = "on" if is_cover else "counts"
    seen = {thing for one in group.tallies for thing in getattr(one, which)}
    things = [t for t in sorted(names) if t != UNNAMED and t in seen]
    rows, units = [], []
    for one in group.units:
        tally = one.tally
        design = tally.design
        size = design.minutes if group.design == "timed_swim" else design.searched_m2
        effort = tally.read if is_cover else size or 0.0
        if is_cover:
            row = [tally.on.get(t, 0.0) for t in things]
        else:
            row = [float(tally.counts.get(t, unseen(tally, t))) for t in things]
        if effort:
            rows.append([value / effort for value in row])
            units.append(one.unit.unit_id)
    values = np.array(rows, dtype=np.float64).reshape(len(rows), len(things))
    kept = np.atleast_1d(np.isfinite(values).all(axis=0))
    things = [thing.split("\t")[1] for thing, k in zip(things, kept, strict=True) if k]
    return (things, values[:, kept], units) if things and len(units) > 1 else None


def _by_class(
    things: Sequence[str],
    values: NDArray[np.float64],
    pool_of: Mapping[str, str],
    classes: Sequence[str],
) -> NDArray[np.float64]:
    """Sum the amounts of names to those of classes."""
    found = np.zeros((len(values), len(classes)))
    for k, thing in enumerate(things):
        name = pool_of.get(thing, thing)
        if name in classes:
            found[:, classes.index(name)] += values[:, k]
    return found
