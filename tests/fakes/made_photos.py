"""Photo files made from code, by other libraries than those under test where there are any."""

from __future__ import annotations

import io
import struct

import numpy as np
import tifffile
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

#: One camera's words, as tag numbers of CIPA DC-008.
MAIN_WORDS = {0x010F: "Maker", 0x0110: "Model One", 0x0112: 1, 0x0132: "2031:01:01 00:00:00"}
EXIF_WORDS = {
    0x829A: (1, 250),
    0x829D: (56, 10),
    0x8827: 200,
    0x9003: "2030:05:06 07:08:09",
    0x9011: "+10:00",
    0x9291: "25",
    0x9209: 0x19,
    0x920A: (24, 1),
    0xA001: 1,
    0xA403: 1,
    0xA404: (0, 1),
    0xA405: 24,
    0xA431: "SN-77",
    0xA434: "24 mm behind a dome",
}
GPS_WORDS = {
    1: "S",
    2: ((16, 1), (45, 1), (3012, 100)),
    3: "E",
    4: ((145, 1), (58, 1), (1260, 100)),
}


def scene(width: int = 96, height: int = 64, seed: int = 5) -> np.ndarray:
    """A smooth, colourful frame."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width]
    waves = [
        127 + 100 * np.sin(x / width * f[0] + f[1]) * np.cos(y / height * f[2] + f[3])
        for f in rng.uniform(1, 6, (3, 4))
    ]
    return np.clip(np.stack(waves, axis=-1), 0, 255).astype(np.uint8)


def exif_block(
    main: dict | None = None, exif: dict | None = None, gps: dict | None = None
) -> bytes:
    """An Exif block written by Pillow, from its byte-order mark on."""
    block = Image.Exif()
    for tag, value in (MAIN_WORDS if main is None else main).items():
        block[tag] = value
    for pointer, words in ((0x8769, exif), (0x8825, gps)):
        given = {0x8769: EXIF_WORDS, 0x8825: GPS_WORDS}[pointer] if words is None else words
        if given:
            block.get_ifd(pointer).update({tag: _fraction(v) for tag, v in given.items()})
    return block.tobytes().removeprefix(b"Exif\x00\x00")


def _fraction(value: object) -> object:
    """Pairs of numbers become fractions, as Pillow wants them."""
    if not isinstance(value, tuple):
        return value
    if isinstance(value[0], tuple):
        return tuple(IFDRational(*pair) for pair in value)
    return IFDRational(*value)


def jpeg(pixels: np.ndarray, mode: str = "RGB", **words: object) -> bytes:
    """A JPEG written by Pillow; `exif`, `icc_profile`, `xmp`, `progressive` go through."""
    out = io.BytesIO()
    Image.fromarray(pixels).convert(mode).save(
        out, "JPEG", quality=95, subsampling=0, **{k: v for k, v in words.items() if v is not None}
    )
    return out.getvalue()


def png(pixels: np.ndarray, **words: object) -> bytes:
    """A PNG: 8 bits by Pillow, 16 bits chunk by chunk."""
    out = io.BytesIO()
    if pixels.dtype == np.uint8:
        Image.fromarray(pixels).save(out, "PNG", **words)
        return out.getvalue()
    import zlib

    height, width = pixels.shape[:2]
    rows = b"".join(b"\x00" + row.astype(">u2").tobytes() for row in pixels)
    head = struct.pack(">IIBBBBB", width, height, 16, 2, 0, 0, 0)
    parts = ((b"IHDR", head), (b"IDAT", zlib.compress(rows)), (b"IEND", b""))
    chunks = (
        struct.pack(">I", len(d)) + n + d + struct.pack(">I", zlib.crc32(n + d)) for n, d in parts
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


def tiff(pixels: np.ndarray, **words: object) -> bytes:
    """A TIFF written by tifffile."""
    out = io.BytesIO()
    tifffile.imwrite(out, pixels, **{"photometric": "rgb", "metadata": None, **words})
    return out.getvalue()


#: A made-up camera: XYZ (D65) to its RGB, times 10,000.
CAMERA_MATRIX = (7000, -1500, -700, -4500, 12000, 2800, -800, 1500, 6500)


def dng(mosaic: np.ndarray, orientation: int = 1) -> bytes:
    """An uncompressed RGGB DNG of 14 bits: black 512, white 15872."""
    fractions = [n for v in CAMERA_MATRIX for n in (v, 10000)]
    tags = [
        (50706, "B", 4, (1, 4, 0, 0), True),
        (50707, "B", 4, (1, 1, 0, 0), True),
        (50708, "s", 0, "Model One", True),
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, (0, 1, 1, 2), True),
        (50714, "H", 1, 512, True),
        (50717, "H", 1, 15872, True),
        (50721, "2i", 9, tuple(fractions), True),
        (50728, "2I", 3, (5, 10, 10, 10, 6, 10), True),
        (50778, "H", 1, 21, True),
        (271, "s", 0, "Maker", True),
        (272, "s", 0, "Model One", True),
        (274, "H", 1, orientation, True),
    ]
    out = io.BytesIO()
    tifffile.imwrite(
        out, mosaic.astype(np.uint16), photometric=32803, metadata=None, extratags=tags
    )
    return out.getvalue()


def _s15(*values: float) -> bytes:
    return struct.pack(f">{len(values)}i", *(round(v * 65536) for v in values))


def wide_icc(curve: bytes | None = None) -> bytes:
    """A version 2 display profile with wide primaries (columns for D50) and exponent 2.2."""
    curve = curve or b"curv" + bytes(4) + struct.pack(">IH", 1, round(2.2 * 256)) + bytes(2)
    columns = {
        b"rXYZ": (0.60974, 0.31111, 0.01947),
        b"gXYZ": (0.20528, 0.62567, 0.06087),
        b"bXYZ": (0.14918, 0.06322, 0.74457),
    }
    parts = {k: b"XYZ " + bytes(4) + _s15(*v) for k, v in columns.items()}
    parts[b"wtpt"] = b"XYZ " + bytes(4) + _s15(0.9642, 1.0, 0.8249)
    parts.update({k: curve for k in (b"rTRC", b"gTRC", b"bTRC")})
    name = b"wide\x00"
    parts[b"desc"] = (
        b"desc" + bytes(4) + struct.pack(">I", len(name)) + name + bytes(4 + 4 + 2 + 1 + 67)
    )
    parts[b"cprt"] = b"text" + bytes(4) + b"none\x00"
    table, body = struct.pack(">I", len(parts)), b""
    offset = 128 + 4 + 12 * len(parts)
    for key, data in parts.items():
        table += struct.pack(">4sII", key, offset + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    size = offset + len(body)
    head = struct.pack(">I4sI", size, bytes(4), 0x02400000) + b"mntrRGB XYZ "
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + _s15(0.9642, 1, 0.8249)
    return head.ljust(128, b"\x00") + table + body
