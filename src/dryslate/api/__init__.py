"""
The Python face: a handful of functions, numpy in and records out.

Nothing is written and nothing is kept; for a project use the command line or the use cases in
``dryslate.app``.
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
    read_photo,
)

__all__ = [
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
    "read_photo",
]
