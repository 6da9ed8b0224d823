"""One channel of a photo, at full size and halved again and again, however the view is turned."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.core.card.found import FloatArray

GREEN = 1
_STRIP_ROWS = 80


def srgb_lut() -> FloatArray:
    """
    Return the table from sRGB bytes to linear light.

    Returns
    -------
    ndarray of float, shape (256, 3)
        0 to 1, the same in each channel.

    References
    ----------
    .. [1] IEC 61966-2-1:1999, section 5.2.

    Examples
    --------
    >>> srgb_lut()[[0, 255], 0].tolist()
    [0.0, 1.0]
    """
    coded = np.arange(256) / 255.0
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    return np.repeat(linear[:, None], 3, axis=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Channel:
    """
    One channel of an upright photo, with its halvings.

    Parameters
    ----------
    index : int
        Which channel: 0, 1 or 2.
    levels : tuple of ndarray of uint8
        Upright views; level k is smaller by 2 to the power k. Level 0 may be non-contiguous.
    origin_px : tuple of float
        Where the pixels of the cropped halvings begin in the upright photo.
    lut : ndarray of float32, shape (256,)
        To linear light.
    """

    index: int
    levels: tuple[NDArray[np.uint8], ...]
    origin_px: tuple[float, float]
    lut: NDArray[np.float32]

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of the photo."""
        h, w = self.levels[0].shape
        return w, h

    def to_full(self, xy: FloatArray, level: int) -> FloatArray:
        """Take points of a level to pixels of the upright photo."""
        if level == 0:
            return xy
        return np.asarray((xy + 0.5) * 2.0**level - 0.5 + self.origin_px, dtype=np.float64)

    def to_level(self, xy: FloatArray, level: int) -> FloatArray:
        """Take points of the upright photo to pixels of a level."""
        if level == 0:
            return xy
        return np.asarray((xy - self.origin_px + 0.5) / 2.0**level - 0.5, dtype=np.float64)


def find_strongest(img_coded: NDArray[np.uint8]) -> int:
    """
    Find the channel that shows the most: green unless another has far more contrast.

    Parameters
    ----------
    img_coded : ndarray of uint8, shape (h, w, 3)

    Returns
    -------
    int
        0, 1 or 2.

    Notes
    -----
    Looks at a sparse grid; contrast is the range from the 3rd to the 97th percentile.

    Examples
    --------
    >>> ramp = np.zeros((64, 64, 3), np.uint8)
    >>> ramp[..., 2] = np.arange(64)
    >>> find_strongest(ramp)
    2
    """
    step = max(1, int(np.sqrt(img_coded.shape[0] * img_coded.shape[1] / 20000.0)))
    sparse = img_coded[::step, ::step].reshape(-1, 3)
    low, high = np.percentile(sparse, (3, 97), axis=0)
    contrast = high - low
    best = int(np.argmax(contrast))
    return GREEN if contrast[GREEN] >= 0.7 * contrast[best] else best


def _stored_layout(
    img: NDArray[np.uint8],
) -> tuple[NDArray[np.uint8], bool, bool, bool]:
    """Undo turns and flips of a view, so that its rows lie in memory order."""
    swapped = abs(img.strides[0]) < abs(img.strides[1])
    stored = img.transpose(1, 0, 2) if swapped else img
    flip_y, flip_x = stored.strides[0] < 0, stored.strides[1] < 0
    if flip_y:
        stored = stored[::-1]
    if flip_x:
        stored = stored[:, ::-1]
    return stored, swapped, flip_y, flip_x


def _halvings(stored: NDArray[np.uint8], which: int, n_levels: int) -> list[NDArray[np.uint8]]:
    """Halve a channel again and again; the first halving is taken strip by strip, in cache."""
    full = stored[..., which]
    block = 2 ** (n_levels - 1)
    h, w = (side - side % block for side in full.shape)
    planes = [full]
    if n_levels < 2 or not h or not w:
        return planes
    half = np.empty((h // 2, w // 2), dtype=np.uint8)
    buffer = np.empty((_STRIP_ROWS, w), dtype=np.uint8)
    packed = stored.strides[1:] == (3, 1)  # then OpenCV's way is twice as fast as a copy
    for top in range(0, h, _STRIP_ROWS):
        rows = slice(top, min(top + _STRIP_ROWS, h))
        if packed:
            strip = cv2.extractChannel(stored[rows, :w], which, buffer[: rows.stop - top])
        else:
            strip = np.ascontiguousarray(full[rows, :w])
        cv2.resize(
            strip,
            (w // 2, len(strip) // 2),
            dst=half[top // 2 : (top + len(strip)) // 2],
            interpolation=cv2.INTER_AREA,
        )
    planes.append(half)
    for _ in range(n_levels - 2):
        size = (planes[-1].shape[1] // 2, planes[-1].shape[0] // 2)
        smaller = cv2.resize(planes[-1], size, interpolation=cv2.INTER_AREA)
        planes.append(np.asarray(smaller, dtype=np.uint8))
    return planes


def split_channel(
    img_coded: NDArray[np.uint8],
    linear_lut: FloatArray | None = None,
    *,
    index: int | None = None,
    n_levels: int = 4,
) -> Channel:
    """
    Take the strongest channel of an upright photo, with its halvings.

    Parameters
    ----------
    img_coded : ndarray of uint8, shape (h, w, 3)
        Upright; may be a turned or flipped view.
    linear_lut : ndarray of float, shape (256, 3), optional
        To linear light; the sRGB curve when absent.
    index : int, optional
        Which channel; the strongest when absent.
    n_levels : int
        How many sizes at most, the full one included.

    Returns
    -------
    Channel

    Examples
    --------
    >>> photo = np.zeros((48, 64, 3), np.uint8)
    >>> [level.shape for level in split_channel(photo).levels]
    [(48, 64), (24, 32), (12, 16), (6, 8)]
    """
    which = find_strongest(img_coded) if index is None else index
    lut = srgb_lut() if linear_lut is None else np.asarray(linear_lut, dtype=np.float64)
    stored, swapped, flip_y, flip_x = _stored_layout(img_coded)
    planes = _halvings(stored, which, n_levels)
    upright: list[NDArray[np.uint8]] = []
    for plane in planes:
        view = plane[::-1] if flip_y else plane
        view = view[:, ::-1] if flip_x else view
        upright.append(view.T if swapped else view)
    block = 2 ** (n_levels - 1)
    rest_y, rest_x = (side % block for side in stored.shape[:2])
    begin = (float(rest_x) if flip_x else 0.0, float(rest_y) if flip_y else 0.0)
    return Channel(
        index=which,
        levels=tuple(upright),
        origin_px=(begin[1], begin[0]) if swapped else begin,
        lut=lut[:, which].astype(np.float32),
    )
