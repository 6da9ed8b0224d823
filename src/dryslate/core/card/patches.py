"""Pixels of a found card's patches and ground, reduced to robust means, with reasons for doubt."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from dryslate.core.arrays.homography import homography_jacobian
from dryslate.core.card.cells import CellReader, Cells, Pixels, Reduced, reduce_cells
from dryslate.core.card.definition import Box, CardDefinition, Patch
from dryslate.core.card.found import CardSamples, FloatArray, FoundCard, PatchSample
from dryslate.core.card.ground import find_ground, fit_log_plane
from dryslate.core.card.markers import rim_mm

MIN_SIDE_PX = 20.0
MAX_CLIPPED = 0.03
MAX_DARK = 0.6
MAX_GLARE = 0.03
MAX_ODD = 0.12
MAX_STEP = 0.14
MAX_SLOPE = 0.2
MAX_RING = 0.35
UNLIKE = 0.3
SIGNAL = 0.2
RING_POINTS = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Light:
    """The light over the card's ground: log of each channel that has signal, as a plane."""

    planes: FloatArray  # (channels, 3)
    channels: tuple[int, ...]
    size_mm: float

    def unlike(self, xy_mm: FloatArray, values: FloatArray) -> NDArray[np.bool_]:
        """Tell which values (n, 3) are more than 30 % away from the ground's in any channel."""
        expected = self.planes[:, 0] + xy_mm @ self.planes[:, 1:].T / self.size_mm
        away = np.log(np.maximum(values[:, list(self.channels)], 1e-5)) - expected
        return np.asarray((np.abs(away) > np.log1p(UNLIKE)).any(axis=1), dtype=np.bool_)


def _fit_light(xy_mm: FloatArray, means: FloatArray, size_mm: float) -> _Light:
    """Fit the light over pieces of ground, in the channels that have signal."""
    typical = np.median(means, axis=0)
    channels = tuple(int(c) for c in np.flatnonzero(typical > SIGNAL * typical.max()))
    planes = np.array([fit_log_plane(xy_mm, means[:, c], size_mm) for c in channels])
    return _Light(planes=planes, channels=channels, size_mm=size_mm)


def _box(patch: Patch) -> Box:
    """Return the rectangle of a patch."""
    return Box(x_mm=patch.x_mm, y_mm=patch.y_mm, width_mm=patch.width_mm, height_mm=patch.height_mm)


@lru_cache(maxsize=64)
def _gaps_mm(card: CardDefinition) -> tuple[float, ...]:
    """Distance from each patch to the nearest other printed thing or the card's edge."""
    others = [(p.patch_id, _box(p)) for p in card.patches]
    if card.pencil_strip is not None:
        others.append(("", card.pencil_strip))
    for m in card.markers:
        r = rim_mm(m)
        side = m.side_mm + 2 * r
        box = Box(x_mm=m.x_mm - r, y_mm=m.y_mm - r, width_mm=side, height_mm=side)
        others.append(("", box))
    out = []
    for patch in card.patches:
        x1, y1 = patch.x_mm + patch.width_mm, patch.y_mm + patch.height_mm
        gaps = [patch.x_mm, patch.y_mm, card.width_mm - x1, card.height_mm - y1]
        for name, b in others:
            if name == patch.patch_id:
                continue
            dx = max(b.x_mm - x1, patch.x_mm - b.x_mm - b.width_mm, 0.0)
            dy = max(b.y_mm - y1, patch.y_mm - b.y_mm - b.height_mm, 0.0)
            gaps.append(max(dx, dy))
        out.append(max(min(gaps), 0.0))
    return tuple(out)


def _rings_unlike(reader: CellReader, card: CardDefinition, light: _Light) -> FloatArray:
    """Share of the ring of ground about each patch that does not look like ground."""
    gaps = np.array(_gaps_mm(card))
    t = np.linspace(0.0, 1.0, RING_POINTS)
    nil, one = np.zeros(RING_POINTS), np.ones(RING_POINTS)
    unit = np.concatenate(
        [
            np.column_stack([t, nil]),
            np.column_stack([t, one]),
            np.column_stack([nil, t]),
            np.column_stack([one, t]),
        ]
    )
    origin = np.array([(p.x_mm, p.y_mm) for p in card.patches]) - gaps[:, None] / 2
    size = np.array([(p.width_mm, p.height_mm) for p in card.patches]) + gaps[:, None]
    points = (origin[:, None, :] + unit[None] * size[:, None, :]).reshape(-1, 2)
    values, _, inside = reader.read(points)
    unlike = light.unlike(points, values) & inside
    share = unlike.reshape(len(gaps), -1).mean(axis=1)
    middle = np.array([card.width_mm / 2, card.height_mm / 2])
    scale = np.sqrt(abs(np.linalg.det(homography_jacobian(reader.card_to_px, middle))))
    return np.where(gaps * scale / 2.0 > 2.0 * reader.blur_px + 1.0, share, 0.0)


def _ends(cells: Cells, n_codes: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Share of pixels with a channel at the top, with all at the bottom, with one at an end."""
    red, green, blue = np.moveaxis(cells.coded, -1, 0)
    highest = np.maximum(np.maximum(red, green), blue)
    lowest = np.minimum(np.minimum(red, green), blue)
    any_top = highest >= int(0.9965 * (n_codes - 1))
    bottom = int(0.004 * (n_codes - 1))
    return (
        any_top.mean(axis=1),
        (highest <= bottom).mean(axis=1),
        (any_top | (lowest <= bottom)).mean(axis=1),
    )


def _why_unseen(inside_frac: float, sides_px: FloatArray) -> str:
    """Say why a cell cannot be read at all; empty when it can."""
    if inside_frac < 0.9:
        return f"outside the frame ({100 * (1 - inside_frac):.0f} % of it)"
    if sides_px.min() < MIN_SIDE_PX:
        return (
            f"too few pixels ({sides_px[0]:.0f} by {sides_px[1]:.0f}, at least "
            f"{MIN_SIDE_PX:.0f} by {MIN_SIDE_PX:.0f} needed)"
        )
    return ""


def _why_doubtful(figures: dict[str, float]) -> str:
    """Say why the pixels of a cell are not to be trusted; empty when they are."""
    percent = {name: f"{100 * value:.0f} %" for name, value in figures.items()}
    if figures["top"] > MAX_CLIPPED:
        return f"clipped ({percent['top']} of its pixels at the top of the range)"
    if figures["dark"] > MAX_DARK:
        return f"clipped ({percent['dark']} of its pixels black in every channel)"
    if MAX_GLARE < figures["bright"] < 0.5 and figures["bright"] > 0.7 * figures["odd"]:
        return f"glare ({percent['bright']} of its pixels far brighter than the rest)"
    if figures["odd"] > MAX_ODD:
        return f"partly covered ({percent['odd']} of its pixels unlike the rest)"
    if figures["step"] > MAX_STEP:
        return f"shaded or partly covered (a step of {percent['step']} within it)"
    if figures["slope"] > MAX_SLOPE:
        return f"shaded (its light changes by {percent['slope']} across, its neighbours' does not)"
    if figures["ring"] > MAX_RING:
        return f"covered or shaded ({percent['ring']} of the ground about it looks unlike ground)"
    return ""


def sample_card(img_coded: Pixels, found: FoundCard, linear_lut: FloatArray) -> CardSamples:
    """
    Sample the patches and the ground of a found card.

    Parameters
    ----------
    img_coded : ndarray of uint8 or uint16, shape (h, w, 3)
        Upright; may be a turned view that is not contiguous.
    found : FoundCard
    linear_lut : ndarray of float, shape (n, 3)
        From the file's values (0 to n - 1) to linear light.

    Returns
    -------
    CardSamples
        Every patch of the card, used or dropped with its reason, and up to 16 pieces of ground.

    Raises
    ------
    ValueError
        If the table does not span the values of the photo.

    Notes
    -----
    Each cell is shrunk for blur and for the doubt of the corners, and read on a grid of at most
    18 by 18 pixels (see `reduce_cells`). Dropped are patches that lie outside the frame, have
    fewer than 20 by 20 pixels, are clipped at the top or black in every channel, show glare, a
    step, or a slope of the light that the other patches do not share, or are covered: by pixels
    unlike the rest, or because the ground about them does not look like the card's ground. A
    channel without signal drops nothing: that is for the colour fit to judge.
    """
    n_codes = len(linear_lut)
    limit = 256 if img_coded.dtype == np.uint8 else 65536
    if np.shape(linear_lut)[1:] != (3,) or n_codes != limit:
        raise ValueError(f"expected a table of shape ({limit}, 3), got {np.shape(linear_lut)}")
    card = found.card
    reader = CellReader(img_coded, found, linear_lut)
    ground, light = _sample_ground(reader, card, n_codes)
    if not card.patches:
        return CardSamples(patches=(), ground=ground)
    cells = reader.cells([_box(p) for p in card.patches])
    reduced = reduce_cells(cells)
    top, dark, ends = _ends(cells, n_codes)
    ring = np.zeros(len(card.patches)) if light is None else _rings_unlike(reader, card, light)
    own = _own_slopes(cells, reduced)
    level = float(reduced.mean[:, reduced.channel].max())
    patches = []
    for k, patch in enumerate(card.patches):
        strong = max(float(reduced.mean[k, reduced.channel]), 0.02 * level + 1e-6)
        figures = {
            "top": float(top[k]),
            "dark": float(dark[k]),
            "bright": float(reduced.bright_frac[k]),
            "odd": float(reduced.odd_frac[k]),
            "step": float(reduced.step[k]) / strong,
            "slope": float(own[k]),
            "ring": float(ring[k]),
        }
        why = _why_unseen(float(cells.inside_frac[k]), cells.sides_px[k]) or _why_doubtful(figures)
        patches.append(_record(cells, reduced, k, (patch.patch_id, patch.role), (ends, why)))
    return CardSamples(patches=tuple(patches), ground=ground)


def _own_slopes(cells: Cells, reduced: Reduced) -> FloatArray:
    """Largest relative change of light across each cell that the others do not share."""
    per_mm = reduced.slope / np.maximum(cells.spans_mm, 1e-9)
    lit = reduced.mean[:, reduced.channel] > 0.1 * reduced.mean[:, reduced.channel].max()
    shared = np.median(per_mm[lit], axis=0) if lit.any() else np.zeros(2)
    own = np.abs((per_mm - shared) * cells.spans_mm).max(axis=1)
    return np.where(lit, own, 0.0)  # in dark patches noise and veil rule the slope


def _record(
    cells: Cells,
    reduced: Reduced,
    k: int,
    name_and_role: tuple[str, str],
    ends_and_why: tuple[FloatArray, str],
) -> PatchSample:
    """Make the record of one cell."""
    name, role = name_and_role
    ends, why = ends_and_why
    return PatchSample(
        patch_id=name,
        role=role,  # type: ignore[arg-type]  # one of the three roles by construction
        centre_px=cells.centre_px[k],
        centre_mm=cells.centre_mm[k],
        mean_linear=reduced.mean[k],
        cov_linear=reduced.cov[k],
        n_px=int(reduced.n_px[k]),
        clipped_frac=float(ends[k]),
        dropped=why,
    )


def _sample_ground(
    reader: CellReader, card: CardDefinition, n_codes: int
) -> tuple[tuple[PatchSample, ...], _Light | None]:
    """Sample the ground; also the light over it, where enough of it can be seen."""
    boxes = find_ground(card)
    if not boxes:
        return (), None
    roomy = reader.sides_px(boxes).min(axis=1) >= 3.0 * reader.blur_px + 3.0
    boxes = tuple(b for b, fits in zip(boxes, roomy, strict=True) if fits)
    if not boxes:
        return (), None
    cells = reader.cells(boxes)
    reduced = reduce_cells(cells)
    top, dark, ends = _ends(cells, n_codes)
    step = reduced.step / np.maximum(reduced.mean[:, reduced.channel], 1e-5)
    whys = []
    for k in range(len(boxes)):
        why = ""
        if cells.inside_frac[k] < 0.95:
            why = "outside the frame"
        elif top[k] > MAX_CLIPPED or dark[k] > MAX_DARK:
            why = "clipped"
        elif reduced.odd_frac[k] > MAX_ODD or step[k] > MAX_STEP:
            why = "partly covered or shaded"
        whys.append(why)
    good = np.array([not w for w in whys])
    light = None
    if good.sum() >= 5:
        size = max(card.width_mm, card.height_mm)
        light = _fit_light(cells.centre_mm[good], reduced.mean[good], size)
        unlike = light.unlike(cells.centre_mm, reduced.mean)
        whys = [
            w or ("covered or shaded: unlike the rest of the ground" if u else "")
            for w, u in zip(whys, unlike, strict=True)
        ]
    samples = tuple(
        _record(cells, reduced, k, (f"ground:{k + 1}", "ground"), (ends, whys[k]))
        for k in range(len(boxes))
    )
    return samples, light
