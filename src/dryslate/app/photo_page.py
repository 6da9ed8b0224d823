"""What the page of one photo shows: its size, its pictures, its card, its place on the visit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dryslate.app.picked_point import picked_of
from dryslate.app.ports import SurveyStore
from dryslate.app.records import CorrectionRow, Photo, Visit
from dryslate.app.tiles import (
    TILE_PX,
    TileBench,
    key_of_corrected,
    key_of_original,
    picture_tiles,
    place_of,
    require_photo,
)
from dryslate.app.unit_records import SetAside, Unit, UnitPhoto
from dryslate.base.errors import DryslateError
from dryslate.base.problems import named, problem_of
from dryslate.core.arrays.orientation import upright_size


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoSheet:
    """
    What the page of one photo shows.

    Parameters
    ----------
    photo : Photo
    visit : Visit
    row : CorrectionRow or None
        The latest correction.
    size_px : (int, int) or None
        Width and height upright; None where the photo cannot be read.
    place : int
        Its place on the visit, from 1.
    n_photos : int
        Photos on the visit.
    before, after : str or None
        Ids of the photos before and after it.
    problems : tuple of dict
        What is to be said about the photo.
    unit : Unit or None
        The unit it belongs to.
    aside : SetAside or None
        Where it is set aside.
    """

    photo: Photo
    visit: Visit
    row: CorrectionRow | None
    size_px: tuple[int, int] | None
    place: int
    n_photos: int
    before: str | None
    after: str | None
    problems: tuple[dict[str, Any], ...]
    unit: Unit | None = None
    aside: SetAside | None = None

    @property
    def name(self) -> str:
        """The name of its file on the memory card."""
        return self.photo.files[0].original_name

    @property
    def cards(self) -> tuple[dict[str, Any], ...]:
        """The cards that were found in it."""
        found = self.row.result.get("cards") if self.row is not None else None
        return tuple(card for card in found or () if card.get("corners_px"))

    @property
    def scale(self) -> dict[str, Any]:
        """The scale at the card, and whether it can be trusted."""
        told = self.row.result.get("scale") if self.row is not None else None
        return {"px_per_mm": None, "usable": False, **(told or {})}

    @property
    def picked_px(self) -> list[float] | None:
        """The white or grey point that was picked in it, where its colours rest on one."""
        picked = picked_of(self.row) if self.row is not None else None
        if picked is None or self.row is None or self.row.result.get("borrowed_from"):
            return None
        return [float(v) for v in picked["xy_px"]]

    def for_viewer(self) -> dict[str, Any]:
        """Return what the viewer needs, as JSON."""
        width, height = self.size_px or (0, 0)
        return {
            "photo_id": self.photo.photo_id,
            "name": self.name,
            "width_px": width,
            "height_px": height,
            "tile_px": TILE_PX,
            "n_levels": n_levels(width, height),
            "keys": {"original": key_of_original(), "corrected": key_of_corrected(self.row)},
            "correction_key": None if self.row is None else self.row.key,
            "has_bar": bool(self.scale.get("usable"))
            and bool(self.row and self.row.geometry.get("plane")),
            "has_plane": self.row is not None and bool(self.row.geometry.get("plane")),
            "scale": {name: self.scale.get(name) for name in ("px_per_mm", "usable")},
            "cards": [{"name": c["name"], "corners_px": c["corners_px"]} for c in self.cards],
            "picked": self.picked_px,
            "card": self.row.geometry.get("card") if self.row is not None else None,
        }


def n_levels(width_px: int, height_px: int) -> int:
    """
    Count the levels of a photo's pyramid.

    Examples
    --------
    >>> n_levels(6000, 4000), n_levels(512, 300), n_levels(513, 300)
    (5, 1, 2)
    """
    n, longest = 1, max(width_px, height_px)
    while longest > TILE_PX:
        longest, n = (longest + 1) // 2, n + 1
    return n


def photo_sheet(bench: TileBench, store: SurveyStore, photo_id: str) -> PhotoSheet:
    """
    Gather what the page of one photo shows.

    Parameters
    ----------
    bench : TileBench
    store : SurveyStore
    photo_id : str

    Returns
    -------
    PhotoSheet

    Raises
    ------
    InputError
        ``photo-not-in-project``.
    """
    photo = require_photo(store, photo_id)
    row = store.correction(photo.photo_id)
    visit = next(v for v in store.visits() if v.visit_id == photo.visit_id)
    ids = store.photo_ids(photo.visit_id)
    at = ids.index(photo.photo_id)
    problems = list(row.result.get("problems", ())) if row is not None else []
    size: tuple[int, int] | None = None
    try:
        is_sound = row is None or row.outcome != "unreadable"
        size = _size(bench, store, photo, is_sound=is_sound)
    except (DryslateError, OSError) as error:
        if isinstance(error, DryslateError):
            told = problem_of(error, photo.files[0].original_name).as_dict()
            if all(one["slug"] != told["slug"] for one in problems):  # said when it was corrected
                problems.append(told)
        else:
            raise
    return PhotoSheet(
        photo=photo,
        visit=visit,
        row=row,
        size_px=size,
        place=at + 1,
        n_photos=len(ids),
        before=ids[at - 1] if at else None,
        after=ids[at + 1] if at + 1 < len(ids) else None,
        problems=tuple(problems),
        unit=_unit(store, photo),
        aside=next(
            (one for one in store.photos_set_aside(photo.visit_id) if _is(one, photo)), None
        ),
    )


def _unit(store: SurveyStore, photo: Photo) -> Unit | None:
    """Return the unit a photo belongs to."""
    joins = store.unit_photos(photo.visit_id)
    unit_id = next((join.unit_id for join in joins if _is(join, photo)), None)
    return next((u for u in store.units(photo.visit_id) if u.unit_id == unit_id), None)


def _is(row: UnitPhoto | SetAside, photo: Photo) -> bool:
    """Tell whether a row is about a photo."""
    return row.photo_id == photo.photo_id


def _size(bench: TileBench, store: SurveyStore, photo: Photo, *, is_sound: bool) -> tuple[int, int]:
    """Return the upright size; the pyramid is made now only where the head does not tell it."""
    place = place_of(store, photo.photo_id, "original")
    kept = bench.tiles.find(place)
    file = next((f for f in photo.files if f.sha256 == photo.photo_id), photo.files[0])
    if kept is None and file.kind == "jpeg" and is_sound:
        path = bench.vault.path_of(file.sha256, file.original_name)
        try:
            bench.reader.require_whole(path)
            return upright_size(bench.reader.size_px(path), photo.metadata.orientation)
        except OSError:
            kept = None  # the reader says below what is wrong with it
        except DryslateError as error:
            raise named(error, path.name, file.original_name) from error
    held = kept or picture_tiles(bench, store, place)
    return held.width_px, held.height_px
