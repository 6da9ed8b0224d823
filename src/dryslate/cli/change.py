"""``dryslate change``: visits compared, with what each design could have seen."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import print_json, print_problem, print_text

if TYPE_CHECKING:
    from dryslate.app.change import Changes
    from dryslate.app.change_rows import ChangeRow

Folder = Annotated[Path, typer.Argument(help="Project folder.")]
Figure = Annotated[str | None, typer.Option(help="Only this figure, for example cover_frac.")]
Thing = Annotated[str | None, typer.Option(help="Only this category or group.")]
Site = Annotated[str | None, typer.Option(help="Only this site.")]
SameUnits = Annotated[
    bool,
    typer.Option(
        "--same-units", help="Units of one name are one place at each visit, permanent or not."
    ),
]
Control = Annotated[list[str] | None, typer.Option(help="A site that nothing happened to.")]
Impact = Annotated[list[str] | None, typer.Option(help="A site that something happened to.")]
After = Annotated[
    str | None, typer.Option(help="The day from which on visits are after it, year-month-day.")
]
RoundDays = Annotated[
    int, typer.Option(help="A new round of visits begins after a gap of more than so many days.")
]
Csv = Annotated[
    Path | None, typer.Option("--csv", help="Write the table to a file, one change a row.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("change")(change)


def change(  # noqa: PLR0913, PLR0917  one option each for what is compared
    folder: Folder,
    figure: Figure = None,
    thing: Thing = None,
    site: Site = None,
    same_units: SameUnits = False,
    control: Control = None,
    impact: Impact = None,
    after: After = None,
    round_days: RoundDays = 30,
    csv: Csv = None,
    as_json: AsJson = False,
) -> None:
    """
    Each visit against the first, the trend, several sites together, and control and impact sites,
    with intervals and the smallest change that the design could have seen.
    """
    from dryslate.app.change import ChangeAsked, survey_changes

    asked = ChangeAsked(
        figure=figure, thing=thing, site=site, same_units=same_units, after=after,
        control=tuple(control or ()), impact=tuple(impact or ()), round_days=round_days,
    )  # fmt: skip
    with wiring.survey_store(folder, write=False) as store:
        found = survey_changes(store, wiring.result_settings().usual, asked)
    _answer(found, csv, as_json)


def _answer(found: Changes, csv: Path | None, as_json: bool) -> None:
    """Write or print the changes."""
    from dryslate.app.change_rows import changes_table

    if csv is not None:
        wiring.save_file(csv, changes_table(found.rows))
        print_text(f"{csv}: {len(found.rows)} changes, {found.n_tests} tests.")
    elif as_json:
        print_json(found.as_dict())
        return
    else:
        _show(found)
    for problem in found.problems:
        print_problem(problem)


def _show(found: Changes) -> None:
    """Print the changes below their place, one a line."""
    if not found.rows:
        print_text("Nothing to compare: no figure was noted at two visits to one site.")
        return
    print_text(
        f"{found.n_tests} tests. Some of many differ by chance: read p adjusted for all of them."
    )
    last = None
    for row in found.rows:
        where = " ".join(p for p in (row.site, row.zone, f"({row.design})") if p)
        if where != last:
            print_text(where)
            last = where
        what = {"trend": "a year, ", "contrast": "impact less control, "}.get(row.kind, "")
        print_text(f"  {row.thing}: {row.figure}, {what}{row.first} to {row.last}: {_numbers(row)}")


def _numbers(row: ChangeRow) -> str:
    """Return a change, its interval and what could have been seen as text."""
    from dryslate.app.survey_words import SURVEY_FLAGS

    said = "nothing can be said" if row.estimate is None else f"{row.estimate:+.3g}"
    if row.lo95 is not None and row.hi95 is not None:
        said += f" (95 %: {row.lo95:+.3g} to {row.hi95:+.3g})"
    parts = [said]
    if row.p is not None and row.p_adjusted is not None:
        parts.append(f"p {row.p:.3g}, adjusted {row.p_adjusted:.3g}")
    if row.sees is not None and row.sees_lo95 is not None and row.sees_hi95 is not None:
        seen = f"{row.sees:.3g} ({row.sees_lo95:.3g} to {row.sees_hi95:.3g})"
        verb = "sees changes from" if row.reading == "changed" else "no change shown; sees from"
        parts.append(f"{verb} {seen} with power {row.power:g}")
    if row.p_sites_differ is not None:
        parts.append(f"sites alike: p {row.p_sites_differ:.3g}")
    return "; ".join((*parts, *(SURVEY_FLAGS.get(f, f) for f in row.flags)))
