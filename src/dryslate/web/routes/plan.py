"""The plan of the next survey: what is wished, and the units, photos and points that it needs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Query, Request
from markupsafe import Markup
from starlette.responses import HTMLResponse

from dryslate import wiring
from dryslate.base.errors import DryslateError
from dryslate.base.problems import problem_of
from dryslate.web.languages import catalogue, language_of
from dryslate.web.pages import page
from dryslate.web.plan_words import (
    CURVE,
    STATED_OTHER,
    STATED_SHARE,
    PlanForm,
    answer,
    choices,
)
from dryslate.web.reach import reach_of

if TYPE_CHECKING:
    from dryslate.app.plan import Plan, PlanBasis
    from dryslate.app.ports import SurveyStore

router = APIRouter()
Amount = Annotated[str, Query(max_length=20)]


@router.get("/plan", response_class=HTMLResponse)
def plan(  # noqa: PLR0913, PLR0917  one field each
    request: Request,
    about: Annotated[str, Query(max_length=400)] = "",
    sd: Amount = "",
    sd_n: Amount = "",
    half_width: Amount = "",
    change: Amount = "",
    correlation: Amount = "",
    power: Amount = "80",
) -> HTMLResponse:
    """Ask what is wished, and answer on the same page; nothing is saved."""
    typed = {
        "sd": sd,
        "sd_n": sd_n,
        "half_width": half_width,
        "change": change,
        "correlation": correlation,
        "power": power,
    }
    shown: dict[str, Any] = {"typed": typed, "about": about, "problem": None, "found": None}
    with reach_of(request).reading() as store:
        usual = wiring.result_settings().usual
        shown["choices"] = choices(language_of(request), _figures(store, usual))
        if about:
            try:
                form = _form(about, typed)
                made = _made(_basis(store, usual, form), form)
                shown["found"] = answer(language_of(request), form, made)
                shown["picture"] = _picture(request, made)
            except DryslateError as error:
                shown["problem"] = problem_of(error, "")
    return page(request, "plan.html", **shown)


def _figures(store: SurveyStore, usual: Any) -> tuple[tuple[str, str], ...]:
    """Return the past figures that a plan may be about."""
    from dryslate.app.plan_past import planned_figures

    return planned_figures(store, usual)


def _form(about: str, typed: dict[str, str]) -> PlanForm:
    """Read what was typed; a decimal comma is one too."""
    from dryslate.app.plan import read_amount

    values = {name: read_amount(name, text) for name, text in typed.items()}
    sd_n, power = values.pop("sd_n"), values.pop("power")
    return PlanForm(
        about=about,
        sd_n=None if sd_n is None else round(sd_n),
        power=80.0 if power is None else power,
        **values,
    )


def _basis(store: SurveyStore, usual: Any, form: PlanForm) -> PlanBasis:
    """Return what the plan builds on: what was stated, or past units."""
    from dryslate.app.plan import require_one_basis, stated_basis
    from dryslate.app.plan_past import PastAsked, past_basis

    if form.about in (STATED_SHARE, STATED_OTHER):
        require_one_basis(False, form.sd is not None)
        return stated_basis(form.own(form.sd) or 0.0, form.sd_n, None, form.correlation)
    figure, _, thing = form.about.partition("|")
    asked = PastAsked(figure=figure, thing=thing)
    return past_basis(store, usual, asked, form.correlation)


def _made(basis: PlanBasis, form: PlanForm) -> Plan:
    """Make the plan."""
    from dryslate.app.plan import PlanAsked, make_plan

    asked = PlanAsked(
        half_width=form.own(form.half_width),
        change=form.own(form.change),
        power=form.power / 100,
    )
    return make_plan(basis, asked)


def _picture(request: Request, made: Plan) -> Markup | None:
    """Draw the power curve, where a change was wished."""
    if made.curve is None:
        return None
    text = catalogue(language_of(request)).gettext
    x, y, anew, same, wished = (text(word) for word in CURVE)
    words = (x, y, anew, same, f"{wished} {100 * made.asked.power:g} %")
    drawn = wiring.power_chart(made.curve, made.asked.power, words)
    return Markup(drawn)
