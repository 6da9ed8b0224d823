"""
XMP packets: add what was done to a photo to what its packet says already.

ISO 16684-1:2019 (the data model and its RDF), XMP specification part 3 (how a JPEG holds it,
packets over 64 KB). An existing packet is extended as text, so that whatever it holds stays as
it was written; only our own earlier note in it is replaced.
"""

from __future__ import annotations

import hashlib
import re
import struct
from collections.abc import Mapping
from xml.etree import ElementTree
from xml.sax.saxutils import escape

#: Names of our fields; a URN, as nothing is to be fetched from it.
NAMESPACE = "urn:x-dryslate:correction:1#"
_NS_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
_NS_NOTE = "http://ns.adobe.com/xmp/note/"
_NS_META = "adobe:ns:meta/"
_BEGIN = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>'
_END = '<?xpacket end="w"?>'
#: One APP1 segment holds 65533 bytes, the head of the packet's segment takes 29.
MAX_PACKET = 65502
_MORE_HEAD = b"http://ns.adobe.com/xmp/extension/\x00"
_MORE_CHUNK = 65000

_OURS = re.compile(
    r"\s*<(?P<tag>[\w.-]+:Description)\b[^>]*\bxmlns:dryslate=(?P<q>[\"'])"
    + re.escape(NAMESPACE)
    + r"(?P=q)[^>]*>.*?</(?P=tag)>",
    re.DOTALL,
)
_RDF_END = re.compile(r"</(?:(?P<prefix>[\w.-]+):)?RDF\s*>")
_EMPTY_RDF = re.compile(r"<((?:[\w.-]+:)?RDF)\b([^>]*)/>")
_NAME = re.compile(r"[A-Za-z_][\w.-]*")


def is_readable_xmp(packet: bytes) -> bool:
    """
    Tell whether a packet is well-formed RDF in UTF-8, without document types.

    Parameters
    ----------
    packet : bytes
        The packet, with or without its wrapper.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_readable_xmp(b"<x>cut off")
    False
    """
    try:
        text = packet.decode("utf-8")
        if "<!DOCTYPE" in text or "<!ENTITY" in text:
            return False
        root = ElementTree.fromstring(_body(text))
    except (UnicodeDecodeError, ElementTree.ParseError, ValueError):
        return False
    tags = {root.tag} | {child.tag for child in root}
    return f"{{{_NS_RDF}}}RDF" in tags


def _body(text: str) -> str:
    """Return a packet without its wrapper, zero bytes and padding."""
    return re.sub(r"<\?xpacket.*?\?>", "", text, flags=re.DOTALL).strip("\ufeff\x00 \t\r\n")


def format_xmp(fields: Mapping[str, str], packet: bytes | None = None) -> bytes:
    """
    Write fields into a packet, keeping what it holds.

    Parameters
    ----------
    fields : mapping of str to str
        Our own fields; the names must be XML names.
    packet : bytes, optional
        What the photo holds already. One that cannot be read is left out, and the field
        ``earlier_packet`` says so.

    Returns
    -------
    bytes
        The packet with its wrapper, UTF-8, without padding.

    Raises
    ------
    ValueError
        If a field's name is not an XML name.

    Examples
    --------
    >>> b"colour_fit" in format_xmp({"colour_fit": "affine"})
    True
    """
    fields = dict(fields)
    if packet is not None and not is_readable_xmp(packet):
        fields["earlier_packet"] = "unreadable, left out"
        packet = None
    if packet is None:
        rdf = f'<rdf:RDF xmlns:rdf="{_NS_RDF}">{_note(fields, "rdf:")}\n</rdf:RDF>'
        body = f'<x:xmpmeta xmlns:x="{_NS_META}">\n{rdf}\n</x:xmpmeta>'
    else:
        body = _EMPTY_RDF.sub(r"<\1\2></\1>", _OURS.sub("", _body(packet.decode("utf-8"))))
        end = list(_RDF_END.finditer(body))[-1]
        prefix = f"{end['prefix']}:" if end["prefix"] else ""
        body = body[: end.start()] + _note(fields, prefix) + "\n" + body[end.start() :]
    return f"{_BEGIN}\n{body}\n{_END}".encode()


def _note(fields: Mapping[str, str], prefix: str) -> str:
    """Return our description element."""
    lines = []
    for name, value in fields.items():
        if not _NAME.fullmatch(name):
            raise ValueError(f"XMP field: expected an XML name, got {name!r}")
        clean = "".join(c for c in str(value) if c.isprintable() or c in "\t\n")
        lines.append(f"   <dryslate:{name}>{escape(clean)}</dryslate:{name}>")
    about = f'{prefix}about=""' if prefix else f'xmlns:r="{_NS_RDF}" r:about=""'
    opening = f'\n  <{prefix}Description {about} xmlns:dryslate="{NAMESPACE}">'
    return "\n".join([opening, *lines, f"  </{prefix}Description>"])


def parse_xmp_fields(packet: bytes) -> dict[str, str]:
    """
    Read our own fields from a packet.

    Parameters
    ----------
    packet : bytes
        The packet.

    Returns
    -------
    dict of str to str
        Empty where the packet is not readable or holds none.

    Examples
    --------
    >>> parse_xmp_fields(format_xmp({"colour_fit": "a < b"}))
    {'colour_fit': 'a < b'}
    """
    if not is_readable_xmp(packet):
        return {}
    root = ElementTree.fromstring(_body(packet.decode("utf-8")))
    head = f"{{{NAMESPACE}}}"
    return {
        element.tag.removeprefix(head): element.text or ""
        for element in root.iter()
        if isinstance(element.tag, str) and element.tag.startswith(head)
    }


def split_xmp(
    fields: Mapping[str, str], packet: bytes | None, extended: tuple[bytes, ...] = ()
) -> tuple[bytes, tuple[bytes, ...]]:
    """
    Write fields into a photo's XMP, moving what does not fit 64 KB into extended packets.

    Parameters
    ----------
    fields : mapping of str to str
        Our own fields.
    packet : bytes or None
        The photo's standard packet.
    extended : tuple of bytes
        Payloads of its extended XMP segments, each with its head.

    Returns
    -------
    packet : bytes
        The standard packet, at most 65,502 bytes.
    extended : tuple of bytes
        Payloads of extended segments: those given, unless the standard packet had to move.
    """
    merged = format_xmp(fields, packet)
    if len(merged) <= MAX_PACKET:
        return merged, extended
    if packet is None:
        raise ValueError(f"XMP fields: {len(merged)} bytes do not fit one packet")
    moved = _move_out(packet, join_extended(extended))
    guid = hashlib.md5(moved, usedforsecurity=False).hexdigest().upper()
    link = f'xmlns:xmpNote="{_NS_NOTE}" xmpNote:HasExtendedXMP="{guid}"'
    small = (
        f'<x:xmpmeta xmlns:x="{_NS_META}"><rdf:RDF xmlns:rdf="{_NS_RDF}">'
        f'<rdf:Description rdf:about="" {link}/></rdf:RDF></x:xmpmeta>'
    )
    chunks = tuple(
        _MORE_HEAD
        + guid.encode("ascii")
        + struct.pack(">II", len(moved), at)
        + moved[at : at + _MORE_CHUNK]
        for at in range(0, len(moved), _MORE_CHUNK)
    )
    return format_xmp(fields, small.encode()), chunks


def join_extended(extended: tuple[bytes, ...]) -> bytes | None:
    """
    Put an extended packet together from its segments.

    Parameters
    ----------
    extended : tuple of bytes
        Payloads with head, GUID, full length and offset.

    Returns
    -------
    bytes or None
        None where there is none or a piece is missing or its digest is wrong.
    """
    head = len(_MORE_HEAD)
    pieces: dict[int, bytes] = {}
    guid, total = b"", 0
    for payload in extended:
        if len(payload) < head + 40:
            continue
        guid = guid or payload[head : head + 32]
        if payload[head : head + 32] == guid:
            total, offset = struct.unpack(">II", payload[head + 32 : head + 40])
            pieces[offset] = payload[head + 40 :]
    whole = b"".join(pieces[offset] for offset in sorted(pieces))
    digest = hashlib.md5(whole, usedforsecurity=False).hexdigest().upper().encode("ascii")
    return whole if pieces and len(whole) == total and digest == guid.upper() else None


def _move_out(packet: bytes, extended: bytes | None) -> bytes:
    """Return an extended packet that holds a standard packet and what was extended before."""
    root = ElementTree.fromstring(_OURS.sub("", _body(packet.decode("utf-8"))))
    tag = f"{{{_NS_RDF}}}RDF"
    rdf = root if root.tag == tag else root.find(tag)
    if rdf is None:  # is_readable_xmp has seen it
        raise ValueError("XMP packet: no RDF element")
    for description in rdf:
        description.attrib.pop(f"{{{_NS_NOTE}}}HasExtendedXMP", None)
        for note in description.findall(f"{{{_NS_NOTE}}}HasExtendedXMP"):
            description.remove(note)
    if extended is not None and is_readable_xmp(extended):
        more = ElementTree.fromstring(_body(extended.decode("utf-8")))
        rdf.extend(list(more if more.tag == tag else more.find(tag) or ()))
    text: bytes = ElementTree.tostring(root, encoding="utf-8", xml_declaration=False)
    return text
