"""Plain words for the report: fits, outcomes, flags, causes of doubt, kinds of measurement."""

from __future__ import annotations

from collections.abc import Mapping

from dryslate.base.quality import Flag

OUTCOMES: Mapping[str, str] = {
    "corrected": "corrected with own card",
    "borrowed": "corrected with a neighbour's card",
    "refused": "refused",
    "no_card": "no card found",
    "unreadable": "could not be read",
    "not_yet": "not corrected yet",
}

ASIDE: Mapping[str, str] = {
    "blurred": "blurred",
    "not_reef": "not of the reef",
    "double": "taken twice",
    "not_to_use": "not to be used",
    "other": "for another reason",
}

FITS: Mapping[str, str] = {
    "neutral_gain": "a gain per channel, from the greys",
    "gain_veil": "a gain per channel and the veiling light, from the greys",
    "affine": "a 3 x 3 matrix and the veiling light, from all patches",
    "root_polynomial_2": "a root-polynomial of degree 2, from all patches",
    "one_point": "one picked point",
}

FITS_SHORT: Mapping[str, str] = {
    "neutral_gain": "gain",
    "gain_veil": "gain and veil",
    "affine": "3 x 3 matrix",
    "root_polynomial_2": "root-polynomial",
    "one_point": "one point",
}

FLAGS: Mapping[str, str] = {
    Flag.ASSUMED_OFF_PLANE: "distance from the card's plane not stated: assumed within a quarter "
    "of the diameter",
    Flag.FAR_FROM_CARD: "far outside the card's surroundings",
    Flag.STEEP_TILT: "card tilted by more than 30 degrees",
    Flag.FRAME_EDGE: "near the edge of the frame",
    Flag.LENS_UNKNOWN: "lens not calibrated: distortion is covered by a stated prior",
    Flag.FOCAL_UNKNOWN: "focal length not in the file: a broad prior was used",
    Flag.NOMINAL_VALUES: "card's colours not measured: only its greys were used",
    Flag.AIR_VALUES: "card's values hold in air: the shift under water is in the doubt",
    Flag.RED_WEAK: "weak red: wider doubt in colour",
    Flag.BORROWED: "correction borrowed from another photo",
    Flag.ONE_POINT: "corrected from one picked point only",
    Flag.FEW_MARKERS: "scale rests on a single marker or on corners given by hand",
}

CAUSES: Mapping[str, str] = {
    "pointing": "pointing",
    "plane": "card's plane and tilt",
    "lens": "lens",
    "print_scale": "card's printed size",
    "off_plane": "distance from the card's plane",
    "spread": "spread between corallites",
}

COLOUR_CAUSES: Mapping[str, str] = {
    "fit": "fit to the card's patches",
    "noise": "noise of the pixels",
    "card": "card's own values",
    "mismatch": "spectra unlike those of the card",
    "light": "light away from the card",
    "clipped": "blown-out channel",
}

KINDS: Mapping[str, str] = {
    "length": "length",
    "polyline": "length along a line",
    "outline": "outline",
    "corallites": "corallites",
    "colour": "colour",
}

VALUES: Mapping[str, tuple[str, str]] = {
    "length_mm": ("length", "mm"),
    "diameter_max_mm": ("longest diameter", "mm"),
    "diameter_across_mm": ("widest across it", "mm"),
    "area_cm2": ("area", "cm²"),
    "perimeter_mm": ("perimeter", "mm"),
    "corallite_mm": ("mean diameter of a corallite", "mm"),
}


def flag_words(flag: str) -> str:
    """Say a flag in plain words; an unknown one as it stands."""
    return FLAGS.get(flag, flag.replace("_", " "))


def value_words(name: str) -> tuple[str, str]:
    """Say what a value is, and its unit."""
    if name in VALUES:
        return VALUES[name]
    stem, _, unit = name.rpartition("_")
    return (stem or name).replace("_", " "), {"cm2": "cm²"}.get(unit, unit)
