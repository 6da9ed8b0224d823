"""
What a card is: its size, markers, patches and scale bar, in millimetres.

Origin is the card's top left corner, x to the right, y down, seen from the front.
Colours are CIELAB for D65 and the 2 degree observer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Status = Literal["nominal", "measured", "from_photos"]
Medium = Literal["air", "water"]
Role = Literal["neutral", "colour"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Marker:
    """
    A square marker of an open dictionary.

    Parameters
    ----------
    dictionary : str
        ``"36h11"``, ``"16h5"`` (AprilTag families) or ``"4X4_50"`` and the like (ArUco).
    marker_id : int
        Number within the dictionary.
    x_mm, y_mm : float
        The top left corner of the marker's black square on the card.
    side_mm : float
        Side of the black square (without the white rim).
    turn_deg : float
        How far the marker is turned clockwise on the card: 0, 90, 180 or 270.
    """

    dictionary: str
    marker_id: int
    x_mm: float
    y_mm: float
    side_mm: float
    turn_deg: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """
    One uniform patch.

    Parameters
    ----------
    patch_id : str
        Name within the card, for example ``"n50"`` or ``"r1c1"``.
    x_mm, y_mm, width_mm, height_mm : float
        Top left corner and size on the card.
    role : {"neutral", "colour"}
        Neutrals carry gain, tone and veil; colours carry the matrix.
    lab_d65 : tuple of float
        L*, a*, b* (D65, 2 degrees) in the card's medium.
    lab_u : tuple of float
        One standard uncertainty of each of the three.
    twin_of : str
        The `patch_id` of the other copy of the same grey; empty when there is none.
    hue_group : str
        Patches of one hue group are left out together in cross-validation.
    """

    patch_id: str
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    role: Role
    lab_d65: tuple[float, float, float]
    lab_u: tuple[float, float, float] = (0.0, 0.0, 0.0)
    twin_of: str = ""
    hue_group: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A plain rectangle on the card, in millimetres from its top left corner."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleBar:
    """
    The millimetre scale printed on the card.

    Parameters
    ----------
    x_mm, y_mm : float
        Its left end, on the base line of the ticks.
    length_mm : float
        Its whole length, running to the right.
    height_mm : float
        Length of the longest tick, upwards from the base line.
    """

    x_mm: float
    y_mm: float
    length_mm: float
    height_mm: float = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CardDefinition:
    """
    A flat reference card.

    Parameters
    ----------
    name : str
        Short name, as given to ``--card``.
    title : str
        One line in plain words.
    width_mm, height_mm : float
        Outer size.
    corner_radius_mm : float
        Radius of the rounded outer corners; 0 for square ones.
    ground_lab_d65 : tuple of float
        Colour of the ground between the patches.
    markers : tuple of Marker
        May be empty: such a card is found by its picture or by given corners.
    patches : tuple of Patch
        At least three neutrals.
    scale_bar : ScaleBar or None
    pencil_strip : Box or None
        Matt strip that takes pencil.
    thumb_zone : Box or None
        Where a thumb may hold the card; nothing is printed there but the lanyard hole.
    lanyard_hole : tuple of float or None
        x, y and diameter in millimetres.
    status : {"nominal", "measured", "from_photos"}
        Where the patch values come from. Nominal values serve the greys only.
    medium : {"air", "water"}
        What the values hold in.
    serial : str
        Serial number of this very card; empty for a design.
    values_source : str
        Where the patch values come from, in words.
    print_scale_u_frac : float
        Relative standard uncertainty of the card's real size against this definition.
    picture : str
        File name of a picture of the card, for a card without markers; empty otherwise.
    """

    name: str
    title: str
    width_mm: float
    height_mm: float
    ground_lab_d65: tuple[float, float, float]
    markers: tuple[Marker, ...]
    patches: tuple[Patch, ...]
    status: Status = "nominal"
    medium: Medium = "air"
    corner_radius_mm: float = 0.0
    scale_bar: ScaleBar | None = None
    pencil_strip: Box | None = None
    thumb_zone: Box | None = None
    lanyard_hole: tuple[float, float, float] | None = None
    serial: str = ""
    values_source: str = ""
    print_scale_u_frac: float = 0.003
    picture: str = ""

    @property
    def neutrals(self) -> tuple[Patch, ...]:
        """The neutral patches, lightest first."""
        greys = [p for p in self.patches if p.role == "neutral"]
        return tuple(sorted(greys, key=lambda p: -p.lab_d65[0]))

    @property
    def colours(self) -> tuple[Patch, ...]:
        """The coloured patches, in the order of the definition."""
        return tuple(p for p in self.patches if p.role == "colour")
