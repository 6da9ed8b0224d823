"""A part of a photo as PNG: scale bar burnt in, a caption below it, texts in its metadata."""

from __future__ import annotations

import io
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import dryslate

if TYPE_CHECKING:
    from PIL import Image, ImageFont

    from dryslate.app.crop import Crop, ScaleBar

LEAST_WIDTH_PX = 480
"""Narrower parts are enlarged by a whole number, each pixel to a square, to be readable."""

INK, PAPER = (16, 18, 20), (255, 255, 255)


def crop_png(crop: Crop) -> bytes:
    """
    Write a part of a photo as PNG.

    Parameters
    ----------
    crop : Crop

    Returns
    -------
    bytes
        The same crop gives the same bytes with the same version of Pillow.

    Notes
    -----
    The bar lies in the lower left of the picture, white in a black edge. The caption below says
    how long it is, how sure that is, and that it holds in the card's plane. Texts follow the PNG
    standard (PNG 3rd edition, 11.3.3: keywords Title, Source, Description, Software).
    """
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    picture = Image.fromarray(crop.img_srgb)
    times = max(1, -(-LEAST_WIDTH_PX // picture.width))
    if times > 1:
        size = (picture.width * times, picture.height * times)
        picture = picture.resize(size, Image.Resampling.NEAREST)
    font = _font(max(14, picture.width // 55))
    if crop.bar is not None:
        _draw_bar(picture, crop.bar, times, font)
    whole = _with_caption(picture, caption_of(crop), font)
    chunks = PngInfo()
    chunks.add(b"sRGB", b"\x00")  # rendering intent: perceptual (PNG 3rd edition, 11.3.2.5)
    texts = {
        "Title": crop.photo_name,
        "Source": f"photo {crop.photo_name}, SHA-256 {crop.photo_sha256}",
        "Description": caption_of(crop),
        "Software": f"dryslate {dryslate.__version__}",
        **crop.about,
    }
    if times > 1:
        texts["Enlarged"] = f"{times} times, each pixel to a square"
    for keyword, text in texts.items():
        chunks.add_itxt(keyword, text)
    buffer = io.BytesIO()
    whole.save(buffer, format="PNG", pnginfo=chunks)
    return buffer.getvalue()


def caption_of(crop: Crop) -> str:
    """
    Say what the bar is and how sure, and which photo it is of.

    Parameters
    ----------
    crop : Crop

    Returns
    -------
    str
    """
    head = f"{crop.photo_name} ({crop.photo_sha256[:12]})"
    if crop.bar is None:
        return f"{head}. No scale."
    bar = crop.bar
    told = (
        f"{head}. Bar: {bar.length_mm:g} mm ± {bar.length_mm_u:.2g} mm (standard uncertainty) in "
        "the card's plane in the middle of the picture; what stands nearer the camera looks larger."
    )
    if bar.scale_range_frac >= 0.01:
        told += f" The scale differs by {100 * bar.scale_range_frac:.0f} % over the picture."
    return told


def _font(size: int) -> ImageFont.FreeTypeFont:
    """The typeface of the reports."""
    import matplotlib as mpl
    from PIL import ImageFont

    path = Path(mpl.get_data_path()) / "fonts" / "ttf" / "DejaVuSans-Bold.ttf"
    return ImageFont.truetype(str(path), size)


def _draw_bar(
    picture: Image.Image, bar: ScaleBar, times: int, font: ImageFont.FreeTypeFont
) -> None:
    """Draw the bar into the lower left of the picture."""
    from PIL import ImageDraw

    draw = ImageDraw.Draw(picture)
    size = int(font.size)
    thick, margin = max(4, size // 2), size
    left, bottom = margin, picture.height - margin
    right = left + round(bar.length_px * times)
    edge = max(2, thick // 3)
    box = (left, bottom - thick, right - 1, bottom - 1)
    draw.rectangle((box[0] - edge, box[1] - edge, box[2] + edge, box[3] + edge), fill=INK)
    draw.rectangle(box, fill=PAPER)
    words = f"{bar.length_mm:g} mm"
    at = (left, box[1] - edge - max(2, size // 5))
    draw.text(at, words, fill=PAPER, font=font, anchor="lb", stroke_width=edge, stroke_fill=INK)


def _with_caption(picture: Image.Image, words: str, font: ImageFont.FreeTypeFont) -> Image.Image:
    """Put a caption below the picture."""
    from PIL import Image, ImageDraw

    size = max(12, int(font.size) * 4 // 5)
    small = _font(size)
    per_line = max(20, int(picture.width / (small.getlength("n") * 1.02)) - 2)
    lines = textwrap.wrap(words, per_line)
    whole = Image.new(
        "RGB", (picture.width, picture.height + (len(lines) + 1) * size * 4 // 3), PAPER
    )
    whole.paste(picture, (0, 0))
    draw = ImageDraw.Draw(whole)
    for number, line in enumerate(lines):
        y = picture.height + size // 2 + number * size * 4 // 3
        draw.text((size // 2, y), line, fill=INK, font=small)
    return whole
