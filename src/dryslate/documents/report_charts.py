"""Charts of the report: SVG with text that stays text, the same bytes each time."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

BLUE, ORANGE, GREY = "#1f78c8", "#d9730d", "#8a8a8a"
ROW_IN = 0.27
MOST_ROWS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One row of marks per label: positions, and how they are drawn."""

    name: str
    values: Sequence[float | None]
    mark: str
    colour: str


def dot_chart(labels: Sequence[str], series: Sequence[Series], x_title: str) -> str:
    """
    Draw marks in rows, one row a label, first label on top.

    Parameters
    ----------
    labels : sequence of str
    series : sequence of Series
        Told apart by shape as well as by colour.
    x_title : str

    Returns
    -------
    str
        An SVG element.
    """
    figure, axes = _rows(labels, x_title)
    for s in series:
        points = [(v, k) for k, v in enumerate(s.values) if v is not None]
        axes.plot(
            [p[0] for p in points],
            [p[1] for p in points],
            s.mark,
            color=s.colour,
            markersize=11 if s.mark == "|" else 7,
            markeredgewidth=2,
            label=s.name,
            clip_on=False,
        )
    _legend(axes)
    axes.set_xlim(left=0)
    return svg_element(figure, x_title)


def interval_chart(
    labels: Sequence[str], values: Sequence[tuple[float, float, float]], x_title: str
) -> str:
    """
    Draw values with their intervals, one row each, first on top.

    Parameters
    ----------
    labels : sequence of str
    values : sequence of tuple
        Value, lower and upper end.
    x_title : str

    Returns
    -------
    str
        An SVG element.
    """
    figure, axes = _rows(labels, x_title)
    for k, (value, lo, hi) in enumerate(values):
        axes.plot([lo, hi], [k, k], "-", color=BLUE, linewidth=3, solid_capstyle="butt")
        axes.plot([lo, lo, None, hi, hi], [k - 0.2, k + 0.2, None, k - 0.2, k + 0.2], color=BLUE)
        axes.plot([value], [k], "o", color=ORANGE, markersize=6)
    axes.set_xlim(left=0)
    return svg_element(figure, x_title)


def strip_chart(
    labels: Sequence[str], each: Sequence[Sequence[float]], medians: Sequence[float], x_title: str
) -> str:
    """
    Draw all single values of each row, and its median, first row on top.

    Parameters
    ----------
    labels : sequence of str
    each : sequence of sequence of float
    medians : sequence of float
    x_title : str

    Returns
    -------
    str
        An SVG element.
    """
    figure, axes = _rows(labels, x_title)
    for k, values in enumerate(each):
        axes.plot(values, [k] * len(values), "o", color=GREY, markersize=3.5, alpha=0.6)
    axes.plot(medians, range(len(medians)), "D", color=ORANGE, markersize=6, label="median")
    axes.plot([], [], "o", color=GREY, markersize=3.5, label="one photo")
    _legend(axes)
    axes.set_xlim(left=0)
    return svg_element(figure, x_title)


def _rows(labels: Sequence[str], x_title: str) -> tuple[Any, Any]:
    """Make an empty chart with one row a label."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(LOOK):
        figure = Figure(figsize=(8.4, 1.15 + ROW_IN * len(labels)))
        axes = figure.add_subplot()
    axes.set_yticks(range(len(labels)), labels=list(labels))
    axes.set_ylim(len(labels) - 0.5, -0.5)
    axes.set_xlabel(x_title)
    axes.grid(axis="x", color=GREY, linewidth=0.5, alpha=0.6)
    axes.tick_params(axis="y", length=0)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    return figure, axes


def _legend(axes: Any) -> None:
    """Put the key above the chart."""
    axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=3, frameon=False, borderpad=0)


LOOK: dict[Any, Any] = {  # matplotlib lists its settings as literals
    "font.family": "sans-serif",
    "font.size": 11.0,
    "svg.fonttype": "none",
    "axes.axisbelow": True,
}


def svg_element(figure: Any, salt: str) -> str:
    """Write the chart as an SVG element that takes the page's text colour."""
    import matplotlib as mpl

    buffer = io.StringIO()
    with mpl.rc_context(LOOK | {"svg.hashsalt": f"dryslate {salt}"}):
        figure.savefig(
            buffer, format="svg", metadata={"Date": None}, transparent=True, bbox_inches="tight"
        )
    text = buffer.getvalue()
    text = re.sub(r"(?s)<metadata>.*?</metadata>\s*", "", text[text.index("<svg") :])
    return text.replace("#000000", "currentColor").replace("stroke: black", "stroke: currentColor")
