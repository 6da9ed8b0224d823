"""Find out which colours a card really has, and write them as a new definition."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from dryslate.app import card_photos
from dryslate.app.card_values import DESIGN_VALUES, CharacteriseOptions, Values
from dryslate.app.ports import PhotoReader, ReferenceTables
from dryslate.base.errors import InputError, SettingsError
from dryslate.base.problems import Problem
from dryslate.core.card.definition import CardDefinition, Patch
from dryslate.core.colour.characterise import (
    PatchValue,
    adaptation_u,
    join_readings,
)
from dryslate.core.colour.reflectance import ViewingTables, lab_from_reflectance
from dryslate.core.colour.spaces import lab_d50_to_d65, xyz_to_lab
from dryslate.formats.patch_readings import Illuminant, Readings, parse_readings

MIN_NEUTRALS = 3
RULER_U_FRAC = 0.0015
"""A line of 100 mm read on a good ruler to a half of its half-millimetre division."""
XYZ_WHITE = {"D50": (0.96422, 1.0, 0.82521), "D65": (0.95047, 1.0, 1.08883)}


def characterise(
    tables: ReferenceTables, reader: PhotoReader, options: CharacteriseOptions
) -> dict[str, Any]:
    """
    Find the card's values in one of the three ways and write the new definition.

    Parameters
    ----------
    tables, reader
        Ports.
    options : CharacteriseOptions

    Returns
    -------
    dict
        ``card``, ``path``, ``status``, ``medium``, ``patches`` (id, lab_d65, lab_u, n),
        ``problems`` and, where an older definition was moved aside, ``older``.

    Raises
    ------
    SettingsError
        ``characterise-way`` unless exactly one way is given; ``medium-unknown``;
        ``check-line-wrong`` if a measured line is not near 100 mm.
    InputError
        What the way raises; ``card-too-few-values`` if too little is known in the end.
    """
    card = tables.card(options.card)
    design = tables.design(options.card)
    ways = [bool(options.readings), bool(options.known or options.photos), bool(options.dry)]
    if sum(ways) != 1:
        raise SettingsError(
            "characterise-way",
            "Exactly one way to characterise is needed.",
            "Give --readings FILE; or --known CARD with --photo FILE...; or --dry FILE, "
            "--filled FILE and --ptfe X,Y for each of the two.",
        )
    if options.readings:
        base, values = design, values_from_file(tables, design, options)
    elif ways[1]:
        base, values = design, card_photos.values_from_photos(tables, reader, design, options)
    else:
        base, values = card, card_photos.values_in_water(tables, reader, card, options)
    problems = [*values.problems, *missing_values(base, values.patches)]
    new = _with_values(base, values, options)
    if base is not card and options.line_mm is None and options.serial in ("", card.serial):
        new = _sized_like(new, card, design)
    path = options.out or tables.place_for(new.name)
    older = tables.save_card(new, path)
    return {
        "card": new.name,
        "path": str(path),
        "older": str(older) if older else None,
        "status": new.status,
        "medium": new.medium,
        "serial": new.serial,
        "print_scale_u_frac": new.print_scale_u_frac,
        "patches": [
            {"id": v.patch_id, "lab_d65": v.lab_d65, "lab_u": v.lab_u, "n": v.n}
            for v in values.patches
        ],
        "problems": [p.as_dict() for p in problems],
    }


def values_from_file(
    tables: ReferenceTables, card: CardDefinition, options: CharacteriseOptions
) -> Values:
    """
    Take the values from a file of readings.

    Raises
    ------
    FormatError
        If the file follows neither format.
    InputError
        ``readings-nominal`` for design values, ``spectrum-too-narrow`` for spectra that do not
        cover the visible range,
        ``readings-light-unstated`` if neither file nor option says for which illuminant they
        hold, ``readings-observer-wrong`` for the 10 degree observer.
    SettingsError
        ``medium-unknown``.
    """
    if options.medium not in ("air", "water"):
        raise SettingsError(
            "medium-unknown",
            f"Values hold in air or in water, not in {options.medium!r}.",
            "Give --medium air or --medium water.",
        )
    assert options.readings is not None
    place = str(options.readings)
    readings = parse_readings(tables.read_text(options.readings), place)
    if DESIGN_VALUES in readings.source:
        raise InputError(
            "readings-nominal",
            f"{place}: these are the card's own design values, not readings.",
            "Measure the printed card and give those readings.",
        )
    is_spectral = readings.space == "reflectance"
    light: Illuminant = "D65" if is_spectral else _light(readings, options.illuminant, place)
    viewing = viewing_tables(tables) if is_spectral else None
    problems = list(readings.problems)
    ids = {p.patch_id.lower(): p.patch_id for p in card.patches}
    labs: dict[str, list[tuple[float, float, float]]] = {}
    labs_u: dict[str, list[tuple[float, float, float] | None]] = {}
    for r in readings.readings:
        patch_id = ids.get(r.name.lower()) or ids.get(r.other_name.lower())
        if patch_id is None:
            problems.append(_unknown_patch(r.name, r.place, card))
            continue
        if viewing is not None:
            lab = tuple(lab_from_reflectance(readings.wavelengths_nm, r.values, viewing))
        else:
            lab = _to_lab_d65(r.values, readings.space, light)
        labs.setdefault(patch_id, []).append((float(lab[0]), float(lab[1]), float(lab[2])))
        labs_u.setdefault(patch_id, []).append(r.values_u if readings.space == "lab" else None)
    extra = {i: _extra_u(v, light) for i, v in labs.items()}
    return Values(
        patches=join_readings(labs, labs_u, extra),
        status="measured",
        medium="water" if options.medium == "water" else "air",
        source=f"Readings in {Path(place).name}"
        + (f" ({readings.source})" if readings.source else "")
        + (", computed from their spectra" if is_spectral else "")
        + (", carried from D50 to D65 by Bradford adaptation." if light == "D50" else "."),
        problems=tuple(problems),
    )


def _light(readings: Readings, wished: str, place: str) -> Illuminant:
    """Which illuminant the readings hold for; unstated is not guessed."""
    if readings.observer_deg == 10:
        raise InputError(
            "readings-observer-wrong",
            f"{place}: the readings are for the 10 degree observer; cards hold the 2 degree one.",
            "Export them again for the 2 degree observer (CIE 1931).",
        )
    light = readings.illuminant or wished.upper()
    if light == "D50":
        return "D50"
    if light == "D65":
        return "D65"
    raise InputError(
        "readings-light-unstated",
        f"{place}: the file does not say for which illuminant the readings hold"
        + (f", and {wished!r} is neither D50 nor D65." if wished else "."),
        "Give --illuminant D50 or --illuminant D65, as set in the instrument's program "
        "(D50 is usual in print, D65 elsewhere).",
    )


def _to_lab_d65(values: tuple[float, ...], space: str, light: Illuminant) -> tuple[float, ...]:
    """Bring a reading to L*, a*, b* for D65."""
    lab = values
    if space == "xyz":
        lab = tuple(xyz_to_lab([v / 100.0 for v in values], XYZ_WHITE[light]))
    if light == "D50":
        lab = tuple(lab_d50_to_d65(lab))
    return lab


def viewing_tables(tables: ReferenceTables) -> ViewingTables:
    """Read the standard observer and the components of daylight."""
    observer, daylight = tables.table("light_observer"), tables.table("light_daylight")
    nm = np.array([float(r["wavelength_nm"]) for r in observer])
    assert [r["wavelength_nm"] for r in daylight] == [r["wavelength_nm"] for r in observer]
    return ViewingTables(
        wavelengths_nm=nm,
        observer=np.array([[float(r[f"{c}_bar"]) for c in "xyz"] for r in observer]),
        daylight=np.array([[float(r[c]) for c in ("s0", "s1", "s2")] for r in daylight]),
    )


def _extra_u(
    labs: list[tuple[float, float, float]], light: Illuminant
) -> tuple[float, float, float]:
    """What all readings of a patch share: the change of illuminant."""
    if light == "D65":
        return (0.0, 0.0, 0.0)
    a, b, c = adaptation_u(labs[0])
    return float(a), float(b), float(c)


def _unknown_patch(name: str, place: str, card: CardDefinition) -> Problem:
    """Say that a row names no patch of the card."""
    return Problem(
        slug="reading-patch-unknown",
        severity="warning",
        place=place,
        message=f"card {card.name!r} has no patch {name!r}; row left out.",
        fix=f"Patches: {', '.join(p.patch_id for p in card.patches)}.",
    )


def _with_values(
    card: CardDefinition, values: Values, options: CharacteriseOptions
) -> CardDefinition:
    """Build the new definition: the values found; patches without a value leave it."""
    found = {v.patch_id: v for v in values.patches}
    kept = [p for p in card.patches if p.patch_id in found]
    n_neutrals = sum(p.role == "neutral" for p in kept)
    if n_neutrals < MIN_NEUTRALS:
        listed = "; ".join(str(p) for p in values.problems[:5])
        raise InputError(
            "card-too-few-values",
            f"Values were found for {n_neutrals} neutral patches of card {card.name!r} "
            f"({MIN_NEUTRALS} needed at least)." + (f" {listed}" if listed else ""),
            "Measure every patch and call each by its id: dryslate card show.",
        )
    patches = tuple(_valued(p, found[p.patch_id], {k.patch_id for k in kept}) for p in kept)
    new = replace(
        card,
        name=options.name or card.name,
        patches=patches,
        status=values.status,
        medium=values.medium,
        serial=options.serial or card.serial,
        values_source=values.source,
    )
    return scale_card(new, options.line_mm) if options.line_mm else new


def _sized_like(
    new: CardDefinition, card: CardDefinition, design: CardDefinition
) -> CardDefinition:
    """Keep the size (and serial number) that the same print was given before."""
    line = (100 * card.width_mm / design.width_mm, 100 * card.height_mm / design.height_mm)
    if line == (100.0, 100.0):
        return replace(new, serial=card.serial)
    sized = scale_card(new, line)
    return replace(sized, serial=card.serial, print_scale_u_frac=card.print_scale_u_frac)


def _valued(patch: Patch, value: PatchValue, kept: set[str]) -> Patch:
    """Give a patch its value; a twin that left the card is no twin any more."""
    return replace(
        patch,
        lab_d65=value.lab_d65,
        lab_u=value.lab_u,
        twin_of=patch.twin_of if patch.twin_of in kept else "",
    )


def missing_values(card: CardDefinition, values: Sequence[PatchValue]) -> list[Problem]:
    """Say which patches of a card have no value."""
    found = {v.patch_id for v in values}
    return [
        Problem(
            slug="card-patch-no-value",
            severity="warning",
            place=f"patch {p.patch_id}",
            message="no value was found; the patch leaves the new definition.",
            fix="Measure it or show it too, or do without it.",
        )
        for p in card.patches
        if p.patch_id not in found
    ]


def scale_card(card: CardDefinition, line_mm: tuple[float, float]) -> CardDefinition:
    """
    Stretch a definition to the print's real size.

    Parameters
    ----------
    card : CardDefinition
    line_mm : tuple of float
        The lines of 100 mm as measured, across and down.

    Raises
    ------
    SettingsError
        ``check-line-wrong`` if a line is not between 80 and 120 mm.
    """
    if not all(80 <= v <= 120 for v in line_mm):
        raise SettingsError(
            "check-line-wrong",
            f"The lines of 100 mm were given as {line_mm[0]:g} and {line_mm[1]:g} mm.",
            "Give what the ruler shows, such as --line-mm 99.6,99.8.",
        )
    fx, fy = line_mm[0] / 100.0, line_mm[1] / 100.0
    both = math.sqrt(fx * fy)
    u = math.hypot(RULER_U_FRAC, (fx - fy) / 2)

    def stretched(item: Any) -> Any:  # a patch, box or scale bar: all have x, y and sizes
        sizes = {n: f for n, f in (("width_mm", fx), ("length_mm", fx), ("height_mm", fy))}
        changes = {"x_mm": item.x_mm * fx, "y_mm": item.y_mm * fy}
        changes |= {n: getattr(item, n) * f for n, f in sizes.items() if hasattr(item, n)}
        return replace(item, **changes)

    hole = card.lanyard_hole
    return replace(
        card,
        width_mm=card.width_mm * fx,
        height_mm=card.height_mm * fy,
        corner_radius_mm=card.corner_radius_mm * both,
        patches=tuple(stretched(p) for p in card.patches),
        markers=tuple(
            replace(m, x_mm=m.x_mm * fx, y_mm=m.y_mm * fy, side_mm=m.side_mm * both)
            for m in card.markers
        ),
        scale_bar=stretched(card.scale_bar) if card.scale_bar else None,
        pencil_strip=stretched(card.pencil_strip) if card.pencil_strip else None,
        thumb_zone=stretched(card.thumb_zone) if card.thumb_zone else None,
        lanyard_hole=(hole[0] * fx, hole[1] * fy, hole[2] * both) if hole else None,
        print_scale_u_frac=u,
    )
