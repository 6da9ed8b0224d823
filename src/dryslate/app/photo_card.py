"""What the page of one photo shows of its card: how it was seen, and what came of its patches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dryslate.app.card_drawing import CardDrawing, draw_card
from dryslate.app.correction_json import describe_colour, describe_scale
from dryslate.app.ports import ReferenceTables, SurveyStore
from dryslate.app.records import CorrectionRow
from dryslate.app.tiles import require_photo
from dryslate.base.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenCard:
    """
    One card in the photo.

    Parameters
    ----------
    name, serial : str
    how : str
        What it was found by: markers, chart, picture or corners.
    n_markers : int
        Markers that were read, of `n_markers_all` on the card (None where the card is not known
        any more).
    n_markers_all : int or None
    tilt_deg, tilt_deg_u : float or None
    status, medium : str
        Where its colours come from, and what they hold in.
    is_used : bool
        Whether the correction rests on it.
    """

    name: str
    serial: str
    how: str
    n_markers: int
    n_markers_all: int | None
    tilt_deg: float | None
    tilt_deg_u: float | None
    status: str
    medium: str
    is_used: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSheet:
    """
    What is to be shown of the card in one photo.

    Parameters
    ----------
    version : str
        Key of the latest correction, empty where there is none: whoever changes something says
        which one was seen.
    outcome : str
        Of the latest correction; ``not_corrected`` where there is none.
    cards : tuple of SeenCard
    colour, scale : Mapping
        As in the photo's document.
    drawing : CardDrawing or None
        The card that the correction rests on; None where there is none, or it is gone.
    is_card_changed : bool
        The card's definition is another one than the correction used.
    is_card_gone : bool
        The project knows no card of that name any more.
    borrowed_from : str or None
        Name of the photo whose colours were borrowed.
    problems : tuple of dict
        What was said about the photo.
    """

    version: str
    outcome: str
    cards: tuple[SeenCard, ...] = ()
    colour: Mapping[str, Any]
    scale: Mapping[str, Any]
    drawing: CardDrawing | None = None
    is_card_changed: bool = False
    is_card_gone: bool = False
    borrowed_from: str | None = None
    problems: tuple[dict[str, Any], ...] = ()


def card_sheet(tables: ReferenceTables, store: SurveyStore, photo_id: str) -> CardSheet:
    """
    Gather what is to be shown of the card in one photo.

    Parameters
    ----------
    tables : ReferenceTables
    store : SurveyStore
    photo_id : str

    Returns
    -------
    CardSheet

    Raises
    ------
    InputError
        ``photo-not-in-project``.
    """
    photo = require_photo(store, photo_id)
    row = store.correction(photo.photo_id)
    if row is None:
        colour, scale = describe_colour(None), describe_scale(None)
        return CardSheet(version="", outcome="not_corrected", colour=colour, scale=scale)
    result = row.result
    used = result.get("card") or {}
    found = [c for c in result.get("cards") or () if c.get("found")]
    card = _card(tables, row)
    drawing = None
    if card is not None:
        residuals = store.photo_residuals(photo.photo_id, row.key)
        drawing = draw_card(card, residuals, (result.get("colour") or {}).get("dropped") or {})
    lender = result.get("borrowed_from")
    return CardSheet(
        version=row.key,
        outcome=row.outcome,
        cards=tuple(_seen(tables, c, used) for c in found),
        colour={**describe_colour(None), **(result.get("colour") or {})},
        scale={**describe_scale(None), **(result.get("scale") or {})},
        drawing=drawing,
        is_card_changed=card is not None and tables.card_key(card) != row.geometry.get("card_key"),
        is_card_gone=card is None and bool(row.geometry.get("card")),
        borrowed_from=_name_of(store, lender) if lender else None,
        problems=tuple(dict(p) for p in result.get("problems") or ()),
    )


def _card(tables: ReferenceTables, row: CorrectionRow) -> Any | None:
    """Return the card that a correction rests on, None where there is none or it is gone."""
    name = row.geometry.get("card")
    if not name:
        return None
    try:
        return tables.card(str(name))
    except InputError:
        return None


def _seen(tables: ReferenceTables, told: Mapping[str, Any], used: Mapping[str, Any]) -> SeenCard:
    """Put one card of the photo's document into a row."""
    values = told.get("values") or {}
    try:
        n_all = len(tables.card(str(told["name"])).markers)
    except InputError:
        n_all = None
    return SeenCard(
        name=str(told["name"]),
        serial=str(told.get("serial") or ""),
        how=str(told.get("how") or ""),
        n_markers=int(told.get("n_markers") or 0),
        n_markers_all=n_all,
        tilt_deg=told.get("tilt_deg"),
        tilt_deg_u=told.get("tilt_deg_u"),
        status=str(values.get("status") or ""),
        medium=str(values.get("medium") or ""),
        is_used=told.get("corners_px") == used.get("corners_px"),
    )


def _name_of(store: SurveyStore, photo_id: str) -> str:
    """Return the name of a photo's file; the start of its id where it is gone."""
    photo = store.photo(photo_id)
    return photo_id[:12] if photo is None else photo.files[0].original_name
