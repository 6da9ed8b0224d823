"""
HEIC photos made from code: no encoder is needed when every block is sent as plain samples.

ITU-T H.265 (I_PCM coding units, one slice a block so that no context ever adapts) in the boxes
of ISO/IEC 23008-12. For tests of the reader; sizes are multiples of 16.
"""

from __future__ import annotations

import struct

import numpy as np

BLOCK = 16


class Bits:
    """A row of bits with the codes of H.265, clause 9."""

    def __init__(self) -> None:
        self.bits: list[int] = []

    def u(self, n: int, value: int) -> Bits:
        self.bits += [(value >> i) & 1 for i in range(n - 1, -1, -1)]
        return self

    def ue(self, *values: int) -> Bits:
        for value in values:
            n = (value + 1).bit_length()
            self.u(2 * n - 1, value + 1)
        return self

    def align(self, first: int) -> Bits:
        self.bits.append(first)
        self.bits += [0] * (-len(self.bits) % 8)
        return self

    def to_bytes(self) -> bytes:
        return np.packbits(np.array(self.bits, np.uint8)).tobytes()


class Arithmetic:
    """The encoder of 9.3.4 as far as a fresh context and terminating bins need it."""

    def __init__(self, out: Bits) -> None:
        self.out, self.low, self.range = out, 0, 510
        self.outstanding, self.is_first = 0, True

    def likely(self, lps_range: int) -> None:
        self.range -= lps_range
        assert self.range >= 256, "only a fresh context is known here"

    def terminate(self) -> None:
        self.low += self.range - 2
        self.range = 2
        while self.range < 256:
            if self.low < 256:
                self._put(0)
            elif self.low >= 512:
                self.low -= 512
                self._put(1)
            else:
                self.low -= 256
                self.outstanding += 1
            self.range <<= 1
            self.low <<= 1
        self._put((self.low >> 9) & 1)
        self.out.u(2, ((self.low >> 7) & 3) | 1)

    def _put(self, bit: int) -> None:
        if self.is_first:
            self.is_first = False
        else:
            self.out.bits.append(bit)
        self.out.bits += [1 - bit] * self.outstanding
        self.outstanding = 0


def unit(kind: int, payload: bytes) -> bytes:
    """One NAL unit with the bytes that keep start codes from appearing in it."""
    out, zeros = bytearray(), 0
    for byte in payload:
        if zeros >= 2 and byte <= 3:
            out.append(3)
            zeros = 0
        out.append(byte)
        zeros = zeros + 1 if byte == 0 else 0
    return struct.pack(">H", (kind << 9) | 1) + bytes(out)


def level(bits: Bits) -> Bits:
    """Main profile, level 3.1 (7.3.3)."""
    bits.u(2, 0).u(1, 0).u(5, 1).u(32, 0x60000000)
    return bits.u(1, 1).u(1, 0).u(1, 1).u(1, 1).u(43, 0).u(1, 0).u(8, 93)


def parameter_sets(width: int, height: int) -> tuple[bytes, bytes, bytes]:
    video = level(Bits().u(4, 0).u(2, 3).u(6, 0).u(3, 0).u(1, 1).u(16, 0xFFFF))
    video.u(1, 1).ue(0, 0, 0).u(6, 0).ue(0).u(2, 0).align(1)
    sequence = level(Bits().u(4, 0).u(3, 0).u(1, 1))
    sequence.ue(0, 1, width, height).u(1, 0).ue(0, 0, 4).u(1, 1).ue(0, 0, 0)
    sequence.ue(1, 0, 0, 2, 0, 0).u(3, 0)  # blocks of 16; no lists, no asymmetry, no offsets
    sequence.u(1, 1).u(4, 7).u(4, 7).ue(1, 0).u(1, 1)  # plain samples of 8 bits, unfiltered
    sequence.ue(0).u(5, 0).align(1)
    picture = Bits().ue(0, 0).u(2, 0).u(3, 0).u(2, 0).ue(0, 0, 0).u(3, 0).ue(0, 0)
    picture.u(7, 0).u(1, 1).u(1, 0).u(1, 1).u(2, 0).ue(0).u(2, 0).align(1)
    return unit(32, video.to_bytes()), unit(33, sequence.to_bytes()), unit(34, picture.to_bytes())


def slice_unit(index: int, n_blocks: int, samples: bytes) -> bytes:
    """One block of 16 x 16 as a slice of its own (7.3.6, 7.3.8)."""
    bits = Bits().u(1, index == 0).u(1, 0).ue(0)
    if index:
        bits.u((n_blocks - 1).bit_length(), index)
    bits.ue(2, 0).align(1)
    coder = Arithmetic(bits)
    coder.likely(240)  # part_mode 2Nx2N; 9.3.4.3, range table, state 0
    coder.terminate()  # pcm_flag
    bits.bits += [0] * (-len(bits.bits) % 8)
    bits.bits += np.unpackbits(np.frombuffer(samples, np.uint8)).tolist()
    Arithmetic(bits).terminate()  # end of slice; its last bit is the stop bit
    bits.bits += [0] * (-len(bits.bits) % 8)
    return unit(19, bits.to_bytes())


def planes(pixels: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Full-range luma and halved chroma (ITU-R BT.601 weights)."""
    r, g, b = (pixels[..., i].astype(float) for i in range(3))
    luma = 0.299 * r + 0.587 * g + 0.114 * b
    chroma = [(b - luma) / 1.772 + 128, (r - luma) / 1.402 + 128]
    halved = [(c[::2, ::2] + c[1::2, ::2] + c[::2, 1::2] + c[1::2, 1::2]) / 4 for c in chroma]
    rounded = [np.clip(np.round(p), 0, 255).astype(np.uint8) for p in (luma, *halved)]
    return rounded[0], rounded[1], rounded[2]


def box(name: bytes, *parts: bytes) -> bytes:
    body = b"".join(parts)
    return struct.pack(">I", len(body) + 8) + name + body


def full(name: bytes, *parts: bytes, version: int = 0, flags: int = 0) -> bytes:
    return box(name, struct.pack(">I", version << 24 | flags), *parts)


def heic(
    pixels: np.ndarray,
    exif: bytes | None = None,
    icc_profile: bytes | None = None,
    code_points: tuple[int, int] = (1, 13),
    n_quarter_turns: int = 0,
) -> bytes:
    """A HEIC file; `n_quarter_turns` are counter-clockwise turns to be made when shown."""
    height, width = pixels.shape[:2]
    luma, blue, red = planes(pixels)
    sets = parameter_sets(width, height)
    places = [(y, x) for y in range(0, height, BLOCK) for x in range(0, width, BLOCK)]
    coded = b""
    for index, (y, x) in enumerate(places):
        h = BLOCK // 2
        samples = luma[y : y + BLOCK, x : x + BLOCK].tobytes()
        samples += b"".join(
            c[y // 2 : y // 2 + h, x // 2 : x // 2 + h].tobytes() for c in (blue, red)
        )
        nal = slice_unit(index, len(places), samples)
        coded += struct.pack(">I", len(nal)) + nal
    config = struct.pack(">BBIHIB", 1, 1, 0x60000000, 0xB000, 0, 93)
    config += struct.pack(">HBBBBHBB", 0xF000, 0xFC, 0xFD, 0xF8, 0xF8, 0, 0x0F, 3)
    for kind, nal in zip((32, 33, 34), sets, strict=True):
        config += struct.pack(">BHH", 0x80 | kind, 1, len(nal)) + nal
    nclx = struct.pack(">4sHHHB", b"nclx", *code_points, 6, 0x80)
    colour = nclx if icc_profile is None else b"prof" + icc_profile
    properties = [
        box(b"hvcC", config),
        full(b"ispe", struct.pack(">II", width, height)),
        box(b"colr", colour),
        box(b"irot", bytes((n_quarter_turns,))),
    ]
    links = bytes((0x81, 2, 3, 0x84))
    items = [(1, b"hvc1", coded)]
    if exif is not None:
        items.append((2, b"Exif", struct.pack(">I", 6) + b"Exif\0\0" + exif))
    infos = [
        full(b"infe", struct.pack(">HH", i, 0), kind, b"\0", version=2) for i, kind, _ in items
    ]
    refer = full(b"iref", box(b"cdsc", struct.pack(">HHH", 2, 1, 1))) if len(items) > 1 else b""

    def meta(offset: int) -> bytes:
        rows = b""
        for i, _, data in items:
            rows += struct.pack(">HHHII", i, 0, 1, offset, len(data))
            offset += len(data)
        return full(
            b"meta",
            full(b"hdlr", bytes(4), b"pict", bytes(13)),
            full(b"pitm", struct.pack(">H", 1)),
            full(b"iloc", struct.pack(">HH", 0x4400, len(items)), rows),
            full(b"iinf", struct.pack(">H", len(items)), *infos),
            refer,
            box(
                b"iprp",
                box(b"ipco", *properties),
                full(b"ipma", struct.pack(">IHB", 1, 1, len(links)), links),
            ),
        )

    head = box(b"ftyp", b"heic", bytes(4), b"mif1", b"heic")
    offset = len(head) + len(meta(0)) + 8
    return head + meta(offset) + box(b"mdat", *(data for _, _, data in items))
