"""What a person asks of the page of changes, and the changes that answer it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated, cast
from urllib.parse import urlencode

from fastapi import Query
from starlette.requests import Request

from dryslate.app.change_words import SIZE_CHANGE
from dryslate.app.result_panels import KINDS, SUBJECTS, subject_of
from dryslate.web.change_view import WAYS
from dryslate.web.reach import reach_of
from dryslate.web.result_view import choose, usual_settings

if TYPE_CHECKING:
    from dryslate.app.change import Changes
    from dryslate.app.change_series import SurveyedUnits
    from dryslate.app.ports import SurveyStore

Words = Annotated[str, Query(max_length=300)]
Sites = Annotated[list[str], Query(max_length=1000)]
MOST_KEPT = 24
"""Answers kept until something is stored."""
FIGURES: tuple[str, ...] = (
    "cover_frac",
    "density_per_m2",
    "count_per_min",
    "prevalence_bleached_frac",
    "prevalence_pale_or_bleached_frac",
    SIZE_CHANGE,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeForm:
    """
    What was chosen.

    Parameters
    ----------
    way : str
        One of `WAYS`.
    site : str
        Of one site's visits.
    among : tuple of str
        Sites taken together; empty: all.
    control, impact : tuple of str
    after : str
    subject, things : str
        What figures are about, and of which kind of things.
    thing : str
        Typed; several stand divided by semicolons.
    is_same : bool
        Units of one name are one place.
    """

    way: str = "visits"
    site: str = ""
    among: tuple[str, ...] = ()
    control: tuple[str, ...] = ()
    impact: tuple[str, ...] = ()
    after: str = ""
    subject: str = ""
    things: str = ""
    thing: str = ""
    is_same: bool = False

    def settled(self, units: SurveyedUnits) -> ChangeForm:
        """Return it with what is not there replaced by the first that is."""
        subjects = self.subjects(units)
        return replace(
            self,
            way=choose(self.way, list(WAYS)),
            site=choose(self.site, units.sites),
            among=tuple(one for one in self.among if one in units.sites),
            subject=choose(self.subject, [one for one in SUBJECTS if one in subjects]),
            things=choose(self.things, KINDS),
        )

    @property
    def is_whole(self) -> bool:
        """Whether nothing is missing that the comparison needs."""
        return self.way != "contrast" or bool(self.control or self.impact or self.after)

    @staticmethod
    def subjects(units: SurveyedUnits) -> set[str]:
        """Return what figures of these units can be about."""
        from dryslate.app.change_panels import compared_subjects

        return compared_subjects(units.groups)

    def names(self, units: SurveyedUnits) -> list[str]:
        """Return what can be typed as a thing of the chosen kind."""
        return sorted(
            {
                thing.split("\t")[1]
                for group in units.groups
                for tally in group.tallies
                for sums in (tally.on, tally.counts)
                for thing in sums
                if thing.startswith(f"{self.things}\t")
            }
        )

    def address(self) -> list[tuple[str, str]]:
        """Return the words of an address that says the same."""
        plain = (("way", self.way), ("site", self.site), ("after", self.after),
                 ("subject", self.subject), ("things", self.things), ("thing", self.thing),
                 ("same", "1" if self.is_same else ""))  # fmt: skip
        lists = (("among", self.among), ("control", self.control), ("impact", self.impact))
        return [
            *((name, value) for name, value in plain if value),
            *((name, one) for name, values in lists for one in values),
        ]

    def query(self, **other: str) -> str:
        """Return the same as the part of an address behind the question mark."""
        kept = [(name, value) for name, value in self.address() if name not in other]
        return urlencode([*kept, *other.items()])


def change_form(  # noqa: PLR0913, PLR0917  one parameter each for what the form has
    way: Words = "",
    site: Words = "",
    among: Sites = [],  # noqa: B006  FastAPI makes a list of its own
    control: Sites = [],  # noqa: B006
    impact: Sites = [],  # noqa: B006
    after: Words = "",
    subject: Words = "",
    things: Words = "",
    thing: Words = "",
    same: bool = False,
) -> ChangeForm:
    """Read the form."""
    return ChangeForm(
        way=way,
        site=site,
        among=tuple(among),
        control=tuple(control),
        impact=tuple(impact),
        after=after.strip(),
        subject=subject,
        things=things,
        thing=" ".join(thing.split()),
        is_same=same,
    )


def units_of(request: Request, store: SurveyStore) -> SurveyedUnits:
    """Return the sums of all units, made again only after something was stored."""
    from dryslate.app.change_series import surveyed_units

    last = store.last_change_no()
    kept = reach_of(request).keep("change", dict)
    if kept.get("last") != last:
        made_with = usual_settings(request)
        units = surveyed_units(store, made_with.usual, made_with.coverage)
        kept.clear()
        kept.update(units=units, last=last, made={})
    return cast("SurveyedUnits", kept["units"])


def changes_for(request: Request, units: SurveyedUnits, form: ChangeForm) -> Changes:
    """
    Compare what was asked for; the same again is kept until something is stored.

    Raises
    ------
    InputError
        ``change-site-unknown``, ``change-needs-both``, ``visit-date``.
    """
    from dryslate.app.change import ChangeAsked, changes_of

    is_contrast = form.way == "contrast"
    sites: Sequence[str] = form.among if form.way == "sites" else (form.site,)
    asked = ChangeAsked(
        figures=tuple(one for one in FIGURES if subject_of(one) == form.subject),
        things=_things(form, units),
        sites=() if is_contrast else tuple(sites),
        of=(form.things,),
        kinds=(form.way,),
        same_units=form.is_same,
        control=form.control if is_contrast else (),
        impact=form.impact if is_contrast else (),
        after=(form.after or None) if is_contrast else None,
    )
    made = reach_of(request).keep("change", dict).setdefault("made", {})
    if asked not in made:
        while len(made) >= MOST_KEPT:
            made.pop(next(iter(made)))
        made[asked] = changes_of(units, asked)
    return cast("Changes", made[asked])


def _things(form: ChangeForm, units: SurveyedUnits) -> tuple[str, ...]:
    """Return what is meant by what was typed: a whole word, else all that begin so."""
    known = form.names(units) if form.thing else []
    found: list[str] = []
    for typed in (one.strip().casefold() for one in form.thing.split(";")):
        if typed:
            whole = [name for name in known if name.casefold() == typed]
            begun = [name for name in known if name.casefold().startswith(typed)]
            found += whole or begun or [typed]
    return tuple(found)
