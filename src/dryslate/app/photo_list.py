"""The photos of a visit as a list: what came of each, how its card was seen, chosen by filters."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING, Any, Literal, get_args

from dryslate.app.tiles import key_of_corrected, key_of_original

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import CorrectionRow, Photo
    from dryslate.app.unit_records import SetAside, Unit

Show = Literal[
    "all",
    "not_corrected",
    "corrected",
    "borrowed",
    "refused",
    "no_card",
    "unreadable",
    "corals",
    "slate",
    "no_unit",
    "apart",
    "aside",
]
SHOWS: tuple[Show, ...] = get_args(Show)
"""
What can be shown: by outcome, and whatever came of them photos with a coral noted in them, of a
slate, of which nobody said a unit, said to be of no unit (``apart``), and set aside.
"""

Seen = Literal["sound", "tilted", "hidden", "patches", "off", "by_hand"]
SEEN: tuple[Seen, ...] = ("sound", "tilted", "hidden", "patches", "off", "by_hand")
"""How a card was seen; ``sound`` has none of the others, which may come together."""

TILTED_DEG = 30.0
"""A card further from facing the camera counts as tilted: chosen for this list, not a limit."""
OFF_DE00 = 3.0
"""A check difference (95th percentile, CIEDE2000) above this counts as off: chosen likewise."""
ALL_MARKERS = 4
FIRST_STEP = 15
"""What a screen holds, and a row more: it is there before the rest is made."""
STEP = 60
CLOCK_STEP = 300
CORRECTED = ("corrected", "borrowed")


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoFilter:
    """
    Which photos of a visit to list.

    Parameters
    ----------
    show : str
        One of `SHOWS`.
    name : str
        Part of a file's name, in any case; empty for all.
    after, before : str
        Times of the day, ``HH:MM``, both ends included; empty for all. Photos without a time are
        left out where one is given.
    seen : str
        One of `SEEN`, or empty for all.
    unit : str
        Photos of the unit of this id only; empty for all.
    among : frozenset of str or None
        Only these photos.
    """

    show: Show = "all"
    name: str = ""
    after: str = ""
    before: str = ""
    seen: Seen | Literal[""] = ""
    unit: str = ""
    among: frozenset[str] | None = None

    @property
    def is_narrow(self) -> bool:
        """Tell whether it leaves out anything beside what `show` does."""
        return bool(self.name or self.after or self.before or self.seen)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoLine:
    """
    One photo of the list.

    Parameters
    ----------
    photo_id, name : str
    time : str
        Local time of the day, ``HH:MM:SS``, the clock's error taken out; empty where unknown.
    outcome : str
        Of its latest correction; ``not_corrected`` where there is none.
    row : CorrectionRow or None
        Its latest correction.
    n_corals : int
    keys : Mapping
        Keys of its pictures by variant; ``corrected`` is None where it has none.
    unit : Unit or None
        The unit it belongs to.
    how : str
        ``slate``, ``time`` or ``hand``; empty where nothing was said.
    aside : SetAside or None
        Where it is set aside.
    """

    photo_id: str
    name: str
    time: str
    outcome: str
    row: CorrectionRow | None = None
    n_corals: int = 0
    keys: Mapping[str, str | None] = field(default_factory=dict)
    unit: Unit | None = None
    how: str = ""
    aside: SetAside | None = None

    @property
    def reason(self) -> str:
        """Slug of why it was not corrected, where there is one."""
        if self.row is None or self.outcome in CORRECTED:
            return ""
        problems = self.row.result.get("problems", ())
        return next((str(p["slug"]) for p in problems if p.get("severity") == "error"), "")

    @property
    def is_looking_only(self) -> bool:
        """Whether its corrected picture is there while no colour is to be measured in it."""
        colour = self._colour
        is_fitted = self.outcome in CORRECTED and colour.get("fit") is not None
        return is_fitted and not colour.get("usable")

    @property
    def seen(self) -> tuple[Seen, ...]:
        """How its card was seen, empty where none was found."""
        return card_seen(self.row)

    @property
    def off_de00(self) -> float | None:
        """The check difference."""
        found: float | None = self._colour.get("left_out_de00_p95")
        return found

    @property
    def n_dropped(self) -> int:
        """How many patches of its card were left out."""
        return len(self._colour.get("dropped") or ())

    @property
    def _colour(self) -> Mapping[str, Any]:
        """What its correction tells of the colour fit."""
        return (self.row.result.get("colour") if self.row is not None else None) or {}


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoPage:
    """
    One step of a list.

    Parameters
    ----------
    lines : tuple of PhotoLine
        In the order they were taken.
    found : tuple of str
        Ids of all photos that the filter leaves.
    untried : tuple of str
        Those of them that nobody tried to correct and that are not set aside: to correct now.
    failed : tuple of str
        Those of them that could not be corrected and are not set aside.
    standing : tuple of str
        Those of them that are not set aside.
    counts : Mapping
        Photos of the visit by each of `SHOWS`, the other filters left aside.
    page : int
        From 1.
    has_more : bool
    """

    lines: tuple[PhotoLine, ...]
    found: tuple[str, ...]
    untried: tuple[str, ...]
    failed: tuple[str, ...]
    standing: tuple[str, ...]
    counts: Mapping[str, int]
    page: int
    has_more: bool


def list_photos(
    store: SurveyStore,
    visit_id: str | None,
    wanted: PhotoFilter,
    page: int = 1,
    step: int | None = None,
) -> PhotoPage:
    """
    List the photos of one visit, or of all: first a screen of 15, then in steps of 60.

    Parameters
    ----------
    store : SurveyStore
    visit_id : str or None
    wanted : PhotoFilter
    page : int
        From 1.
    step : int, optional
        Photos of every step alike, instead of these.

    Returns
    -------
    PhotoPage
    """
    start, end = _span(page, step)
    corrections = {row.photo_id: row for row in store.corrections(visit_id)}
    book = _Book(store, visit_id)
    counts: Counter[str] = Counter()
    found: list[tuple[Photo, PhotoLine]] = []
    checks = _checks(wanted)
    for photo in store.photos(visit_id):
        line = _line(photo, corrections.get(photo.photo_id), book)
        counts.update(_shows(line))
        if all(check(photo, line) for check in checks):
            found.append((photo, line))
    standing = [line for _, line in found if line.aside is None]
    return PhotoPage(
        lines=tuple(line for _, line in islice(found, start, end)),
        found=tuple(line.photo_id for _, line in found),
        untried=tuple(line.photo_id for line in standing if line.row is None),
        failed=tuple(
            line.photo_id for line in standing if line.row and line.outcome not in CORRECTED
        ),
        standing=tuple(line.photo_id for line in standing),
        counts={show: counts[show] for show in SHOWS},
        page=page,
        has_more=len(found) > end,
    )


def _span(page: int, step: int | None) -> tuple[int, int]:
    """Return the first place of a step, and the place after its last."""
    if step is not None:
        return (page - 1) * step, page * step
    end = FIRST_STEP + (page - 1) * STEP
    return max(end - STEP, 0), end


class _Book:
    """What belongs to the photos of a visit, or of all."""

    def __init__(self, store: SurveyStore, visit_id: str | None) -> None:
        self.corals = Counter(r.photo_id for r in store.records(visit_id) if r.photo_id)
        self.units = {unit.unit_id: unit for unit in store.units(visit_id)}
        self.joins = {join.photo_id: join for join in store.unit_photos(visit_id)}
        self.asides = {aside.photo_id: aside for aside in store.photos_set_aside(visit_id)}


def usual_port(store: SurveyStore) -> str:
    """
    Return what stood between lens and water in most of the photos corrected so far.

    Parameters
    ----------
    store : SurveyStore

    Returns
    -------
    str
        ``unknown`` where nothing was corrected yet.
    """
    keys = set(store.correction_keys().values())
    ports: dict[str, str] = {}
    for file in store.derived_files():
        if file.key in keys and file.key not in ports:  # files of one key were made in one go
            ports[file.key] = str((file.steps.get("settings") or {}).get("port") or "")
    used = [port for port in ports.values() if port]
    return Counter(used).most_common(1)[0][0] if used else "unknown"


def card_seen(row: CorrectionRow | None) -> tuple[Seen, ...]:
    """
    Say in a few words how the card of a photo was seen.

    Parameters
    ----------
    row : CorrectionRow or None

    Returns
    -------
    tuple of str
        Of `SEEN`; empty where no card was found.
    """
    card = row.result.get("card") if row is not None else None
    if row is None or not card or not card.get("found"):
        return ()
    seen: list[Seen] = []
    if (card.get("tilt_deg") or 0.0) > TILTED_DEG:
        seen.append("tilted")
    if card.get("how") == "markers" and int(card.get("n_markers") or 0) < ALL_MARKERS:
        seen.append("hidden")
    colour = row.result.get("colour") or {}
    if colour.get("dropped"):
        seen.append("patches")
    if (colour.get("left_out_de00_p95") or 0.0) > OFF_DE00:
        seen.append("off")
    if card.get("how") == "corners":
        seen.append("by_hand")
    return tuple(seen) or ("sound",)


def _line(photo: Photo, row: CorrectionRow | None, book: _Book) -> PhotoLine:
    """Put one photo into a line."""
    join = book.joins.get(photo.photo_id)
    outcome = "not_corrected" if row is None else row.outcome
    return PhotoLine(
        photo_id=photo.photo_id,
        name=photo.files[0].original_name,
        time=_time(photo),
        outcome=outcome,
        row=row,
        n_corals=book.corals[photo.photo_id],
        keys={"original": key_of_original(), "corrected": key_of_corrected(row)},
        unit=None if join is None or join.unit_id is None else book.units[join.unit_id],
        how="" if join is None else join.how,
        aside=book.asides.get(photo.photo_id),
    )


def _time(photo: Photo) -> str:
    """Return the time of the day at which a photo was taken; empty where unknown."""
    text = photo.taken_corrected or photo.metadata.taken_local or ""
    return text[11:19] if len(text) >= 16 else ""


def _shows(line: PhotoLine) -> Sequence[Show]:
    """Name the choices of `SHOWS` under which a photo is listed."""
    shows: list[Show] = ["all"]
    shows += [show for show in SHOWS if show == line.outcome]
    if line.n_corals:
        shows.append("corals")
    if line.how == "slate":
        shows.append("slate")
    if line.aside is not None:
        shows.append("aside")
    elif not line.how:
        shows.append("no_unit")
    elif line.unit is None:
        shows.append("apart")
    return shows


def _checks(wanted: PhotoFilter) -> list[Callable[[Photo, PhotoLine], bool]]:
    """Return what a photo has to pass to be listed."""
    checks: list[Callable[[Photo, PhotoLine], bool]] = [lambda _, line: wanted.show in _shows(line)]
    if wanted.name:
        part = wanted.name.casefold()
        checks.append(lambda photo, _: any(part in f.original_name.casefold() for f in photo.files))
    if wanted.after:
        checks.append(lambda _, line: line.time[:5] >= wanted.after and bool(line.time))
    if wanted.before:
        checks.append(lambda _, line: "" < line.time[:5] <= wanted.before)
    if wanted.unit:
        checks.append(lambda _, line: line.unit is not None and line.unit.unit_id == wanted.unit)
    if wanted.among is not None:
        among = wanted.among
        checks.append(lambda _, line: line.photo_id in among)
    if wanted.seen:
        checks.append(lambda _, line: wanted.seen in line.seen)
    return checks
