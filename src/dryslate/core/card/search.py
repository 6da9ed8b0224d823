"""One search through one photo: collects markers, joins them to cards, asks for proof."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.base.problems import Problem
from dryslate.core.arrays.homography import apply_homography
from dryslate.core.card.assembly import Placed, found_from, join_markers, marker_table
from dryslate.core.card.candidates import (
    MIN_SPREAD,
    Window,
    find_candidates,
    measure_spread,
    read_windows,
)
from dryslate.core.card.channel import Channel
from dryslate.core.card.definition import CardDefinition, Marker
from dryslate.core.card.found import CardSearch, FloatArray, FoundCard, MarkerSeen
from dryslate.core.card.markers import APRILTAG_FAMILIES, marker_cells, marker_corners_mm
from dryslate.core.card.proof import score_lightness_order
from dryslate.core.card.reader import RawMarker, find_apriltags, find_aruco, is_weak
from dryslate.core.card.refine import is_convex, refine_marker

ROUGH_U_PX = 0.6
MIN_EXPLAINED = 0.6
SURE_EXPLAINED = 0.8
MIN_ORDER = 0.8
MOST_OTHERS = 30
FIRST_READ = 16
"""So many shapes are read before it is asked whether a card has been found."""
LEAST_OF_FOUND = 0.3
"""Markers beside a found card have at least so much of its contrast, blurred or shaded."""


Completed = tuple[list[Placed], FoundCard | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class FindSettings:
    """
    How hard to search.

    Parameters
    ----------
    thorough : bool
        Look for small markers on every size even when a card has been found, and among more
        candidates; several times slower.
    whole_px : int
        The whole photo is read on the finest copy with no more pixels than this.
    n_most : int
        Shapes read on each finer copy while no card is found, or when thorough.
    n_beside : int
        Shapes read there once a card is found.
    beside_px : int
        Once a card is found, others are looked for on the first finer copy, and on still finer
        ones only while these have no more pixels than this.
    """

    thorough: bool = False
    whole_px: int = 520_000
    n_most: int = 48
    n_beside: int = 24
    beside_px: int = 3_200_000


class Search:
    """One search through one photo; collects markers and joins them to cards."""

    def __init__(
        self, channel: Channel, cards: Sequence[CardDefinition], settings: FindSettings
    ) -> None:
        self.channel = channel
        self.settings = settings
        self.cards = [card for card in cards if card.markers]
        known = {m.dictionary for card in self.cards for m in card.markers}
        self.dictionaries = tuple(sorted(known | {"36h11"}))
        self.aruco_only = tuple(d for d in self.dictionaries if d not in APRILTAG_FAMILIES)
        self.owners: dict[tuple[str, int], list[CardDefinition]] = {}
        for card in self.cards:
            for key in marker_table(card):
                self.owners.setdefault(key, []).append(card)
        self.seen: list[MarkerSeen] = []
        self.tried: list[tuple[float, float, float]] = []
        self.found: list[FoundCard] = []
        self.refused: list[FoundCard] = []
        self.completed: dict[tuple[str, frozenset[int]], Completed] = {}

    def add(self, raws: list[RawMarker]) -> int:
        """Refine what was read and keep it once; says how many were new."""
        n_new = 0
        for raw in sorted(raws, key=lambda r: -r.margin):
            if any(_same_place(raw.corners_px, s.corners_px) for s in self.seen):
                continue
            marker = self._refined(raw.dictionary, raw.marker_id, raw.corners_px, raw.margin)
            if marker is not None:
                self.seen.append(marker)
                n_new += 1
        return n_new

    def _refined(
        self, dictionary: str, marker_id: int, corners: FloatArray, margin: float
    ) -> MarkerSeen | None:
        """Refine one marker; None where a weak one does not look like its pattern."""
        fit = refine_marker(self.channel, marker_cells(dictionary, marker_id), corners)
        needed = SURE_EXPLAINED if is_weak(dictionary) else MIN_EXPLAINED
        if fit is not None and fit.explained_frac >= needed:
            return MarkerSeen(
                dictionary=dictionary,
                marker_id=marker_id,
                corners_px=fit.corners_px,
                corner_u_px=fit.corner_u_px,
                margin=margin,
                blur_px=fit.blur_px,
            )
        if is_weak(dictionary):
            return None
        side = float(np.hypot(*(corners - np.roll(corners, 1, axis=0)).T).mean())
        return MarkerSeen(
            dictionary=dictionary,
            marker_id=marker_id,
            corners_px=corners,
            corner_u_px=ROUGH_U_PX + 0.01 * side,
            margin=margin,
        )

    def read_whole(self, level: int) -> None:
        """Read the whole photo on one of its copies."""
        grey = np.ascontiguousarray(self.channel.levels[level])
        raws = find_apriltags(grey, self.dictionaries, coarse=level > 0)
        raws += find_aruco(grey, self.aruco_only)
        self.add([self._lifted(raw, level) for raw in raws])

    def read_again(self, level: int) -> None:
        """Second try, with the other reader: it sees fainter markers."""
        grey = np.ascontiguousarray(self.channel.levels[level])
        families = [d for d in self.dictionaries if d in APRILTAG_FAMILIES]
        self.add([self._lifted(raw, level) for raw in find_aruco(grey, families)])

    def _lifted(self, raw: RawMarker, level: int) -> RawMarker:
        """Bring a marker read on a copy to the photo's own pixels."""
        return RawMarker(
            dictionary=raw.dictionary,
            marker_id=raw.marker_id,
            corners_px=self.channel.to_full(raw.corners_px, level),
            margin=raw.margin,
        )

    def read_candidates(self, level: int) -> None:
        """Read the shapes that could be markers on a finer copy, the likeliest first."""
        few, least = self.settings.n_most, MIN_SPREAD
        if self.found and not self.settings.thorough:
            few = self.settings.n_beside
            least = max(least, LEAST_OF_FOUND * self._found_spread(level))
        windows = find_candidates(self.channel, level, few, self._is_unknown, least)
        had = len(self.found)
        self._read(windows[:FIRST_READ])
        rest = windows[FIRST_READ:]
        if len(self.found) > had and not self.settings.thorough:
            rest = self._still_wanted(windows[: self.settings.n_beside][FIRST_READ:], level)
        self._read(rest)

    def _read(self, windows: list[Window]) -> None:
        """Read pieces of the photo, and join what is new."""
        raws = read_windows(self.channel, windows, self.dictionaries, aruco=bool(self.aruco_only))
        self.tried += [(w.x_px, w.y_px, w.side_px) for w in windows]
        if self.add(raws):
            self.assemble()

    def _still_wanted(self, windows: list[Window], level: int) -> list[Window]:
        """Leave out what lies on the cards found meanwhile."""
        if not windows:
            return []
        points = np.array([(w.x_px, w.y_px) for w in windows])
        sides = np.array([w.side_px for w in windows])
        return [w for w, ok in zip(windows, self._is_unknown(points, sides), strict=True) if ok]

    def _found_spread(self, level: int) -> float:
        """Contrast of the faintest card found, as candidates on a copy are measured."""
        spreads = [
            np.median([measure_spread(self.channel, level, m.corners_px) for m in f.markers])
            for f in self.found
        ]
        return float(min(spreads))

    def _is_unknown(self, points: FloatArray, sides: FloatArray) -> NDArray[np.bool_]:
        """Tell what lies on no card found, on no marker read, and was not tried on another copy."""
        known = np.zeros(len(points), dtype=bool)
        for found in self.found:
            x, y = apply_homography(np.linalg.inv(found.card_to_px), points).T
            known |= (x >= 0) & (x <= found.card.width_mm) & (y >= 0) & (y <= found.card.height_mm)
        for seen in self.seen:
            known |= np.hypot(*(points - seen.corners_px.mean(axis=0)).T) < 0.4 * sides
        if self.tried:
            x, y, side = np.array(self.tried).T
            apart = np.hypot(points[:, :1] - x, points[:, 1:] - y) < 0.12 * sides[:, None]
            alike = np.abs(np.log(side / sides[:, None])) < 0.25
            known |= (apart & alike).any(axis=1)
        return ~known

    def assemble(self) -> None:
        """Join the markers to cards, look for the missing ones, and ask for proof."""
        self.found, self.refused = [], []
        used: set[int] = set()
        for card in self.cards:
            mine = [
                s
                for s in self.seen
                if (s.dictionary, s.marker_id) in marker_table(card) and id(s) not in used
            ]
            for joined in join_markers(card, mine):
                group, found = self._completed(card, joined)
                if found is None:
                    continue
                if self._is_proved(found):
                    self.found.append(found)
                    used |= {id(p.seen) for p in group}
                else:
                    self.refused.append(found)

    def _is_proved(self, found: FoundCard) -> bool:
        """Tell whether the patches (or enough markers) speak for the card."""
        n = len(found.markers)
        weak = any(is_weak(m.dictionary) for m in found.markers)
        if n >= 2 and not weak:
            return True
        order = score_lightness_order(self.channel, found)
        if order is not None:
            return order >= MIN_ORDER
        return n >= 2 or not weak

    def _completed(self, card: CardDefinition, group: list[Placed]) -> Completed:
        """Look for the card's other markers where they must lie, once for each group."""
        key = _group_key(card, group)
        if key not in self.completed:
            done = self._complete(card, group)
            self.completed |= {key: done, _group_key(card, done[0]): done}
        return self.completed[key]

    def _complete(self, card: CardDefinition, group: list[Placed]) -> Completed:
        """Read missing markers until there are no more."""
        for _ in range(2):
            have = {(p.marker.dictionary, p.marker.marker_id) for p in group}
            missing = [m for m in card.markers if (m.dictionary, m.marker_id) not in have]
            found = found_from(card, group)
            if not missing or found is None:
                return group, found
            places = self._places(found, missing)
            if not places:
                return group, found
            more = self._read_places(places, len(group))
            grown = join_markers(card, [p.seen for p in group] + more)[0] if more else group
            if len(grown) <= len(group):
                return group, found
            new = {id(p.seen) for p in grown} - {id(s) for s in self.seen}
            self.seen.extend(p.seen for p in grown if id(p.seen) in new)
            group = grown
        return group, found_from(card, group)

    def _places(self, found: FoundCard, missing: list[Marker]) -> list[tuple[Marker, FloatArray]]:
        """Corners where missing markers must lie, those inside the frame."""
        w, h = self.channel.size_px
        out = []
        for marker in missing:
            corners = apply_homography(found.card_to_px, marker_corners_mm(marker))
            side = float(np.hypot(*(corners - np.roll(corners, 1, axis=0)).T).min())
            inside = np.all((corners > -0.5) & (corners < (w - 0.5, h - 0.5)))
            if inside and side > 8 and is_convex(corners):
                out.append((marker, corners))
        return out

    def _read_places(
        self, places: list[tuple[Marker, FloatArray]], n_known: int
    ) -> list[MarkerSeen]:
        """Read markers at predicted places; what cannot be read is fitted where it should be."""
        wide = 2.4 if n_known == 1 else 1.8
        windows = []
        for _, corners in places:
            x, y = corners.mean(axis=0)
            side = float(np.ptp(corners, axis=0).max()) * wide
            windows.append(Window(x_px=float(x), y_px=float(y), side_px=side))
        wanted = {(m.dictionary, m.marker_id) for m, _ in places}
        dictionaries = tuple(sorted({m.dictionary for m, _ in places}))
        raws = read_windows(
            self.channel,
            windows,
            dictionaries,
            aruco=any(d in self.aruco_only for d in dictionaries),
        )
        out = []
        for raw in raws:
            if (raw.dictionary, raw.marker_id) in wanted:
                seen = self._refined(raw.dictionary, raw.marker_id, raw.corners_px, raw.margin)
                if seen is not None:
                    out.append(seen)
        read = {(s.dictionary, s.marker_id) for s in out}
        if n_known < 2:
            return out
        for marker, corners in places:
            if (marker.dictionary, marker.marker_id) in read:
                continue
            cells = marker_cells(marker.dictionary, marker.marker_id)
            fit = refine_marker(self.channel, cells, corners)
            if fit is not None and fit.explained_frac >= SURE_EXPLAINED:
                out.append(
                    MarkerSeen(
                        dictionary=marker.dictionary,
                        marker_id=marker.marker_id,
                        corners_px=fit.corners_px,
                        corner_u_px=fit.corner_u_px,
                        margin=0.0,
                        blur_px=fit.blur_px,
                    )
                )
        return out

    def result(self) -> CardSearch:
        """Hand over the cards, the markers that are nobody's, and what there is to say."""
        found = sorted(self.found, key=lambda f: -_area(f.corners_px))
        used = {id(m) for f in found for m in f.markers}
        others = [s for s in self.seen if id(s) not in used][:MOST_OTHERS]
        problems = [_few_markers(f) for f in found if len(f.markers) == 1]
        problems += [_refused(f) for f in self.refused]
        return CardSearch(cards=tuple(found), other_markers=tuple(others), problems=tuple(problems))


def _group_key(card: CardDefinition, group: list[Placed]) -> tuple[str, frozenset[int]]:
    """Name a group by its card and markers, which live as long as the search."""
    return card.name, frozenset(id(p.seen) for p in group)


def _same_place(a: FloatArray, b: FloatArray) -> bool:
    """Tell whether two quads are the same marker."""
    side = float(np.hypot(*(b[0] - b[2])))
    return float(np.hypot(*(a.mean(axis=0) - b.mean(axis=0)))) < 0.35 * side


def _area(corners: FloatArray) -> float:
    """Area of a polygon."""
    x, y = corners.T
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2.0


def _few_markers(found: FoundCard) -> Problem:
    """Warn that a card rests on one marker."""
    return Problem(
        slug="card-one-marker",
        severity="warning",
        place=f"card {found.card.name}",
        message=f"only 1 of {len(found.card.markers)} markers could be read, so that scale and "
        "tilt are far less sure.",
        fix="Keep fingers and weed off the card's corners; two markers are enough.",
    )


def _refused(found: FoundCard) -> Problem:
    """Say that something like a card was not taken for one."""
    x, y = found.markers[0].corners_px.mean(axis=0)
    return Problem(
        slug="card-not-proved",
        severity="note",
        place=f"x {x:.0f}, y {y:.0f} px",
        message=f"a marker of card {found.card.name} was read there, but the patches about it do "
        "not run from white to black as on the card; it is not used.",
        fix="If it is the card, give its four corners with --corners.",
    )
