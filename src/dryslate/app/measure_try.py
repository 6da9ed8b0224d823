"""A reading while points are still being moved: planes and pixels are kept, nothing is saved."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from dryslate.app.measure import failed_fields, kept_planes, measured_fields
from dryslate.app.measure_project import (
    Bench,
    Coloured,
    Measured,
    Scaled,
    colour_photo,
    measure_coloured,
    measure_scaled,
)
from dryslate.app.measure_request import MeasureOptions, off_plane_of
from dryslate.app.records import CorrectionRow, Photo
from dryslate.app.tiles import require_photo
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import Problem, problem_of
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_to_srgb
from dryslate.core.measure.result import Kind
from dryslate.formats.points_csv import Pick

MOST_PLANES = 64
MOST_PHOTOS = 2
"""Photos whose pixels are kept, for colours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """
    One thing to measure.

    Parameters
    ----------
    kind : {"length", "polyline", "outline", "corallites", "colour"}
    points_px : tuple of tuple of float
        In pixels of the upright original.
    stood : {"", "top", "edge", "base"}
        Where the card stood; empty where it was not said.
    point_u_px : float
        One standard uncertainty of each picked coordinate.
    """

    kind: Kind
    points_px: tuple[tuple[float, float], ...]
    stood: str = ""
    point_u_px: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prepared:
    """
    A photo that is ready to be measured in.

    Parameters
    ----------
    photo : Photo
    correction_key : str
        Of the correction whose plane and colour fit are used; empty where there is none.
    scaled : Scaled
    coloured : Coloured or None
        None until a colour was asked for.
    """

    photo: Photo
    correction_key: str
    scaled: Scaled
    coloured: Coloured | None = None

    @property
    def name(self) -> str:
        """The name of the photo's file."""
        return self.photo.files[0].original_name


@dataclass(slots=True, eq=False)
class Shelf:
    """Photos that are ready to be measured in; the longest unused ones are put away."""

    _planes: OrderedDict[tuple[str, str], Prepared] = field(default_factory=OrderedDict)
    _colours: OrderedDict[tuple[str, str], Prepared] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def find(self, photo_id: str, correction_key: str, kind: Kind) -> Prepared | None:
        """Return what is ready for a photo under a correction, None where nothing is."""
        place = (photo_id, correction_key)
        with self._lock:
            shelf = self._colours if kind == "colour" else self._planes
            if place not in shelf:
                return None
            shelf.move_to_end(place)
            return shelf[place]

    def put(self, prepared: Prepared, kind: Kind) -> None:
        """Keep what was made ready."""
        place = (prepared.photo.photo_id, prepared.correction_key)
        with self._lock:
            shelf, most = (
                (self._colours, MOST_PHOTOS) if kind == "colour" else (self._planes, MOST_PLANES)
            )
            shelf[place] = prepared
            shelf.move_to_end(place)
            while len(shelf) > most:
                shelf.popitem(last=False)


def prepare(shelf: Shelf, bench: Bench, photo_id: str, kind: Kind) -> Prepared:
    """
    Make a photo ready to be measured in, by its latest correction.

    Parameters
    ----------
    shelf : Shelf
    bench : Bench
    photo_id : str
    kind : {"length", "polyline", "outline", "corallites", "colour"}
        Colours need the photo's pixels.

    Returns
    -------
    Prepared

    Raises
    ------
    InputError
        ``photo-not-in-project``; for colours also what reading the photo raises.
    """
    photo = require_photo(bench.store, photo_id)
    row = bench.store.correction(photo.photo_id)
    key = row.key if row is not None else ""
    known = shelf.find(photo.photo_id, key, kind)
    if known is not None:
        return known
    coloured = None
    if kind == "colour":
        coloured = colour_photo(photo, bench, MeasureOptions())
    made = Prepared(photo=photo, correction_key=key, scaled=_scaled(row), coloured=coloured)
    shelf.put(made, kind)
    return made


def try_measure(prepared: Prepared, asked: Asked) -> dict[str, Any]:
    """
    Measure without saving, whatever comes of it.

    Parameters
    ----------
    prepared : Prepared
    asked : Asked

    Returns
    -------
    dict
        As `dryslate.app.measure.measure_photo`, with ``correction_key``; a colour has
        ``srgb_hex`` too, to be shown.

    Raises
    ------
    SettingsError
        ``measure-off-plane-unclear``.
    """
    head: dict[str, Any] = {
        "photo": prepared.name,
        "kind": asked.kind,
        "card": None,
        "correction_key": prepared.correction_key,
    }
    try:
        done = measure_prepared(prepared, asked, pick_of(prepared, asked, ""))
    except InputError as error:
        problems = (problem_of(error, prepared.name),)
        return {**head, **failed_fields(asked.kind, problems)}
    if done.measurement is None:
        return {**head, **failed_fields(asked.kind, done.problems)}
    fields = measured_fields(done.measurement, done.problems)
    if asked.kind == "colour":
        fields["srgb_hex"] = hex_of(fields["lab"])
    return {**head, **fields, "card": done.card}


def measure_prepared(prepared: Prepared, asked: Asked, pick: Pick) -> Measured:
    """
    Measure in a photo that is ready for it.

    Raises
    ------
    InputError
        As the measures of `dryslate.core.measure`, and ``measure-colour-no-fit``.
    """
    if asked.kind == "colour" and prepared.coloured is not None:
        return measure_coloured(prepared.coloured, pick)
    return measure_scaled(prepared.scaled, pick, MeasureOptions(point_u_px=asked.point_u_px))


def pick_of(prepared: Prepared, asked: Asked, colony: str, observer: str = "") -> Pick:
    """Return what is asked as a line of a table of points has it."""
    return Pick(
        row=0,
        photo=prepared.name,
        colony=colony,
        kind=asked.kind,
        points_px=asked.points_px,
        observer=observer,
        off_plane=off_plane_of(None, None, asked.stood or None, in_plane=False),
    )


def hex_of(lab: Any) -> str:
    """
    Return a colour as a screen shows it, ``#rrggbb``, clipped to sRGB.

    Examples
    --------
    >>> hex_of((100.0, 0.0, 0.0)), hex_of((0.0, 0.0, 0.0))
    ('#ffffff', '#000000')
    """
    return hexes_of([lab])[0]


def hexes_of(labs: Sequence[Any]) -> list[str]:
    """Return several colours as a screen shows them, in one pass."""
    linear = lab_to_linear_srgb(np.asarray(labs, dtype=float).reshape(-1, 3))
    srgb = np.clip(linear_to_srgb(np.clip(linear, 0.0, 1.0)), 0.0, 1.0)
    return ["#" + bytes(row).hex() for row in np.rint(255.0 * srgb).astype(np.uint8)]


def _scaled(row: CorrectionRow | None) -> Scaled:
    """Return the planes that the correction kept; no card is searched for while one waits."""
    key = row.key if row is not None else ""
    problems: tuple[Problem, ...] = ()
    if row is not None:
        try:
            return Scaled(planes=kept_planes(row.geometry), correction_key=key)
        except DryslateError as error:
            problems = (problem_of(error, "card"),)
    return Scaled(planes=(), correction_key=key, problems=problems)
