"""What figures of a survey are made with beside the records."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from dryslate.base.errors import InputError
from dryslate.core.survey.density import JUVENILE_CM
from dryslate.core.survey.size_frequency import CLASS_EDGES_CM

if TYPE_CHECKING:
    from dryslate.app.adjusted_results import NameFacts
    from dryslate.app.survey_records import Category
    from dryslate.core.survey.coverage import CoverageTable
    from dryslate.formats.confusion_csv import ConfusionTable


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultSettings:
    """
    What is fixed before the figures are made.

    Parameters
    ----------
    usual : tuple of Category
        The list of a project that has none of its own.
    coverage : CoverageTable or None
        Adds the flags of simulated coverage.
    size_edges_cm : tuple of float
        Lower ends of the size classes; the last is open.
    size_cut_off_cm : float
        Smaller colonies leave the sizes; 0: none does.
    juvenile_cm : float
        Colonies under it are juveniles.
    names : callable or None
        Gives what is known of names, asked for only where figures by name are corrected for
        misnaming; None: they are not.
    error_table : ConfusionTable or None
        A table from outside to correct them by; None: the project's own second looks.
    """

    usual: tuple[Category, ...] = ()
    coverage: CoverageTable | None = None
    size_edges_cm: tuple[float, ...] = CLASS_EDGES_CM
    size_cut_off_cm: float = 0.0
    juvenile_cm: float = JUVENILE_CM
    names: Callable[[], NameFacts] | None = None
    error_table: ConfusionTable | None = None

    def __post_init__(self) -> None:
        """Refuse classes and limits that cannot be."""
        edges = self.size_edges_cm
        if not edges or edges[0] < 0 or any(b <= a for a, b in pairwise(edges)):
            raise InputError(
                "results-size-classes-wrong",
                f"Size classes from {', '.join(f'{e:g}' for e in edges)} cm cannot be.",
                "Give the lower end of each class in cm, rising, such as 0,5,10,20,40.",
            )
        if not 0 <= self.size_cut_off_cm < float("inf") or not 0 < self.juvenile_cm < float("inf"):
            raise InputError(
                "results-size-limit-wrong",
                f"A cut-off of {self.size_cut_off_cm:g} cm or juveniles under "
                f"{self.juvenile_cm:g} cm cannot be.",
                "Give a length in cm: 0 or more for the cut-off, above 0 for juveniles.",
            )


def parse_size_classes(text: str | None) -> tuple[float, ...] | None:
    """
    Read the lower ends of size classes as typed: numbers with commas between.

    Parameters
    ----------
    text : str or None

    Returns
    -------
    tuple of float or None

    Raises
    ------
    InputError
        ``results-size-classes-wrong``.
    """
    if text is None:
        return None
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        raise InputError(
            "results-size-classes-wrong",
            f"{text!r} is not a list of numbers.",
            "Give the lower end of each class in cm, rising, such as 0,5,10,20,40.",
        ) from None


def rng_of(*words: str) -> np.random.Generator:
    """
    Return the random numbers of one figure: the same for the same figure, in whatever order.

    Parameters
    ----------
    *words : str
        What the figure is of, and the sums it is made of; no name of a place, for that of a
        sensitive site is not published, and whoever has the archive is to draw the same.

    Returns
    -------
    numpy.random.Generator
    """
    return np.random.default_rng(zlib.crc32("\t".join(words).encode("utf-8")))
