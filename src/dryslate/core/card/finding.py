"""
Finding cards in a photo by their markers, coarse to fine.

The whole photo is read on a small copy; shapes that could be smaller markers are read on finer
ones; a card's missing markers are looked for where they must lie; corners are refined on the
full-size photo in linear light.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from dryslate.core.card.channel import split_channel
from dryslate.core.card.chart import find_target24
from dryslate.core.card.corners import find_from_corners
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import CardSearch, FloatArray
from dryslate.core.card.search import FindSettings, Search

__all__ = ["FindSettings", "find_cards", "find_from_corners", "find_target24"]


def _levels(size_px: tuple[int, int], whole_px: int) -> int:
    """Say how many halvings bring the photo to no more than so many pixels."""
    level = 0
    while (size_px[0] * size_px[1]) >> (2 * level) > whole_px:
        level += 1
    return level


def find_cards(
    img_coded: NDArray[np.uint8],
    cards: Sequence[CardDefinition],
    settings: FindSettings | None = None,
    linear_lut: FloatArray | None = None,
) -> CardSearch:
    """
    Find every known card in a photo by its markers.

    Parameters
    ----------
    img_coded : ndarray of uint8, shape (h, w, 3)
        Upright (mirrors undone); may be a turned view that is not contiguous.
    cards : sequence of CardDefinition
        Those without markers are passed over.
    settings : FindSettings, optional
    linear_lut : ndarray of float, shape (256, 3), optional
        From the file's values to linear light; the sRGB curve when absent.

    Returns
    -------
    CardSearch
        Cards largest first. Markers of no card, and markers whose card could not be proved, are
        in `other_markers`. Problems: ``card-one-marker``, ``card-not-proved``.

    Raises
    ------
    ValueError
        If the photo is not 8-bit with three channels.

    Notes
    -----
    A card is taken as found when two of its markers lie as they must, or when one is read and
    the greys about it are as light and dark as on the card. In dictionaries so dense that a
    random square may be read as a marker, the greys are asked for in any case where they can be
    seen. Without a card the search ends after a fixed number of candidates: markers whose side
    is under about 20 pixels are then not looked for. Beside a card that is found, other cards
    are looked for with markers down to about 24 pixels in photos of up to 12 megapixels, about
    32 pixels in larger ones, and with at least three tenths of its contrast;
    `FindSettings.thorough` goes further.

    Examples
    --------
    >>> find_cards(np.zeros((60, 80, 3), np.uint8), []).cards
    ()
    """
    if img_coded.ndim != 3 or img_coded.shape[2] != 3 or img_coded.dtype != np.uint8:
        raise ValueError(f"expected uint8 (h, w, 3), got {img_coded.dtype} {img_coded.shape}")
    settings = settings or FindSettings()
    size = (img_coded.shape[1], img_coded.shape[0])
    whole = _levels(size, settings.whole_px)
    channel = split_channel(img_coded, linear_lut, n_levels=whole + 1)
    whole = len(channel.levels) - 1
    search = Search(channel, cards, settings)
    search.read_whole(whole)
    search.assemble()
    for level in range(whole - 1, -1, -1):
        if level == 0 and size[0] * size[1] > 4_000_000 and not settings.thorough:
            break
        is_first = level == whole - 1
        too_large = level == 0 or channel.levels[level].size > settings.beside_px
        if search.found and not is_first and too_large and not settings.thorough:
            break
        search.read_candidates(level)
    if not search.found or settings.thorough:
        search.read_again(whole)
        search.assemble()
    return search.result()
