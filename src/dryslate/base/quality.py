"""Quality flags: doubt that is not a number, named once and documented in ``docs/flags.md``."""

from __future__ import annotations

from enum import StrEnum


class Flag(StrEnum):
    """Named reservations that travel with a value."""

    ASSUMED_OFF_PLANE = "assumed"
    """The distance from the card's plane was not stated: a quarter of the diameter was assumed."""
    FAR_FROM_CARD = "far_from_card"
    """The points lie far outside the card's surroundings."""
    STEEP_TILT = "steep_tilt"
    """The card is tilted by more than 30 degrees to the line of sight."""
    FRAME_EDGE = "frame_edge"
    """The points lie near the edge of the frame, where a wide lens distorts most."""
    LENS_UNKNOWN = "lens_unknown"
    """No lens calibration: distortion is covered by a stated prior only."""
    FOCAL_UNKNOWN = "focal_unknown"
    """No focal length in the file: a broad prior was used."""
    NOMINAL_VALUES = "nominal_values"
    """The card's colours are not measured: only its greys were used."""
    AIR_VALUES = "air_values"
    """The card's values hold in air; the shift under water is a stated uncertainty."""
    RED_WEAK = "red_weak"
    """The red channel is weak: the doubt in colour is wider."""
    BORROWED = "borrowed"
    """The correction comes from another photo."""
    ONE_POINT = "one_point"
    """Corrected from one picked point only."""
    FEW_MARKERS = "few_markers"
    """Scale rests on a single marker or on corners given by hand."""
