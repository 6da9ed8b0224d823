"""The size of a coral's corallites, measured in a photo and handed to the identification."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryslate.app.measure import measure_photo
from dryslate.app.measure_request import MeasureOptions, gather
from dryslate.app.ports import PhotoReader, ReferenceTables
from dryslate.base.problems import Problem
from dryslate.core.identify.evidence import Size


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredSize:
    """
    A size from a photo.

    Parameters
    ----------
    size : Size or None
        Mean of the corallites with its standard uncertainty; None where it was not measured.
    document : Mapping
        The whole measurement, as `dryslate.app.measure.measure_photo` gives it.
    problems : tuple of Problem
        Of the measurement.
    """

    size: Size | None
    document: Mapping[str, Any]
    problems: tuple[Problem, ...]


def measure_size(
    photo: Path,
    corallites: Path,
    ports: tuple[PhotoReader, ReferenceTables],
    options: MeasureOptions,
) -> MeasuredSize:
    """
    Measure corallites in a photo.

    Parameters
    ----------
    photo, corallites : Path
        The photo, and a file with X1,Y1,X2,Y2 a line in its pixels, one corallite each.
    ports : tuple of PhotoReader and ReferenceTables
    options : MeasureOptions

    Returns
    -------
    MeasuredSize

    Raises
    ------
    InputError, FormatError, SettingsError
        When a file cannot be read, or the options contradict each other.
    """
    reader, tables = ports
    document = measure_photo(photo, gather((), (), (corallites,)), reader, tables, options)[0]
    value, u = document["corallite_mm"], document["corallite_mm_u"]
    return MeasuredSize(
        size=None if value is None else Size(value_mm=float(value), u_mm=float(u)),
        document=document,
        problems=tuple(Problem(**p) for p in document["problems"]),
    )
