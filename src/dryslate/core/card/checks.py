"""Does a card definition make sense? Every fault at once, with the row and field it lies in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import combinations

from dryslate.base.problems import Problem, Severity
from dryslate.core.card.definition import Box, CardDefinition, Marker, Patch
from dryslate.core.card.markers import DICTIONARIES, count_ids, rim_mm

MIN_NEUTRALS = 3
MIN_LIGHTNESS_SPAN = 40.0
TOUCH_MM = 0.01

_LAYOUT_SLUGS: dict[type, tuple[str, str]] = {
    Patch: ("card-patch-empty", "card-patch-outside"),
    Marker: ("card-marker-empty", "card-marker-outside"),
    Box: ("card-area-empty", "card-area-outside"),
}


def _box_of(item: Patch | Marker | Box) -> Box:
    """Return the rectangle an item covers (a marker without its rim)."""
    if isinstance(item, Marker):
        side = item.side_mm
        return Box(x_mm=item.x_mm, y_mm=item.y_mm, width_mm=side, height_mm=side)
    return Box(x_mm=item.x_mm, y_mm=item.y_mm, width_mm=item.width_mm, height_mm=item.height_mm)


def _overlap(a: Box, b: Box) -> bool:
    """Tell whether two rectangles share more than a hundredth of a millimetre each way."""
    wide = min(a.x_mm + a.width_mm, b.x_mm + b.width_mm) - max(a.x_mm, b.x_mm)
    high = min(a.y_mm + a.height_mm, b.y_mm + b.height_mm) - max(a.y_mm, b.y_mm)
    return wide > TOUCH_MM and high > TOUCH_MM


def _inside(box: Box, card: CardDefinition) -> bool:
    """Tell whether a rectangle lies on the card."""
    return (
        box.x_mm >= -TOUCH_MM
        and box.y_mm >= -TOUCH_MM
        and box.x_mm + box.width_mm <= card.width_mm + TOUCH_MM
        and box.y_mm + box.height_mm <= card.height_mm + TOUCH_MM
    )


def _span(box: Box) -> str:
    """Say where a rectangle lies."""
    x1, y1 = box.x_mm + box.width_mm, box.y_mm + box.height_mm
    return f"x {box.x_mm:g} to {x1:g} mm, y {box.y_mm:g} to {y1:g} mm"


class _Checker:
    """Walks one card and collects its problems."""

    def __init__(self, card: CardDefinition) -> None:
        self.card = card
        self.found: list[Problem] = []

    def add(
        self, slug: str, place: str, message: str, fix: str, severity: Severity = "error"
    ) -> None:
        where = f"card {self.card.name}, {place}" if place else f"card {self.card.name}"
        self.found.append(
            Problem(slug=slug, severity=severity, place=where, message=message, fix=fix)
        )

    def size(self) -> None:
        card = self.card
        for field in ("width_mm", "height_mm"):
            value = getattr(card, field)
            if not value > 0:
                self.add(
                    "card-size-wrong", field,
                    f"expected a size above 0 mm, found {value:g}.", "Give the outer size.",
                )  # fmt: skip
        if not 0 < card.print_scale_u_frac < 0.5:
            self.add(
                "card-print-scale-wrong", "print_scale_u_frac",
                f"expected a share between 0 and 0.5, found {card.print_scale_u_frac:g}.",
                "Give the relative standard uncertainty of the printed size, for example 0.003.",
            )  # fmt: skip

    def places(self) -> Iterator[tuple[str, Patch | Marker | Box]]:
        """Yield everything that covers ground, with its place in words."""
        card = self.card
        for k, patch in enumerate(card.patches):
            yield f"patches row {k + 1} ({patch.patch_id})", patch
        for k, marker in enumerate(card.markers):
            yield f"markers row {k + 1} (id {marker.marker_id})", marker
        if card.pencil_strip is not None:
            yield "pencil_strip", card.pencil_strip
        if card.thumb_zone is not None:
            yield "thumb_zone", card.thumb_zone
        bar = card.scale_bar
        if bar is not None:
            yield (
                "scale_bar",
                Box(
                    x_mm=bar.x_mm,
                    y_mm=bar.y_mm - bar.height_mm,
                    width_mm=bar.length_mm,
                    height_mm=bar.height_mm,
                ),
            )

    def layout(self) -> None:
        places = [(where, item, _box_of(item)) for where, item in self.places()]
        for where, item, box in places:
            empty, outside = _LAYOUT_SLUGS[type(item)]
            if not (box.width_mm > 0 and box.height_mm > 0):
                self.add(
                    empty, where,
                    f"expected a width and height above 0 mm, found {box.width_mm:g} by "
                    f"{box.height_mm:g}.", "Give its size.",
                )  # fmt: skip
            elif not _inside(box, self.card):
                self.add(
                    outside, where,
                    f"it covers {_span(box)}, but the card is {self.card.width_mm:g} by "
                    f"{self.card.height_mm:g} mm.", "Move it onto the card.",
                )  # fmt: skip
        for (where_a, item_a, a), (where_b, item_b, b) in combinations(places, 2):
            if isinstance(item_b, Box) and isinstance(item_a, Box):
                continue
            if _overlap(a, b):
                both_patches = isinstance(item_a, Patch) and isinstance(item_b, Patch)
                self.add(
                    "card-patches-overlap" if both_patches else "card-areas-overlap",
                    f"{where_a} and {where_b}",
                    f"they overlap: one covers {_span(a)}, the other {_span(b)}.",
                    "Move one, or correct its size.",
                )  # fmt: skip

    def markers(self) -> None:
        counts = Counter((m.dictionary, m.marker_id) for m in self.card.markers)
        for (dictionary, marker_id), n in counts.items():
            if n > 1:
                self.add(
                    "card-marker-twice", "markers",
                    f"marker {marker_id} of {dictionary} appears {n} times on one card.",
                    "Each marker may be used once, or the card's corners cannot be told apart.",
                )  # fmt: skip
        for k, marker in enumerate(self.card.markers):
            where = f"markers row {k + 1} (id {marker.marker_id})"
            if marker.dictionary not in DICTIONARIES:
                self.add(
                    "card-marker-unknown", f"{where}, dictionary",
                    f"there is no dictionary {marker.dictionary!r}.",
                    "Known: " + ", ".join(DICTIONARIES) + ".",
                )  # fmt: skip
                continue
            n_ids = count_ids(marker.dictionary)
            if not 0 <= marker.marker_id < n_ids:
                self.add(
                    "card-marker-unknown", f"{where}, id",
                    f"expected 0 to {n_ids - 1} in {marker.dictionary}, found {marker.marker_id}.",
                    "Correct the id.",
                )  # fmt: skip
            if marker.turn_deg not in (0, 90, 180, 270):
                self.add(
                    "card-marker-turn", f"{where}, turn_deg",
                    f"expected 0, 90, 180 or 270 degrees, found {marker.turn_deg}.",
                    "Turn the marker by whole quarter turns.",
                )  # fmt: skip
            self._rim(where, marker)

    def _rim(self, where: str, marker: Marker) -> None:
        """Warn when a dark patch or another marker reaches into the white rim."""
        rim = rim_mm(marker)
        side = marker.side_mm + 2 * rim
        wide = Box(x_mm=marker.x_mm - rim, y_mm=marker.y_mm - rim, width_mm=side, height_mm=side)
        for other_where, other in self.places():
            if other is marker or isinstance(other, Box):
                continue
            if _overlap(wide, _box_of(other)) and not _overlap(_box_of(marker), _box_of(other)):
                self.add(
                    "card-marker-rim", f"{where} and {other_where}",
                    f"the second lies within the white rim of {rim:.1f} mm that the marker needs.",
                    "Leave one cell of white around each marker.", "warning",
                )  # fmt: skip

    def patches(self) -> None:
        card = self.card
        for patch_id, n in Counter(p.patch_id for p in card.patches).items():
            if n > 1:
                self.add(
                    "card-patch-twice", "patches", f"{n} patches are called {patch_id!r}.",
                    "Give each patch its own id.",
                )  # fmt: skip
        by_id = {p.patch_id: p for p in card.patches}
        for k, patch in enumerate(card.patches):
            where = f"patches row {k + 1} ({patch.patch_id})"
            lightness, a, b = patch.lab_d65
            if not (0 <= lightness <= 100 and abs(a) <= 128 and abs(b) <= 128):
                self.add(
                    "card-lab-out-of-range", f"{where}, lab_d65",
                    "expected L* from 0 to 100, a* and b* from -128 to 128, found "
                    f"{lightness:g}, {a:g}, {b:g}.", "Give CIELAB for D65, not RGB.",
                )  # fmt: skip
            elif patch.role == "neutral" and (a * a + b * b) ** 0.5 > 8:
                self.add(
                    "card-neutral-coloured", f"{where}, role",
                    f"a neutral has a chroma of {(a * a + b * b) ** 0.5:.1f} (8 at most).",
                    "Call it a colour.",
                )  # fmt: skip
            if any(u < 0 for u in patch.lab_u):
                self.add(
                    "card-lab-doubt-negative", f"{where}, lab_u",
                    f"expected standard uncertainties of 0 or more, found {patch.lab_u}.",
                    "Give the uncertainty without a sign.",
                )  # fmt: skip
            twin = by_id.get(patch.twin_of)
            if patch.twin_of and (twin is None or twin is patch or twin.role != "neutral"):
                self.add(
                    "card-twin-unknown", f"{where}, twin_of",
                    f"expected the id of another neutral patch, found {patch.twin_of!r}.",
                    "Name the other copy of the same grey.",
                )  # fmt: skip

    def neutrals(self) -> None:
        greys = self.card.neutrals
        levels = len({round(p.lab_d65[0]) for p in greys})
        if levels < MIN_NEUTRALS:
            self.add(
                "card-few-neutrals", "patches",
                f"expected at least {MIN_NEUTRALS} neutrals of different lightness, "
                f"found {levels}.", "A card needs white, grey and black to set gain and veil.",
            )  # fmt: skip
        elif greys[0].lab_d65[0] - greys[-1].lab_d65[0] < MIN_LIGHTNESS_SPAN:
            span = greys[0].lab_d65[0] - greys[-1].lab_d65[0]
            self.add(
                "card-neutrals-alike", "patches",
                f"the neutrals span {span:.0f} in L* (expected at least "
                f"{MIN_LIGHTNESS_SPAN:.0f}).",
                "A lighter or darker grey would make the correction surer.", "warning",
            )  # fmt: skip


def check_card(card: CardDefinition) -> list[Problem]:
    """
    Check that a card definition makes sense.

    Parameters
    ----------
    card : CardDefinition

    Returns
    -------
    list of Problem
        Everything that is wrong, errors and warnings; empty for a sound card. Places name the
        row of the file and the field.

    Examples
    --------
    >>> card = CardDefinition(name="bare", title="No patches", width_mm=50.0, height_mm=30.0,
    ...                       ground_lab_d65=(56.0, 0.0, 0.0), markers=(), patches=())
    >>> [p.slug for p in check_card(card)]
    ['card-few-neutrals']
    """
    checker = _Checker(card)
    checker.size()
    checker.layout()
    checker.markers()
    checker.patches()
    checker.neutrals()
    return checker.found
