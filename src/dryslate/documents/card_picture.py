"""A picture that is exactly the card, edge to edge."""

from __future__ import annotations

from pathlib import Path

from dryslate.base.errors import InputError, SettingsError
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.picture import render_picture

DPI_RANGE = (20.0, 2400.0)
MAX_PX = 120_000_000


def write_card_picture(card: CardDefinition, dpi: float, path: Path) -> tuple[int, int]:
    """
    Write a card as PNG in sRGB, with its resolution stated in the file.

    Parameters
    ----------
    card : CardDefinition
    dpi : float
        Pixels per inch (25.4 mm).
    path : Path

    Returns
    -------
    tuple of int
        Width and height in pixels: the card's own size, rounded to whole pixels.

    Raises
    ------
    SettingsError
        ``dpi-out-of-range`` if the picture would be too coarse or too large.
    InputError
        ``document-not-written`` if the file cannot be written.
    """
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    n_px = card.width_mm * card.height_mm * (dpi / 25.4) ** 2
    if not DPI_RANGE[0] <= dpi <= DPI_RANGE[1] or n_px > MAX_PX:
        raise SettingsError(
            "dpi-out-of-range",
            f"{dpi:g} dpi is outside {DPI_RANGE[0]:g} to {DPI_RANGE[1]:g}, or the picture of "
            f"{card.name!r} would have {n_px / 1e6:.0f} million pixels "
            f"(at most {MAX_PX / 1e6:.0f}).",
            "300 to 600 dpi is enough for a print shop.",
        )
    image = Image.fromarray(render_picture(card, dpi / 25.4))
    chunks = PngInfo()
    chunks.add(b"sRGB", b"\x00")  # rendering intent: perceptual (PNG 3rd edition, 11.3.2.5)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        image.save(path, format="PNG", dpi=(dpi, dpi), pnginfo=chunks)
    except OSError as error:
        raise InputError(
            "document-not-written",
            f"{path}: the picture cannot be written ({error.strerror or error}).",
            "Choose another place with -o, or make room on the disk.",
        ) from error
    return image.size
