"""The report command."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from dryslate import wiring
from dryslate.cli.photo_limit import LARGEST_MP, LargestMp
from dryslate.cli.render import print_json, print_problem, print_text, progress


def register(app: typer.Typer) -> None:
    """Add the report command."""
    app.command("report")(report_command)


def report_command(  # noqa: PLR0913, PLR0917 - one parameter for each option
    folder: Annotated[Path, typer.Argument(help="The project.")],
    out: Annotated[
        Path | None, typer.Option("-o", "--out", help="File; without it reports/report.html.")
    ] = None,
    picture_px: Annotated[
        int | None, typer.Option(help="Longest side of the pictures; without it 900, or fewer.")
    ] = None,
    largest_mp: LargestMp = LARGEST_MP,
    results: Annotated[
        bool, typer.Option("--results", help="Report the survey's figures, not its photos.")
    ] = False,
    pdf: Annotated[bool, typer.Option("--pdf", help="With --results: a PDF beside it.")] = False,
    language: Annotated[str, typer.Option("--language", help="With --results: en or fr.")] = "en",
    site: Annotated[
        list[str] | None, typer.Option(help="With --results: only this site; may be repeated.")
    ] = None,
    visit: Annotated[
        list[str] | None,
        typer.Option(help="With --results: only visits of this date; may be repeated."),
    ] = None,
    part: Annotated[
        list[str] | None,
        typer.Option(
            help="With --results: only this part (sites, colonies, change, likeness, figures, "
            "trail); may be repeated."
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Write the report of a project, one HTML file with everything in it: of its photos, corrections
    and measured corals, or with --results of the figures of its survey, for paper as well.
    """
    from dryslate.app.report import write_report

    if results:
        asked = (language, site or (), visit or (), part or ())
        _results_report(folder, out, asked, has_pdf=pdf, as_json=as_json)
        return
    with wiring.survey_store(folder, write=False) as store:
        bench = wiring.report_bench(folder, store, progress(quiet=as_json), largest_mp)
        done = write_report(bench, out, picture_px)
    if as_json:
        print_json(done)
        return
    for problem in done["problems"]:
        print_problem(problem)
    print_text("{n_photos} photos, {n_measurements} measurements. Open: {report}".format(**done))


def _results_report(
    folder: Path,
    out: Path | None,
    asked: tuple[str, Sequence[str], Sequence[str], Sequence[str]],
    *,
    has_pdf: bool,
    as_json: bool,
) -> None:
    """Write the report of the survey's figures."""
    from dryslate.app.report_contents import PARTS, ReportChoice
    from dryslate.app.survey_report import ReportSource, write_results_report

    language, sites, dates, parts = asked
    choice = ReportChoice(sites=tuple(sites), dates=tuple(dates), parts=tuple(parts) or PARTS)
    with wiring.survey_store(folder, write=False) as store:
        source = ReportSource(
            folder=folder,
            store=store,
            documents=wiring.document_writer(),
            settings=wiring.result_settings(),
            save=wiring.save_file,
        )
        done = write_results_report(source, out, language, has_pdf=has_pdf, choice=choice)
    if as_json:
        print_json(done)
        return
    files = ", ".join(filter(None, (done["report"], done["pdf"], done["table"])))
    print_text(f"{done['n_figures']} figures from {done['n_units']} units. Open: {files}")
