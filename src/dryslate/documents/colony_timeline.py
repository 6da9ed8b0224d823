"""The picture of a colony's life: fractions, change of colour and heat stress over time."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from dryslate.app.colony_records import MET
from dryslate.app.coral_health import SHARES
from dryslate.documents.report_charts import BLUE, GREY, LOOK, ORANGE, svg_element

if TYPE_CHECKING:
    from dryslate.app.colony_timeline import Timeline, TimelineVisit
    from dryslate.core.health.heat import HeatSeries

SHARE_LOOKS = {
    "normal_pct": ("normal", "#8a5a2b", ""),
    "pale_pct": ("pale", "#d8b98a", "..."),
    "bleached_pct": ("bleached", "#ffffff", ""),
    "recently_dead_pct": ("recently dead", "#b9c4c9", "///"),
    "old_dead_pct": ("old dead", "#5f6b70", "xxx"),
}
"""Told apart by hatching and order as well as by colour."""
FIGURE_LOOKS = {
    "white_distance": ("distance from white", BLUE, "o", -1.0),
    "lightness": ("L*", ORANGE, "s", 1.0),
}
STATE_WORDS = {
    "not_found": "not found",
    "not_looked_for": "not looked for",
    "dead": "dead",
    "tag_lost": "tag lost",
}
THRESHOLDS = (4.0, 8.0)


def timeline_svg(timeline: Timeline) -> str:
    """
    Draw a colony's timeline.

    Parameters
    ----------
    timeline : Timeline

    Returns
    -------
    str
        An SVG element; the same timeline gives the same bytes.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    has_colour = any(v.is_first_colour or v.changes for v in timeline.visits)
    n = 1 + has_colour + bool(timeline.heat)
    with mpl.rc_context(LOOK):
        figure = Figure(figsize=(8.4, 1.2 + 2.1 * n))
        panels = figure.subplots(n, 1, sharex=True, squeeze=False)[:, 0].tolist()
    dates = [datetime.date.fromisoformat(v.date) for v in timeline.visits]
    _draw_shares(panels[0], timeline, dates)
    if has_colour:
        _draw_changes(panels[1], timeline, dates)
    if timeline.heat:
        _draw_heat(panels[-1], timeline)
    _date_axis(panels, dates, timeline)
    figure.align_ylabels(panels)
    figure.subplots_adjust(hspace=0.45)
    return svg_element(figure, f"colony {timeline.title}")


def _width_days(dates: Sequence[datetime.date]) -> float:
    """How wide a bar may be, so that neighbours do not touch."""
    gaps = [(b - a).days for a, b in pairwise(sorted(dates)) if b > a]
    span = (max(dates) - min(dates)).days if dates else 0
    return min([0.7 * gap for gap in gaps] + [max(span / 14.0, 3.0)])


def _draw_shares(axes: Any, timeline: Timeline, dates: Sequence[datetime.date]) -> None:
    """Fractions as stacked bars, and in words what became of it where it has none."""
    width = _width_days(dates) if dates else 1.0
    judged = [(d, v.shares) for d, v in zip(dates, timeline.visits, strict=True) if v.shares]
    base = [0.0] * len(judged)
    for name in SHARES:
        label, colour, hatch = SHARE_LOOKS[name]
        values = [shares[name] for _, shares in judged]
        axes.bar(
            [d for d, _ in judged],
            values,
            width=width,
            bottom=base,
            color=colour,
            hatch=hatch,
            edgecolor="#3a3a3a",
            linewidth=0.8,
            label=timeline.say(label),
        )
        base = [b + v for b, v in zip(base, values, strict=True)]
    for date, visit in zip(dates, timeline.visits, strict=True):
        words = _state_words(visit)
        if words:
            axes.text(date, 3, timeline.say(words), rotation=90, ha="center", va="bottom")
    axes.set_ylim(0, 100)
    axes.set_ylabel(timeline.say("per cent"))
    if judged:
        axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=5, frameon=False, borderpad=0)


def _state_words(visit: TimelineVisit) -> str:
    """What is written in place of a bar."""
    if visit.shares is not None and visit.state != "dead":
        return ""
    if visit.state in MET and visit.state != "dead":
        return "not judged"
    return STATE_WORDS.get(visit.state, "")


def _draw_changes(axes: Any, timeline: Timeline, dates: Sequence[datetime.date]) -> None:
    """Difference to the first visit with its 95 % interval; filled where it is beyond its doubt."""
    shift = datetime.timedelta(days=max(_width_days(dates) / 6.0, 0.5)) if dates else None
    axes.axhline(0.0, color=GREY, linewidth=1)
    for figure, (label, colour, mark, side) in FIGURE_LOOKS.items():
        name = timeline.say(label)
        axes.plot([], [], mark, color=colour, label=name, markersize=7)
        for date, visit in zip(dates, timeline.visits, strict=True):
            assert shift is not None  # there is a date
            at = date + side * shift
            if visit.is_first_colour:
                axes.plot([at], [0.0], mark, color=colour, markerfacecolor="none", markersize=7)
            for change in visit.changes:
                if change.figure != figure or change.lo95 is None or change.hi95 is None:
                    continue
                fill = colour if change.verdict == "changed" else "none"
                axes.plot([at, at], [change.lo95, change.hi95], "-", color=colour, linewidth=2)
                axes.plot(
                    [at], [change.difference], mark, color=colour, markerfacecolor=fill,
                    markersize=7, markeredgewidth=1.8,
                )  # fmt: skip
    axes.plot([], [], "o", color=GREY, markerfacecolor="none",
              label=timeline.say("hollow: no change seen beyond its doubt"))  # fmt: skip
    axes.set_ylabel(timeline.say("since the first visit"))
    axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=3, frameon=False, borderpad=0)


def _draw_heat(axes: Any, timeline: Timeline) -> None:
    """Degree heating weeks with the two published thresholds."""
    for heat in timeline.heat:
        axes.plot(_dates(heat), heat.dhw, color=BLUE)
    for limit in THRESHOLDS:
        axes.axhline(limit, color=GREY, linewidth=1, linestyle="--")
        axes.text(1.0, limit, f" {limit:g}", transform=axes.get_yaxis_transform(), va="center")
    highest = max(float(heat.highest()[1]) for heat in timeline.heat)
    axes.set_ylim(bottom=0, top=max(9.0, highest * 1.1))
    axes.set_ylabel(timeline.say("°C-weeks"))


def _dates(heat: HeatSeries) -> list[datetime.date]:
    """Return the days of a series as dates."""
    return [d.astype("datetime64[D]").item() for d in heat.days]


def _date_axis(panels: Sequence[Any], dates: Sequence[datetime.date], timeline: Timeline) -> None:
    """One axis of dates below the last panel."""
    from matplotlib import dates as marks

    ticks: Any = marks  # its functions carry no types
    last = panels[-1]
    if dates:
        ends = [min(dates), max(dates)]
        for heat in timeline.heat:
            days = _dates(heat)
            ends = [min(ends[0], days[0]), max(ends[1], days[-1])]
        pad = max((ends[1] - ends[0]).days * 0.05, 10.0)
        last.set_xlim(ticks.date2num(ends[0]) - pad, ticks.date2num(ends[1]) + pad)
    last.xaxis.set_major_locator(ticks.AutoDateLocator(minticks=3, maxticks=8))
    last.xaxis.set_major_formatter(ticks.DateFormatter("%Y-%m-%d"))
    last.tick_params(axis="x", rotation=30)
    for axes in panels:
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
