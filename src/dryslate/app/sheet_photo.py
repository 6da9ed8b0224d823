"""A photographed sheet: its number, what was printed on it, and where its cells lie."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from dryslate.app.sheets import find_printed, page_of
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.sheet.squaring import (
    cell_corners_px,
    find_corners,
    fit_page,
    read_number,
    straighten_page,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dryslate.app.ports import PhotoReader, SurveyStore
    from dryslate.app.sheet_records import PrintedSheet, SheetPhoto

Rows3 = tuple[tuple[float, float, float], ...]
LEAST_SEEN = 2
"""Corner markers from which on a photo is said to show a sheet."""


def find_sheet(reader: PhotoReader, path: Path, store: SurveyStore | None) -> dict[str, Any]:
    """
    Read the number of a sheet in a photo, and place its cells.

    Parameters
    ----------
    reader : PhotoReader
    path : Path
    store : SurveyStore or None
        Of the project the sheet was printed for; None: the number alone.

    Returns
    -------
    dict
        ``sheet_id``; with a project also what was printed on the page, and ``cells``: id, field,
        kind, row, column and the four corners of each in pixels of the upright photo.

    Raises
    ------
    InputError
        ``sheet-number-unreadable``, ``sheet-unknown``, ``sheet-layout-other``,
        ``sheet-corners-too-few``.
    """
    photo = reader.read(path)
    grey = grey_of(upright_view(photo.pixels, photo.metadata.orientation))
    corners = find_corners(grey)
    number = read_number(grey, corners)
    if store is None:
        return {"sheet_id": number}
    sheet = find_printed(store.printed_sheets(), number)
    page = page_of(sheet)
    places = cell_corners_px(page, fit_page(page, corners))
    cells = [
        {
            "cell_id": cell.cell_id,
            "field": cell.field,
            "kind": cell.kind,
            "row": cell.row,
            "column": cell.column,
            "value": cell.value,
            "corners_px": np.round(places[cell.cell_id], 2).tolist(),
        }
        for cell in page.cells
    ]
    return {**sheet.as_dict(), "cells": cells}


def read_sheet(
    reader: PhotoReader, path: Path, printed: Sequence[PrintedSheet]
) -> tuple[PrintedSheet, Rows3] | None:
    """
    Say which printed page a photo shows, and how it lies in it.

    Parameters
    ----------
    reader : PhotoReader
    path : Path
    printed : sequence of PrintedSheet
        The pages of the project.

    Returns
    -------
    tuple of PrintedSheet and rows of float, or None
        The page, and the homography from its millimetres to pixels of the upright photo; None
        where the photo shows no sheet.

    Raises
    ------
    DryslateError
        The photo cannot be read; or ``sheet-number-unreadable``, ``sheet-unknown``,
        ``sheet-layout-other``, ``sheet-corners-too-few``.
    """
    photo = reader.read(path)
    grey = grey_of(upright_view(photo.pixels, photo.metadata.orientation))
    corners = find_corners(grey)
    if len(corners) < LEAST_SEEN:
        return None
    sheet = find_printed(printed, read_number(grey, corners))
    to_px = fit_page(page_of(sheet), corners)
    return sheet, tuple((float(a), float(b), float(c)) for a, b, c in to_px)


def straight_picture(
    reader: PhotoReader, path: Path, sheet: PrintedSheet, row: SheetPhoto
) -> NDArray[np.uint8]:
    """
    Cut a photographed page out of its photo, seen straight from the front.

    Parameters
    ----------
    reader : PhotoReader
    path : Path
    sheet : PrintedSheet
    row : SheetPhoto

    Returns
    -------
    ndarray of uint8, shape (h, w, 3)
        Six pixels a millimetre.
    """
    photo = reader.read(path)
    upright = upright_view(photo.pixels, photo.metadata.orientation)
    levels = upright // 257 if upright.dtype == np.uint16 else upright
    shown = np.ascontiguousarray(levels.astype(np.uint8)[..., :3])
    return straighten_page(shown, page_of(sheet), np.array(row.to_px))


def grey_of(pixels: NDArray[Any]) -> NDArray[np.uint8]:
    """Return a photo of one or more channels as one of grey."""
    levels = pixels.astype(np.float64)
    if levels.ndim == 3:
        levels = levels[..., :3].mean(axis=-1)
    if pixels.dtype == np.uint16:
        levels /= 257.0
    return np.asarray(np.clip(np.round(levels), 0, 255), dtype=np.uint8)
