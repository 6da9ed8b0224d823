"""Sizes noted under water, by eye or with a ruler, where no photo was measured."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from dryslate.app.identify_request import parse_size
from dryslate.base.errors import InputError
from dryslate.core.identify.evidence import JUVENILE_BELOW_MM, MEASURES

How = Literal["eye", "ruler"]
HOWS: tuple[How, ...] = ("eye", "ruler")
EYE_U_FRAC = 0.2
"""Standard uncertainty of a size judged by eye, as a share of it, where none is stated: a guess."""
RULER_U_MM = 1.0
"""Standard uncertainty of a size held against a ruler, where none is stated: a guess."""
Noted = Mapping[str, Mapping[str, Any]]
"""By measure: ``value_mm``, ``u_mm`` and ``how``."""


def parse_noted(texts: Mapping[str, tuple[str, str]]) -> dict[str, dict[str, Any]]:
    """
    Read sizes as they were written down.

    Parameters
    ----------
    texts : Mapping of str to (str, str)
        By measure: such as ``120`` or ``12±1 cm``, and ``eye`` or ``ruler``; an empty text is no
        size.

    Returns
    -------
    dict of str to dict
        By measure: ``value_mm``, ``u_mm``, ``how``. Where no doubt is stated it is 20 % by eye and
        1 mm with a ruler: an unknown doubt is never zero.

    Raises
    ------
    InputError
        ``noted-size-how``; ``identify-measure-unknown``, ``identify-size-unclear``,
        ``identify-size-unit``, ``identify-size-not-positive``.

    Examples
    --------
    >>> parse_noted({"colony_diameter": ("12 cm", "eye")})
    {'colony_diameter': {'value_mm': 120.0, 'u_mm': 24.0, 'how': 'eye'}}
    """
    found: dict[str, dict[str, Any]] = {}
    for measure, (text, how) in texts.items():
        if not text.strip():
            continue
        if measure not in MEASURES:
            raise InputError(
                "identify-measure-unknown",
                f"There is no measure {measure!r}.",
                f"Known: {', '.join(MEASURES)}.",
            )
        if how not in HOWS:
            raise InputError(
                "noted-size-how",
                f"{measure}: {how!r} is no way to note a size (there are {' and '.join(HOWS)}).",
                "Say how it was measured; a size from a photo is measured there.",
            )
        size, problem = parse_size(text, measure)
        if problem is not None:
            raise InputError(problem.slug, f"{measure}: {problem.message}.", problem.fix)
        if size is None or size.value_mm <= 0:
            raise InputError(
                "identify-size-not-positive",
                f"{measure}: a size is above zero; found {text.strip()}.",
                "Leave it empty where it was not noted.",
            )
        usual = EYE_U_FRAC * size.value_mm if how == "eye" else RULER_U_MM
        u_mm = size.u_mm or round(usual, 6)
        found[measure] = {"value_mm": size.value_mm, "u_mm": u_mm, "how": how}
    return found


def require_class(label: str, sizes: Noted, is_juvenile: bool | None) -> None:
    """
    Refuse a size class that the noted width contradicts by more than its doubt.

    Raises
    ------
    InputError
        ``record-size-class``.
    """
    width = sizes.get("colony_diameter")
    if width is None or is_juvenile is None:
        return
    value, slack = float(width["value_mm"]), 2.0 * float(width["u_mm"])
    limit = JUVENILE_BELOW_MM
    if value - slack > limit if is_juvenile else value + slack < limit:
        told = "under 5 cm" if is_juvenile else "5 cm or more"
        raise InputError(
            "record-size-class",
            f"{label}: noted as {told}, and its width as {value:g} mm.",
            "One of the two is a slip; widths are in millimetres unless cm stands behind them.",
        )


def noted_as_evidence(sizes: Noted) -> dict[str, list[float]]:
    """Return noted sizes as evidence takes them: value and standard uncertainty by measure."""
    return {m: [float(s["value_mm"]), float(s["u_mm"])] for m, s in sizes.items()}
