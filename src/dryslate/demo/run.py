"""The whole job on the made-up trip: from a memory card to a report, by the real use cases."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryslate import wiring
from dryslate.app.check import CheckReport
from dryslate.app.correct_summary import Summary
from dryslate.app.ports import Progress
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.demo.changes import ChangesDone, changes_of_trip
from dryslate.demo.compare import Comparison, compare_with_truth
from dryslate.demo.describe import describe_trip
from dryslate.demo.followed import Followed, held_to_truth
from dryslate.demo.following import follow_trip
from dryslate.demo.logger import SiteHeat, draw_timelines, log_heat
from dryslate.demo.naming import Naming, name_corals
from dryslate.demo.survey import SurveyDone, survey_trip
from dryslate.demo.trip import MadeTrip, made_by, make_trip, memory_card
from dryslate.demo.trip_card import print_card
from dryslate.demo.trip_plan import (
    BAR_MM,
    GREY_CHIP,
    GREY_CHIP_LAB,
    GREY_CHIP_LAB_U,
    TripVisit,
    only_colonies,
    plan_trip,
)
from dryslate.demo.units import begin_units
from dryslate.files.safe_write import save_whole

MARK = "made-up-trip.json"
DEFAULT_SEED = 1
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoTools:
    """Progress bars, and where words go."""

    progress: Progress
    say: Say


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoReport:
    """
    What the demo did.

    Parameters
    ----------
    project, report, photos : Path
        The project, its report, and the memory cards it came from.
    results_report, archive : Path
        The report of the survey's figures, and the archive for others.
    n_photos : int
    summary : Summary
        Of correcting.
    n_measured : int
    check : CheckReport
    comparison : Comparison
        What was found against what is true.
    naming : Naming
        The same for the corals' names.
    survey : SurveyDone
        The records of units, and their figures.
    changes : ChangesDone
        Between the visits of the survey.
    followed : Followed
        The tagged colonies.
    heat : tuple of SiteHeat
        From the logger at each site.
    timelines : Path
        Folder with a picture of each colony's time.
    """

    project: Path
    report: Path
    results_report: Path
    archive: Path
    photos: Path
    n_photos: int
    summary: Summary
    n_measured: int
    check: CheckReport
    comparison: Comparison
    naming: Naming
    survey: SurveyDone
    changes: ChangesDone
    followed: Followed
    heat: tuple[SiteHeat, ...]
    timelines: Path


def run_demo(folder: Path, seed: int, tools: DemoTools) -> DemoReport:
    """
    Render the trip and do the whole job on it, up to report, tables and archive.

    Parameters
    ----------
    folder : Path
        New, or left by an earlier run: what that finished is not done again.
    seed : int
        Another one makes another trip.
    tools : DemoTools

    Returns
    -------
    DemoReport

    Raises
    ------
    InputError
        ``demo-folder-in-use`` for a folder that holds something else;
        ``demo-other-trip`` for one that holds a trip of another seed.
    """
    _claim(folder, seed)
    trip = plan_trip(seed)
    project = folder / "made-up-trip"
    made = _photos_of(trip, folder, seed, tools)
    begin_units(project, made.truth)
    summary, problems = _correct(project, tools)
    for problem in problems:
        tools.say(str(problem))
    answers = _measure(project, made, tools)
    naming = name_corals(project, made.truth, seed)
    survey = survey_trip(folder, project, made.truth, seed)
    tools.say("Following the tagged colonies")
    follow_trip(project, made.truth, seed)
    heat = log_heat(folder, project, {v.site: v.observer for v in trip}, seed)
    check, report = _finish(project, tools)
    describe_trip(project, trip)
    results_report, archive = _publish(project)
    return DemoReport(
        project=project,
        report=report,
        results_report=results_report,
        archive=archive,
        photos=folder / "memory-cards",
        n_photos=len(made.truth),
        summary=summary,
        n_measured=sum(1 for a in answers if a.get("saved")),
        check=check,
        comparison=_compare(project, made.truth, answers),
        naming=naming,
        survey=survey,
        changes=changes_of_trip(project, folder / "changes.csv", survey.truths),
        followed=held_to_truth(project, made.truth),
        heat=heat,
        timelines=draw_timelines(project),
    )


def follow_only(folder: Path, seed: int, tools: DemoTools) -> Followed:
    """
    Do the job on what shows the tagged colonies alone, without units, names and reports.

    Parameters
    ----------
    folder : Path
        New.
    seed : int
    tools : DemoTools

    Returns
    -------
    Followed
    """
    project = folder / "made-up-trip"
    made = _photos_of(only_colonies(plan_trip(seed)), folder, seed, tools)
    _correct(project, tools)
    follow_trip(project, made.truth, seed)
    return held_to_truth(project, made.truth)


def _photos_of(trip: Sequence[TripVisit], folder: Path, seed: int, tools: DemoTools) -> MadeTrip:
    """Render a trip, take its memory cards in, and lay its own card in the project."""
    project = folder / "made-up-trip"
    card = print_card(wiring.reference_tables().card("field"), seed)
    made = make_trip(trip, card, folder, seed, (wiring.runner(), tools.progress))
    tools.say(f"{len(made.truth)} photos on {len(trip)} memory cards in {folder}")
    _take_in(trip, folder, project, tools)
    tables = wiring.reference_tables(project)
    place = project / "cards" / f"{card.stated.name}.toml"
    if not place.is_file():
        tables.save_card(card.stated, place)
    return made


def _claim(folder: Path, seed: int) -> None:
    """Make the folder ours, or refuse one that holds something else."""
    mark = folder / MARK
    if mark.is_file():
        was = json.loads(mark.read_text("utf-8")).get("made_by")
        if was != made_by(seed):
            raise InputError(
                "demo-other-trip",
                f"{folder}: expected the made-up trip of {made_by(seed)}, found that of {was}.",
                "Give another folder, or the seed that it was made with.",
            )
        return
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(
            "demo-folder-in-use",
            f"{folder}: expected a new or empty folder, or one of an earlier demo; "
            "it holds something else.",
            "Give another folder; the demo writes over nothing.",
        )
    save_whole(mark, [json.dumps({"seed": seed, "made_by": made_by(seed)}).encode("utf-8")])


def _take_in(trip: Sequence[TripVisit], folder: Path, project: Path, tools: DemoTools) -> None:
    """Take in every memory card, and name the bar of known length and the grey chip."""
    from dryslate.app.control_objects import make_control
    from dryslate.app.new import make_project
    from dryslate.app.take import plan_take, run_take
    from dryslate.app.take_records import TakeRequest, TakeTools

    for visit in trip:
        _, store = make_project(
            project,
            wiring.project_folders(),
            lambda at, who=visit.observer: wiring.new_store(at, who=who),  # type: ignore[misc]  # default binds the loop's value
        )
        try:
            request = TakeRequest(
                sources=(memory_card(folder, visit),),
                project=project,
                second=None,
                site=visit.site,
                date=visit.date,
                observer=visit.observer,
            )
            hands = TakeTools(
                store=store,
                files=wiring.intake_files(),
                reader=wiring.photo_reader(),
                clock=wiring.clock(),
                progress=tools.progress,
            )
            report = run_take(plan_take(request, hands), hands)
            tools.say(f"{report.visit_id}: {report.n_copied} taken in. {report.verdict.words}")
            if not store.control_objects():
                lab = (*GREY_CHIP_LAB, GREY_CHIP_LAB_U)
                store.save_control_object(make_control("bar", length_mm=(BAR_MM, 0.1), lab=None))
                store.save_control_object(make_control(GREY_CHIP, length_mm=None, lab=lab))
        finally:
            store.close()


def _correct(project: Path, tools: DemoTools) -> tuple[Summary, Sequence[Problem]]:
    """Correct every photo of the project."""
    from dryslate.app.correct import Workshop
    from dryslate.app.correct_project import (
        ProjectPlace,
        correct_project,
        finish_run,
        start_run,
    )
    from dryslate.app.correction_records import CorrectSettings
    from dryslate.app.project_photos import choose_photos

    with wiring.survey_store(project, write=True) as store:
        place = ProjectPlace(folder=project, store=store, vault=wiring.vault(project))
        workshop = Workshop(
            reader=wiring.photo_reader(),
            tables=wiring.reference_tables(project),
            runner=wiring.runner(),
            progress=tools.progress,
        )
        run = start_run(place, workshop, CorrectSettings(port="flat", has_preview=True))
        done = list(correct_project(run, choose_photos(store, ())))
        return finish_run(run, done)


def _measure(project: Path, made: MadeTrip, tools: DemoTools) -> list[Mapping[str, Any]]:
    """Measure what the table of picked points lists."""
    from dryslate.app.measure_project import Bench, measure_project
    from dryslate.app.measure_request import MeasureOptions

    n = sum(len(doc["to_measure"]) for doc in made.truth)
    answers: list[Mapping[str, Any]] = []
    tools.progress.start("Measuring", n)
    with wiring.survey_store(project, write=True) as store:
        bench = Bench(
            store=store,
            vault=wiring.vault(project),
            reader=wiring.photo_reader(),
            tables=wiring.reference_tables(project),
        )
        for answer in measure_project(made.to_measure, "", bench, MeasureOptions()):
            answers.append(answer)
            tools.progress.step()
    tools.progress.done()
    return answers


def _finish(project: Path, tools: DemoTools) -> tuple[CheckReport, Path]:
    """Check the project and write its report."""
    from dryslate.app.check import check_project
    from dryslate.app.report import write_report

    with wiring.survey_store(project, write=False) as store:
        check = check_project(store, wiring.project_files(project), tools.progress)
        done = write_report(wiring.report_bench(project, store, tools.progress), None, None)
    return check, Path(done["report"])


def _publish(project: Path) -> tuple[Path, Path]:
    """Write the report of the survey's figures, on the screen and for paper, and the archive."""
    from dryslate.app.archive_make import make_archive
    from dryslate.app.survey_report import ReportSource, write_results_report

    archive = project / "reports" / "archive.zip"
    with wiring.survey_store(project, write=False) as store:
        source = ReportSource(
            folder=project,
            store=store,
            documents=wiring.document_writer(),
            settings=wiring.result_settings(),
            save=wiring.save_file,
        )
        done = write_results_report(source, None, "en", has_pdf=True)
        with wiring.zip_maker(archive) as box:
            make_archive(store, wiring.archive_tools(project, store), box)
    return Path(done["report"]), archive


def _compare(
    project: Path, truth: Sequence[Mapping[str, Any]], answers: Sequence[Mapping[str, Any]]
) -> Comparison:
    """Hold what was found against the truth."""
    with wiring.survey_store(project, write=False) as store:
        rows, chips = {}, {}
        colours = {m.photo_id: m for m in store.measurements() if m.colony == GREY_CHIP}
        for photo in store.photos():
            name = photo.files[0].original_name
            row = store.correction(photo.photo_id)
            if row is not None:
                rows[name] = row
            if photo.photo_id in colours:
                chips[name] = colours[photo.photo_id]
        reading = (wiring.photo_reader(), project)
        return compare_with_truth(truth, (rows, chips), answers, reading)
