"""One look for the cards in a photo, for its lengths and its colours alike."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from dryslate.app.card_reading import find_in_photo
from dryslate.app.correct import cards_wanted, colour_settings, require_settings
from dryslate.app.correction_records import CorrectJob, CorrectSettings
from dryslate.app.measure_request import MeasureOptions
from dryslate.app.ports import PhotoReader, ReferenceTables
from dryslate.app.records import DecodedPhoto
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.card.found import CardSearch


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
    """
    A photo, what was looked for in it, and the cards that were found.

    Parameters
    ----------
    photo : DecodedPhoto
    job : CorrectJob
        Cards, corners, lens and settings; nothing is written.
    search : CardSearch
    """

    photo: DecodedPhoto
    job: CorrectJob
    search: CardSearch


def look_at(
    photo: DecodedPhoto,
    name: str,
    ports: tuple[PhotoReader, ReferenceTables],
    options: MeasureOptions,
) -> Look:
    """
    Look for the cards in a photo.

    Parameters
    ----------
    photo : DecodedPhoto
    name : str
        What to call the photo.
    ports : tuple of PhotoReader and ReferenceTables
    options : MeasureOptions

    Returns
    -------
    Look

    Raises
    ------
    SettingsError, InputError
        As correcting, for options that contradict each other or an unknown card.
    """
    reader, tables = ports
    settings = CorrectSettings(
        card_names=options.card_names, corners_px=options.corners_px, port=options.port
    )
    require_settings(settings, 1)
    wanted = cards_wanted(tables, settings)
    job = CorrectJob(
        path=Path(name),
        name=name,
        reader=reader,
        settings=settings,
        cards=wanted.marked,
        plain_cards=wanted.plain,
        lens=options.lens,
        colour=colour_settings(tables, settings),
    )
    pixels = upright_view(photo.pixels, photo.metadata.orientation)
    return Look(photo=photo, job=job, search=find_in_photo(pixels, photo, job))
