"""The table at the end of a run: what was corrected, what was not, and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any

from dryslate.app.correct_stop import stopping_problem
from dryslate.app.correction_records import Outcome
from dryslate.base.quality import Flag

OUTCOMES: tuple[Outcome, ...] = ("corrected", "borrowed", "refused", "no_card", "unreadable")
CORRECTED: tuple[Outcome, ...] = ("corrected", "borrowed")
OF_THE_RUN: tuple[Outcome, ...] = ("not_written", "not_reached")
"""Shown in the table only where there are some."""

WORDS: Mapping[str, str] = {
    "corrected": "corrected by their own card or point",
    "borrowed": "corrected with borrowed colours",
    "refused": "refused",
    "no_card": "no card",
    "unreadable": "unreadable",
    "not_written": "not written",
    "not_reached": "not reached",
}
LOOKING_ONLY_WORDS = "of these, for looking only"
"""Said of photos that are corrected, while no colour is to be measured in them."""
GREYS_ONLY_WORDS = "of these, by greys alone"
"""Said of photos whose card's colours are not known: its greys gave gain and veiling light."""
QUALITY_COLUMNS = ("photo", "card", "colour for", "95th off", "px per mm", "tilt")
N_QUALITY_MOST = 40
"""Photos whose quality is listed one by one; of more, the report or the pages tell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """
    The outcome of a run.

    Parameters
    ----------
    counts : Mapping
        Photos by outcome.
    n_looking_only : int
        Of those that were corrected, photos in which no colour is to be measured.
    n_greys_only : int
        Of those that were corrected, photos whose card has nominal values.
    qualities : tuple of tuple of str
        How good each corrected photo is, as rows of `QUALITY_COLUMNS`.
    reasons : tuple of (photo, outcome, reason)
        One for every photo that stays uncorrected, but those that were not reached.
    n_done_before : int
        Photos whose earlier result still holds.
    n_slates : int
        Photos of slates without a card, which none was expected to show; in no other count.
    stop : Mapping or None
        The problem that ended the run before its end.
    """

    counts: Mapping[str, int]
    n_looking_only: int = 0
    n_greys_only: int = 0
    qualities: tuple[tuple[str, ...], ...] = ()
    reasons: tuple[tuple[str, str, str], ...] = ()
    n_done_before: int = 0
    n_slates: int = 0
    stop: Mapping[str, str] | None = None

    @property
    def n_uncorrected(self) -> int:
        """How many photos stay as they are."""
        return sum(n for o, n in self.counts.items() if o not in CORRECTED)

    def rows(self) -> list[tuple[str, str]]:
        """Return the counts as rows of a table, in words."""
        shown = (*OUTCOMES, *(o for o in OF_THE_RUN if self.counts.get(o)))
        rows = [(WORDS[o], str(self.counts.get(o, 0))) for o in shown]
        if self.n_looking_only:
            rows.insert(len(CORRECTED), (LOOKING_ONLY_WORDS, str(self.n_looking_only)))
        if self.n_greys_only:
            rows.insert(len(CORRECTED), (GREYS_ONLY_WORDS, str(self.n_greys_only)))
        return rows


def summarise(documents: Iterable[Mapping[str, Any]], outcomes: Iterable[str]) -> Summary:
    """
    Count outcomes and collect the reasons of what stays uncorrected.

    Parameters
    ----------
    documents : iterable of Mapping
        The photos' JSON documents.
    outcomes : iterable of str
        One for each.

    Returns
    -------
    Summary
    """
    counts: Counter[str] = Counter()
    reasons = []
    n_looking_only = n_greys_only = 0
    qualities = []
    stop: Mapping[str, str] | None = None
    for document, outcome in zip(documents, outcomes, strict=True):
        counts[outcome] += 1
        if outcome in CORRECTED:
            n_looking_only += not document["colour"]["usable"]
            n_greys_only += rests_on_greys(document)
            qualities.append(quality_of(document))
        stop = stop or stopping_problem(document)
        if outcome in ("refused", "no_card", "unreadable", "not_written"):
            name = PurePath(str(document["photo"])).name
            reasons.append((name, WORDS[outcome], first_reason(document)))
    return Summary(
        counts=dict(counts),
        n_looking_only=n_looking_only,
        n_greys_only=n_greys_only,
        qualities=tuple(qualities),
        reasons=tuple(reasons),
        stop=stop,
    )


def quality_of(document: Mapping[str, Any]) -> tuple[str, ...]:
    """
    Say how good the colour and the scale of a corrected photo are.

    Parameters
    ----------
    document : Mapping
        The photo's JSON document.

    Returns
    -------
    tuple of str
        A row of `QUALITY_COLUMNS`: the expected 95th percentile of CIEDE2000 off the card, pixels
        a millimetre at the card and its tilt in degrees, each with its standard uncertainty.
    """
    card, colour, scale = document["card"], document["colour"], document["scale"]
    off = colour["off_card_de00_p95"]
    return (
        PurePath(str(document["photo"])).name,
        card["name"] or "-",
        "looking"
        if not colour["usable"]
        else "greys alone"
        if rests_on_greys(document)
        else "measuring",
        "-" if off is None else f"{off:.1f}",
        with_doubt(scale["px_per_mm"], scale["px_per_mm_u"], 2),
        with_doubt(card["tilt_deg"], card["tilt_deg_u"], 1),
    )


def rests_on_greys(document: Mapping[str, Any]) -> bool:
    """Whether a photo's card has nominal values, so that only its greys were used."""
    return Flag.NOMINAL_VALUES in document["colour"].get("flags", ())


def with_doubt(value: float | None, u: float | None, digits: int) -> str:
    """Write a value with its standard uncertainty, or that there is none."""
    return "-" if value is None or u is None else f"{value:.{digits}f} ± {u:.{digits}f}"


def first_reason(document: Mapping[str, Any]) -> str:
    """Return the message of the first error of a document, else of its first problem."""
    problems = document["problems"]
    errors = [p for p in problems if p["severity"] == "error"] or problems
    return str(errors[0]["message"]) if errors else "no reason given"
