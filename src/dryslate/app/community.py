"""Community analysis of a project: how alike units are in what they hold, and do groups differ."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from dryslate.app.community_rows import CommunityRow
from dryslate.app.community_table import By, ComparedUnits, Kind, compared_units
from dryslate.app.result_tallies import tally_units
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem, problem_of
from dryslate.base.quality import Flag
from dryslate.core.survey.dispersion import Middle, compare_dispersion
from dryslate.core.survey.dissimilarity import (
    Dissimilarity,
    Transform,
    apply_transform,
    measure_dissimilarity,
)
from dryslate.core.survey.exchange import N_PERMUTATIONS, Exchange, Exchanged
from dryslate.core.survey.ordination import fit_ordination
from dryslate.core.survey.permanova import Term, compare_terms, measure_anosim
from dryslate.core.survey.simper import find_contributions

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category

EXCHANGED: Mapping[By, Exchanged] = {
    "zone": "units_within_sites",
    "visit": "units_within_sites",
    "site": "units",
    "group": "whole_sites",
}
MOST_GROUPS = 8
"""More groups than these are not taken apart in pairs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CommunitySettings:
    """
    What is fixed before the data are seen.

    Parameters
    ----------
    by : {"zone", "visit", "site", "group"}
    group_of : mapping of str to str
        Of sites, for ``group``.
    kind : {"category", "name"} or None
    measure : Dissimilarity
    transform : Transform
    middle : {"centroid", "median"}
    n_axes, seed, n_permutations : int
    usual : sequence of Category
        The list of a project that has none of its own.
    """

    by: By = "site"
    group_of: Mapping[str, str] = field(default_factory=dict)
    kind: Kind | None = None
    measure: Dissimilarity = Dissimilarity.BRAY_CURTIS
    transform: Transform = Transform.NONE
    middle: Middle = "centroid"
    n_axes: int = 2
    seed: int = 1
    n_permutations: int = N_PERMUTATIONS
    usual: Sequence[Category] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Community:
    """
    What came of it.

    Parameters
    ----------
    rows : tuple of CommunityRow
    problems : tuple of Problem
        What could not be compared, by design.
    """

    rows: tuple[CommunityRow, ...]
    problems: tuple[Problem, ...]


def compare_communities(store: SurveyStore, settings: CommunitySettings) -> Community:
    """
    Compare what units hold, each design by itself, permanent plots apart.

    Parameters
    ----------
    store : SurveyStore
    settings : CommunitySettings

    Returns
    -------
    Community
        A design that cannot be compared is a problem with its reason; the others stand.
    """
    _check_sites(store, settings)
    tallied = tally_units(store, settings.usual).groups
    rows: list[CommunityRow] = []
    problems: list[Problem] = []
    for design, is_permanent in sorted({(one.design, one.is_permanent) for one in tallied}):
        sampled = [o for o in tallied if (o.design, o.is_permanent) == (design, is_permanent)]
        try:
            units = compared_units(sampled, settings.by, settings.kind, settings.group_of)
        except InputError as error:
            problems.append(problem_of(error, design, "warning"))
            continue
        made = _Comparison(units, settings, is_permanent=is_permanent)
        rows += made.picture()
        try:
            rows += made.tests()
        except InputError as error:
            problems.append(problem_of(error, design, "warning"))
    return Community(rows=tuple(rows), problems=tuple(problems))


def _check_sites(store: SurveyStore, settings: CommunitySettings) -> None:
    """Refuse a grouping that names a site which is not there."""
    known = sorted({visit.site for visit in store.visits()})
    for site in settings.group_of:
        if site not in known:
            raise InputError(
                "community-site-unknown",
                f"There is no site {site} in this project.",
                f"Give one of {', '.join(known)}." if known else "Take in records first.",
            )


class _Comparison:
    """One design's units with their dissimilarities."""

    def __init__(
        self, units: ComparedUnits, settings: CommunitySettings, *, is_permanent: bool
    ) -> None:
        self.units, self.settings = units, settings
        self.amounts = apply_transform(units.amounts, settings.transform)
        self.unlike: NDArray[np.float64] = measure_dissimilarity(self.amounts, settings.measure)
        carried = (
            (Flag.OF_THESE_PLOTS, is_permanent),
            (Flag.EMPTY_UNITS, units.n_left_out > 0),
            (Flag.THINGS_NOT_SEARCHED, units.n_things_left_out > 0),
        )
        self.flags = tuple(str(flag) for flag, holds in carried if holds)

    def rng(self) -> np.random.Generator:
        """Return a generator from the stated seed, anew for each figure."""
        return np.random.default_rng(self.settings.seed)

    def row(self, figure: str, estimate: float | None, **more: Any) -> CommunityRow:
        """Return a row with what all rows of the comparison share."""
        flags = tuple(str(flag) for flag in more.pop("flags", ()))
        how = self.settings
        return CommunityRow(
            design=self.units.design,
            kind_of_thing=self.units.kind,
            by=how.by,
            figure=figure,
            estimate=estimate,
            n_units=len(self.units.unit_ids),
            n_left_out=self.units.n_left_out,
            n_things_left_out=self.units.n_things_left_out,
            method=f"{how.measure.words}, transform {how.transform.words}, seed {how.seed}",
            flags=self.flags + flags,
            **more,
        )

    def picture(self) -> Iterator[CommunityRow]:
        """Place the units in a plane."""
        n_axes = min(self.settings.n_axes, len(self.units.unit_ids) - 1)
        found = fit_ordination(self.unlike, self.rng(), n_axes)
        yield self.row("stress", found.stress, df=float(n_axes), flags=found.flags)
        for unit_id, group, point in zip(
            self.units.unit_ids, self.units.groups, found.xy, strict=True
        ):
            for axis, value in enumerate(point, 1):
                yield self.row(f"axis_{axis}", float(value), unit_id=unit_id, first=group)

    def tests(self) -> Iterator[CommunityRow]:
        """Test the groups, their spread, and take their differences apart."""
        yield from self._permanova()
        yield from self._dispersion()
        if self.settings.measure is Dissimilarity.BRAY_CURTIS:
            yield from self._contributions()

    def how(self) -> Exchange:
        """Return what is exchanged."""
        what = EXCHANGED[self.settings.by]
        sites = self.units.sites if what == "whole_sites" else self.units.strata
        return Exchange(
            what=what,
            sites=() if what == "units" else sites,
            n_permutations=self.settings.n_permutations,
        )

    def _permanova(self) -> Iterator[CommunityRow]:
        by, how = self.settings.by, self.how()
        terms = [Term(name=by, values=self.units.groups)]
        if how.what == "units_within_sites" and len(set(self.units.strata)) > 1:
            name = "site and visit" if by == "zone" else "site"
            terms.insert(0, Term(name=name, values=self.units.strata))
        found = compare_terms(self.unlike, terms, how, self.rng())
        line = found.terms[-1]
        shared: dict[str, Any] = {
            "term": line.name,
            "p": line.p,
            "p_smallest": line.p_smallest,
            "n_permutations": line.n_permutations,
            "n_distinct": line.n_distinct,
            "exchanged": how.what,
            "flags": line.flags,
        }
        yield self.row("permanova_f", line.f, df=float(line.df), **shared)
        for one in found.terms:
            yield self.row("permanova_r2_frac", one.r2, df=float(one.df), term=one.name)
        left = found.residual_ss / found.total_ss
        yield self.row("permanova_r2_frac", left, df=float(found.residual_df), term="what is left")
        yield self.row("anosim_r", measure_anosim(self.unlike, self.units.groups), term=by)

    def _dispersion(self) -> Iterator[CommunityRow]:
        how, middle = self.how(), self.settings.middle
        found = compare_dispersion(self.unlike, self.units.groups, how, self.rng(), middle)
        yield self.row(
            "dispersion_f",
            found.f,
            term=self.settings.by,
            df=float(found.df[0]),
            p=found.p,
            p_smallest=found.p_smallest,
            n_permutations=found.n_permutations,
            n_distinct=found.n_distinct,
            exchanged=how.what,
            flags=found.flags,
        )
        for group, mean in found.group_means:
            row = self.row("distance_to_middle", mean, first=group)
            yield replace(row, method=f"{row.method}, {middle}")

    def _contributions(self) -> Iterator[CommunityRow]:
        names = sorted(set(self.units.groups))
        if len(names) > MOST_GROUPS:
            return
        for first, second in combinations(names, 2):
            found = find_contributions(
                self.amounts, self.units.things, self.units.groups, first, second
            )
            pair = {"first": first, "second": second}
            yield self.row("dissimilarity_frac", found.overall, **pair)
            for one in found.contributions:
                yield self.row("contribution_frac", one.average, thing=one.thing, **pair)
                yield self.row("contribution_sd", one.sd, thing=one.thing, **pair)
