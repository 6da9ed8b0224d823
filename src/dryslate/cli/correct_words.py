"""What the correct command does with its options, and how it tells what came of them."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import takewhile
from operator import ne
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryslate import wiring
from dryslate.cli.render import (
    DONE,
    ERROR,
    WITH_PROBLEMS,
    counted,
    print_json,
    print_problem,
    print_table,
    print_text,
    progress,
    words,
)

if TYPE_CHECKING:
    from dryslate.app.correct import Workshop
    from dryslate.app.correct_summary import Summary
    from dryslate.app.correction_records import CorrectAnswer, CorrectSettings, Loan
    from dryslate.app.records import Photo


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectOptions:
    """The options as typed."""

    photos: list[Path] | None
    out: Path | None
    project: Path | None
    card: list[str] | None
    corners: tuple[str, str, str, str] | None
    white: str | None
    grey: str | None
    apply_to: list[Path] | None
    nominal_as_measured: bool
    port: str
    tiff: bool
    preview: bool
    lens: Path | None
    depths: Path | None
    jobs: int | None
    largest_mp: float
    as_json: bool


def run_photos(options: CorrectOptions) -> int:
    """Correct photos into a folder; return the exit code."""
    from dryslate.app.correct import correct_photos
    from dryslate.app.correct_request import picked_point, require_request
    from dryslate.app.correct_summary import summarise

    photos, others = list(options.photos or ()), list(options.apply_to or ())
    point = picked_point(options.white, options.grey)
    require_request(photos, options.out, None, point, others)
    workshop, settings = _workshop(options), _settings(options)
    given = [str(photo) for photo in (*photos[:1], *others, *photos[1:])]
    loans: dict[Path, Loan] | None = None
    refused: dict[str, Mapping[str, Any]] = {}
    if point is not None:
        photos, loans, refused = _share_point(photos, others, point, workshop)
    _announce_tiff(options, photos, options.out or Path())
    documents: list[Mapping[str, Any]] = []
    outcomes: list[str] = []
    answers = correct_photos(photos, options.out or Path(), settings, workshop, loans)
    for document, outcome in _as_given(answers, refused, given):
        documents.append(document)
        outcomes.append(outcome)
        _tell(document, options)
    summary = summarise(documents, outcomes)
    _tell_summary(summary, options)
    return _exit_code(summary)


def _as_given(
    answers: Iterable[CorrectAnswer], refused: dict[str, Mapping[str, Any]], given: list[str]
) -> Iterator[tuple[Mapping[str, Any], str]]:
    """Put what was refused beforehand between the answers, in the order the photos were given."""
    names = iter(given)
    for answer in answers:
        for name in takewhile(partial(ne, answer.result["photo"]), names):
            if name in refused:
                yield refused.pop(name), "refused"
        yield answer.result, answer.outcome
    yield from ((refused[name], "refused") for name in names if name in refused)


def run_project(options: CorrectOptions) -> int:
    """Correct the photos of a project; return the exit code."""
    from dryslate.app.correct_project import ProjectPlace
    from dryslate.app.correct_request import depths_from, picked_point, require_request
    from dryslate.app.correct_run import RunRequest, run_corrections

    folder = options.project or Path()
    point = picked_point(options.white, options.grey)
    require_request([], options.out, folder, point, options.apply_to or ())
    depths = depths_from(options.depths)
    vault = wiring.vault(folder)

    def announce(photos: Sequence[Photo]) -> None:
        paths = [vault.path_of(p.photo_id, p.files[0].original_name) for p in photos]
        _announce_tiff(options, paths, folder)

    with wiring.survey_store(folder, write=True) as store:
        summary, problems = run_corrections(
            ProjectPlace(folder=folder, store=store, vault=vault),
            _workshop(options),
            RunRequest(photos=options.photos or (), settings=_settings(options), depths=depths),
            lambda one: _tell(one.row.result, options, is_slate=one.is_slate),
            announce,
        )
    for problem in problems:
        print_problem(problem)
    _tell_summary(summary, options)
    return _exit_code(summary) or (WITH_PROBLEMS if problems else DONE)


def _exit_code(summary: Summary) -> int:
    """Say what a run that ended early ended on, last of all; return the exit code."""
    if summary.stop is not None:
        print_problem(
            {**summary.stop, "message": f"the run stopped here: {summary.stop['message']}"}
        )
        return ERROR
    return WITH_PROBLEMS if summary.n_uncorrected else DONE


def _settings(options: CorrectOptions) -> CorrectSettings:
    """Return the settings of the use case."""
    from dryslate.app.correct_request import parse_corners, parse_port
    from dryslate.app.correction_records import CorrectSettings

    return CorrectSettings(
        card_names=tuple(options.card or ()),
        corners_px=parse_corners(options.corners),
        nominal_as_measured=options.nominal_as_measured,
        port=parse_port(options.port),
        is_tiff=options.tiff,
        has_preview=options.preview,
    )


def _workshop(options: CorrectOptions) -> Workshop:
    """Return reader, cards, runner and progress."""
    from dryslate.app.correct import Workshop
    from dryslate.app.correct_request import lens_from

    return Workshop(
        reader=wiring.photo_reader(options.largest_mp),
        tables=wiring.reference_tables(options.project),
        runner=wiring.runner(options.jobs),
        progress=progress(quiet=options.as_json),
        lens=lens_from(options.lens),
    )


def _share_point(
    photos: list[Path], others: list[Path], point: Any, workshop: Workshop
) -> tuple[list[Path], dict[Path, Loan], dict[str, Mapping[str, Any]]]:
    """Fit the picked point and share it; return photos, corrections and refusals."""
    from dryslate.app.correct import colour_settings
    from dryslate.app.correction_records import CorrectSettings
    from dryslate.app.one_point import lend_point, refuse_all, refused_document
    from dryslate.base.errors import DryslateError

    table = colour_settings(workshop.tables, CorrectSettings()).mismatch_table
    sharing = [*others, *photos[1:]]
    try:
        lent = lend_point(photos[0], point, sharing, workshop.reader, table)
    except DryslateError as error:
        lent = refuse_all(photos[0], sharing, error)
    refused: dict[str, Mapping[str, Any]] = {
        str(photo): refused_document(photo, problem) for photo, problem in lent.refused.items()
    }
    return list(lent.loans), lent.loans, refused


def _announce_tiff(options: CorrectOptions, photos: list[Path], folder: Path) -> None:
    """Say how much disk 16-bit files take, before the first is written."""
    if not options.tiff:
        return
    from dryslate.app.correct import require_room, tiff_bytes

    needed = tiff_bytes(photos, wiring.photo_reader())
    there = next(f for f in (folder.resolve(), *folder.resolve().parents) if f.exists())
    free = shutil.disk_usage(there).free
    words().print(
        f"16-bit TIFF: {len(photos)} photos take about {needed / 1e9:.2f} GB; "
        f"{free / 1e9:.1f} GB are free on that disk."
    )
    require_room(needed, free)


def _tell(document: Mapping[str, Any], options: CorrectOptions, *, is_slate: bool = False) -> None:
    """Print one photo's JSON line; for people, its problems, but that a slate shows no card."""
    if options.as_json:
        print_json(document)
        return
    name = Path(document["photo"]).name
    for problem in () if is_slate else document["problems"]:
        if problem["severity"] == "note" or problem["slug"] == "correct-not-reached":
            continue  # the table at the end counts those
        is_named = Path(problem["place"]).name == name
        print_problem(problem if is_named else {**problem, "place": f"{name}, {problem['place']}"})


def _tell_summary(summary: Summary, options: CorrectOptions) -> None:
    """Print the table at the end, for people."""
    if options.as_json:
        return
    _tell_qualities(summary)
    print_table("Photos", ("outcome", "photos"), summary.rows())
    if summary.n_done_before:
        print_text(f"{summary.n_done_before} of them were done by an earlier run.")
    if summary.n_slates:
        print_text(f"{summary.n_slates} more show a slate and no card, as is usual.")
    if summary.reasons:
        print_text("Not corrected:")
        alike: dict[str, list[str]] = {}
        for photo, outcome, why in summary.reasons:
            alike.setdefault(f"{outcome}: {why}", []).append(photo)
        for why, photos in alike.items():
            several = len(photos) > 1
            print_text(f"  {counted(len(photos), 'photo') if several else photos[0]}: {why}")
            if several:
                print_text(f"    {', '.join(photos)}")
    _tell_where(summary, options)


def _tell_where(summary: Summary, options: CorrectOptions) -> None:
    """Say where the corrected photos are, and how to see them."""
    if not any(summary.counts.get(outcome) for outcome in ("corrected", "borrowed")):
        return
    if options.project is None:
        print_text(f"Corrected copies are in {options.out}; the originals were only read.")
    else:
        print_text(f"See them, and go on: dryslate serve {options.project}")


def _tell_qualities(summary: Summary) -> None:
    """Print how good each photo's colour and scale are, where the list is not too long to read."""
    from dryslate.app.correct_summary import N_QUALITY_MOST, QUALITY_COLUMNS

    if 0 < len(summary.qualities) <= N_QUALITY_MOST:
        title = "How good (95th off: CIEDE2000 of 19 in 20 things off the card)"
        print_table(title, QUALITY_COLUMNS, summary.qualities)
