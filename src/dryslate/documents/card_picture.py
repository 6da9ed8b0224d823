"""A picture that is exactly the card, edge to edge."""

from __future__ import annotations

import io

from dryslate.base.errors import SettingsError
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.rendering import render_picture

DPI_RANGE = (20.0, 2400.0)
MAX_PX = 120_000_000


def card_png(card: CardDefinition, dpi: float) -> tuple[bytes, tuple[int, int]]:
    """
    Return a card as PNG in sRGB, with its resolution stated in the file.

    Parameters
    ----------
    card : CardDefinition
    dpi : float
        Pixels per inch (25.4 mm).

    Returns
    -------
    png : bytes
    size_px : tuple of int
        Width and height: the card's own size, rounded to whole pixels.

    Raises
    ------
    SettingsError
        ``dpi-out-of-range`` if the picture would be too coarse or too large.
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
    buffer = io.BytesIO()
    image.save(buffer, format="PNG", dpi=(dpi, dpi), pnginfo=chunks)
    return buffer.getvalue(), image.size
