"""
JPEG files as a row of segments: read the ones before the pixels, and splice them into another.

ITU-T T.81 (the segments), JFIF 1.02 (APP0), CIPA DC-008 (Exif in APP1), XMP part 3 (XMP in
APP1, extended XMP), ICC.1 annex B (profiles in APP2). Pixels are never touched here.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import dataclass

from dryslate.base.errors import FormatError

SOI = b"\xff\xd8"
EOI = b"\xff\xd9"
EXIF_HEAD = b"Exif\x00\x00"
XMP_HEAD = b"http://ns.adobe.com/xap/1.0/\x00"
XMP_MORE_HEAD = b"http://ns.adobe.com/xmp/extension/\x00"
ICC_HEAD = b"ICC_PROFILE\x00"
JFIF_HEAD = b"JFIF\x00"

APP0, APP1, APP2, APP13, APP14, COM, SOS = 0xE0, 0xE1, 0xE2, 0xED, 0xEE, 0xFE, 0xDA
#: Room for the payload of one segment: the length field counts its own two bytes.
MAX_PAYLOAD = 65533

_FRAMES = set(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
#: Baseline, extended sequential and progressive, all with Huffman codes.
_READABLE_FRAMES = {0xC0, 0xC1, 0xC2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """One marker segment: its marker code (second byte) and the bytes after the length."""

    marker: int
    payload: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class JpegHead:
    """
    Everything before the pixels.

    Parameters
    ----------
    segments : tuple of Segment
        In the order of the file, up to the first scan.
    width_px, height_px, n_components, n_bits : int
        From the frame header.
    frame : int
        Marker code of the frame header (0xC0 baseline, 0xC2 progressive, ...).
    adobe_transform : int or None
        Colour transform stated in APP14; None where that segment is absent.
    scan_offset : int
        Where the first scan begins.
    """

    segments: tuple[Segment, ...]
    width_px: int
    height_px: int
    n_components: int
    n_bits: int
    frame: int
    adobe_transform: int | None
    scan_offset: int

    @property
    def is_readable_frame(self) -> bool:
        """Whether the coding is one that common decoders read."""
        return self.frame in _READABLE_FRAMES and self.n_bits == 8

    @property
    def exif(self) -> bytes | None:
        """The Exif block (a TIFF structure), without its head; None where absent."""
        return self._first(APP1, EXIF_HEAD)

    @property
    def xmp(self) -> bytes | None:
        """The standard XMP packet, without its head; None where absent."""
        return self._first(APP1, XMP_HEAD)

    @property
    def extended_xmp(self) -> tuple[bytes, ...]:
        """Whole payloads of the extended XMP segments, in the order of the file."""
        return tuple(
            s.payload
            for s in self.segments
            if s.marker == APP1 and s.payload.startswith(XMP_MORE_HEAD)
        )

    @property
    def icc_profile(self) -> bytes | None:
        """The ICC profile put together from its pieces; None where absent or incomplete."""
        return join_icc(s.payload for s in self.segments if s.marker == APP2)

    @property
    def has_icc_segments(self) -> bool:
        """Whether the file holds any piece of a profile, complete or not."""
        return any(s.marker == APP2 and s.payload.startswith(ICC_HEAD) for s in self.segments)

    def _first(self, marker: int, head: bytes) -> bytes | None:
        """Return the first payload of a marker that begins with `head`, without it."""
        for segment in self.segments:
            if segment.marker == marker and segment.payload.startswith(head):
                return segment.payload[len(head) :]
        return None


def parse_jpeg_head(data: bytes | memoryview, place: str) -> JpegHead:
    """
    Read the segments before the first scan.

    Parameters
    ----------
    data : bytes
        The file, or as much of its beginning as holds the first scan's header.
    place : str
        What to call the file in a message.

    Returns
    -------
    JpegHead

    Raises
    ------
    FormatError
        ``photo-truncated`` if the file ends before its pixels;
        ``photo-damaged`` if the row of segments breaks off.
    """
    view = memoryview(data)
    if bytes(view[:2]) != SOI:
        raise FormatError("photo-damaged", f"{place}: does not begin as a JPEG file does.")
    segments: list[Segment] = []
    frame: tuple[int, int, int, int, int] | None = None
    at = 2
    while True:
        marker, at = _next_marker(view, at, place)
        if marker == SOS:
            break
        length = int.from_bytes(view[at : at + 2], "big")
        if len(view) < at + 2 or len(view) < at + length:
            raise _cut_off(place, len(view))
        if length < 2:
            raise FormatError(
                "photo-damaged",
                f"{place}: a JPEG segment at byte {at} states a length of {length}.",
            )
        payload = bytes(view[at + 2 : at + length])
        if marker in _FRAMES and frame is None:
            frame = _frame(marker, payload, place)
        elif marker == COM or APP0 <= marker <= 0xEF:
            segments.append(Segment(marker=marker, payload=payload))
        at += length
    if frame is None:
        raise FormatError("photo-damaged", f"{place}: this JPEG states no size before its pixels.")
    return JpegHead(
        segments=tuple(segments),
        frame=frame[0],
        n_bits=frame[1],
        height_px=frame[2],
        width_px=frame[3],
        n_components=frame[4],
        adobe_transform=_adobe_transform(segments),
        scan_offset=at - 2,
    )


def _cut_off(place: str, size: int) -> FormatError:
    """Return the error for a file that ends too early."""
    return FormatError(
        "photo-truncated",
        f"{place}: this JPEG breaks off after {size} bytes, before its pixels begin.",
        "Copy it again from the memory card.",
    )


def _next_marker(view: memoryview, at: int, place: str) -> tuple[int, int]:
    """Return the marker code at or after `at` and the offset behind it (T.81, B.1.1.2)."""
    if at + 2 > len(view):
        raise _cut_off(place, len(view))
    while at < len(view) and view[at] != 0xFF:  # stray bytes: decoders pass over them too
        at += 1
    while at < len(view) and view[at] == 0xFF:  # fill bytes are allowed
        at += 1
    if at >= len(view):
        raise _cut_off(place, len(view))
    return view[at], at + 1


def _frame(marker: int, payload: bytes, place: str) -> tuple[int, int, int, int, int]:
    """Return marker, bits, height, width and number of components of a frame header."""
    if len(payload) < 6:
        raise FormatError("photo-damaged", f"{place}: the JPEG frame header is too short.")
    bits, height, width, n_components = struct.unpack(">BHHB", payload[:6])
    return marker, bits, height, width, n_components


def _adobe_transform(segments: Iterable[Segment]) -> int | None:
    """Return the colour transform of APP14, None where it is absent."""
    for segment in segments:
        if segment.marker == APP14 and segment.payload.startswith(b"Adobe"):
            return segment.payload[11] if len(segment.payload) > 11 else None
    return None


def join_icc(payloads: Iterable[bytes]) -> bytes | None:
    """
    Put an ICC profile together from APP2 payloads.

    Parameters
    ----------
    payloads : iterable of bytes
        Payloads of APP2 segments; others than profile pieces are passed over.

    Returns
    -------
    bytes or None
        None where there is no piece or one is missing.

    References
    ----------
    ICC.1:2022, annex B.4.
    """
    pieces: dict[int, bytes] = {}
    total = 0
    for payload in payloads:
        head = len(ICC_HEAD)
        if payload.startswith(ICC_HEAD) and len(payload) >= head + 2:
            pieces.setdefault(payload[head], payload[head + 2 :])
            total = max(total, payload[head + 1])
    if not pieces or sorted(pieces) != list(range(1, total + 1)):
        return None
    return b"".join(pieces[i] for i in range(1, total + 1))


def split_icc(profile: bytes) -> tuple[Segment, ...]:
    """
    Cut an ICC profile into APP2 segments.

    Parameters
    ----------
    profile : bytes
        The whole profile; up to 255 segments of 64 KB hold it.

    Returns
    -------
    tuple of Segment

    Raises
    ------
    FormatError
        ``profile-too-large`` if it does not fit 255 segments.

    Examples
    --------
    >>> profile = bytes(100_000)
    >>> join_icc(s.payload for s in split_icc(profile)) == profile
    True
    """
    room = MAX_PAYLOAD - len(ICC_HEAD) - 2
    pieces = [profile[i : i + room] for i in range(0, len(profile), room)]
    if len(pieces) > 255:
        raise FormatError(
            "profile-too-large",
            f"Colour profile of {len(profile)} bytes: a JPEG holds 16 MB at most.",
        )
    return tuple(
        Segment(marker=APP2, payload=ICC_HEAD + bytes((i, len(pieces))) + piece)
        for i, piece in enumerate(pieces, start=1)
    )


def format_segment(segment: Segment) -> bytes:
    """Return a segment's bytes: marker, length, payload."""
    if len(segment.payload) > MAX_PAYLOAD:
        raise ValueError(
            f"segment payload: at most {MAX_PAYLOAD} bytes, got {len(segment.payload)}"
        )
    return (
        b"\xff%c" % segment.marker + struct.pack(">H", len(segment.payload) + 2) + segment.payload
    )


def splice_jpeg(encoded: bytes, segments: Iterable[Segment]) -> tuple[bytes, memoryview]:
    """
    Put segments in front of freshly encoded pixels.

    The encoder's own JFIF segment stays only where there is no Exif: both want to be first,
    and a camera's file has Exif there. All its other segments stay behind ours.

    Parameters
    ----------
    encoded : bytes
        A whole JPEG from an encoder.
    segments : iterable of Segment
        In the order in which they are to stand.

    Returns
    -------
    head : bytes
        Start of the file and the segments.
    rest : memoryview
        The encoder's bytes behind its own start, not copied.
    """
    segments = tuple(segments)
    rest = memoryview(encoded)[2:]
    jfif = b""
    if bytes(rest[:2]) == b"\xff\xe0":
        length = 2 + int.from_bytes(rest[2:4], "big")
        jfif, rest = bytes(rest[:length]), rest[length:]
    has_exif = any(s.marker == APP1 and s.payload.startswith(EXIF_HEAD) for s in segments)
    head = SOI + (b"" if has_exif else jfif)
    return head + b"".join(map(format_segment, segments)), rest
