"""What the commands on tagged colonies do between reading their options and printing."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from dryslate import wiring
from dryslate.cli.render import (
    WITH_PROBLEMS,
    print_json,
    print_problem,
    print_text,
    progress,
)

if TYPE_CHECKING:
    from dryslate.app.colony_colours import ColourSeries
    from dryslate.app.colony_records import Colony, Points, TiePoints
    from dryslate.app.ports import SurveyStore
    from dryslate.core.health.heat import HeatSeries

Which = tuple[str, str | None, str]
"""Label, site where it is needed, and who."""


def note_visit(
    folder: Path,
    which: tuple[str, tuple[str, str], str],
    seen: tuple[str, str | None, str | None],
    said: tuple[tuple[float | None, ...], str, list[str]],
    as_json: bool,
) -> None:
    """Note state, fractions and photos of a colony on a visit, all or nothing; show the visit."""
    from dryslate.app.colonies import find_colony
    from dryslate.app.colony_book import colony_story
    from dryslate.app.colony_visits import Seen, add_frame, judge_colony, see_colony
    from dryslate.app.colony_words import STATE_WORDS
    from dryslate.app.coral_health import SHARES
    from dryslate.app.visits import find_visit

    (label, (site, date), observer), (shares, lesion, photos) = which, said
    who = (observer, wiring.clock().now_utc())
    with wiring.survey_store(folder, write=True, who=observer) as store, store.write():
        visit = find_visit(store, site, date)
        colony = find_colony(store, label, visit.site)
        wanted = Seen(state=seen[0], record=seen[1], note=seen[2])
        sighting = see_colony(store, colony, visit, wanted, who)
        if lesion or any(share is not None for share in shares):
            by_name = dict(zip(SHARES, shares, strict=True))
            judge_colony(store, colony, visit, (by_name, lesion), who)
        for photo in photos:
            add_frame(store, colony, photo, who)
        story = colony_story(store, colony)
    told = next(v for v in story.visits if v.visit.visit_id == visit.visit_id)
    n = len(told.frames)
    photos_said = "1 photo" if n == 1 else f"{n} photos"
    words = f"{colony.label}, {visit.visit_id}: {STATE_WORDS[sighting.state]}; {photos_said}."
    print_json(told.as_dict()) if as_json else print_text(words)


def carry_all(
    folder: Path, which: Which, how: tuple[list[str], Path | None], as_json: bool
) -> None:
    """Carry an outline to photos, one by one; what is refused is listed, the others go on."""
    from dryslate.app.colonies import find_colony
    from dryslate.app.colony_outlines import carry_outline
    from dryslate.base.errors import DryslateError
    from dryslate.base.problems import problem_of

    pairs = None if how[1] is None else _pairs(how[1])
    who = (which[2], wiring.clock().now_utc())
    n_refused = 0
    with wiring.survey_store(folder, write=True, who=which[2]) as store:
        bench = wiring.measure_bench(folder, store)
        colony = find_colony(store, which[0], which[1])
        for photo in how[0]:
            try:
                found = carry_outline(bench, colony, photo, who, pairs)
            except DryslateError as error:
                n_refused += 1
                problem = problem_of(error, photo)
                print_problem(problem)
                if as_json:
                    print_json({"photo": photo, "problems": [problem.as_dict()]})
                elif pairs:
                    _say_pairs(store, colony, photo, pairs)
                continue
            told = {"photo": photo, **found.as_dict(), "problems": []}
            print_json(told) if as_json else print_text(f"{photo}: {found.words()}")
            if pairs and not as_json:
                _say_pairs(store, colony, photo, pairs)
    if n_refused:
        raise typer.Exit(WITH_PROBLEMS)


def _say_pairs(store: SurveyStore, colony: Colony, photo: str, pairs: TiePoints) -> None:
    """Say how far each pair given by hand is off; nothing where the photo is none of its own."""
    from dryslate.app.colony_ties import try_pairs
    from dryslate.app.note_records import one_photo
    from dryslate.base.errors import InputError

    with contextlib.suppress(InputError):
        words = try_pairs(store, colony, one_photo(store, photo).photo_id, pairs).words()
        if words:
            print_text(f"{photo}: {words}")


def _pairs(path: Path) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Read pairs of points: in the reference photo, and in the other."""
    from dryslate.app.measure_request import read_text
    from dryslate.formats.points_csv import parse_corallites

    points = parse_corallites(read_text(path, "points"), str(path))
    return list(zip(points[::2], points[1::2], strict=True))


def use_photos(
    folder: Path, which: Which, how: tuple[list[str], Path | None, bool], as_json: bool
) -> None:
    """Draw an outline in photos, confirm the carried one, or say that a photo is not of it."""
    from dryslate.app.colonies import find_colony
    from dryslate.app.colony_outlines import confirm_outline, draw_outline, take_frame_away

    photos, draw, is_removed = how
    points = None if draw is None else _outline(draw)
    who = (which[2], wiring.clock().now_utc())
    with wiring.survey_store(folder, write=True, who=which[2]) as store:
        colony = find_colony(store, which[0], which[1])
        for photo in photos:
            if is_removed:
                take_frame_away(store, colony, photo)
                told, words = {"photo": photo, "removed": True}, "no longer a photo of it"
            elif points is not None:
                told = draw_outline(store, colony, photo, points, who).as_dict()
                words = "outline drawn"
            else:
                told = confirm_outline(store, colony, photo, who).as_dict()
                words = "outline confirmed"
            print_json(told) if as_json else print_text(f"{photo}: {words}")


def _outline(path: Path) -> Points:
    """Read an outline."""
    from dryslate.app.measure_request import read_text
    from dryslate.formats.points_csv import parse_outline

    return parse_outline(read_text(path, "outline"), str(path))


def show_follow(
    folder: Path, which: tuple[str | None, str | None], observer: str, as_json: bool
) -> None:
    """Measure the frames that are new, and show each colony's colour against its first visit."""
    from dryslate.app.colonies import find_colony
    from dryslate.app.colony_colours import colour_series, follow_colony
    from dryslate.app.colony_words import series_as_dict

    bar = progress(quiet=as_json)
    now = wiring.clock().now_utc()
    with wiring.survey_store(folder, write=True, who=observer, by_turns=True) as store:
        bench = wiring.measure_bench(folder, store)
        label, site = which
        chosen = store.colonies(site) if label is None else (find_colony(store, label, site),)
        bar.start("measuring colours", len(chosen))
        for colony in chosen:
            follow_colony(bench, colony, now)
            bar.step(1, colony.label)
        bar.done()
        found = [colour_series(store, colony) for colony in chosen]
    for series in found:
        if as_json:
            label = series.colony.label
            head = {"organism_id": series.colony.organism_id, "label": label}
            print_json({**head, **series_as_dict(series)})
        else:
            _show_series(series)
    if any(series.problems for series in found):
        raise typer.Exit(WITH_PROBLEMS)


def _show_series(series: ColourSeries) -> None:
    """Print a colony's colour over its visits for people."""
    from dryslate.app.colony_words import change_words, figure_words

    print_text(f"{series.colony.label} at {series.colony.site}")
    for visit_id, figures in series.visits.items():
        print_text(f"  {visit_id}")
        for name, figure in figures.items():
            print_text(f"    {figure_words(name, figure)}")
        for change in series.changes.get(visit_id, ()):
            print_text(f"    against {series.first_visit_id}: {change_words(change)}")
    if not series.visits:
        print_text("  no outlined frame has a colour yet")
    for problem in series.problems:
        print_problem(problem)


def draw_timeline(
    folder: Path, which: tuple[str, str | None], out: Path, heat: HeatSeries | None
) -> None:
    """Write a colony's timeline as a picture."""
    from dryslate.app.colonies import find_colony
    from dryslate.app.colony_timeline import colony_timeline
    from dryslate.app.site_loggers import site_heat

    with wiring.survey_store(folder, write=False) as store:
        colony = find_colony(store, *which)
        kept = () if heat is not None else site_heat(store, colony.site)
        series = [heat] if heat is not None else [one.found for one in kept if one.found]
        timeline = colony_timeline(store, colony, series)
    for problem in (problem for one in kept for problem in one.problems):
        print_problem(problem)
    wiring.save_file(out, wiring.document_writer().colony_timeline(timeline).encode("utf-8"))
    print_text(f"Wrote {out}.")
