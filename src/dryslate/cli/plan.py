"""``dryslate plan``: units, photos and points for a wished interval or a wished change."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.plan_words import show_plan
from dryslate.cli.render import print_json, print_text

if TYPE_CHECKING:
    from dryslate.app.plan import Plan, PlanBasis
    from dryslate.app.plan_past import PastAsked

Past = Annotated[
    Path | None, typer.Option("--from", help="Project folder whose past units tell the spread.")
]
Figure = Annotated[
    str, typer.Option(help="Past figure: cover_frac, density_per_m2, count_per_min, prevalence_…")
]
Thing = Annotated[str, typer.Option(help="Category, group or name that the plan is about.")]
Site = Annotated[str | None, typer.Option(help="Only past units of this site.")]
Zone = Annotated[str | None, typer.Option(help="Only past units of this zone.")]
OneDesign = Annotated[str | None, typer.Option("--design", help="Only past units of this design.")]
SameUnits = Annotated[
    bool,
    typer.Option(help="Past units with one name at two visits are one place, permanent or not."),
]
Sd = Annotated[
    float | None, typer.Option(help="Standard deviation of units, in place of past data.")
]
SdUnits = Annotated[int | None, typer.Option("--sd-n", help="How many units it was found in.")]
SdEnds = Annotated[
    tuple[float, float] | None,
    typer.Option("--sd-interval", help="Its own 95 % interval, in place of --sd-n."),
]
Correlation = Annotated[
    float | None,
    typer.Option(help="Between two visits to one unit; else taken from past permanent plots."),
]
HalfWidth = Annotated[
    float | None,
    typer.Option(help="Wished 95 % interval, mean to either end: 0.05 is 5 points of cover."),
]
WishedChange = Annotated[
    float | None, typer.Option("--change", help="Change between two visits that is to be seen.")
]
Power = Annotated[float, typer.Option(help="Chance to see that change.")]
Alpha = Annotated[float, typer.Option(help="Level of the test, two-sided.")]
Photos = Annotated[list[int] | None, typer.Option(help="Photos in a unit to weigh up. Repeatable.")]
Points = Annotated[
    list[int] | None, typer.Option(help="Points on a photo to weigh up. Repeatable.")
]
Minutes = Annotated[
    tuple[float, float, float] | None,
    typer.Option(help="Minutes for a unit without its photos, for a photo, and for a point."),
]
Svg = Annotated[Path | None, typer.Option("--svg", help="Write the power curve to a file.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]
CURVE_WORDS = ("units at each visit", "power", "units drawn anew", "the same units again")


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("plan")(plan)


def plan(  # noqa: PLR0913, PLR0917  one option each for what is known and what is wished
    past: Past = None,
    figure: Figure = "cover_frac",
    thing: Thing = "hard coral",
    site: Site = None,
    zone: Zone = None,
    design: OneDesign = None,
    same_units: SameUnits = False,
    sd: Sd = None,
    sd_n: SdUnits = None,
    sd_interval: SdEnds = None,
    correlation: Correlation = None,
    half_width: HalfWidth = None,
    change: WishedChange = None,
    power: Power = 0.80,
    alpha: Alpha = 0.05,
    photos: Photos = None,
    points: Points = None,
    minutes: Minutes = None,
    svg: Svg = None,
    as_json: AsJson = False,
) -> None:
    """
    How many units a survey needs for a wished interval or change, never under 3, with the range
    that the doubt of the spread leaves. From past units of a project, or from a stated spread.
    """
    from dryslate.app.plan import PlanAsked, make_plan
    from dryslate.app.plan_past import PastAsked

    wished = PlanAsked(
        half_width=half_width, change=change, power=power, alpha=alpha,
        photos=tuple(photos or ()), points=tuple(points or ()), minutes=minutes,
    )  # fmt: skip
    about = PastAsked(
        figure=figure, thing=thing, site=site, zone=zone, design=design, same_units=same_units
    )
    found = make_plan(_basis(past, about, (sd, sd_n, sd_interval), correlation), wished)
    _answer(found, svg, as_json)


def _basis(
    past: Path | None,
    about: PastAsked,
    stated: tuple[float | None, int | None, tuple[float, float] | None],
    correlation: float | None,
) -> PlanBasis:
    """Return what the plan builds on: past units, or what was stated."""
    from dryslate.app.plan import require_one_basis, stated_basis
    from dryslate.app.plan_past import past_basis

    sd, sd_n, ends = stated
    require_one_basis(past is not None, sd is not None)
    if past is None:
        return stated_basis(sd or 0.0, sd_n, ends, correlation)
    with wiring.survey_store(past, write=False) as store:
        return past_basis(store, wiring.result_settings().usual, about, correlation)


def _answer(found: Plan, svg: Path | None, as_json: bool) -> None:
    """Write the curve where asked for, and print the answer."""
    from dryslate.app.plan import require_curve

    if svg is not None:
        words = (*CURVE_WORDS, f"wished power {found.asked.power:g}")
        picture = wiring.power_chart(require_curve(found), found.asked.power, words)
        wiring.save_file(svg, picture.encode())
    if as_json:
        print_json(found.as_dict())
        return
    show_plan(found)
    if svg is not None:
        print_text(f"{svg}: the power curve.")
