"""Rendering the made-up trip to a folder: photos, the truth, and points to measure."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from dryslate.app.ports import Progress, Runner
from dryslate.demo.cameras import Imaging
from dryslate.demo.flats import Flat, Place, PlacedCard, bar, bar_ends_mm, chip, finger, weed
from dryslate.demo.pinhole import SceneLens, View
from dryslate.demo.scene import RENDERER_VERSION, Daylight, Scene, render_scene
from dryslate.demo.seabed import Seabed
from dryslate.demo.station import ColonyTruth, build_station, points_of
from dryslate.demo.surfaces import reflectance_for_lab
from dryslate.demo.trip_card import TripCard
from dryslate.demo.trip_files import (
    exif_block,
    jpeg_bytes,
    points_text,
    stored_pixels,
)
from dryslate.demo.trip_plan import (
    BAR_MM,
    BAR_PLACE,
    CHIP_PLACE,
    FOCAL_35MM,
    GREY_CHIP,
    GREY_CHIP_LAB,
    PORT_FACTOR,
    TRIP_VERSION,
    Box,
    StationVisit,
    TripVisit,
    boxes_of,
)
from dryslate.demo.trip_shots import Shot
from dryslate.demo.trip_truth import truth_of
from dryslate.files.safe_write import save_whole

COLUMNS = (
    "photo",
    "colony",
    "kind",
    "points",
    "observer",
    "card_stood",
    "off_plane_mm",
    "off_plane_mm_u",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StationJob:
    """All shots of one station on one visit: what a worker renders in one go."""

    visit: TripVisit
    station: StationVisit
    first_number: int
    card: TripCard
    folder: Path
    seed: int

    @property
    def names(self) -> tuple[str, ...]:
        """File names of its photos."""
        return tuple(f"DRY_{self.first_number + k:04d}.JPG" for k in range(len(self.station.shots)))


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeTrip:
    """Where the made-up trip lies, and what is true about it."""

    folder: Path
    truth: tuple[dict[str, Any], ...]
    to_measure: Path


def memory_card(folder: Path, visit: TripVisit) -> Path:
    """Folder that stands for the memory card of a visit."""
    site = visit.site.lower().replace(" ", "-")
    return folder / "memory-cards" / f"{site}-{visit.date}"


def make_trip(
    trip: Sequence[TripVisit],
    card: TripCard,
    folder: Path,
    seed: int,
    tools: tuple[Runner, Progress],
) -> MadeTrip:
    """
    Render the trip to a folder; what is there from an earlier run is kept.

    Parameters
    ----------
    trip : sequence of TripVisit
    card : TripCard
    folder : Path
    seed : int
    tools : (Runner, Progress)

    Returns
    -------
    MadeTrip
        The same seed gives the same files.
    """
    runner, progress = tools
    jobs = []
    for visit in trip:
        number = visit.first_number
        for station in visit.stations:
            jobs.append(
                StationJob(
                    visit=visit,
                    station=station,
                    first_number=number,
                    card=card,
                    folder=folder,
                    seed=seed,
                )
            )
            number += len(station.shots)
    due = sorted((job for job in jobs if not _is_done(job)), key=_size, reverse=True)
    progress.start("Rendering the made-up trip", sum(len(job.names) for job in due))
    for job, answer in runner.run(render_station, due):
        if isinstance(answer, BaseException):
            raise answer
        progress.step(len(job.names))
    progress.done()
    truth = [json.loads(_truth_path(folder, n).read_text("utf-8")) for j in jobs for n in j.names]
    table = folder / "to-measure.csv"
    save_whole(table, [_table_of(truth).encode("utf-8")])
    return MadeTrip(folder=folder, truth=tuple(truth), to_measure=table)


def made_by(seed: int) -> str:
    """What a photo was made by."""
    return f"renderer {RENDERER_VERSION}, trip {TRIP_VERSION}, seed {seed}"


def _truth_path(folder: Path, name: str) -> Path:
    """Where the truth about a photo is kept."""
    return folder / "truth" / f"{name.removesuffix('.JPG')}.json"


def _photo_path(job: StationJob, name: str) -> Path:
    """Where a photo is written."""
    return memory_card(job.folder, job.visit) / "DCIM" / "100DEMO" / name


def _is_done(job: StationJob) -> bool:
    """Whether every photo of a station is there, made by this very version and seed."""
    for name in job.names:
        path = _truth_path(job.folder, name)
        if not (path.is_file() and _photo_path(job, name).is_file()):
            return False
        if json.loads(path.read_text("utf-8")).get("made_by") != made_by(job.seed):
            return False
    return True


def _size(job: StationJob) -> int:
    """How many pixels a station has: the largest begin first, so that no core waits at the end."""
    width, height = job.visit.size_px
    return len(job.names) * width * height


def render_station(job: StationJob) -> None:
    """Build a station once and take its photos; the truth is written after the photo."""
    built: dict[tuple[Box, ...], tuple[Seabed, tuple[ColonyTruth, ...]]] = {}
    for k, (shot, name) in enumerate(zip(job.station.shots, job.names, strict=True)):
        rng = np.random.default_rng([job.seed, 40_000 + job.first_number + k])
        boxes = boxes_of(shot, job.station.card_turn_deg)
        if boxes not in built:
            built = {boxes: build_station(replace(job.station.station, cleared_mm=boxes))}
        seabed, truths = built[boxes]
        scene = scene_of(job, shot, seabed, truths)
        made = render_scene(scene, rng)
        pixels = stored_pixels(made.img_srgb, shot.orientation)
        depth = (scene.water.depth_m if scene.water else 0.0) - 0.4
        data = jpeg_bytes(pixels, exif_block(job.visit, shot, depth))
        save_whole(_photo_path(job, name), [data])
        there = (job.visit, job.station, job.seed)
        truth = {"made_by": made_by(job.seed), **truth_of(there, shot, name, made, truths)}
        text = json.dumps(truth, indent=1)
        save_whole(_truth_path(job.folder, name), [text.encode("utf-8")])


def scene_of(job: StationJob, shot: Shot, seabed: Seabed, truths: Sequence[ColonyTruth]) -> Scene:
    """The scene of a shot."""
    camera = job.visit.camera
    width, height = job.visit.size_px
    size = (width, height) if shot.orientation in (1, 3) else (height, width)
    diagonal = float(np.hypot(*size))
    focal_px = FOCAL_35MM / 43.2666 * diagonal * PORT_FACTOR
    half_tan = diagonal / 2.0 / focal_px
    water = shot.water or job.station.water
    turn = job.station.card_turn_deg
    things: list[Flat] = []
    if shot.has_bar:
        x, y, bar_turn = BAR_PLACE
        things.append(bar("bar", BAR_MM, Place(centre_mm=(x, y), turn_deg=bar_turn)))
        grey = reflectance_for_lab(GREY_CHIP_LAB)
        things.append(chip(GREY_CHIP, grey, Place(centre_mm=CHIP_PLACE), (25.0, 25.0)))
    cards: tuple[PlacedCard, ...] = ()
    if shot.has_card:
        placed = PlacedCard(
            card=job.card.stated, place=Place(turn_deg=turn), spectra=job.card.spectra
        )
        cards = (placed,)
        things += _cover(shot.cover, turn, job.seed)
    points = points_of(truths)
    for thing in things:
        if thing.name == "bar":
            ends = bar_ends_mm(thing)
            points["bar"] = thing.pose().apply(np.column_stack([ends, np.zeros(2)]))
    daylight = Daylight(
        caustics=float(0.20 * np.exp(-water.depth_m / 5.0)),
        gradient_per_m=(0.25, -0.15),
        brightness=1.0,
    )
    return Scene(
        size_px=size,
        lens=SceneLens(focal_px=focal_px, k1=camera.k1 / half_tan**2),
        seabed=seabed,
        view=View(
            target_mm=shot.aim_mm,
            distance_mm=shot.distance_mm,
            tilt_deg=shot.tilt_deg,
            azimuth_deg=shot.azimuth_deg,
            roll_deg=shot.roll_deg,
        ),
        water=water,
        daylight=daylight,
        flash=shot.flash,
        camera=camera.sees,
        imaging=Imaging(
            white_balance=camera.white_balance,
            contrast=camera.contrast,
            saturation=camera.saturation,
            blur_px=0.75,
            electrons_white=9000.0 if shot.flash or water.depth_m < 6 else 5000.0,
            vignetting_frac=0.14,
            auto_level=0.44,
            jpeg_quality=None,
        ),
        cards=cards,
        things=tuple(things),
        points_mm=points,
    )


def _cover(kind: str, card_turn_deg: float, seed: int) -> list[Flat]:
    """A finger or weed over a corner of the card, following the card's turn."""
    angle = np.deg2rad(card_turn_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    if kind == "finger":
        x, y = turn @ np.array([-60.0, 58.0])
        place = Place(centre_mm=(float(x), float(y)), height_mm=5.0, turn_deg=card_turn_deg + 6.0)
        return [finger(place, width_mm=19.0, length_mm=76.0)]
    if kind == "weed":
        x, y = turn @ np.array([60.0, 34.0])
        place = Place(centre_mm=(float(x), float(y)), height_mm=5.0)
        return [weed(np.random.default_rng([seed, 17]), place, 58.0)]
    return []


def _table_of(truth: Sequence[dict[str, Any]]) -> str:
    """The table of picked points that goes into `measure --from`."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for doc in truth:
        for row in doc["to_measure"]:
            writer.writerow(
                [
                    row["photo"],
                    row["colony"],
                    row["kind"],
                    points_text(row["points_px"]),
                    row["observer"],
                    row.get("card_stood", ""),
                    row.get("off_plane_mm", ""),
                    row.get("off_plane_mm_u", ""),
                ]
            )
    return out.getvalue()
