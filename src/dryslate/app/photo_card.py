"""What the page of one photo shows of its card: how it was seen, and what came of its patches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dryslate.app.card_drawing import CardDrawing, draw_card
from dryslate.app.correction_json import describe_colour, describe_scale
from dryslate.app.picked_point import picked_of
from dryslate.app.ports import ReferenceTables, SurveyStore
from dryslate.app.records import CorrectionRow
from dryslate.app.tiles import require_photo
from dryslate.base.errors import InputError

MOST_EARLIER = 12
"""Earlier corrections that are listed."""


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
class EarlierCorrection:
    """
    A correction that the photo had before.

    Parameters
    ----------
    key, outcome : str
    how : str
        What the card was found by, ``point`` where the colours rest on a picked one; else empty.
    card : str
    by, at : str
        Who set corners or point by hand, and when; empty where nobody did.
    off_de00, px_per_mm : float or None
        Check difference (95th percentile) and scale.
    """

    key: str
    outcome: str
    how: str
    card: str
    by: str
    at: str
    off_de00: float | None
    px_per_mm: float | None


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
        Name of the photo whose colours, or whose picked point, were borrowed.
    by_hand, picked : Mapping or None
        Who set the corners and when; the picked point with who picked it and when.
    earlier : tuple of EarlierCorrection
        Corrections that could hold again, the newest first.
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
    by_hand: Mapping[str, Any] | None = None
    picked: Mapping[str, Any] | None = None
    earlier: tuple[EarlierCorrection, ...] = ()
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
        by_hand=row.geometry.get("by_hand"),
        picked=picked_of(row),
        earlier=_earlier(store.photo_corrections(photo.photo_id), row.key),
        problems=tuple(dict(p) for p in result.get("problems") or ()),
    )


def describe_correction(row: CorrectionRow) -> EarlierCorrection:
    """
    Describe a correction in a few facts.

    Parameters
    ----------
    row : CorrectionRow

    Returns
    -------
    EarlierCorrection
    """
    card, picked = row.result.get("card") or {}, picked_of(row)
    by_hand = picked or row.geometry.get("by_hand") or {}
    return EarlierCorrection(
        key=row.key,
        outcome=row.outcome,
        how="point" if picked else str(card.get("how") or ""),
        card=str(card.get("name") or ""),
        by=str(by_hand.get("observer") or ""),
        at=str(by_hand.get("at") or ""),
        off_de00=(row.result.get("colour") or {}).get("left_out_de00_p95"),
        px_per_mm=(row.result.get("scale") or {}).get("px_per_mm"),
    )


def followers_of(store: SurveyStore, photo_id: str) -> tuple[str, ...]:
    """
    Name the photos whose colours come from an earlier correction of this one.

    Parameters
    ----------
    store : SurveyStore
    photo_id : str

    Returns
    -------
    tuple of str
        They keep those colours until they are corrected again, or the point is shared anew.

    Raises
    ------
    InputError
        ``photo-not-in-project``.
    """
    photo = require_photo(store, photo_id)
    now = store.correction(photo.photo_id)
    picked = None if now is None else picked_of(now)
    found = []
    for row in store.corrections(photo.visit_id):
        if row.result.get("borrowed_from") != photo.photo_id:
            continue
        point = picked_of(row)
        lender = (row.colour.get("loan") or {}).get("lender_key")
        is_same_point = point is not None and picked is not None and _spot(point) == _spot(picked)
        is_same = is_same_point if point is not None else now is not None and lender == now.key
        if not is_same:
            found.append(_name_of(store, row.photo_id))
    return tuple(found)


def _spot(picked: Mapping[str, Any]) -> tuple[Any, ...]:
    """Return where a point is and what it is."""
    return (picked["what"], *picked["xy_px"])


def _earlier(rows: Sequence[CorrectionRow], latest: str) -> tuple[EarlierCorrection, ...]:
    """Return each other correction once, the newest first."""
    by_key = {row.key: row for row in reversed(rows) if row.key != latest}
    return tuple(describe_correction(row) for row in list(by_key.values())[:MOST_EARLIER])


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
