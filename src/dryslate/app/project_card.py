"""A project's cards on the pages: pictures, values, wear, and photos to work from."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryslate.app.card_characterise import characterise
from dryslate.app.card_compare import compare_twins
from dryslate.app.card_show import describe_card, draw_card_picture, print_card
from dryslate.app.card_values import CharacteriseOptions
from dryslate.app.patch_wear import find_worn_patches
from dryslate.app.tiles import require_photo
from dryslate.base.errors import DryslateError

if TYPE_CHECKING:
    from dryslate.app.ports import (
        DocumentWriter,
        PhotoReader,
        PhotoVault,
        ReferenceTables,
        SurveyStore,
    )
    from dryslate.base.problems import Problem

PICTURE_DPI = 96.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CardWork:
    """What working on cards needs: the project's tables, photo reader, vault and documents."""

    tables: ReferenceTables
    reader: PhotoReader
    vault: PhotoVault
    documents: DocumentWriter


def card_page(tables: ReferenceTables, store: SurveyStore, name: str) -> Mapping[str, Any]:
    """
    Return all that is known of a card: facts, values, and patches that read badly over the trip.

    Raises
    ------
    InputError
        ``card-unknown``.
    """
    card = tables.card(name)
    key = tables.card_key(card)
    worn: tuple[Problem, ...] = find_worn_patches(store.patch_residuals(key))
    return {**describe_card(tables, name), "worn": worn, "status": card.status}


def original_path(store: SurveyStore, vault: PhotoVault, photo_id: str) -> Path:
    """
    Return where the preferred original of a photo of the project lies.

    Raises
    ------
    InputError
        ``photo-not-in-project``.
    """
    first = require_photo(store, photo_id).files[0]
    return vault.path_of(first.sha256, first.original_name)


def card_pdf(work: CardWork, name: str, options: Mapping[str, Any]) -> bytes:
    """
    Return the millimetre-true PDF of a card.

    Raises
    ------
    InputError, SettingsError
        As `dryslate.app.card_show.print_card`.
    """
    with tempfile.TemporaryDirectory(prefix="dryslate-") as folder:
        path = Path(folder) / "card.pdf"
        print_card(work.tables, work.documents, name, path, options)
        return path.read_bytes()


def card_png(work: CardWork, name: str) -> bytes:
    """
    Return a small picture that is exactly the card.

    Raises
    ------
    InputError
        ``card-unknown``.
    """
    with tempfile.TemporaryDirectory(prefix="dryslate-") as folder:
        path = Path(folder) / "card.png"
        draw_card_picture(work.tables, work.documents, name, PICTURE_DPI, path)
        return path.read_bytes()


def characterise_from_text(
    work: CardWork, text: str, is_cgats: bool, options: Mapping[str, Any]
) -> dict[str, Any]:
    """
    Give a card the values of a CGATS.17 or CSV table that was pasted or read by the browser.

    Parameters
    ----------
    work : CardWork
    text : str
        The table.
    is_cgats : bool
        Whether it is CGATS.17; else CSV.
    options : Mapping
        Further fields of `CharacteriseOptions`.

    Raises
    ------
    InputError, SettingsError
        As `dryslate.app.card_characterise.characterise`.
    """
    with tempfile.TemporaryDirectory(prefix="dryslate-") as folder:
        path = Path(folder) / ("readings.txt" if is_cgats else "readings.csv")
        path.write_text(text, encoding="utf-8")
        wanted = CharacteriseOptions(readings=path, **options)
        try:
            return characterise(work.tables, work.reader, wanted)
        except DryslateError as error:
            message = error.message.replace(str(path), "the table")
            raise type(error)(error.slug, message, error.fix) from error


def characterise_from_photos(
    work: CardWork, store: SurveyStore, photo_ids: Sequence[str], options: Mapping[str, Any]
) -> dict[str, Any]:
    """
    Give a card the values seen in photos of the project, beside a target of known values.

    Raises
    ------
    InputError, SettingsError
        As `dryslate.app.card_characterise.characterise`; ``photo-not-in-project``.
    """
    paths = [original_path(store, work.vault, one) for one in photo_ids]
    return characterise(work.tables, work.reader, CharacteriseOptions(photos=paths, **options))


def characterise_in_water(
    work: CardWork, store: SurveyStore, tray: tuple[str, str], options: Mapping[str, Any]
) -> dict[str, Any]:
    """
    Carry a card's values from air to water by photos of a tray, dry and filled.

    Parameters
    ----------
    tray : tuple of str
        The photos of the dry and the filled tray, by id.
    options : Mapping
        Further fields of `CharacteriseOptions`, ``ptfe_px`` among them.

    Raises
    ------
    InputError, SettingsError
        As `dryslate.app.card_characterise.characterise`; ``photo-not-in-project``.
    """
    dry, filled = (original_path(store, work.vault, one) for one in tray)
    wanted = CharacteriseOptions(dry=dry, filled=filled, **options)
    return characterise(work.tables, work.reader, wanted)


def compare_in_project(
    work: CardWork,
    store: SurveyStore,
    photo_ids: tuple[str, str],
    card: str,
    dry_point_px: tuple[float, float] | None,
) -> dict[str, Any]:
    """
    Say how far each patch of the dive card has moved from its dry twin's, from project photos.

    Raises
    ------
    InputError
        As `dryslate.app.card_compare.compare_twins`; ``photo-not-in-project``.
    """
    first, second = (original_path(store, work.vault, one) for one in photo_ids)
    return compare_twins(work.tables, work.reader, (first, second), card, dry_point_px)


def photo_choices(store: SurveyStore) -> tuple[tuple[str, str], ...]:
    """Return every photo's id with its name and visit, newest visit first, to choose from."""
    visits = {v.visit_id: n for n, v in enumerate(store.visits())}
    photos = sorted(
        store.photos(), key=lambda p: (-visits.get(p.visit_id, 0), p.files[0].original_name)
    )
    return tuple((p.photo_id, f"{p.files[0].original_name} · {p.visit_id}") for p in photos)
