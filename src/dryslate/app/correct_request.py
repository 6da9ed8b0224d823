"""What was asked for on the command line or in Python, made into settings and checked."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import get_args

from dryslate.app.depths import DepthTable, depth_table, parse_depths
from dryslate.app.one_point import PickedPoint, What
from dryslate.base.errors import InputError, SettingsError, error_words
from dryslate.core.scale.lens import Lens, Port
from dryslate.formats.lens_toml import parse_lens
from dryslate.formats.uddf import read_uddf, sampled

_POINT = re.compile(r"\s*([-+]?[0-9.]+(?:e[-+]?\d+)?)\s*,\s*([-+]?[0-9.]+(?:e[-+]?\d+)?)\s*", re.I)


def parse_point(text: str, option: str) -> tuple[float, float]:
    """
    Read a point written as ``X,Y``; with decimal commas as ``X;Y``.

    Parameters
    ----------
    text : str
    option : str
        Which option it was given to, for the message.

    Returns
    -------
    tuple of float

    Raises
    ------
    SettingsError
        ``point-unreadable`` if it is not two numbers with a comma between.

    Examples
    --------
    >>> parse_point("120,88.5", "--white")
    (120.0, 88.5)
    >>> parse_point("120,5; 88,5", "--white")
    (120.5, 88.5)
    """
    parted = text.replace(",", ".").replace(";", ",") if ";" in text else text
    match = _POINT.fullmatch(parted)
    try:
        if match is not None:
            return float(match[1]), float(match[2])
    except ValueError:
        pass
    raise SettingsError(
        "point-unreadable",
        f"{option}: {text!r} is not a point; expected two numbers with a comma, such as 1520,880.",
        "Points are pixels of the upright photo: x to the right, y down.",
    )


def parse_corners(texts: Sequence[str] | None) -> tuple[tuple[float, float], ...] | None:
    """
    Read the four corners of a card.

    Parameters
    ----------
    texts : sequence of four str, or None

    Returns
    -------
    tuple of points, or None

    Raises
    ------
    SettingsError
        ``point-unreadable``.
    """
    if not texts:
        return None
    return tuple(parse_point(text, "--corners") for text in texts)


def parse_port(text: str) -> Port:
    """
    Read what stood between lens and water.

    Parameters
    ----------
    text : str

    Returns
    -------
    {"none", "flat", "dome", "unknown"}

    Raises
    ------
    SettingsError
        ``port-unknown``.
    """
    for port in get_args(Port):
        if text == port:
            return text  # type: ignore[return-value]  # compared with every value of the type
    raise SettingsError(
        "port-unknown",
        f"--port: {text!r} is not known; expected one of {', '.join(get_args(Port))}.",
        "Give none for photos taken in air.",
    )


def picked_point(white: str | None, grey: str | None) -> PickedPoint | None:
    """
    Read a white or a grey point.

    Parameters
    ----------
    white, grey : str or None

    Returns
    -------
    PickedPoint or None

    Raises
    ------
    SettingsError
        ``correct-two-points`` if both are given; ``point-unreadable``.
    """
    if white is not None and grey is not None:
        raise SettingsError(
            "correct-two-points",
            "--white and --grey were both given; one point corrects a photo.",
            "Give the one that is more surely what you say it is.",
        )
    text = white if white is not None else grey
    if text is None:
        return None
    what: What = "white" if white is not None else "grey"
    return PickedPoint(xy_px=parse_point(text, f"--{what}"), what=what)


def require_request(
    photos: Sequence[Path],
    out: Path | None,
    project: Path | None,
    point: PickedPoint | None,
    apply_to: Sequence[Path],
) -> None:
    """
    Refuse a request that lacks a part or contradicts itself.

    Parameters
    ----------
    photos, out, project, point, apply_to
        As given.

    Raises
    ------
    SettingsError
        ``correct-no-photos``, ``correct-no-out``, ``correct-out-and-project``,
        ``correct-apply-to-needs-point``, ``correct-one-photo``.
    """
    if project is not None and out is not None:
        raise SettingsError(
            "correct-out-and-project",
            "--out and --project were both given; a project keeps its corrected photos itself.",
            "Leave one of them out.",
        )
    if project is None and not photos:
        raise SettingsError(
            "correct-no-photos",
            "No photo was given.",
            "Give photos with --out DIR, or a project with --project FOLDER.",
        )
    if project is None and out is None:
        raise SettingsError(
            "correct-no-out",
            "Nothing says where the corrected photos go.",
            "Add --out DIR, or --project FOLDER for the photos of a project.",
        )
    if apply_to and point is None:
        raise SettingsError(
            "correct-apply-to-needs-point",
            "--apply-to needs a point picked in the first photo.",
            "Add --white X,Y or --grey X,Y.",
        )
    if point is not None and (project is not None or (len(photos) != 1 and not apply_to)):
        raise SettingsError(
            "correct-one-photo",
            "A picked point belongs to one photo outside a project.",
            "Give that photo first, and the others after --apply-to.",
        )


def depths_from(path: Path | None) -> DepthTable | None:
    """
    Read a table of times and depths from a file, or the dives of a log in UDDF.

    Parameters
    ----------
    path : Path or None

    Returns
    -------
    DepthTable or None

    Raises
    ------
    InputError
        ``depths-missing`` if the file cannot be read.
    FormatError
        ``depths-unreadable``.
    """
    if path is None:
        return None
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            "depths-missing",
            f"{path}: the table of depths cannot be read ({error_words(error)}).",
            "Check the path; the table is a UTF-8 text file.",
        ) from error
    if text.lstrip().startswith("<"):
        dives = read_uddf(text.encode(), str(path))
        return depth_table([one for dive in dives for one in sampled(dive)])
    return parse_depths(text, str(path))


def lens_from(path: Path | None) -> Lens | None:
    """Read a lens calibration from its file, where one is given; raises as `read_lens`."""
    return None if path is None else read_lens(path)


def read_lens(path: Path) -> Lens:
    """
    Read a lens calibration from its file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Lens

    Raises
    ------
    InputError
        ``lens-file-missing`` if the file cannot be read.
    FormatError
        As `parse_lens`.
    """
    try:
        return parse_lens(path.read_text(encoding="utf-8"), str(path))
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            "lens-file-missing",
            f"{path}: the lens file cannot be read ({error_words(error)}).",
            "Make one with: dryslate lens PHOTO...",
        ) from error
