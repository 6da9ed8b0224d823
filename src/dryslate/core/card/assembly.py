"""From markers to cards: which markers lie on one card together, and where the others must be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.arrays.homography import apply_homography, fit_homography
from dryslate.core.card.definition import CardDefinition, Marker
from dryslate.core.card.found import FloatArray, FoundCard, How, MarkerSeen
from dryslate.core.card.markers import marker_corners_mm
from dryslate.core.card.refine import is_convex

MISFIT_OF_SIDE = 0.06
MISFIT_PX = 1.5
"""Markers of one card may miss their common plane by so much: bent cards, wide lenses."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placed:
    """A marker seen, with the one of the card's markers that it is."""

    marker: Marker
    seen: MarkerSeen


def marker_table(card: CardDefinition) -> dict[tuple[str, int], Marker]:
    """
    Return the card's markers by dictionary and id.

    Parameters
    ----------
    card : CardDefinition

    Returns
    -------
    dict
    """
    return {(m.dictionary, m.marker_id): m for m in card.markers}


def _side_px(seen: MarkerSeen) -> float:
    """Mean side of a marker in the photo."""
    corners = seen.corners_px
    return float(np.hypot(*(corners - np.roll(corners, 1, axis=0)).T).mean())


def fit_placed(placed: list[Placed], *, is_trial: bool = False) -> FloatArray | None:
    """
    Fit the homography from card to photo through all corners of some markers.

    Parameters
    ----------
    placed : list of Placed
        At least one.
    is_trial : bool
        Whether the linear solution will do.

    Returns
    -------
    ndarray of float, shape (3, 3), or None
        None where they span no plane or the card would be seen from behind.
    """
    mm = np.vstack([marker_corners_mm(p.marker) for p in placed])
    px = np.vstack([p.seen.corners_px for p in placed])
    u = np.concatenate([np.full(4, p.seen.corner_u_px) for p in placed])
    try:
        h = fit_homography(mm, px, 1.0 / u)
    except InputError:
        return None
    if len(placed) > 1 and not is_trial:
        h = polish_homography(h, mm, px, u)
    lifted = np.column_stack([mm, np.ones(len(mm))]) @ h[2]
    ahead = lifted * np.sign(lifted[0])
    if ahead.min() <= 0 or np.linalg.det(h) * np.sign(lifted[0]) <= 0:
        return None
    return h


def polish_homography(h: FloatArray, mm: FloatArray, px: FloatArray, u: FloatArray) -> FloatArray:
    """
    Bring a homography to the least squares of the distances in the photo.

    Parameters
    ----------
    h : ndarray of float, shape (3, 3)
        Start.
    mm, px : ndarray of float, shape (n, 2)
    u : ndarray of float, shape (n,)
        One standard uncertainty of each coordinate in the photo.

    Returns
    -------
    ndarray of float, shape (3, 3)
        After three Gauss-Newton rounds; the start where they fail.
    """
    best = h / h[2, 2]
    for _ in range(3):
        lifted = np.column_stack([mm, np.ones(len(mm))])
        w = lifted @ best[2]
        xy = (lifted @ best[:2].T) / w[:, None]
        design = np.zeros((2 * len(mm), 8))
        scaled = lifted / w[:, None]
        design[0::2, 0:3] = scaled
        design[1::2, 3:6] = scaled
        design[0::2, 6:8] = -scaled[:, :2] * xy[:, :1]
        design[1::2, 6:8] = -scaled[:, :2] * xy[:, 1:]
        weight = np.repeat(1.0 / u, 2)
        residual = (px - xy).ravel() * weight
        weighted = design * weight[:, None]
        norms = np.linalg.norm(weighted, axis=0)
        delta = np.linalg.lstsq(weighted / norms, residual, rcond=None)[0] / norms
        best = best + np.append(delta, 0.0).reshape(3, 3)
    return best if np.all(np.isfinite(best)) else h


def misfit(placed: list[Placed], h: FloatArray) -> float:
    """
    Say by how much a group of markers misses its plane.

    Parameters
    ----------
    placed : list of Placed
    h : ndarray of float, shape (3, 3)

    Returns
    -------
    float
        Worst marker's root mean square distance over what is allowed: 1 and less is fine.
    """
    worst = 0.0
    for p in placed:
        away = apply_homography(h, marker_corners_mm(p.marker)) - p.seen.corners_px
        allowed = MISFIT_PX + MISFIT_OF_SIDE * _side_px(p.seen)
        worst = max(worst, float(np.sqrt((away**2).sum(axis=1).mean())) / allowed)
    return worst


def _trial_misfit(placed: list[Placed], *, is_trial: bool) -> float:
    """Say how badly markers fit one plane; infinite where they span none."""
    h = fit_placed(placed, is_trial=is_trial)
    return float("inf") if h is None else misfit(placed, h)


def join_markers(card: CardDefinition, seen: list[MarkerSeen]) -> list[list[Placed]]:
    """
    Sort the markers of one design into the cards that they lie on.

    Parameters
    ----------
    card : CardDefinition
    seen : list of MarkerSeen
        Those of this card's markers that were read, in any order; an id may come more than once
        when two cards of one design are in the photo.

    Returns
    -------
    list of list of Placed
        One group a card, largest first; each marker of the card at most once in a group.

    Notes
    -----
    Greedy: the largest marker opens a group, and the one that fits best with it joins, until none
    fits. What fits no group opens its own. Where no marker comes twice and all fit one plane, they
    are one card. The linear solution ranks the candidates; one that it
    would turn away is given the least squares first.
    """
    table = marker_table(card)
    rest = sorted(
        (Placed(marker=table[(s.dictionary, s.marker_id)], seen=s) for s in seen),
        key=lambda p: (-_side_px(p.seen), p.seen.marker_id, tuple(p.seen.corners_px[0])),
    )
    n_designs = len({(p.marker.dictionary, p.marker.marker_id) for p in rest})
    if len(rest) == n_designs > 2 and _trial_misfit(rest, is_trial=True) <= 1.0:
        return [rest]
    groups = []
    while rest:
        group = [rest.pop(0)]
        while True:
            taken = {(p.marker.dictionary, p.marker.marker_id) for p in group}
            choices = [
                (_trial_misfit([*group, other], is_trial=True), k)
                for k, other in enumerate(rest)
                if (other.marker.dictionary, other.marker.marker_id) not in taken
            ]
            if not choices:
                break
            best, k = min(choices)
            if best > 1.0 and _trial_misfit([*group, rest[k]], is_trial=False) > 1.0:
                break
            group.append(rest.pop(k))
        groups.append(group)
    return sorted(groups, key=lambda g: (-len(g), -_side_px(g[0].seen)))


def found_from(card: CardDefinition, group: list[Placed], how: How = "markers") -> FoundCard | None:
    """
    Make the record of a found card from its markers.

    Parameters
    ----------
    card : CardDefinition
    group : list of Placed
    how : str

    Returns
    -------
    FoundCard or None
        None where the markers span no plane.
    """
    h = fit_placed(group)
    if h is None:
        return None
    order = {(m.dictionary, m.marker_id): k for k, m in enumerate(card.markers)}
    group = sorted(group, key=lambda p: order[(p.marker.dictionary, p.marker.marker_id)])
    outer = [
        (0.0, 0.0),
        (card.width_mm, 0.0),
        (card.width_mm, card.height_mm),
        (0.0, card.height_mm),
    ]
    corners = apply_homography(h, outer)
    if not is_convex(corners):  # a small marker's doubt can put the horizon across the card
        return None
    return FoundCard(
        card=card,
        how=how,
        corners_px=corners,
        points_mm=np.vstack([marker_corners_mm(p.marker) for p in group]),
        points_px=np.vstack([p.seen.corners_px for p in group]),
        points_u_px=np.concatenate([np.full(4, p.seen.corner_u_px) for p in group]),
        card_to_px=h,
        markers=tuple(p.seen for p in group),
        flags=(Flag.FEW_MARKERS,) if len(group) == 1 else (),
    )
