"""``dryslate check``: hashes, links and control objects of a project."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import (
    WITH_PROBLEMS,
    print_json,
    print_problem,
    print_table,
    print_text,
    progress,
)

if TYPE_CHECKING:
    from dryslate.app.check import CheckReport


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("check")(check)


def check(
    folder: Annotated[Path, typer.Argument(help="Project folder.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Read every original again and compare it, prove that records and files belong together, that
    every name has its coral and its looks and that the change log knows every row, and compare the
    control objects with what was measured. Changes nothing, but a damaged original no longer
    counts as proved: take its memory card or second copy in again to mend it.
    """
    report = _look(folder, quiet=as_json)
    for problem in report.problems:
        print_problem(problem)
    if as_json:
        print_json(report.as_dict())
    else:
        _show(report)
    if any(problem.severity != "note" for problem in report.problems):
        raise typer.Exit(WITH_PROBLEMS)


def _look(folder: Path, *, quiet: bool) -> CheckReport:
    """Check a project, and take back the proofs of what is damaged."""
    from dryslate.app.check import check_project, take_back_proofs

    with wiring.survey_store(folder, write=False) as store:
        versions = wiring.reference_tables(folder).taxa()[0].versions
        files = wiring.project_files(folder)
        report = check_project(store, files, progress(quiet=quiet), versions)
    if report.damaged_sha256:
        with wiring.survey_store(folder, write=True) as store:
            take_back_proofs(store, report.damaged_sha256)
    return report


def _show(report: CheckReport) -> None:
    """Print the report for people."""
    if report.controls:
        print_table(
            "Control objects",
            ("object", "value", "n", "known", "mean", "z"),
            [
                (
                    control.name,
                    value.name,
                    str(control.n),
                    f"{value.known:.2f} ± {value.known_u:.2f}",
                    "-" if value.mean is None else f"{value.mean:.2f} ± {value.mean_u:.2f}",
                    "-" if value.z is None else f"{value.z:+.1f}",
                )
                for control in report.controls
                for value in control.values
            ],
        )
    chips = [control for control in report.controls if control.de00_each]
    if chips:
        print_table(
            "Grey chips, photo by photo",
            ("object", "photo", "CIEDE2000", "z of L*", "z of a*", "z of b*"),
            [
                (
                    control.name,
                    photo,
                    f"{de00:.1f}",
                    *(f"{v.z_each[k]:+.1f}" for v in control.values),
                )
                for control in chips
                for k, (photo, de00) in enumerate(
                    zip(control.photos, control.de00_each, strict=True)
                )
            ],
        )
    print_text(
        f"{report.n_sound} of {report.n_originals} originals sound, {report.n_photos} photos, "
        f"{report.n_derived} derived files, {report.n_corals} corals with {report.n_names} names, "
        f"{len(report.problems)} things to look at."
    )
