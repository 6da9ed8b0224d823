"""What is asked to be measured, and what is said about it: from options and small files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from dryslate.base.errors import DryslateError, InputError, SettingsError, error_words
from dryslate.core.measure.off_plane import OffPlane, OffPlaneKind
from dryslate.core.measure.result import Kind
from dryslate.core.scale.lens import Lens, Port
from dryslate.formats.points_csv import parse_corallites, parse_outline, parse_points


@dataclass(frozen=True, slots=True, kw_only=True)
class ToMeasure:
    """
    One thing to measure in a photo.

    Parameters
    ----------
    kind : {"length", "polyline", "outline", "corallites", "colour"}
    points_px : tuple of tuple of float
        In pixels of the upright original.
    off_plane : OffPlane or None
        Where it differs from that of the options.
    """

    kind: Kind
    points_px: tuple[tuple[float, float], ...]
    off_plane: OffPlane | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureOptions:
    """
    What the surveyor may say about measuring.

    Parameters
    ----------
    card_names : tuple of str
        Cards to look for; empty for every known card that can be found.
    corners_px : tuple of points or None
        The card's four corners given by hand.
    point_u_px : float
        One standard uncertainty of each picked coordinate.
    off_plane : OffPlane or None
        None: nothing was stated.
    lens : Lens or None
        A calibration.
    port : {"none", "flat", "dome", "unknown"}
        What stood between lens and water, for a lens without calibration.
    """

    card_names: tuple[str, ...] = ()
    corners_px: tuple[tuple[float, float], ...] | None = None
    point_u_px: float = 1.0
    off_plane: OffPlane | None = None
    lens: Lens | None = None
    port: Port = "unknown"


def off_plane_of(
    mm: float | None, mm_u: float | None, card_stood: str | None, *, in_plane: bool
) -> OffPlane | None:
    """
    Make one statement of what was said about the distance from the card's plane.

    Parameters
    ----------
    mm, mm_u : float or None
        Distance, towards the camera positive, and its standard uncertainty.
    card_stood : str or None
        ``top``, ``edge`` or ``base``.
    in_plane : bool
        True: a distance of zero, exactly.

    Returns
    -------
    OffPlane or None
        None when nothing was said.

    Raises
    ------
    SettingsError
        ``measure-off-plane-unclear`` when more than one thing was said, or a distance without
        its doubt.
    """
    said = [mm is not None or mm_u is not None, card_stood is not None, in_plane]
    if not any(said):
        return None
    kinds: dict[str, OffPlaneKind] = {"top": "top", "edge": "edge", "base": "base"}
    if sum(said) == 1 and in_plane:
        return OffPlane(kind="in_plane")
    if sum(said) == 1 and card_stood in kinds:
        return OffPlane(kind=kinds[card_stood])
    if sum(said) == 1 and mm is not None and mm_u is not None:
        return OffPlane(kind="stated", mm=mm, mm_u=mm_u)
    raise SettingsError(
        "measure-off-plane-unclear",
        "The distance from the card's plane was stated in a way that cannot be used.",
        "Give either --in-plane, or --card-stood top, edge or base, or both --off-plane-mm and "
        "--off-plane-mm-u (a distance without its doubt is not taken as exact).",
    )


def read_text(path: Path, what: str) -> str:
    """
    Read a small text file.

    Parameters
    ----------
    path : Path
    what : str
        For the message, such as ``outline``.

    Returns
    -------
    str

    Raises
    ------
    InputError
        ``measure-file-unreadable``.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            "measure-file-unreadable",
            f"{path}: the {what} file cannot be read ({error_words(error)}).",
            "Give a text file (UTF-8) that is there.",
        ) from error


def gather(
    between: Sequence[str],
    outlines: Sequence[Path],
    corallites: Sequence[Path],
    colours: Sequence[Path] = (),
) -> tuple[ToMeasure, ...]:
    """
    Gather what a command line asks to measure.

    Parameters
    ----------
    between : sequence of str
        Each ``X1,Y1 X2,Y2``; more points make a polyline.
    outlines, corallites : sequence of Path
        Files of points.
    colours : sequence of Path
        Files of outlines around areas of one colour.

    Returns
    -------
    tuple of ToMeasure

    Raises
    ------
    SettingsError
        ``measure-nothing-asked`` when there is nothing to measure, ``measure-between-unclear``
        when points cannot be read.
    InputError, FormatError
        For a file that cannot be read.
    """
    wanted: list[ToMeasure] = []
    for text in between:
        points = parse_option_points(text, "--between")
        if len(points) < 2:
            raise SettingsError(
                "measure-between-unclear",
                f"--between takes two points X1,Y1 X2,Y2; found {text!r}.",
                "Pixels of the upright photo, full stop as decimal mark.",
            )
        wanted.append(
            ToMeasure(kind="length" if len(points) == 2 else "polyline", points_px=points)
        )
    for path in outlines:
        points = parse_outline(read_text(path, "outline"), str(path))
        wanted.append(ToMeasure(kind="outline", points_px=points))
    for path in corallites:
        points = parse_corallites(read_text(path, "corallites"), str(path))
        wanted.append(ToMeasure(kind="corallites", points_px=points))
    for path in colours:
        points = parse_outline(read_text(path, "colour outline"), str(path))
        wanted.append(ToMeasure(kind="colour", points_px=points))
    if not wanted:
        raise SettingsError(
            "measure-nothing-asked",
            "There is nothing to measure.",
            "Add --between X1,Y1 X2,Y2, --outline FILE, --corallites FILE or --colour FILE.",
        )
    return tuple(wanted)


def parse_option_points(text: str, option: str) -> tuple[tuple[float, float], ...]:
    """
    Read points given to an option.

    Parameters
    ----------
    text : str
    option : str
        For the message.

    Returns
    -------
    tuple of tuple of float

    Raises
    ------
    SettingsError
        ``measure-between-unclear``.
    """
    try:
        return parse_points(text, option)
    except DryslateError as error:
        raise SettingsError("measure-between-unclear", error.message, error.fix) from error


def parse_corners(texts: str | None) -> tuple[tuple[float, float], ...] | None:
    """
    Read the card's four corners from an option.

    Parameters
    ----------
    texts : str or None

    Returns
    -------
    tuple of tuple of float, or None

    Raises
    ------
    SettingsError
        ``measure-between-unclear`` unless there are four points.
    """
    if texts is None:
        return None
    points = parse_option_points(texts, "--corners")
    if len(points) != 4:
        raise SettingsError(
            "measure-between-unclear",
            f"--corners takes four points X,Y clockwise from the card's own top left; found "
            f"{len(points)}.",
            "Pixels of the upright photo, full stop as decimal mark.",
        )
    return points
