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
Figure = Annotated[
    list[str] | None, typer.Option(help="Only this figure, for example cover_frac. Repeatable.")
]
Thing = Annotated[
    list[str] | None, typer.Option(help="Only this category, group or name of a coral. Repeatable.")
]
Of = Annotated[
    list[str] | None, typer.Option("--of", help="Only these: category, group or name. Repeatable.")
]
Site = Annotated[list[str] | None, typer.Option(help="Only this site. Repeatable.")]
SameUnits = Annotated[
    bool,
    typer.Option(
        "--same-units", help="Units of one name are one place at each visit, permanent or not."
    ),
]
Control = Annotated[
    list[str] | None, typer.Option(help="A site that nothing happened to. Repeatable.")
]
Impact = Annotated[
    list[str] | None, typer.Option(help="A site that something happened to. Repeatable.")
]
After = Annotated[
    str | None, typer.Option(help="The day from which on visits are after it, year-month-day.")
]
RoundDays = Annotated[
    int, typer.Option(help="A new round of visits begins after a gap of more than so many days.")
]
Csv = Annotated[
    Path | None, typer.Option("--csv", help="Write the table to a file, one change a row.")
]
READINGS = {
    "changed": "sees changes from",
    "not_shown": "no change shown; sees from",
    "not_known": "not known whether it changed; sees from",
}
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("change")(change)


def change(  # noqa: PLR0913, PLR0917  one option each for what is compared
    folder: Folder,
    figure: Figure = None,
    thing: Thing = None,
    of: Of = None,
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

    made_with = wiring.result_settings()
    asked = ChangeAsked(
        figures=tuple(figure or ()), things=tuple(thing or ()), of=tuple(of or ()),
        sites=tuple(site or ()), same_units=same_units, after=after,
        control=tuple(control or ()), impact=tuple(impact or ()), round_days=round_days,
    )  # fmt: skip
    with wiring.survey_store(folder, write=False) as store:
        found = survey_changes(store, made_with.usual, asked, made_with.coverage)
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
    from dryslate.app.change_words import LESS

    last = None
    for row in found.rows:
        site = row.site.replace(f"; {LESS}; ", f" {LESS} ")
        where = " ".join(p for p in (site, row.zone, f"({row.design})") if p)
        if where != last:
            print_text(where)
            last = where
        what = {"trend": "a year, ", "contrast": "impact less control, "}.get(row.kind, "")
        thing = row.thing + (f" ({_level(row)})" if _level(row) else "")
        print_text(f"  {thing}: {row.figure}, {what}{row.first} to {row.last}: {_numbers(row)}")


def _level(row: ChangeRow) -> str:
    """Say at which level a name was compared, and what was put together."""
    parts = [row.level] if row.level not in ("", "genus") else []
    if row.together:
        parts.append("together: " + ", ".join(row.together))
    if row.undetermined_first or row.undetermined_last:
        shares = [
            f"{100 * (v or 0.0):.0f}" for v in (row.undetermined_first, row.undetermined_last)
        ]
        parts.append(f"not told {' and '.join(shares)} %")
    return "; ".join(parts)


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
        verb = READINGS[row.reading]
        parts.append(f"{verb} {seen} with power {row.power:g}")
    if row.p_sites_differ is not None:
        parts.append(f"sites alike: p {row.p_sites_differ:.3g}")
    return "; ".join((*parts, *(SURVEY_FLAGS.get(f, f) for f in row.flags)))
