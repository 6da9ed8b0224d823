"""The report of a survey's results, as HTML and as PDF, from the same blocks."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import resources
from typing import TYPE_CHECKING, Any

from dryslate import __version__
from dryslate.documents.report_blocks import Block
from dryslate.documents.report_language import Speech
from dryslate.documents.survey_first_page import first_page
from dryslate.documents.survey_methods import limits, metadata, methods, origin, trail
from dryslate.documents.survey_sections import sections

if TYPE_CHECKING:
    from dryslate.app.report_contents import SurveyReport


def survey_blocks(report: SurveyReport, language: str) -> list[Block]:
    """
    Return the report as blocks.

    Parameters
    ----------
    report : SurveyReport
    language : {"en", "fr"}

    Returns
    -------
    list of Block

    Raises
    ------
    SettingsError
        ``report-language-unknown``.
    """
    speech = Speech(language)
    made, every, missing = sections(report, speech)
    return [
        *first_page(report, speech, missing),
        Block(kind="break"),
        *made,
        *methods(report, speech),
        *metadata(report, speech),
        *limits(report, speech),
        *every,
        *(trail(report, speech) if "trail" in report.choice.parts else []),
        *origin(report, speech, __version__),
    ]


def survey_html(report: SurveyReport, language: str = "en") -> str:
    """
    Return the report as one page that needs nothing else.

    Parameters
    ----------
    report : SurveyReport
    language : {"en", "fr"}

    Returns
    -------
    str
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
    blocks = [b for b in survey_blocks(report, language) if not b.is_paper]
    anchors = anchors_of(blocks)
    speech = Speech(language)
    return environment.get_template("survey_report.html").render(
        blocks=blocks,
        anchors=anchors,
        language="en-GB" if language == "en" else language,
        title=f"{speech.say('Results of the survey')}{speech.colon}{report.title}",
        parts=speech.say("Parts of this report"),
        contents=[b for b in blocks if b.kind == "heading" and b.anchor],
        css="".join(
            (folder / name).read_text(encoding="utf-8")
            for name in ("report.css", "survey_report.css")
        ),
    )


def survey_pdf(report: SurveyReport, language: str = "en") -> bytes:
    """
    Return the report as a PDF for paper.

    Parameters
    ----------
    report : SurveyReport
    language : {"en", "fr"}

    Returns
    -------
    bytes
    """
    from dryslate.documents.typesetting import typeset

    speech = Speech(language)
    data: dict[str, Any] = {
        "language": language,
        "title": f"{speech.say('Results of the survey')}{speech.colon}{report.title}",
        "page": speech.say("page"),
        "blocks": [
            _plain(b)
            for b in survey_blocks(report, language)
            if not b.is_wide and (b.kind != "ledger" or b.is_paper)
        ],
    }
    return typeset("survey_report.typ", data)


def _plain(block: Block) -> dict[str, Any]:
    """Return a block as the typesetter reads it: black ink, and links only where they lead."""
    found = block.as_dict()
    for drawing in (found, *found["drawings"]):
        drawing["svg"] = drawing["svg"].replace("currentColor", "#000000")
    return found


def anchors_of(blocks: Sequence[Block]) -> set[str]:
    """
    Return every anchor of a document.

    Parameters
    ----------
    blocks : sequence of Block

    Returns
    -------
    set of str
    """
    found = {block.anchor for block in blocks}
    found |= {row["anchor"] for block in blocks for row in block.rows}
    return found - {""}
