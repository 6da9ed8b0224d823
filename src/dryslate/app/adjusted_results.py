"""Cover and density by name, corrected for misnaming: beside the raw, with the wider doubt."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from dryslate.app.corals_elsewhere import unit_place
from dryslate.app.look_chances import is_of_doubtful_only, settled_chances
from dryslate.app.result_figures import COUNT_DESIGNS, COVER_DESIGNS
from dryslate.app.result_health import SIGNS
from dryslate.app.result_made import Made
from dryslate.app.result_rows import ResultRow, row_of
from dryslate.app.result_tallies import UNNAMED, NotedName, SampledAlike
from dryslate.app.result_units import unseen
from dryslate.app.review_state import Rows, latest_outcomes, settled_of
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

    from dryslate.app.identification_rows import ReviewOutcomeRow
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
        Of corals settled to one genus; none where these are doubtful ones only. A photo in no unit
        is a unit of its own; corals without a photo go by their place within the visit, which may
        be the name of a unit.
    """
    outcomes = latest_outcomes(store)
    if not outcomes:
        return []
    rows = {one.identification_id: one for one in store.identifications()}
    settled = _settled_genera(outcomes.values(), rows)
    drawn = store.review_chances()
    if is_of_doubtful_only(drawn, settled):
        return []
    chances = settled_chances(drawn, settled)
    records = {one.record_id: one for one in store.records()}
    units = {one.photo_id: one.unit_id for one in store.unit_photos() if one.unit_id}
    called = {
        (one.visit_id, unit_place(one.name, one.unit_id)): one.unit_id for one in store.units()
    }
    found = []
    for outcome in outcomes.values():
        first, record = rows[outcome.first_id], records[outcome.record_id]
        if outcome.first_id not in chances:
            continue
        photo = record.photo_id or ""
        place = called.get((record.visit_id, record.place), f"{record.visit_id} {record.place}")
        found.append(
            SecondLook(
                unit=units.get(photo, photo or place),
                first=first.name or first.name_as_recorded,
                settled=settled[outcome.first_id],
                p_drawn=chances[outcome.first_id],
            )
        )
    return found


def _settled_genera(outcomes: Iterable[ReviewOutcomeRow], rows: Rows) -> dict[str, str]:
    """Return the genus that each first name was settled to, of those that were."""
    found = ((one.first_id, settled_of(one, rows)) for one in outcomes)
    return {
        first: genera[0]
        for first, (_, genera, rank) in found
        if len(genera) == 1 and rank == "genus"
    }


def _doubtful_only(store: SurveyStore) -> tuple[Problem, ...]:
    """Say that second looks cannot correct yet, where only doubtful names were looked at."""
    rows = {one.identification_id: one for one in store.identifications()}
    settled = _settled_genera(latest_outcomes(store).values(), rows)
    if not settled or not is_of_doubtful_only(store.review_chances(), settled):
        return ()
    return (
        Problem(
            slug="names-not-adjusted",
            severity="note",
            place="",
            message="Second looks so far are at doubtful names only, which were drawn for certain: "
            "they do not tell how often the others err. Figures stay as named.",
            fix="Have those drawn by chance looked at too: dryslate review look.",
        ),
    )


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
    if settings.names is not None and outside is None and not looks:
        return (), _doubtful_only(store)
    if settings.names is None:
        return (), ()
    facts, ready = settings.names(), None
    if outside is not None:
        _require_known(outside, tallied.names, facts)
        ready = prepare_table(outside.rows, outside.checked)
    pooling = pool_names(looks, facts.lookalikes, facts.families)
    rows: list[ResultRow] = []
    for group in filter(choice.has_group, tallied.groups):
        amounts, made = _amounts(group, tallied.names), list[Made]()
        if outside is None or ready is None:
            made += [] if amounts is None else _by_looks(amounts, looks, pooling)
        else:
            made += [] if amounts is None else _by_table(amounts, outside.names, ready)
            made += _prevalence_by_table(group, outside.names, ready)
        rows += [row_of(group.where, group.design, one, group.unit_ids) for one in made]
    noted = {thing.split("\t")[1] for thing in tallied.names}
    few = {name: n for name, n in pooling.too_few.items() if name in noted}
    few |= {name: 0 for name in noted - set(pooling.pool_of) - set(few) if not outside}
    few.pop(UNNAMED.split("\t")[1], None)
    return tuple(rows), _told(few)


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


def _by_table(noted: _Amounts, classes: Sequence[str], ready: OutsideTable) -> Iterator[Made]:
    """Correct the figures of units that were sampled alike by a table from outside."""
    read = _by_class(noted, {name: name for name in classes}, classes)
    if not read.any():
        return  # none of the table's names was met here
    found = correct_by_table(read, ready, is_share=noted.is_share)
    for k, name in enumerate(classes):
        if not (found.raw[k] > 0 or found.estimate[k] > 0):
            continue
        estimate = state_drawn(
            noted.adjusted, ready, found, k, len(noted.units), is_plots=noted.is_plots
        )
        yield _made(name, estimate, BY_TABLE, noted.n_all)


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
            made = replace(
                _made(name, stated, BY_TABLE, len(group.units)), n_colonies=int(n[:, k].sum())
            )
            yield made.flagged(Flag.CHOSEN_LEFT_OUT) if chosen else made


def _by_looks(noted: _Amounts, looks: Sequence[SecondLook], pooling: Pooling) -> Iterator[Made]:
    """Correct the figures of units that were sampled alike by second looks."""
    pool_of = pooling.pool_of
    among = [_pooled(one, pool_of) for one in looks if one.first in pool_of]
    settled = {one.settled for one in among}
    classes = sorted({pool_of.get(name, name) for name in noted.names} | settled)
    pooled = _by_class(noted, pool_of, classes)
    try:
        found = correct_by_second_looks(pooled, noted.units, among, classes)
    except InputError:
        return  # second looks at one unit alone
    stated = set(pool_of.values())
    for k, name in enumerate(classes):
        if name not in stated or not (found.raw[k] > 0 or found.estimate[k] > 0):
            continue
        estimate = _state(found, k, (noted.adjusted, Method.TWICE_NAMED), noted)
        yield _made(name, estimate, BY_LOOKS, noted.n_all)
        if " or " in name and name not in noted.names:
            raw = CorrectedAmounts(
                classes=found.classes,
                raw=found.raw,
                estimate=found.raw,
                u=pooled.std(axis=0, ddof=1) / np.sqrt(len(pooled)),
                df=np.full(len(classes), len(pooled) - 1.0),
            )
            own = Method.T_LOGIT if noted.is_share else Method.T_LOG
            stated_raw = _state(raw, k, (noted.figure, own), noted)
            yield _made(name, stated_raw, TOGETHER, noted.n_all)


def _pooled(look: SecondLook, pool_of: Mapping[str, str]) -> SecondLook:
    """Say a second look in pools."""
    return replace(
        look,
        first=pool_of[look.first],
        settled=pool_of.get(look.settled, look.settled),
    )


def _state(found: CorrectedAmounts, k: int, what: tuple[str, Method], noted: _Amounts) -> Estimate:
    """State one corrected amount."""
    return state_amount(
        what,
        (float(found.estimate[k]), float(found.u[k]), float(found.df[k])),
        len(noted.units),
        is_plots=noted.is_plots,
    )


def _made(name: str, found: Estimate, about: str, n_all: int) -> Made:
    """Put a stated figure of a name on its way; units that say nothing of it are blank."""
    n_blank = n_all - found.n_units
    made = Made(thing=f"name\t{name}", found=replace(found, n_blank=n_blank), about=about)
    return made.flagged(Flag.BLANK_UNITS) if n_blank else made


@dataclass(frozen=True, slots=True, kw_only=True)
class _Amounts:
    """Amounts of names in units that were sampled alike, blank units left out."""

    figure: str
    adjusted: str
    names: list[str]
    values: NDArray[np.float64]
    units: list[str]
    n_all: int
    is_plots: bool

    @property
    def is_share(self) -> bool:
        """Whether they are shares of the ground."""
        return self.figure.endswith("_frac")


def _amounts(group: SampledAlike, names: Mapping[str, NotedName]) -> _Amounts | None:
    """Return the names noted with their amounts in each unit; None where none is."""
    if group.design in COVER_DESIGNS:
        which, figure, adjusted = "on", "cover_frac", "cover_adjusted_frac"
    elif group.design not in COUNT_DESIGNS:
        return None
    elif group.design == "timed_swim":
        which, figure, adjusted = "counts", "count_per_min", "count_adjusted_per_min"
    else:
        which, figure, adjusted = "counts", "density_per_m2", "density_adjusted_per_m2"
    seen = {thing for one in group.tallies for thing in getattr(one, which)}
    things = [t for t in sorted(names) if t != UNNAMED and t in seen]
    rows, units = [], []
    for one in group.units:
        tally = one.tally
        design = tally.design
        size = design.minutes if group.design == "timed_swim" else design.searched_m2
        effort = tally.read if which == "on" else bool(tally.counts) * (size or 0.0)
        if which == "on":
            row = [tally.on.get(t, 0.0) for t in things]
        else:
            row = [float(tally.counts.get(t, unseen(tally, t))) for t in things]
        if effort:
            rows.append([value / effort for value in row])
            units.append(one.unit.unit_id)
    values = np.array(rows, dtype=np.float64).reshape(len(rows), len(things))
    kept = np.atleast_1d(np.isfinite(values).all(axis=0))
    things = [thing.split("\t")[1] for thing, k in zip(things, kept, strict=True) if k]
    if not things or len(units) < FEWEST_UNITS:
        return None
    return _Amounts(
        figure=figure,
        adjusted=adjusted,
        names=things,
        values=values[:, kept],
        units=units,
        n_all=len(group.units),
        is_plots=group.is_permanent,
    )


def _by_class(
    noted: _Amounts, pool_of: Mapping[str, str], classes: Sequence[str]
) -> NDArray[np.float64]:
    """Sum the amounts of names to those of classes."""
    found = np.zeros((len(noted.values), len(classes)))
    for k, thing in enumerate(noted.names):
        name = pool_of.get(thing, thing)
        if name in classes:
            found[:, classes.index(name)] += noted.values[:, k]
    return found
