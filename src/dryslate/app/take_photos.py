"""Which of the kept files are photos: read what they say, pair raw and JPEG, write them down."""

from __future__ import annotations

import datetime
from collections import Counter
from dataclasses import replace
from pathlib import Path

from dryslate.app.intake import KeptFile, SourceFile
from dryslate.app.pairing import ShotFile, shots_of, stem_key
from dryslate.app.ports import PhotoReader, SurveyStore
from dryslate.app.records import Photo, PhotoFile, PhotoMetadata, Visit
from dryslate.app.shots import PHOTO_ENDINGS, PREFERENCE, camera_key, ending_of, taken_time
from dryslate.app.visits import require_name
from dryslate.base.errors import DryslateError
from dryslate.base.problems import Problem, named, problem_of

FAR_DAYS = 1
"""A camera's date may differ from the visit's by this much (time zones, night dives)."""


class PhotoBook:
    """
    The photos among the files of one visit.

    Parameters
    ----------
    store : SurveyStore
    reader : PhotoReader
    visit : Visit
    observer : str
    """

    def __init__(
        self, store: SurveyStore, reader: PhotoReader, visit: Visit, observer: str
    ) -> None:
        self.observer = require_name(observer, "observer")
        self._store = store
        self._reader = reader
        self._visit = visit
        self._waiting: dict[tuple[str, tuple[str, str]], ShotFile] = {}
        self._photo_of: dict[str, Photo] = {}
        self._mates: dict[tuple[str, str], set[str]] = {}
        for photo in store.photos():
            for file in photo.files:
                self._photo_of[file.sha256] = photo
        for row in store.card_files():
            if row.visit_id == visit.visit_id and row.sha256 in self._photo_of:
                self._mates.setdefault(stem_key(row.card_path), set()).add(row.sha256)
        self._far: dict[str, set[str]] = {}
        self._elsewhere: Counter[str] = Counter()

    def add(self, file: SourceFile, kept: KeptFile, kind: str) -> list[Problem]:
        """Look at a kept file; a photo waits for its mate. Return what is odd about it."""
        promised = PHOTO_ENDINGS.get(ending_of(file.name))
        if kind == "other":
            return [_not_a_photo(file)] if promised else []
        known = self._photo_of.get(kept.sha256)
        if known is not None and known.visit_id != self._visit.visit_id:
            self._elsewhere[known.visit_id] += 1
            return []
        place = (kept.sha256, stem_key(file.card_path))
        if place in self._waiting:
            return []
        metadata, problems = self._words_of(file, kept, known)
        self._waiting[place] = ShotFile(
            sha256=kept.sha256,
            card_path=file.card_path,
            kind=kind,
            size_bytes=kept.size_bytes,
            modified_ns=file.modified_ns,
            source=str(file.path.parent),
            metadata=metadata,
        )
        return problems

    def write_down(self) -> list[Problem]:
        """Store the waiting photos; inside the caller's transaction."""
        waiting, self._waiting = self._waiting, {}
        groups: dict[tuple[str, str], list[ShotFile]] = {}
        for file in waiting.values():
            groups.setdefault(stem_key(file.card_path), []).append(file)
        for key, files in groups.items():
            there = {file.sha256 for file in files}
            mates = [
                _as_shot_file(self._photo_of[sha256], sha256, key)
                for sha256 in sorted(self._mates.get(key, set()) - there)
            ]
            for shot in shots_of(files + mates):
                if any(file.sha256 in there for file in shot):
                    self._save(shot)
            self._mates.setdefault(key, set()).update(there)
        return []

    def problems_at_end(self) -> list[Problem]:
        """Return what is odd about the photos as a whole."""
        problems = [
            Problem(
                slug="photo-of-other-visit",
                severity="note",
                place=visit_id,
                message=f"{n} photos were taken in before for this visit and stay with it",
            )
            for visit_id, n in sorted(self._elsewhere.items())
        ]
        for camera, found in sorted(self._far.items()):
            problems.append(
                Problem(
                    slug="photo-date-far",
                    severity="warning",
                    place=camera,
                    message=f"{len(found)} photos state a date more than {FAR_DAYS} day from the "
                    f"visit's ({self._visit.date})",
                    fix="Check the visit's date; if the camera's clock was wrong, set it with "
                    "`dryslate clock`.",
                )
            )
        return problems

    def _words_of(
        self, file: SourceFile, kept: KeptFile, known: Photo | None
    ) -> tuple[PhotoMetadata, list[Problem]]:
        """Return what a photo says of itself, from the records where they have it."""
        problems: list[Problem] = []
        if known is not None:
            metadata = known.metadata
        else:
            metadata, problems = self._read(file, kept.copies[0].path)
        taken = taken_time(metadata)
        if taken is not None:
            apart = abs((taken.date() - datetime.date.fromisoformat(self._visit.date)).days)
            if apart > FAR_DAYS:
                self._far.setdefault(camera_key(metadata), set()).add(kept.sha256)
        return metadata, problems

    def _read(self, file: SourceFile, path: Path) -> tuple[PhotoMetadata, list[Problem]]:
        """Read what a photo says of itself; where that fails all of it stays unknown."""
        try:
            metadata = self._reader.read_metadata(path)
        except DryslateError as error:
            problem = Problem(
                slug="photo-metadata-unreadable",
                severity="warning",
                place=file.card_path,
                message=f"kept, but what it says of itself cannot be read: {error.message}",
                fix=error.fix,
            )
            return PhotoMetadata(), [problem]
        return metadata, self._cut_off(file, path)

    def _cut_off(self, file: SourceFile, path: Path) -> list[Problem]:
        """Tell, while the card is still there, where a photo breaks off."""
        try:
            self._reader.require_whole(path)
        except DryslateError as error:
            told = problem_of(named(error, path.name, file.name), file.name)
            problem = Problem(
                slug=error.slug,
                severity="warning",
                place=file.card_path,
                message=f"kept, but {told.message}",
                fix="Look whether the camera shows it whole before the memory card is wiped.",
            )
            return [problem]
        return []

    def _save(self, shot: list[ShotFile]) -> None:
        """Store one shot, joining what earlier runs stored of it."""
        before = [self._photo_of[f.sha256] for f in shot if f.sha256 in self._photo_of]
        before = list({photo.photo_id: photo for photo in before}.values())
        files = {f.sha256: f for photo in before for f in photo.files}
        files |= {f.sha256: _photo_file(f) for f in shot if f.sha256 not in files}
        ordered = sorted(files.values(), key=lambda f: (PREFERENCE.index(f.kind), f.original_name))
        photo_id = ordered[0].sha256
        for old in before:
            if old.photo_id != photo_id and not self._store.delete_photo(old.photo_id):
                photo_id = old.photo_id  # results rest on it: it keeps its name
        metadata = shot[0].metadata
        photo = Photo(
            photo_id=photo_id,
            visit_id=self._visit.visit_id,
            files=tuple(ordered),
            metadata=metadata,
            observer=self.observer,
        )
        for old in before:
            photo = replace(photo, depth_m=old.depth_m, observer=old.observer)
            if old.photo_id == photo_id:
                photo = replace(photo, metadata=old.metadata)
        self._store.save_photo(photo)
        for file in photo.files:
            self._photo_of[file.sha256] = photo


def _photo_file(file: ShotFile) -> PhotoFile:
    """Return the record of a photo's file."""
    return PhotoFile(
        sha256=file.sha256,
        original_name=file.name,
        size_bytes=file.size_bytes,
        kind=file.kind,
    )


def _as_shot_file(photo: Photo, sha256: str, key: tuple[str, str]) -> ShotFile:
    """Return a stored file as one that a new file may belong to."""
    file = next(f for f in photo.files if f.sha256 == sha256)
    return ShotFile(
        sha256=sha256,
        card_path=f"{key[0]}/{file.original_name}" if key[0] else file.original_name,
        kind=file.kind,
        size_bytes=file.size_bytes,
        modified_ns=0,
        source="",
        metadata=photo.metadata,
    )


def _not_a_photo(file: SourceFile) -> Problem:
    """Say that a file is no photo although its name says so."""
    what = "is empty" if file.size_bytes == 0 else "is no photo inside, or begins damaged"
    return Problem(
        slug="photo-not-inside",
        severity="warning",
        place=file.card_path,
        message=f"kept as it is, but it {what} ({file.size_bytes} bytes)",
        fix="Look at it on the camera; if the picture is whole there, copy it again before "
        "wiping anything.",
    )
