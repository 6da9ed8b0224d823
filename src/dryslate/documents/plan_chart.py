"""Power curves of a plan: SVG with text that stays text, the same bytes each time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dryslate.documents.report_charts import BLUE, GREY, LOOK, ORANGE, svg_element


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartWords:
    """Words on the chart, in the reader's language."""

    x_title: str
    y_title: str
    wished: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerLine:
    """One curve: its name, power at each number of units, and that at both ends of the spread."""

    name: str
    power: Sequence[float]
    least: Sequence[float]
    most: Sequence[float]


def power_chart(
    units: Sequence[int], lines: Sequence[PowerLine], wished: float, words: ChartWords
) -> str:
    """
    Draw power against units; bands show what the doubt of the spread leaves open.

    Parameters
    ----------
    units : sequence of int
    lines : sequence of PowerLine
        One or two, told apart by dashes and marks as well as by colour.
    wished : float
        Drawn across.
    words : ChartWords

    Returns
    -------
    str
        An SVG element.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(LOOK):
        figure = Figure(figsize=(7.2, 4.2))
        axes = figure.add_subplot()
    looks = ((BLUE, "-", "o"), (ORANGE, "--", "s"))
    for line, (colour, dash, mark) in zip(lines, looks, strict=False):
        axes.fill_between(units, line.least, line.most, color=colour, alpha=0.16, linewidth=0)
        axes.plot(
            units, line.power, dash, color=colour, linewidth=2, marker=mark, markersize=5,
            markevery=max(1, len(units) // 12), label=line.name,
        )  # fmt: skip
    axes.axhline(wished, color=GREY, linewidth=1.5, linestyle=":", label=words.wished)
    axes.set_ylim(0, 1.02)
    axes.set_xlim(units[0], units[-1])
    axes.set_xlabel(words.x_title)
    axes.set_ylabel(words.y_title)
    axes.grid(color=GREY, linewidth=0.5, alpha=0.5)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=1, frameon=False, borderpad=0)
    return svg_element(figure, words.x_title)
