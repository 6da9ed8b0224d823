"""A measurement in words: values with their doubt, what the doubt is made of, what to know."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from starlette.requests import Request

from dryslate.base.figures import decimals_for
from dryslate.web.languages import N_, language_of, number
from dryslate.web.pages import translate
from dryslate.web.said import semicolon, told

VALUES = (
    ("length_mm", N_("length"), "mm"),
    ("area_cm2", N_("area"), "cm²"),
    ("perimeter_mm", N_("perimeter"), "mm"),
    ("diameter_max_mm", N_("longest diameter"), "mm"),
    ("diameter_across_mm", N_("widest across it"), "mm"),
    ("corallite_mm", N_("mean corallite"), "mm"),
)
CAUSES = {
    "pointing": N_("where the points were set"),
    "spread": N_("how much the corallites differ"),
    "plane": N_("where the card's corners are"),
    "lens": N_("what is known of the lens"),
    "print_scale": N_("how true the print of the card is"),
    "off_plane": N_("height above or below the card"),
    "pixels": N_("noise and texture of the area"),
    "fit": N_("the colour correction"),
}
FLAGS = {
    "assumed": N_("where the card stood was not said: a quarter of the diameter is allowed for"),
    "far_from_card": N_("far from the card"),
    "steep_tilt": N_("card tilted by more than 30 degrees"),
    "frame_edge": N_("near the edge of the frame, where a wide lens bends most"),
    "lens_unknown": N_("lens not calibrated"),
    "focal_unknown": N_("focal length unknown"),
    "nominal_values": N_("the card's colours are not measured: only its greys were used"),
    "air_values": N_("the card's values hold in air"),
    "red_weak": N_("hardly any red is left in the light"),
    "borrowed": N_("colours by the card of another photo"),
    "one_point": N_("corrected from one picked point only"),
    "few_markers": N_("the scale rests on one marker, or on corners set by hand"),
}

FIXES = {
    "measure-off-plane-assumed": N_("Say where the card stood, to narrow the interval."),
    "measure-no-card": N_("Measure in a photo with a card."),
    "outline-points-crowded": N_("Set fewer points, or zoom in and set them more surely."),
    "measure-too-short": N_(
        "Zoom in and set the points more surely, or take the photo from nearer."
    ),
}
"""What to do about a problem on the page, where its own words name options of a command."""


def reading_words(request: Request, told: Mapping[str, Any]) -> dict[str, Any]:
    """
    Put a measurement into words.

    Parameters
    ----------
    request : Request
        Says in which language.
    told : Mapping
        As `dryslate.app.measure_try.try_measure` returns it, or the values of a stored one.

    Returns
    -------
    dict
        ``values`` (label, text, interval), ``budget`` (label, text, share of the variance of the
        first value), ``flags``, ``problems`` (as they are), ``hex`` for a colour.
    """
    return {
        "values": list(_values(request, told)),
        "budget": list(_budget(request, told)),
        "flags": [translate(request, FLAGS[f]) for f in told.get("flags", ()) if f in FLAGS],
        "problems": [_fixed(request, problem) for problem in told.get("problems", ())],
        "hex": told.get("srgb_hex"),
    }


def _fixed(request: Request, problem: Mapping[str, Any]) -> dict[str, Any]:
    """A problem with what to do about it here."""
    fix = FIXES.get(str(problem.get("slug")))
    words = told(language_of(request), problem)
    return words if fix is None else {**words, "fix": translate(request, fix)}


def short_words(request: Request, values: Mapping[str, Any]) -> str:
    """Say the first value of a stored measurement with its doubt."""
    first = next(iter(_values(request, values)), None)
    if first is None:
        return "–"
    return f"L* {first['text']}" if values.get("lab") is not None else first["text"]


def _values(request: Request, told: Mapping[str, Any]) -> Iterator[dict[str, str]]:
    """Each value that is known, with its interval."""
    language = language_of(request)
    for name, label, unit in VALUES:
        value, u = told.get(name), told.get(f"{name}_u")
        if value is None or u is None:
            continue
        n = decimals_for(float(u))
        low, high = (number(told[f"{name}{end}"], n, language) for end in ("_lo95", "_hi95"))
        yield {
            "label": translate(request, label),
            "text": f"{number(value, n, language)} ± {number(u, n, language)} {unit}",
            "interval": _interval(request, low, high, unit),
        }
    if told.get("n_corallites"):
        yield _spread(request, told)
    lab = told.get("lab")
    for k, label in enumerate(("L*", "a*", "b*") if lab is not None else ()):
        u = float(told["lab_u"][k])
        n = decimals_for(u)
        low, high = (number(told[f"lab{end}"][k], n, language) for end in ("_lo95", "_hi95"))
        text = f"{number(told['lab'][k], n, language)} ± {number(u, n, language)}"
        yield {"label": label, "text": text, "interval": _interval(request, low, high, "")}


def _spread(request: Request, told: Mapping[str, Any]) -> dict[str, str]:
    """How many corallites, and how much they differ."""
    n = number(told["n_corallites"], 0, language_of(request))
    sd = told.get("corallite_sd_mm")
    words = "" if sd is None else f"{number(sd, 2, language_of(request))} mm"
    label = translate(request, N_("corallites, and their standard deviation"))
    return {
        "label": label,
        "text": semicolon(language_of(request)).join(part for part in (n, words) if part),
        "interval": "",
    }


def _interval(request: Request, low: str, high: str, unit: str) -> str:
    """Say an interval."""
    words = translate(request, N_("95 %%: %(low)s to %(high)s")) % {"low": low, "high": high}
    return f"{words} {unit}".rstrip()


def _budget(request: Request, told: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """What the doubt of the first value is made of, the largest part first."""
    budget = told.get("budget") or {}
    first = next((budget[name] for name, _, _ in VALUES if name in budget), budget)
    parts = [p for p in (_part(request, *item) for item in first.items()) if p is not None]
    total = sum(part["u"] ** 2 for part in parts)
    for part in sorted(parts, key=lambda p: -float(p["u"])):
        share = part["u"] ** 2 / total if total > 0 else 0.0
        if share >= 0.0005:
            yield {"label": part["label"], "text": part["text"], "share": round(share, 4)}


def _part(request: Request, name: str, u: Any) -> dict[str, Any] | None:
    """One cause: its name, its standard uncertainty as number and in words."""
    stem = name.removesuffix("_u")
    unit = {"_mm": "mm", "_cm2": "cm²"}.get(
        next((e for e in ("_mm", "_cm2") if stem.endswith(e)), "")
    )
    cause = stem.removesuffix("_mm").removesuffix("_cm2").removesuffix("_lab")
    if not isinstance(u, int | float) or u <= 0:
        return None
    text = f"{number(u, decimals_for(float(u)), language_of(request))} {unit or ''}".strip()
    label = translate(request, CAUSES[cause]) if cause in CAUSES else cause.replace("_", " ")
    return {"label": label, "text": text, "u": float(u)}
