"""``dryslate results``: every figure of a survey with its doubt, as a tidy table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import print_json, print_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dryslate.app.result_rows import ResultRow


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("results")(results)


def results(
    folder: Annotated[Path, typer.Argument(help="Project folder.")],
    csv: Annotated[
        Path | None, typer.Option("--csv", help="Write the table to a file, one figure a row.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Cover, density, counts per minute and prevalence by site, visit and zone, each with its 95 %
    interval. Which interval goes with which figure is fixed in advance (docs/estimators).
    """
    from dryslate.app.result_rows import results_table
    from dryslate.app.survey_results import survey_results

    with wiring.survey_store(folder, write=False) as store:
        found = survey_results(store, wiring.result_settings())
    if csv is not None:
        wiring.save_file(csv, results_table(found))
        print_text(f"{csv}: {len(found)} figures.")
    elif as_json:
        print_json({"results": [row.as_dict() for row in found]})
    else:
        _show(found)


def _show(found: Sequence[ResultRow]) -> None:
    """Print the figures below their visit and zone, one a line."""
    if not found:
        print_text("Nothing was noted in units yet; take it in with `dryslate records import`.")
    last = None
    for row in found:
        where = " ".join(part for part in (row.site, row.date, row.zone, f"({row.design})") if part)
        if where != last:
            print_text(where)
            last = where
        print_text(f"  {row.thing}: {row.figure} {_numbers(row)}")


def _numbers(row: ResultRow) -> str:
    """Return estimate, interval, units and reservations as text."""
    from dryslate.app.survey_words import SURVEY_FLAGS

    said = "nothing can be said" if row.estimate is None else f"{row.estimate:.3g}"
    ends = ["…" if end is None else f"{end:.3g}" for end in (row.lo95, row.hi95)]
    if row.lo95 is not None or row.hi95 is not None:
        said += f" (95 %: {ends[0]} to {ends[1]})"
    units = "1 unit" if row.n_units == 1 else f"{row.n_units} units"
    return "; ".join((f"{said}, {units}", *(SURVEY_FLAGS.get(f, f) for f in row.flags)))
