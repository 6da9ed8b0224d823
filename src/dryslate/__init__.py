"""
dryslate: from a memory card of reef photos to corrected, scaled and measured corals.

Importing this package does no work; the names below are loaded when they are first used.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_API = (
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
)

__all__ = ["__version__", *_API]  # noqa: PLE0604  the names are those of the lazy table above


def __getattr__(name: str) -> Any:
    """Load a public function when it is first used."""
    if name in _API:
        return getattr(importlib.import_module("dryslate.api"), name)
    raise AttributeError(f"module 'dryslate' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
