"""The JSON document of one corrected photo: its keys are relied on by scripts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from dryslate.base.problems import Problem
from dryslate.core.card.found import CardSearch, FoundCard, MarkerSeen
from dryslate.core.colour.fit import ColourFit
from dryslate.core.scale.plane import Plane


def empty_document(photo: str, sha256: str | None) -> dict[str, Any]:
    """
    Return the document of a photo of which nothing is known yet.

    Parameters
    ----------
    photo : str
        Its name as given.
    sha256 : str or None
        Hash of its file; None where it could not be read.

    Returns
    -------
    dict
        Every key that scripts rely on, with nulls, empty lists and False.
    """
    return {
        "photo": photo,
        "sha256": sha256,
        "card": describe_card(None, None),
        "cards": [],
        "other_markers": [],
        "borrowed_from": None,
        "colour": describe_colour(None),
        "scale": describe_scale(None),
        "corrected": None,
        "problems": [],
    }


def describe_card(found: FoundCard | None, plane: Plane | None) -> dict[str, Any]:
    """
    Describe a found card, or say that there is none.

    Parameters
    ----------
    found : FoundCard or None
    plane : Plane or None
        Gives the tilt where it could be fitted.

    Returns
    -------
    dict
    """
    if found is None:
        return {
            "found": False,
            "name": None,
            "corners_px": None,
            "n_markers": 0,
            "tilt_deg": None,
            "tilt_deg_u": None,
            "values": None,
        }
    return {
        "found": True,
        "name": found.card.name,
        "corners_px": found.corners_px.tolist(),
        "n_markers": len(found.markers),
        "tilt_deg": None if plane is None else finite(plane.tilt_deg),
        "tilt_deg_u": None if plane is None else finite(plane.tilt_deg_u),
        "values": {"status": found.card.status, "medium": found.card.medium},
        "serial": found.card.serial,
        "how": found.how,
    }


def describe_colour(fit: ColourFit | None) -> dict[str, Any]:
    """
    Describe a colour fit, or say that there is none.

    Parameters
    ----------
    fit : ColourFit or None

    Returns
    -------
    dict
    """
    if fit is None:
        return {
            "usable": False,
            "fit": None,
            "left_out_de00_median": None,
            "left_out_de00_p95": None,
            "off_card_de00_p95": None,
            "gain": None,
            "n_patches": 0,
            "dropped": {},
        }
    return {
        "usable": bool(fit.usable),
        "fit": fit.fit,
        "left_out_de00_median": finite(fit.left_out_de00_median),
        "left_out_de00_p95": finite(fit.left_out_de00_p95),
        "off_card_de00_p95": finite(fit.off_card_de00_p95),
        "gain": [finite(g) for g in fit.gain],
        "n_patches": int(fit.n_patches),
        "dropped": dict(fit.dropped),
        "noise_after_gain": [finite(g) for g in fit.noise_after_gain],
        "veil": [finite(v) for v in fit.veil],
        "flags": [str(flag) for flag in fit.flags],
    }


def describe_scale(plane: Plane | None) -> dict[str, Any]:
    """
    Describe the scale at the card's centre, or say that there is none.

    Parameters
    ----------
    plane : Plane or None

    Returns
    -------
    dict
    """
    if plane is None:
        return {"usable": False, "px_per_mm": None, "px_per_mm_u": None}
    is_usable = not any(p.severity == "error" for p in plane.problems)
    return {
        "usable": is_usable,
        "px_per_mm": finite(plane.px_per_mm),
        "px_per_mm_u": finite(plane.px_per_mm_u),
        "flags": [str(flag) for flag in plane.flags],
    }


def describe_markers(markers: Sequence[MarkerSeen]) -> list[dict[str, Any]]:
    """
    Name markers that belong to no card.

    Parameters
    ----------
    markers : sequence of MarkerSeen

    Returns
    -------
    list of dict
    """
    return [
        {
            "dictionary": m.dictionary,
            "id": int(m.marker_id),
            "corners_px": m.corners_px.tolist(),
        }
        for m in markers
    ]


def describe_search(
    document: dict[str, Any], search: CardSearch, planes: Sequence[Plane | None]
) -> None:
    """
    Enter every card and every foreign marker of a search into a document.

    Parameters
    ----------
    document : dict
        Made by `empty_document`; filled in place, as the caller owns it.
    search : CardSearch
    planes : sequence of Plane or None
        One for each card, in the same order.
    """
    document["cards"] = [
        describe_card(found, plane) for found, plane in zip(search.cards, planes, strict=True)
    ]
    document["other_markers"] = describe_markers(search.other_markers)


def problem_dicts(problems: Iterable[Problem], photo: str) -> list[dict[str, str]]:
    """
    Return problems as dictionaries, each once, with the photo as place where none is given.

    Parameters
    ----------
    problems : iterable of Problem
    photo : str

    Returns
    -------
    list of dict
    """
    seen: dict[tuple[str, str, str], dict[str, str]] = {}
    for problem in problems:
        entry = problem.as_dict()
        entry["place"] = entry["place"] or photo
        seen.setdefault((entry["slug"], entry["place"], entry["message"]), entry)
    return list(seen.values())


def finite(value: float | None) -> float | None:
    """Return a plain float, or None where it is missing or not a number."""
    if value is None or not np.isfinite(value):
        return None
    return float(value)
