"""Reading the measure command's options, running it, and saying its answers in words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import typer
from typer.core import TyperCommand

from dryslate import wiring
from dryslate.cli.render import (
    DONE,
    ERROR,
    WITH_PROBLEMS,
    print_json,
    print_problem,
    print_text,
)

if TYPE_CHECKING:
    from dryslate.app.measure_request import MeasureOptions
    from dryslate.core.scale.lens import Port

POINT = re.compile(r"[-+]?[\d.]+(e[-+]?\d+)?,[-+]?[\d.]+(e[-+]?\d+)?", re.IGNORECASE)
PORTS = ("none", "flat", "dome", "unknown")
NAMES = (
    ("length_mm", "length", "mm"),
    ("area_cm2", "area", "cm²"),
    ("perimeter_mm", "perimeter", "mm"),
    ("diameter_max_mm", "longest diameter", "mm"),
    ("diameter_across_mm", "widest across it", "mm"),
    ("corallite_mm", "mean corallite", "mm"),
)


class PointsCommand(TyperCommand):
    """A command whose options --between and --corners take several points in a row."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Join the points after such an option to one value, then parse as usual."""
        return super().parse_args(ctx, join_points(args))


def join_points(args: Sequence[str]) -> list[str]:
    """Join runs of points X,Y after --between and --corners into one argument each."""
    out: list[str] = []
    taking = False
    for arg in args:
        if taking and POINT.fullmatch(arg):
            out[-1] = arg if out[-1] == "" else f"{out[-1]} {arg}"
            continue
        if taking and out[-1] == "":
            out.pop()
        taking = arg in ("--between", "--corners")
        out.append(arg)
        if taking:
            out.append("")
    if taking and out[-1] == "":
        out.pop()
    return out


def require_source(photo: Path | None, project: Path | None, table: Path | None) -> None:
    """Refuse a command line that does not say what to measure in."""
    if table is not None:
        if project is None:
            raise typer.BadParameter("--from needs --project FOLDER, where it is saved")
        if photo is not None:
            raise typer.BadParameter("give either a PHOTO or --from, not both")
    elif photo is None:
        raise typer.BadParameter("give a PHOTO, or --project FOLDER --from TABLE.csv")


def options_of(
    off_plane: tuple[float | None, float | None, str | None, bool],
    point_u_px: float,
    card: tuple[list[str] | None, str | None],
    lens: tuple[Path | None, str],
) -> MeasureOptions:
    """Put the options together; what contradicts itself is wrong usage."""
    from dryslate.app.correct_request import lens_from
    from dryslate.app.measure_request import (
        MeasureOptions,
        off_plane_of,
        parse_corners,
    )
    from dryslate.base.errors import SettingsError

    mm, mm_u, stood, in_plane = off_plane
    names, corners = card
    if lens[1] not in PORTS:
        raise typer.BadParameter(f"--port is one of {', '.join(PORTS)}; found {lens[1]!r}")
    if not point_u_px >= 0 or point_u_px == float("inf"):
        raise typer.BadParameter(f"--point-u-px is zero or more; found {point_u_px:g}")
    try:
        return MeasureOptions(
            card_names=tuple(names or ()),
            corners_px=parse_corners(corners),
            point_u_px=point_u_px,
            off_plane=off_plane_of(mm, mm_u, stood, in_plane=in_plane),
            lens=lens_from(lens[0]),
            port=cast("Port", lens[1]),
        )
    except SettingsError as error:
        raise typer.BadParameter(str(error)) from error


def answers_from_photo(
    where: tuple[Path | None, Path],
    asked: tuple[list[str] | None, list[Path] | None, list[Path] | None, list[Path] | None],
    options: MeasureOptions,
    largest_mp: float,
) -> Iterable[Mapping[str, Any]]:
    """Measure in one photo (of a project, or of none); nothing is saved."""
    from dryslate.app.measure import measure_photo
    from dryslate.app.measure_request import gather
    from dryslate.base.errors import SettingsError

    try:
        between, outlines, corallites, colours = asked
        things = gather(between or (), outlines or (), corallites or (), colours or ())
        project, photo = where
        tables, reader = wiring.reference_tables(project), wiring.photo_reader(largest_mp)
        return measure_photo(photo, things, reader, tables, options)
    except SettingsError as error:
        raise typer.BadParameter(str(error)) from error


def answers_from_table(
    where: tuple[Path, Path], observer: str, options: MeasureOptions, largest_mp: float
) -> Iterator[Mapping[str, Any]]:
    """Measure in a project what a table lists, saving each line."""
    from dryslate.app.measure_project import Bench, measure_project

    project, table = where
    with wiring.survey_store(project, write=True) as store:
        bench = Bench(
            store=store,
            vault=wiring.vault(project),
            reader=wiring.photo_reader(largest_mp),
            tables=wiring.reference_tables(project),
        )
        yield from measure_project(table, observer, bench, options)


def show_measurement(answer: Mapping[str, Any], *, as_json: bool) -> bool:
    """Show one answer; tell whether it was measured."""
    problems = answer["problems"]
    if as_json:
        print_json(answer)
    else:
        print_text(words_of(answer))
    for problem in problems:
        if problem["severity"] == "error" or not as_json:
            print_problem(problem)
    return not any(problem["severity"] == "error" for problem in problems)


def words_of(answer: Mapping[str, Any]) -> str:
    """Say an answer in one line for each value."""
    if answer["kind"] is None:
        return f"{answer['problems'][0]['place']}: left out"
    what = f"{answer.get('colony') or answer['photo']}, {answer['kind']} {answer['index'] + 1}"
    lines = []
    for name, word, unit in NAMES:
        value = answer.get(name)
        if value is None:
            continue
        u, lo, hi = (answer[f"{name}{end}"] for end in ("_u", "_lo95", "_hi95"))
        n = places(u)
        lines.append(
            f"{what}: {word} {value:.{n}f} ± {u:.{n}f} {unit} "
            f"(95 %: {lo:.{n}f} to {hi:.{n}f} {unit})"
        )
    if answer.get("corallite_sd_mm") is not None:
        lines.append(
            f"{what}: {answer['n_corallites']} corallites, standard deviation "
            f"{answer['corallite_sd_mm']:.2f} mm"
        )
    lines += _colour_lines(answer, what)
    return "\n".join(lines) if lines else f"{what}: not measured"


def _colour_lines(answer: Mapping[str, Any], what: str) -> list[str]:
    """Say a measured colour: a line each for L*, a*, b*."""
    if answer.get("lab") is None:
        return []
    lines = []
    for k, name in enumerate(("L*", "a*", "b*")):
        value, u, lo, hi = (answer[f"lab{end}"][k] for end in ("", "_u", "_lo95", "_hi95"))
        n = places(u)
        lines.append(f"{what}: {name} {value:.{n}f} ± {u:.{n}f} (95 %: {lo:.{n}f} to {hi:.{n}f})")
    return [*lines, f"{what}: from {answer['n_px']} pixels"]


def places(u: float) -> int:
    """Decimals that show two digits of a doubt (JCGM 100:2008, 7.2.6)."""
    for n, limit in enumerate((9.5, 0.95, 0.095, 0.0095)):
        if u >= limit:
            return n
    return 4


def exit_code(measured: Sequence[bool]) -> int:
    """Done, done with problems, or error where nothing at all could be measured."""
    if all(measured):
        return DONE if measured else ERROR
    return WITH_PROBLEMS if any(measured) else ERROR
