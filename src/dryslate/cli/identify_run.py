"""Running an identification: one coral, a conversation, or a stream of records."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from dryslate import wiring
from dryslate.cli.collecting import little_collecting
from dryslate.cli.render import (
    DONE,
    ERROR,
    WITH_PROBLEMS,
    print_json,
    print_problem,
    print_text,
    words,
)

if TYPE_CHECKING:
    from dryslate.app.identify import Identifier
    from dryslate.app.identify_photo import MeasuredSize
    from dryslate.app.identify_request import Words
    from dryslate.app.team_hit_rate import TeamHitRate
    from dryslate.base.problems import Problem
    from dryslate.core.identify.evidence import Evidence

BLOCK_BYTES = 1 << 20
MEASURED = ("corallite_diameter", "valley_width")


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a size is to be measured, and how."""

    photo: Path | None
    corallites: Path | None
    measured: str
    off_plane: tuple[float | None, float | None, str | None, bool]
    point_u_px: float = 1.0
    card: tuple[list[str] | None, str | None] = (None, None)
    lens: tuple[Path | None, str] = (None, "unknown")
    largest_mp: float = 100.0

    def with_optics(
        self,
        point_u_px: float,
        card: tuple[list[str] | None, str | None],
        lens: tuple[Path | None, str],
        largest_mp: float,
    ) -> Source:
        """Return it with how the photo is read."""
        return replace(self, point_u_px=point_u_px, card=card, lens=lens, largest_mp=largest_mp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """What was said of one coral, and how the answer is wanted."""

    said: tuple[list[str], list[str], list[str], list[str]]
    is_juvenile: bool
    is_asked: bool
    has_why: bool
    as_json: bool

    def words(self) -> Words:
        """Return what was said, for the use case."""
        from dryslate.app.identify_request import Words

        seen, not_seen, unclear, sizes = self.said
        return Words(
            seen=seen,
            not_seen=not_seen,
            unclear=unclear,
            sizes=sizes,
            is_juvenile=self.is_juvenile,
        )


def require_use(stream: str | None, asking: Asking, source: Source) -> None:
    """Refuse a command line that contradicts itself."""
    one = any(asking.said) or source.photo is not None or asking.is_juvenile or asking.is_asked
    if stream not in (None, "-"):
        raise typer.BadParameter(f"expected a dash or nothing, found {stream!r}; see --seen")
    if stream == "-" and (one or not asking.as_json):
        raise typer.BadParameter("a dash takes --json, and records on standard input only")
    if (source.photo is None) != (source.corallites is None):
        raise typer.BadParameter("--photo and --corallites belong together")
    if source.measured not in MEASURED:
        raise typer.BadParameter(
            f"--measured is one of {', '.join(MEASURED)}; found {source.measured!r}"
        )


def identifier_of(project: Path | None, region: str | None, all_equal: bool = False) -> Identifier:
    """Open the genus data, those of a project over the built-in ones."""
    from dryslate.app.identify import open_identifier

    return open_identifier(
        project,
        region,
        wiring.reference_tables,
        wiring.project_folders(),
        lambda folder: wiring.survey_store(folder, write=False),
        all_equal=all_equal,
    )


def run_batch(where: tuple[Path | None, str | None, bool]) -> int:
    """Answer the records on standard input; return the exit code."""
    from dryslate.app.identify_batch import answer_blocks

    identifier = identifier_of(*where)
    for problem in identifier.table_problems:
        print_problem(problem)
    answered, refused = 0, 0
    with little_collecting():
        for answers in answer_blocks(_blocks(), identifier):
            text = "".join(f"{a.text}\n" for a in answers)
            sys.stdout.buffer.write(text.encode("utf-8", "backslashreplace"))
            sys.stdout.buffer.flush()
            good = sum(a.is_answered for a in answers)
            answered, refused = answered + good, refused + len(answers) - good
    if refused:
        words().print(f"{refused} of {answered + refused} records could not be used.")
        return WITH_PROBLEMS if answered else ERROR
    return WITH_PROBLEMS if identifier.table_problems else DONE


def _blocks() -> Iterable[bytes]:
    """Read standard input as it comes."""
    stream: Any = sys.stdin.buffer
    read = getattr(stream, "read1", stream.read)
    return iter(lambda: read(BLOCK_BYTES), b"")


def run_one(where: tuple[Path | None, str | None, bool], asking: Asking, source: Source) -> int:
    """Answer one coral; return the exit code."""
    from dryslate.app.identify import answer_document
    from dryslate.app.identify_request import in_centimetres, parse_words
    from dryslate.base.problems import has_error

    said = asking.words()
    identifier = identifier_of(*where)
    evidence, problems = parse_words(said, where[1])
    measured = _measured(source, where[0])
    if measured is not None:
        evidence, more = _with_size(evidence, measured, source.measured)
        problems += more
    nothing = not (said.has_any or measured is not None or asking.as_json)
    if asking.is_asked or nothing:
        evidence = _asked(identifier, evidence, problems, to_stderr=asking.as_json)
    answer, problems = identifier.answer(evidence, problems, in_cm=in_centimetres(asking.said[3]))
    region = identifier.region_of(evidence)
    problems = [*identifier.table_problems, *problems]
    document = answer_document(answer, problems, identifier, region)
    if measured is not None:
        document["measured"] = dict(measured.document)
    rate = _team_rate(where[0])
    if rate is not None:
        document["team"], document["team_words"] = rate.as_dict(), rate.words()
    _show(document, problems, asking, identifier.choice.words)
    if answer is None:
        return ERROR
    warned = has_error(problems) or any(p.severity == "warning" for p in problems)
    return WITH_PROBLEMS if warned else DONE


def _show(
    document: dict[str, Any], problems: Sequence[Problem], asking: Asking, region_words: str
) -> None:
    """Show an answer, and what is wrong."""
    from dryslate.cli.identify_words import words_of

    if asking.as_json:
        print_json(document)
    elif document["verdict"] is not None:
        print_text(words_of(document, region_words, has_why=asking.has_why))
    for problem in problems:
        if problem.severity == "error" or not asking.as_json:
            print_problem(problem)


def _team_rate(project: Path | None) -> TeamHitRate | None:
    """Return how often the team's names hold, where enough corals of a project are verified."""
    if project is None or not wiring.project_folders().is_project(project):
        return None
    from dryslate.app.team_hit_rate import team_hit_rate

    with wiring.survey_store(project, write=False) as store:
        rate = team_hit_rate(store)
    return None if rate.hit_rate.rate is None else rate


def _measured(source: Source, project: Path | None) -> MeasuredSize | None:
    """Measure corallites, where a photo is given."""
    if source.photo is None or source.corallites is None:
        return None
    from dryslate.app.identify_photo import measure_size
    from dryslate.base.errors import SettingsError
    from dryslate.cli.measure_words import options_of

    options = options_of(source.off_plane, source.point_u_px, source.card, source.lens)
    ports = (wiring.photo_reader(source.largest_mp), wiring.reference_tables(project))
    try:
        return measure_size(source.photo, source.corallites, ports, options)
    except SettingsError as error:
        raise typer.BadParameter(str(error)) from error


def _with_size(
    evidence: Evidence, measured: MeasuredSize, measure: str
) -> tuple[Evidence, list[Problem]]:
    """Add a measured size to what was typed."""
    from dryslate.base.problems import Problem

    problems = list(measured.problems)
    if measured.size is None:
        return evidence, problems
    if measure in evidence.sizes:
        problems.append(
            Problem(
                slug="identify-size-twice",
                severity="error",
                place=measure,
                message="it was given with --size and measured in the photo",
                fix="Leave one of the two away.",
            )
        )
        return evidence, problems
    return replace(evidence, sizes={**evidence.sizes, measure: measured.size}), problems


def _asked(
    identifier: Identifier, evidence: Evidence, problems: Sequence[Problem], *, to_stderr: bool
) -> Evidence:
    """Ask on, unless what was given is not in order."""
    from dryslate.base.problems import has_error
    from dryslate.cli.identify_ask import converse

    if has_error([*problems, *identifier.faults_of(evidence)]):
        return evidence
    return converse(identifier, evidence, to_stderr=to_stderr)
