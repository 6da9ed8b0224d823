"""
Projects for the benchmarks of the pages, made from the speed benchmark's photos.

``photo_trip`` goes the usual way (take in, correct, measure) with a few photos of 24 megapixels.
``long_trip`` has 500 photos and 200 corals: rows and small files written through the store and the
vault, each a seeded copy of one photo that went the usual way.
"""

from __future__ import annotations

import hashlib
import json
import random
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from bench.speed import CACHE
from bench.speed_photos import PhotoPlan, saved_photo

from dryslate import wiring
from dryslate.app.identification_rows import (
    IdentificationRow,
    RecordRow,
    ReviewChanceRow,
    ReviewDrawRow,
)
from dryslate.app.pictures_ahead import make_pictures_ahead
from dryslate.app.project_records import CardFile, CopyProof, DerivedFile, Original
from dryslate.app.records import CorrectionRow, MeasurementRow, Photo, PhotoFile, Visit
from dryslate.app.tiles import picture_thumb, place_of
from dryslate.base.provenance import key_of
from dryslate.store.sqlite import SqliteSurveyStore

N_PHOTOS, N_CORALS = 500, 200
N_VISITS = 4
SMALL = (3000, 2000)
GENERA = ("Favites", "Goniastrea", "Platygyra", "Dipsastraea", "Acropora", "Porites")
OBSERVERS = ("Bench", "Second")
WHEN = "2031-05-05T18:00:00Z"


class Quiet:
    """A `Progress` that shows nothing."""

    def start(self, what: str, total: int | None) -> None:
        pass

    def step(self, n: int = 1, note: str = "") -> None:
        pass

    def done(self) -> None:
        pass


def command(*words: object) -> str:
    """Run a command of ours; returns what it printed."""
    done = subprocess.run(
        [sys.executable, "-m", "dryslate.cli.main", *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode not in (0, 3):
        raise SystemExit(f"{words}: {done.stderr[-800:]}")
    return done.stdout


def photo_trip(folder: Path, n_photos: int, size_px: tuple[int, int]) -> Path:
    """Take in, correct and measure photos with a card and the target; their tiles are made."""
    card = folder / "card"
    card.mkdir(parents=True)
    names = []
    for i in range(n_photos):
        photo = saved_photo(PhotoPlan(seed=200 + i, size_px=size_px, has_chart=True), CACHE)
        names.append(f"P{i:04d}.JPG")
        shutil.copy(photo, card / names[-1])
    project = folder / "trip"
    visit = ("--visit", "Made Reef", "2031-05-04", "--observer", OBSERVERS[0])
    command("take", card, "--into", project, *visit)
    command("correct", "--project", project, "--port", "flat", "--json")
    picked = folder / "to_measure.csv"
    picked.write_text("photo,colony,kind,points,observer\n" + "".join(_picks(names, size_px)))
    command("measure", "--project", project, "--from", picked, "--json")
    command("region", project, "indo_pacific", "--observer", OBSERVERS[0])
    for i, name in enumerate(names):
        command("record", project, f"M-{i}", "--photo", name, "--observer", OBSERVERS[0])
    make_pictures(project)
    return project


def surveyed_trip(folder: Path) -> Path:
    """The small photo trip with survey units of every design and tagged colonies."""
    from dryslate.demo.survey import import_records
    from dryslate.demo.survey_rows import draw_records
    from dryslate.demo.survey_truth import plan_survey

    project = photo_trip(folder, 6, SMALL)
    site, date, observer = "Made Reef", "2031-05-04", OBSERVERS[0]
    (truth,) = plan_survey([(site, date, observer)], 1)
    import_records(project, folder / "tables", draw_records(truth, 1, has_points=True), observer)
    why = ("--why", "random", "--observer", observer, "--visit", site, date)
    for label in ("B1", "B2"):
        command("colonies", "tag", project, label, *why)
    return project


def _picks(names: list[str], size_px: tuple[int, int]) -> Iterator[str]:
    """One length and one outline a photo, near the middle."""
    x, y = size_px[0] * 0.5, size_px[1] * 0.75
    for i, name in enumerate(names):
        line = f"{x:.0f},{y:.0f} {x + 200:.0f},{y + 40:.0f}"
        yield f'{name},M-{i},length,"{line}",{OBSERVERS[0]}\n'
        outline = f"{x:.0f},{y:.0f} {x + 200:.0f},{y:.0f} {x + 200:.0f},{y + 150:.0f}"
        yield f'{name},M-{i},outline,"{outline}",{OBSERVERS[0]}\n'


def make_pictures(project: Path) -> None:
    """Make tiles and small copies of every photo."""
    n_bad = make_pictures_ahead(
        wiring.tile_bench(project),
        lambda: wiring.survey_store(project, write=False),
        Quiet(),
        lambda: None,
    )
    if n_bad:
        raise SystemExit(f"{n_bad} photos cannot be shown")


@dataclass(frozen=True, kw_only=True)
class Pattern:
    """What the long trip's rows are copies of."""

    photo: Photo
    correction: CorrectionRow
    measurements: tuple[MeasurementRow, ...]
    steps: dict[str, Any]
    small: bytes
    preview: bytes


def long_trip(folder: Path, seed: int = 1) -> Path:
    """Make the long trip below an empty folder."""
    project = photo_trip(folder, 1, SMALL)
    chance = random.Random(seed)
    with wiring.survey_store(project, write=True, who=OBSERVERS[0]) as store:
        pattern = _pattern(project, store)
        with store.write():
            photos = [_photo(project, store, pattern, n) for n in range(N_PHOTOS - 1)]
            records = [_coral(store, pattern, photos[2 * n], n) for n in range(N_CORALS - 1)]
            names = [_name(store, record, chance) for record in records[: N_CORALS * 3 // 4]]
            _draw(store, names[:: len(names) // 20])
    make_pictures(project)
    return project


def _pattern(project: Path, store: SqliteSurveyStore) -> Pattern:
    """Gather what the photo that went the usual way left."""
    (photo,) = store.photos()
    row = store.correction(photo.photo_id)
    assert row is not None
    assert row.corrected_path is not None, row.result["problems"]
    bench = wiring.tile_bench(project)
    small = picture_thumb(bench, store, place_of(store, photo.photo_id, "corrected"))
    derived = {file.kind: file for file in store.derived_files()}
    return Pattern(
        photo=photo,
        correction=row,
        measurements=store.measurements(),
        steps=dict(derived["corrected"].steps),
        small=small,
        preview=(project / str(row.result["preview"])).read_bytes(),
    )


def _photo(project: Path, store: SqliteSurveyStore, pattern: Pattern, n: int) -> Photo:
    """Keep one small photo as taken in and corrected."""
    data = pattern.small + f"photo {n}".encode()  # behind the end mark: another file, same picture
    sha256, name = hashlib.sha256(data).hexdigest(), f"Q{n:04d}.JPG"
    path = wiring.vault(project).path_of(sha256, name)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    path.chmod(0o444)
    visit = f"Made Reef {n % N_VISITS + 1}"
    day = f"2031-05-{4 + n % N_VISITS:02d}"
    store.save_visit(Visit(visit_id=f"{visit} {day}", site=visit, date=day, observer=OBSERVERS[0]))
    size = len(data)
    kept = path.relative_to(project).as_posix()
    store.save_original(Original(sha256=sha256, size_bytes=size, kind="jpeg", kept_path=kept))
    store.save_card_file(
        CardFile(
            visit_id=f"{visit} {day}",
            card_path=f"DCIM/{name}",
            sha256=sha256,
            original_name=name,
            size_bytes=size,
            modified_ns=0,
            observer=OBSERVERS[0],
        )
    )
    for folder in (".", "/second"):
        proof = CopyProof(
            sha256=sha256,
            folder=folder,
            drive=folder,
            is_proved=True,
            how="direct",
            proved_utc=WHEN,
        )
        store.save_copy(proof)
    minute, second = divmod(7 * n, 60)
    taken = f"{day}T{8 + minute // 60:02d}:{minute % 60:02d}:{second:02d}"
    file = PhotoFile(sha256=sha256, original_name=name, size_bytes=size, kind="jpeg")
    photo = replace(
        pattern.photo,
        photo_id=sha256,
        visit_id=f"{visit} {day}",
        files=(file,),
        metadata=replace(pattern.photo.metadata, taken_local=taken),
    )
    store.save_photo(photo)
    if n % 10:  # one in ten is still to be corrected
        _correct(project, store, pattern, photo)
    return photo


def _correct(project: Path, store: SqliteSurveyStore, pattern: Pattern, photo: Photo) -> None:
    """Keep a photo's correction and the files it left."""
    key = key_of({"photo": photo.photo_id, "of": pattern.correction.key})
    paths = {kind: f"derived/{kind}/{key}.jpg" for kind in ("corrected", "preview")}
    for kind, data in (("corrected", pattern.small), ("preview", pattern.preview)):
        target = project / paths[kind]
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
        store.save_derived_file(
            DerivedFile(
                path=paths[kind],
                photo_id=photo.photo_id,
                key=key,
                kind=kind,
                sha256=hashlib.sha256(data).hexdigest(),
                size_bytes=len(data),
                steps=pattern.steps,
            )
        )
    text = json.dumps(pattern.correction.result)
    text = text.replace(pattern.photo.photo_id, photo.photo_id)
    result = {**json.loads(text), "photo": photo.files[0].original_name, **paths}
    row = replace(
        pattern.correction,
        photo_id=photo.photo_id,
        key=key,
        result=result,
        corrected_path=paths["corrected"],
    )
    store.save_correction(row)


def _coral(store: SqliteSurveyStore, pattern: Pattern, photo: Photo, n: int) -> RecordRow:
    """Note a coral with its measurements."""
    colony = f"C-{n:03d}"
    rows = [
        replace(
            m,
            measurement_id=key_of({"photo": photo.photo_id, "of": m.measurement_id}),
            photo_id=photo.photo_id,
            colony=colony,
        )
        for m in pattern.measurements
    ]
    store.save_measurements(rows)
    record = RecordRow(
        record_id=key_of({"visit": photo.visit_id, "photo": photo.photo_id, "colony": colony}),
        colony=colony,
        visit_id=photo.visit_id,
        photo_id=photo.photo_id,
        growth_form="massive",
        measurement_ids=tuple(m.measurement_id for m in rows),
        observer=OBSERVERS[0],
        noted_at=WHEN,
    )
    store.save_record(record)
    return record


def _name(store: SqliteSurveyStore, record: RecordRow, chance: random.Random) -> IdentificationRow:
    """Say what a coral is called."""
    genus = chance.choice(GENERA)
    row = IdentificationRow(
        identification_id=key_of({"record": record.record_id, "name": genus}),
        record_id=record.record_id,
        role="first",
        name_as_recorded=genus,
        name=genus,
        current_names=(genus,),
        rank="genus",
        confidence=chance.randint(1, 5),
        probability=chance.random(),
        evidence={"seen": {"growth_form": ["massive"]}, "not": {}, "unclear": [], "sizes_mm": {}},
        region="indo_pacific",
        observer=OBSERVERS[0],
        identified_at=WHEN,
        data_version="bench",
    )
    store.save_identification(row)
    return row


def _draw(store: SqliteSurveyStore, names: list[IdentificationRow]) -> None:
    """Let some corals wait for a second look."""
    draw = ReviewDrawRow(
        draw_id="0" * 64,
        seed=1,
        random_frac=0.1,
        least_probability=0.8,
        observer=OBSERVERS[0],
        drawn_at=WHEN,
    )
    chances = [
        ReviewChanceRow(
            identification_id=one.identification_id,
            record_id=one.record_id,
            draw_id=draw.draw_id,
            p_drawn=0.1,
            is_drawn=True,
            reasons=("random",),
        )
        for one in names
    ]
    store.save_review_draw(draw, chances)
