"""Tagged colonies in words and plain values, for the command line."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from dryslate.app.colony_records import Colony
from dryslate.app.coral_health import SHARES
from dryslate.base.figures import decimals_for

if TYPE_CHECKING:
    from dryslate.app.colony_book import ColonyStory, VisitHealth
    from dryslate.app.colony_colours import ColourSeries
    from dryslate.app.colony_due import DueDate
    from dryslate.core.health.colony_colour import ColourChange, ColourFigure, VisitFigure

WHY_WORDS = {"random": "at random", "place": "by its place", "stressed": "because it was stressed"}
STATE_WORDS = {
    "seen": "seen",
    "tag_lost": "found without its tag",
    "dead": "dead",
    "not_found": "not found",
    "not_looked_for": "not looked for",
    "nothing_said": "nothing said",
}
STEP_WORDS = {
    "weeks_2_4": "2 to 4 weeks",
    "months_2": "2 months",
    "months_6": "6 months",
    "months_12": "12 months",
    "months_24": "24 months",
}
FIGURE_WORDS: Mapping[ColourFigure, str] = {
    "white_distance": "distance from the card's white",
    "lightness": "L*",
    "chroma": "chroma",
    "hue_deg": "hue, degrees",
}
SHARE_WORDS = {name: name.removesuffix("_pct").replace("_", " ") for name in SHARES}


def colony_words(colony: Colony) -> str:
    """Say what is on record of a colony's place."""
    parts = [f"{colony.label} at {colony.site}", f"tagged {WHY_WORDS[colony.why_tagged]}"]
    parts += [f"first on {colony.first_visit_id}"]
    if colony.place:
        parts.append(colony.place)
    if colony.depth_m is not None:
        parts.append(f"{colony.depth_m:g} m deep")
    if colony.bearing_deg is not None and colony.distance_m is not None:
        where = f"{colony.distance_m:g} m at {colony.bearing_deg:g} degrees"
        parts.append(f"{where} from {colony.from_what}" if colony.from_what else where)
    for one in colony.neighbours:
        near = "" if one.distance_m is None else f" {one.distance_m:g} m"
        turn = "" if one.bearing_deg is None else f" at {one.bearing_deg:g} degrees"
        parts.append(f"beside it{near}{turn}: {one.what}")
    return f"{'; '.join(parts)}. Identity {colony.organism_id}."


def story_row(story: ColonyStory) -> tuple[str, ...]:
    """Return a colony as a line of a table."""
    last = story.last
    state = "" if last is None or last.sighting is None else STATE_WORDS[last.sighting.state]
    frames = sum(len(v.frames) for v in story.visits)
    return (
        story.colony.label,
        story.colony.site,
        WHY_WORDS[story.colony.why_tagged],
        story.name,
        f"{state} {last.visit.date}" if last else "",
        str(frames),
    )


def story_as_dict(story: ColonyStory, series: ColourSeries | None = None) -> dict[str, Any]:
    """Return a colony with its visits, and its colour where given, for JSON."""
    document = {
        **story.colony.as_dict(),
        "name": story.name,
        "visits": [visit.as_dict() for visit in story.visits],
    }
    if series is not None:
        document["colour"] = series_as_dict(series)
    return document


def story_words(story: ColonyStory, series: ColourSeries) -> str:
    """Say what became of a colony, visit by visit, and how its colour changed."""
    name = f", {story.name}" if story.name else ""
    why = WHY_WORDS[story.colony.why_tagged]
    lines = [f"{story.colony.label} at {story.colony.site}{name} (tagged {why})"]
    for visit in story.visits:
        state = "nothing_said" if visit.sighting is None else visit.sighting.state
        line = f"  {visit.visit.date}: {STATE_WORDS[state]}"
        for row in visit.fractions:
            known = [(n, v) for n, v in row.shares().items() if v is not None]
            line += f"; {row.observer}: " + ", ".join(f"{SHARE_WORDS[n]} {v:g} %" for n, v in known)
            line += f"; {row.lesion}" if row.lesion else ""
        lines.append(line)
        changes = series.changes.get(visit.visit.visit_id, ())
        lines += [f"    {change_words(change)}" for change in changes]
    return "\n".join(lines)


def series_as_dict(series: ColourSeries) -> dict[str, Any]:
    """Return a colony's colour over its visits, for JSON."""
    return {
        "first_visit_id": series.first_visit_id,
        "n_stale": series.n_stale,
        "visits": {
            visit_id: {name: _figure_dict(figure) for name, figure in figures.items()}
            for visit_id, figures in series.visits.items()
        },
        "changes": {
            visit_id: [_change_dict(change) for change in changes]
            for visit_id, changes in series.changes.items()
        },
        "problems": [problem.as_dict() for problem in series.problems],
    }


def _figure_dict(figure: VisitFigure) -> dict[str, Any]:
    """Return one figure of one visit."""
    return {
        "median": figure.median,
        "spread": figure.spread,
        "n_frames": figure.n_frames,
        "shared_u": figure.shared_u,
        "card_u": figure.card_u,
        "mismatch_u": figure.mismatch_u,
        "moving_u": figure.moving_u,
        "values": list(figure.values),
    }


def _change_dict(change: ColourChange) -> dict[str, Any]:
    """Return one change."""
    df = None if change.df is None or math.isinf(change.df) else change.df
    return {
        "figure": change.figure,
        "difference": change.difference,
        "u": change.u,
        "lo95": change.lo95,
        "hi95": change.hi95,
        "df": df,
        "verdict": change.verdict,
        "doubt": change.doubt,
        "is_widened": change.is_widened,
        "n_frames": list(change.n_frames),
    }


def change_words(change: ColourChange) -> str:
    """
    Say what became of one figure of a colony's colour.

    A change is named only beyond its own doubt; else the doubt is what could not be seen through.
    """
    name, doubt = FIGURE_WORDS[change.figure], change.doubt
    few = " (fewer than three frames: doubt widened)" if change.is_widened else ""
    if doubt is None or change.u is None:
        return (
            f"{name}: {change.difference:+.1f}; no doubt can be stated with one frame on each "
            "visit, so nothing is said"
        )
    places = decimals_for(change.u)
    size = f"{change.difference:+.{places}f} ± {doubt:.{places}f}"
    if change.verdict == "changed":
        return f"{name}: changed, {size}{few}"
    return f"{name}: no change seen beyond the doubt of ±{doubt:.{places}f} ({size}){few}"


def figure_words(name: ColourFigure, figure: VisitFigure) -> str:
    """Say one figure of one visit, with its spread and number of frames."""
    spread = "spread not known" if figure.spread is None else f"spread {figure.spread:.1f}"
    frames = "1 frame" if figure.n_frames == 1 else f"{figure.n_frames} frames"
    return f"{FIGURE_WORDS[name]} {figure.median:.1f} (median of {frames}, {spread})"


def due_row(due: DueDate) -> tuple[str, ...]:
    """Return a due date as a line of a table."""
    return (
        due.label,
        due.site,
        STEP_WORDS[due.step],
        f"{due.from_date} to {due.to_date}",
        _due_words(due),
        due.visit_id or "",
    )


def _due_words(due: DueDate) -> str:
    """Say the state of a look; of one that can still be had late, until when."""
    if due.state == "overdue":
        return f"overdue, worth a late look until {due.until_date}"
    return {"late": "done late", "open": "not yet"}.get(due.state, due.state.replace("_", " "))


def health_words(health: VisitHealth) -> str:
    """Say what the tagged colonies of a visit look like."""
    group = (
        "tagged because stressed" if health.group == "stressed" else "tagged at random or by place"
    )
    states = ", ".join(f"{n} {STATE_WORDS[state]}" for state, n in health.states.items())
    said = f"{health.visit.visit_id}, colonies {group}: {states}"
    if not health.n_judged:
        return f"{said}; nobody judged all of a colony."
    shares = ", ".join(
        f"{SHARE_WORDS[name]} {health.medians[name]:.0f} % "
        f"({health.lowest[name]:.0f} to {health.highest[name]:.0f})"
        for name in SHARES
    )
    return f"{said}; median fractions of {health.n_judged} (lowest to highest): {shares}."
