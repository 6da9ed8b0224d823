"""
The Python face: a handful of functions, numpy in and records out.

Nothing is written and nothing is kept; of a project only its figures are read. For the rest use the
command line or the use cases in ``dryslate.app``.
"""

from __future__ import annotations

from dryslate.api.identification import (
    genera,
    identify,
    lookalikes,
)
from dryslate.api.photo import (
    OpenPhoto,
    apply_correction,
    cards,
    find_cards,
    fit_colour,
    fit_plane,
    measure_colour,
    measure_corallites,
    measure_length,
    measure_outline,
    photo_from_array,
    read_lens,
    read_photo,
)
from dryslate.api.survey import survey_results
from dryslate.base.errors import DryslateError
from dryslate.core.measure.off_plane import OffPlane
from dryslate.core.measure.result import MeasureSettings

__all__ = [
    "DryslateError",
    "MeasureSettings",
    "OffPlane",
    "OpenPhoto",
    "apply_correction",
    "cards",
    "find_cards",
    "fit_colour",
    "fit_plane",
    "genera",
    "identify",
    "lookalikes",
    "measure_colour",
    "measure_corallites",
    "measure_length",
    "measure_outline",
    "photo_from_array",
    "read_lens",
    "read_photo",
    "survey_results",
]
