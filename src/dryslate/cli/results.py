"""``dryslate results``: every figure of a survey with its doubt, as a tidy table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.collecting import little_collecting
from dryslate.cli.render import print_json_rows, print_problem, print_text

if TYPE_CHECKING:
    from dryslate.app.survey_results import SurveyFound
    from dryslate.formats.confusion_csv import ConfusionTable

Names = list[str] | None


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("results")(results)


def results(  # noqa: PLR0913, PLR0917 - one parameter for each option
    folder: Annotated[Path, typer.Argument(help="Project folder.")],
    site: Annotated[Names, typer.Option("--site", help="This site only; may be repeated.")] = None,
    visit: Annotated[
        Names, typer.Option("--visit", help="Visits of this date only; may be repeated.")
    ] = None,
    figure: Annotated[
        Names,
        typer.Option("--figure", help="Figures that begin so, such as cover; may be repeated."),
    ] = None,
    size_classes: Annotated[
        str | None,
        typer.Option("--size-classes", help="Lower ends in cm; else 0,5,10,20,40,80,160."),
    ] = None,
    size_cut_off: Annotated[
        float | None,
        typer.Option("--size-cut-off", help="Leave smaller colonies out of the sizes, cm."),
    ] = None,
    juvenile: Annotated[
        float | None, typer.Option("--juvenile", help="Juveniles are under so many cm; else 5.")
    ] = None,
    error_table: Annotated[
        Path | None,
        typer.Option(
            "--error-table",
            help="Correct figures by name with a table of confusions from outside (CSV: true, "
            "read, n); else by the project's own second looks, where it has any.",
        ),
    ] = None,
    csv: Annotated[
        Path | None, typer.Option("--csv", help="Write the table to a file, one figure a row.")
    ] = None,
    parquet: Annotated[
        Path | None,
        typer.Option("--parquet", help="Write the table to a Parquet file, columns with types."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Cover, density, sizes, health and diversity by site, visit and zone, each with its 95 %
    interval. Which interval goes with which figure is fixed in advance (docs/estimators).
    """
    from dryslate.app.result_choice import ResultChoice
    from dryslate.app.result_settings import parse_size_classes
    from dryslate.app.survey_results import find_results

    settings = wiring.result_settings(
        size_edges_cm=parse_size_classes(size_classes),
        size_cut_off_cm=size_cut_off,
        juvenile_cm=juvenile,
        error_table=None if error_table is None else _confusions(error_table),
    )
    wanted = ResultChoice(sites=site or (), dates=visit or (), figures=figure or ())
    with little_collecting():
        with wiring.survey_store(folder, write=False) as store:
            found = find_results(store, settings, wanted)
        _show(found, _save(found, csv, parquet), as_json=as_json)


def _confusions(path: Path) -> ConfusionTable:
    """Read a table of confusions from outside."""
    from dryslate.formats.confusion_csv import parse_confusions

    return parse_confusions(wiring.reference_tables().read_text(path), path.name)


def _save(found: SurveyFound, csv: Path | None, parquet: Path | None) -> list[Path]:
    """Write the table where it was asked for."""
    from dryslate.app.result_rows import results_table_parts

    if csv is not None:
        wiring.save_parts(csv, results_table_parts(found.rows))
    if parquet is not None:
        wiring.save_parts(parquet, wiring.results_parquet(found.rows))
    return [path for path in (csv, parquet) if path is not None]


def _show(found: SurveyFound, saved: list[Path], *, as_json: bool) -> None:
    """Say what was written, or print the figures; then what is to be said of all of them."""
    from dryslate.cli.results_words import results_text

    if as_json:
        notes = [note.as_dict() for note in found.notes]
        print_json_rows("results", (row.as_dict() for row in found.rows), {"notes": notes})
        return
    for path in saved:
        print_text(f"{path}: {len(found.rows)} figures.")
    if not saved:
        print_text("\n".join(results_text(found.rows)))
    for note in found.notes:
        print_problem(note)
