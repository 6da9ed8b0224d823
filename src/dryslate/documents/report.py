"""The report as one HTML file that needs nothing else."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from importlib import resources
from typing import TYPE_CHECKING, Any

from dryslate import __version__
from dryslate.app.report_records import MeasuredCoral, MeasuredValue, PhotoPart, Picture, Report
from dryslate.app.report_words import (
    ASIDE,
    CAUSES,
    COLOUR_CAUSES,
    FITS,
    FITS_SHORT,
    KINDS,
    OUTCOMES,
)
from dryslate.app.taxon_words import italic_html
from dryslate.documents.report_charts import (
    BLUE,
    GREY,
    MOST_ROWS,
    ORANGE,
    Series,
    dot_chart,
    interval_chart,
    strip_chart,
)
from dryslate.documents.report_numbers import interval, plain, sentence, with_doubt

if TYPE_CHECKING:
    from markupsafe import Markup

SIGNS = {
    "corrected": "●",
    "borrowed": "◐",
    "refused": "■",
    "no_card": "○",
    "unreadable": "▲",
    "not_yet": "◇",
}
PATTERNS = ("solid", "lines", "dots", "cross", "pale", "steps")


def render_report(report: Report) -> str:
    """
    Set the report; the same report gives the same text.

    Parameters
    ----------
    report : Report

    Returns
    -------
    str
        HTML with its style, pictures and charts inside; no scripts, nothing fetched.
    """
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    folder = resources.files("dryslate.documents") / "templates"
    environment = Environment(
        loader=FunctionLoader(lambda name: (folder / name).read_text(encoding="utf-8")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["jpeg_uri"] = _jpeg_uri
    environment.filters["sentence"] = sentence
    environment.filters["taxon"] = lambda text: _italics(text, report, is_name=True)
    environment.filters["genera"] = lambda text: _italics(text, report, is_name=False)
    environment.globals.update(
        plain=plain,
        with_doubt=with_doubt,
        interval=interval,
        points=_points,
        middle=_middle,
        shares=_shares,
        share_words=_share_words,
        signs=SIGNS,
        outcome_words=OUTCOMES,
        aside_words=ASIDE,
        fit_words=FITS,
        fit_short=FITS_SHORT,
        kind_words=KINDS,
        cause_words=CAUSES,
        colour_cause_words=COLOUR_CAUSES,
        patterns={
            **dict(zip(CAUSES, PATTERNS, strict=True)),
            **dict(zip(COLOUR_CAUSES, PATTERNS, strict=True)),
        },
    )
    photos = [p for v in report.visits for p in v.photos]
    return environment.get_template("report.html").render(
        r=report,
        version=__version__,
        css=(folder / "report.css").read_text(encoding="utf-8"),
        photos=photos,
        left_alone=[p for p in photos if p.outcome not in ("corrected", "borrowed")],
        worth_a_look=[p for p in photos if _has_warnings(p)],
        lead=_lead(photos),
        places=_places(report),
        shared_notes=_shared_notes(report.corals),
        corals_of=_corals_by_photo(report.corals),
        number_of={p.photo_id: p.number for p in photos},
        quality_charts=_quality_charts(photos),
        length_charts=_length_charts(report.corals),
        patch_charts=_patch_charts(report),
    )


def _italics(text: str, report: Report, *, is_name: bool) -> Markup:
    """Write a text with its genus names in italics."""
    from markupsafe import Markup

    written = italic_html(str(text), report.genus_names, is_name=is_name)
    return Markup(written)


def _jpeg_uri(picture: Picture) -> str:
    """Turn a small picture into what an image element can hold."""
    return "data:image/jpeg;base64," + base64.b64encode(picture.jpeg).decode("ascii")


def _points(points: Sequence[tuple[float, float]]) -> str:
    """Write points as an SVG outline takes them."""
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _middle(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return the middle of some points."""
    return sum(p[0] for p in points) / len(points), sum(p[1] for p in points) / len(points)


def _shares(value: MeasuredValue) -> list[tuple[str, str, float, float]]:
    """Cause, its words, start and width in per cent of the variance, largest first."""
    rows, start = [], 0.0
    for cause, share in sorted(value.shares.items(), key=lambda item: -item[1]):
        words = CAUSES.get(cause) or COLOUR_CAUSES[cause]
        rows.append((cause, words, 100 * start, 100 * share))
        start += share
    return rows


def _share_words(value: MeasuredValue) -> str:
    """Name the causes that carry a twentieth of the variance or more."""
    rows = _shares(value)
    told = [row for row in rows if row[3] >= 5] or rows[:1]
    return ", ".join(f"{words} {share:.0f}\u00a0%" for _, words, _, share in told)


def _has_warnings(photo: PhotoPart) -> bool:
    """Tell whether a corrected photo comes with a warning."""
    is_done = photo.outcome in ("corrected", "borrowed")
    return is_done and any(p["severity"] != "note" for p in photo.problems)


def _places(report: Report) -> str:
    """Name the sites, or count them where there are many."""
    sites = list(dict.fromkeys(v.site for v in report.visits))
    if len(sites) > 3:
        return f"{len(sites)} sites"
    return " and ".join(filter(None, [", ".join(sites[:-1]), *sites[-1:]])) or report.title


def _lead(photos: Sequence[PhotoPart]) -> PhotoPart | None:
    """Return the photo whose correction did most: the one to show first."""

    def reach(photo: PhotoPart) -> float:
        gain = [g for g in photo.result["colour"]["gain"] or () if g is not None]
        return max(gain) / min(gain) if gain and min(gain) > 0 else 0.0

    shown = [
        p for p in photos if p.outcome == "corrected" and p.after.jpeg and not _has_warnings(p)
    ]
    return max(shown, key=reach, default=None)


def _shared_notes(corals: Sequence[MeasuredCoral]) -> list[str]:
    """Return the notes that stand at every length and area: told once, above the table."""
    sized = [c for c in corals if c.kind != "colour"]
    if len(sized) < 2:
        return []
    return [n for n in sized[0].notes if all(n in c.notes for c in sized)]


def _corals_by_photo(
    corals: Sequence[MeasuredCoral],
) -> dict[str, list[tuple[int, MeasuredCoral]]]:
    """Return the measured corals of each photo, numbered as in the table."""
    found: dict[str, list[tuple[int, MeasuredCoral]]] = {}
    for k, coral in enumerate(corals, start=1):
        found.setdefault(coral.photo_id, []).append((k, coral))
    return found


def _chunks(rows: Sequence[Any]) -> list[Sequence[Any]]:
    """Cut rows into charts of a readable height."""
    return [rows[k : k + MOST_ROWS] for k in range(0, len(rows), MOST_ROWS)]


def _quality_charts(photos: Sequence[PhotoPart]) -> list[str]:
    """Draw the check differences and the expected one for every corrected photo."""
    rows = [
        (f"{p.number} · {p.name}", p.result["colour"])
        for p in photos
        if p.outcome in ("corrected", "borrowed") and p.result.get("colour")
    ]
    return [
        dot_chart(
            [label for label, _ in part],
            [
                Series(
                    name="left-out patches, median",
                    values=[c.get("left_out_de00_median") for _, c in part],
                    mark="o",
                    colour=BLUE,
                ),
                Series(
                    name="left-out patches, 95th",
                    values=[c.get("left_out_de00_p95") for _, c in part],
                    mark="|",
                    colour=GREY,
                ),
                Series(
                    name="expected off the card, 95th",
                    values=[c.get("off_card_de00_p95") for _, c in part],
                    mark="D",
                    colour=ORANGE,
                ),
            ],
            "colour difference (CIEDE2000)",
        )
        for part in _chunks(rows)
    ]


def _length_charts(corals: Sequence[MeasuredCoral]) -> list[tuple[str, str]]:
    """Draw the first value of each coral (of a colour all three) with its interval."""
    by_kind: dict[tuple[str, str], list[tuple[str, MeasuredValue]]] = {}
    for k, coral in enumerate(corals, start=1):
        for value in coral.values if coral.kind == "colour" else coral.values[:1]:
            by_kind.setdefault((value.name, value.unit), []).append(
                (f"{k} · {coral.colony}", value)
            )
    charts = []
    for (name, unit), rows in sorted(by_kind.items()):
        for part in _chunks(rows):
            svg = interval_chart(
                [label for label, _ in part],
                [(v.value, v.lo95, v.hi95) for _, v in part],
                f"{', '.join(filter(None, (name, unit)))} (dot: value; bar: 95 % interval)",
            )
            charts.append((name, svg))
    return charts


def _patch_charts(report: Report) -> list[tuple[str, str]]:
    """Draw how far each patch was off over the trip, one chart a card."""
    charts = []
    for card in sorted({p.card for p in report.patches}):
        rows = [p for p in report.patches if p.card == card]
        for part in _chunks(rows):
            svg = strip_chart(
                [p.patch_id for p in part],
                [p.each_de00 for p in part],
                [p.median_de00 for p in part],
                f"card {card}: patch after correction against its stated value (CIEDE2000)",
            )
            charts.append((card, svg))
    return charts
