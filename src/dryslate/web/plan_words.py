"""What the plan page asks and answers, in the person's language; shares in percent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryslate.web.languages import N_, catalogue, number

if TYPE_CHECKING:
    from dryslate.app.plan import Plan
    from dryslate.core.survey.planning import PlannedUnits, SmallestChange
    from dryslate.core.survey.spread import Spread

STATED_SHARE, STATED_OTHER = "stated share", "stated other"
FIGURES = {
    "cover_frac": N_("cover"),
    "density_per_m2": N_("colonies or animals per square metre"),
    "count_per_min": N_("counts per minute"),
    "prevalence_bleached_frac": N_("colonies with any bleached part"),
    "prevalence_pale_or_bleached_frac": N_("colonies with any pale or bleached part"),
}
CURVE = (
    N_("units at each visit"),
    N_("power"),
    N_("units drawn anew"),
    N_("the same units again"),
    N_("wished power"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanForm:
    """
    What was typed, shares in percent.

    Parameters
    ----------
    about : str
        A past figure and thing with a bar between, or one of the stated kinds; empty: nothing yet.
    sd, half_width, change, correlation : float or None
    sd_n : int or None
    power : float
        In percent.
    """

    about: str = ""
    sd: float | None = None
    sd_n: int | None = None
    half_width: float | None = None
    change: float | None = None
    correlation: float | None = None
    power: float = 80.0

    @property
    def is_share(self) -> bool:
        """Whether the figure is a share, typed in percent."""
        return self.about.split("|")[0].endswith("_frac") or self.about in ("", STATED_SHARE)

    def own(self, value: float | None) -> float | None:
        """Return a typed value in the figure's own unit."""
        return None if value is None else value / 100 if self.is_share else value


def choices(language: str, figures: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """Return what a plan may be about: value and words."""
    text = catalogue(language).gettext
    past = [
        (f"{figure}|{thing}", f"{thing}: {text(FIGURES.get(figure, figure))}")
        for figure, thing in figures
    ]
    return [
        *past,
        (STATED_SHARE, text(N_("a share in percent, spread stated below"))),
        (STATED_OTHER, text(N_("another figure, spread stated below"))),
    ]


def answer(language: str, form: PlanForm, plan: Plan) -> dict[str, Any]:
    """Return a plan as its page shows it."""
    scale = 100.0 if form.is_share else 1.0

    def shown(value: float) -> str:
        """Return an amount with three digits that count."""
        size = abs(value * scale)
        digits = 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 1 else 3
        return number(value * scale, digits, language)

    def spread(found: Spread | None) -> tuple[str, str, str] | None:
        """Return a standard deviation and its interval."""
        if found is None:
            return None
        lo, hi = found.ends()
        return shown(found.sd), shown(lo), shown(hi)

    def change(found: SmallestChange | None) -> tuple[str, str, str] | None:
        """Return a smallest change and its range."""
        if found is None:
            return None
        return shown(found.change), shown(found.lo95), shown(found.hi95)

    return {
        "plan": plan,
        "unit": " %" if form.is_share else "",
        "level": None if plan.basis.level is None else shown(plan.basis.level),
        "spread": spread(plan.basis.spread),
        "differences": spread(plan.basis.differences),
        "goals": goals(language, form, plan),
        "rows": [(row.units, change(row.fixed), change(row.random)) for row in plan.table],
        "allocations": [(one, shown(one.sd)) for one in plan.allocations],
        "curve_rows": _curve_rows(plan),
    }


def goals(language: str, form: PlanForm, plan: Plan) -> list[tuple[str, PlannedUnits]]:
    """Return each wish in words, with the units that it needs."""
    text = catalogue(language).gettext
    unit = f" {text(N_('points'))}" if form.is_share else ""
    found: list[tuple[str, PlannedUnits]] = []
    if plan.interval is not None and form.half_width is not None:
        words = text(N_("An interval of ± %(width)s at one visit"))
        found.append((words % {"width": f"{form.half_width:g}{unit}"}, plan.interval))
    if form.change is not None:
        said = {"change": f"{form.change:g}{unit}"}
        if plan.anew is not None:
            words = text(N_("A change of %(change)s, units drawn anew at each visit"))
            found.append((words % said, plan.anew))
        if plan.same is not None:
            words = text(N_("A change of %(change)s, the same units again"))
            found.append((words % said, plan.same))
    return found


def _curve_rows(plan: Plan) -> list[tuple[int, float, float | None]]:
    """Return some points of the power curve: units, anew, the same again."""
    curve = plan.curve
    if curve is None:
        return []
    step = max(1, len(curve.units) // 10)
    return [
        (curve.units[k], 100 * curve.anew[k], 100 * curve.same[k] if curve.same else None)
        for k in range(0, len(curve.units), step)
    ]
