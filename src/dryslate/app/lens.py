"""Calibrate a lens from photos of a flat board and write the lens file."""

from __future__ import annotations

import os
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from dryslate.app.ports import PhotoReader, Progress
from dryslate.app.records import DecodedPhoto
from dryslate.base.errors import DryslateError, InputError, SettingsError
from dryslate.base.problems import Problem, problem_of
from dryslate.core.arrays.orientation import stored_xy, upright_view
from dryslate.core.card.boards import Board, find_board
from dryslate.core.scale.calibration import BoardView, CalibratedModel, Calibration, fit_lens
from dryslate.formats.lens_toml import NAMES, format_lens, parse_lens


@dataclass(frozen=True, slots=True, kw_only=True)
class LensRequest:
    """
    What to calibrate from, and how.

    Parameters
    ----------
    photos : tuple of Path
    board : Board
    model : {"normal", "fisheye"}
    name : str
        What to call the lens.
    note : str
        Camera, housing, port and water, in words.
    out : Path
        The lens file to write.
    is_replacing : bool
        Overwrite a lens file that is there.
    """

    photos: tuple[Path, ...]
    board: Board
    model: CalibratedModel
    name: str
    note: str
    out: Path
    is_replacing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Seen:
    """A photo's view of the board, with what must agree between photos."""

    path: Path
    view: BoardView
    size_px: tuple[int, int]
    focal_mm: float | None


def board_of(
    kind: str, squares: str, square_mm: float, marker_mm: float | None, dictionary: str
) -> Board:
    """
    Describe a board from what a command line says.

    Parameters
    ----------
    kind : str
        ``checkerboard`` or ``charuco``.
    squares : str
        Squares across and down, such as ``10x7``.
    square_mm : float
    marker_mm : float or None
        Charuco only; three quarters of a square when not given.
    dictionary : str
        Charuco only.

    Returns
    -------
    Board

    Raises
    ------
    SettingsError
        ``lens-board-unclear``.
    """
    try:
        across, down = (int(v) for v in squares.lower().replace("×", "x").split("x"))
        if kind == "checkerboard":
            return Board(kind="checkerboard", n_across=across, n_down=down, square_mm=square_mm)
        if kind != "charuco":
            raise ValueError(f"expected checkerboard or charuco, got {kind!r}")
        return Board(
            kind="charuco",
            n_across=across,
            n_down=down,
            square_mm=square_mm,
            marker_mm=marker_mm if marker_mm is not None else 0.75 * square_mm,
            dictionary=dictionary,
        )
    except ValueError as error:
        raise SettingsError(
            "lens-board-unclear",
            f"The board's description cannot be used: {error}.",
            "Say --board checkerboard or charuco, --squares 10x7 (squares, not inner corners) and "
            "--square-mm.",
        ) from error


def _problem(slug: str, place: Path, message: str, fix: str) -> Problem:
    """Build the reason why a photo was left out."""
    return Problem(slug=slug, severity="warning", place=str(place), message=message, fix=fix)


def _view(path: Path, photo: DecodedPhoto, board: Board) -> _Seen | None:
    """Find the board in one photo; its points in the frame as the sensor stores it."""
    orientation = photo.metadata.orientation
    height, width = photo.pixels.shape[:2]
    pixels = np.ascontiguousarray(upright_view(photo.pixels, orientation))
    if pixels.dtype != np.uint8:
        pixels = (pixels >> 8).astype(np.uint8)
    seen = find_board(pixels, board)
    if seen is None:
        return None
    stored = stored_xy(seen.points_px, (width, height), orientation)
    return _Seen(
        path=path,
        view=BoardView(name=str(path), points_mm=seen.points_mm, points_px=stored),
        size_px=(width, height),
        focal_mm=photo.metadata.focal_mm,
    )


def _look(
    request: LensRequest, reader: PhotoReader, progress: Progress
) -> tuple[list[_Seen], list[Problem]]:
    """Find the board in every photo; say why where it is not found."""
    seen, problems = [], []
    progress.start("Looking for the board", len(request.photos))
    for path in dict.fromkeys(request.photos):
        try:
            found = _view(path, reader.read(path), request.board)
        except DryslateError as error:
            problems.append(problem_of(error, str(path), "warning"))
        else:
            if found is None:
                problems.append(
                    _problem(
                        "lens-board-not-found",
                        path,
                        "the board was not found (a checkerboard must be wholly in the frame).",
                        "Check --squares, focus and light; charuco boards may be cut off.",
                    )
                )
            else:
                seen.append(found)
        progress.step(1, path.name)
    progress.done()
    return seen, problems


def _of_one_kind(seen: Sequence[_Seen]) -> tuple[list[_Seen], list[Problem]]:
    """Keep photos of the commonest size and focal length; say why of the others."""
    problems: list[Problem] = []
    if not seen:
        return [], problems
    size = Counter(s.size_px for s in seen).most_common(1)[0][0]
    focal = Counter(s.focal_mm for s in seen if s.size_px == size).most_common(1)[0][0]
    kept = []
    for one in seen:
        if one.size_px != size:
            message = f"{one.size_px[0]} x {one.size_px[1]} px; the others {size[0]} x {size[1]}."
        elif one.focal_mm != focal:
            message = f"focal length {one.focal_mm} mm; the others {focal} mm."
        else:
            kept.append(one)
            continue
        problems.append(
            _problem(
                "lens-photo-differs",
                one.path,
                message,
                "Keep picture format, zoom and focus the same for all photos of a calibration.",
            )
        )
    return kept, problems


def calibrate_lens(request: LensRequest, reader: PhotoReader, progress: Progress) -> dict[str, Any]:
    """
    Calibrate a lens and write its file.

    Parameters
    ----------
    request : LensRequest
    reader, progress
        Ports.

    Returns
    -------
    dict
        Path, name, model, parameters with ``_u``, residuals by photo, sha256 of the file and
        problems.

    Raises
    ------
    InputError
        ``lens-file-exists``; ``lens-cannot-write``; ``lens-too-few-views`` and the
        others of `fit_lens`; the reasons why photos were left out are part of the message.
    """
    if request.out.exists() and not request.is_replacing:
        raise InputError(
            "lens-file-exists",
            f"{request.out} is there already.",
            "Give another name with -o, or add --replace.",
        )
    _require_place(request.out)
    seen, problems = _look(request, reader, progress)
    kept, others = _of_one_kind(seen)
    problems += others
    try:
        done = fit_lens(
            [one.view for one in kept],
            kept[0].size_px if kept else (1, 1),
            request.model,
            request.name or request.out.stem,
        )
    except InputError as error:
        reasons = "".join(f"\n  {problem}" for problem in problems)
        raise InputError(error.slug, error.message, f"{error.fix}{reasons}") from error
    text = format_lens(done.lens, request.note)
    _write(request.out, text)
    sha256 = parse_lens(text, str(request.out)).sha256
    return _document(request, done, [one.path for one in kept], sha256, problems)


def _require_place(path: Path) -> None:
    """Refuse a place that cannot be written before the long work starts."""
    folder = path.parent
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    if not folder.is_dir() or not os.access(folder, os.W_OK):
        raise InputError(
            "lens-cannot-write",
            f"{path} cannot be written ({folder} is no folder that takes files).",
            "Give another place with -o.",
        )


def _write(path: Path, text: str) -> None:
    """Write the whole file or nothing."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, part = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(part).chmod(0o644)
        Path(part).replace(path)
    except OSError as error:
        raise InputError(
            "lens-cannot-write",
            f"{path} cannot be written ({error.strerror or error}).",
            "Give another place with -o, or make room there.",
        ) from error


def _document(
    request: LensRequest,
    done: Calibration,
    kept: Sequence[Path],
    sha256: str,
    problems: Sequence[Problem],
) -> dict[str, Any]:
    """Put the answer together."""
    lens = done.lens
    spread = np.sqrt(np.maximum(np.diag(lens.covariance), 0.0))
    parameters: dict[str, float] = {}
    for name, value, u in zip(NAMES[lens.model], lens.params, spread, strict=True):
        parameters[name] = float(value)
        parameters[f"{name}_u"] = float(u)
    return {
        "lens": str(request.out),
        "sha256": sha256,
        "name": lens.name,
        "model": lens.model,
        "width_px": lens.image_size_px[0],
        "height_px": lens.image_size_px[1],
        "parameters": parameters,
        "rms_px": lens.rms_px,
        "n_views": lens.n_views,
        "covered_frac": done.covered_frac,
        "tilt_spread_deg": done.tilt_spread_deg,
        "views": [
            {"photo": str(path), "rms_px": rms}
            for path, rms in zip(kept, done.rms_px_by_view, strict=True)
        ],
        "problems": [p.as_dict() for p in (*problems, *done.problems)],
    }
