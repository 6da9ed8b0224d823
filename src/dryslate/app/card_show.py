"""Show, print and draw cards."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from dryslate.app.card_values import DESIGN_VALUES
from dryslate.app.ports import DocumentWriter, ReferenceTables
from dryslate.core.card.definition import CardDefinition
from dryslate.formats.cgats import CgatsTable, format_cgats

LIST_COLUMNS = ("card", "mm", "patches", "greys", "markers", "values", "in", "serial")


def list_cards(tables: ReferenceTables) -> list[dict[str, Any]]:
    """Return one short document per known card."""
    return [
        {
            "name": card.name,
            "title": card.title,
            "width_mm": card.width_mm,
            "height_mm": card.height_mm,
            "n_patches": len(card.patches),
            "n_neutrals": len(card.neutrals),
            "n_markers": len(card.markers),
            "status": card.status,
            "medium": card.medium,
            "serial": card.serial,
        }
        for card in tables.cards()
    ]


def list_row(card: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the cells of `LIST_COLUMNS` for one document of `list_cards`."""
    return (
        card["name"],
        f"{card['width_mm']:g}×{card['height_mm']:g}",
        str(card["n_patches"]),
        str(card["n_neutrals"]),
        str(card["n_markers"]),
        card["status"].replace("_", " "),
        card["medium"],
        card["serial"],
    )


def show_card(tables: ReferenceTables, name: str) -> dict[str, Any]:
    """
    Return a card as the JSON document that scripts rely on.

    Raises
    ------
    InputError
        ``card-unknown``.
    """
    card = tables.card(name)
    return {
        "name": card.name,
        "width_mm": card.width_mm,
        "height_mm": card.height_mm,
        "status": card.status,
        "medium": card.medium,
        "print_scale_u_frac": card.print_scale_u_frac,
        "patches": [
            {
                "id": p.patch_id,
                "x_mm": p.x_mm,
                "y_mm": p.y_mm,
                "width_mm": p.width_mm,
                "height_mm": p.height_mm,
                "role": p.role,
                "lab_d65": list(p.lab_d65),
            }
            for p in card.patches
        ],
        "markers": [
            {
                "dictionary": m.dictionary,
                "id": m.marker_id,
                "x_mm": m.x_mm,
                "y_mm": m.y_mm,
                "side_mm": m.side_mm,
                "turn_deg": m.turn_deg,
            }
            for m in card.markers
        ],
    }


def card_as_cgats(tables: ReferenceTables, name: str) -> str:
    """
    Return a card's values as CGATS.17 text, for other programs and as a form for measuring.

    Raises
    ------
    InputError
        ``card-unknown``.
    """
    card = tables.card(name)
    is_design = card.status == "nominal"
    return format_cgats(
        CgatsTable(
            identifier="CGATS.17",
            keywords={
                "ORIGINATOR": f"dryslate, {DESIGN_VALUES}" if is_design else "dryslate",
                "DESCRIPTOR": f"{card.title}: {card.status} values in {card.medium}",
                "SERIAL": card.serial or "none",
                "WEIGHTING_FUNCTION": "ILLUMINANT, D65",
                "OBSERVER": "2 degree",
            },
            fields=("SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"),
            rows=tuple((p.patch_id, *p.lab_d65) for p in card.patches),
        )
    )


def describe_card(tables: ReferenceTables, name: str) -> Mapping[str, Any]:
    """Return what people want to read about a card: facts, and one row per patch."""
    card = tables.card(name)
    facts = {
        "what": card.title,
        "serial number": card.serial or "none: a design, not one printed card",
        "size": f"{card.width_mm:g} x {card.height_mm:g} mm, "
        f"± {100 * card.print_scale_u_frac:.2g} % (standard uncertainty)",
        "values": f"{_status_words(card)}, in {card.medium}",
        "source": card.values_source or "not stated",
        "markers": ", ".join(f"{m.dictionary} no. {m.marker_id}" for m in card.markers) or "none",
    }
    rows = [
        (
            p.patch_id,
            p.role,
            *(f"{v:.1f}" for v in p.lab_d65),
            "unknown" if not any(p.lab_u) else f"{max(p.lab_u):.1f}",
            f"{p.x_mm:g}, {p.y_mm:g}",
            f"{p.width_mm:g} x {p.height_mm:g}",
        )
        for p in card.patches
    ]
    columns = ("patch", "role", "L*", "a*", "b*", "largest u", "x, y mm", "size mm")
    return {"facts": facts, "columns": columns, "rows": rows, "name": card.name}


def print_card(
    tables: ReferenceTables,
    documents: DocumentWriter,
    name: str,
    path: Path | None,
    options: Mapping[str, Any],
) -> dict[str, Any]:
    """
    Write the PDF of a card.

    Parameters
    ----------
    tables, documents
        Ports.
    name : str
    path : Path or None
        None for ``card-NAME-PAPER.pdf`` in the current folder.
    options : Mapping
        ``paper``, ``copies`` (None: two, or eight of a stick) and ``serial`` ("" for none).

    Returns
    -------
    dict
        ``card``, ``paper``, ``path``.

    Raises
    ------
    InputError
        ``card-unknown``.
    StoreError
        ``disk-full``, ``folder-read-only``, ``write-failed``.
    SettingsError
        ``paper-unknown``, ``copies-not-positive``, ``card-larger-than-paper``.
    """
    paper = str(options["paper"]).lower()
    card = tables.card(name)
    if options.get("serial"):
        card = replace(card, serial=str(options["serial"]))
    target = path if path is not None else Path(f"card-{card.name}-{paper}.pdf")
    documents.card_pdf(card, target, paper=paper, copies=options["copies"])
    return {"card": card.name, "paper": paper, "serial": card.serial, "path": str(target)}


def draw_card_picture(
    tables: ReferenceTables, documents: DocumentWriter, name: str, dpi: float, path: Path | None
) -> dict[str, Any]:
    """
    Write a picture that is exactly the card, edge to edge.

    Raises
    ------
    InputError
        ``card-unknown``.
    StoreError
        ``disk-full``, ``folder-read-only``, ``write-failed``.
    SettingsError
        ``dpi-out-of-range``.
    """
    card = tables.card(name)
    target = path if path is not None else Path(f"card-{card.name}.png")
    width_px, height_px = documents.card_picture(card, dpi, target)
    return {
        "card": card.name,
        "dpi": dpi,
        "width_px": width_px,
        "height_px": height_px,
        "path": str(target),
    }


def _status_words(card: CardDefinition) -> str:
    """Say what the status of the values means."""
    return {
        "nominal": "nominal (design values: only the greys are used)",
        "measured": "measured",
        "from_photos": "from photos beside a known target",
    }[card.status]
