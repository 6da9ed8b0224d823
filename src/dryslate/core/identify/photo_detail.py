"""Which characters a photo at a given scale could show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from dryslate.core.identify.taxa import Character, SeenWith

InPhoto = Literal["yes", "no", "never", "not known"]
"""Whether a photo at the scale at hand can show a character; `never`: only broken surfaces do."""

PX_A_DETAIL = 3.0  # pixels across the smallest thing that must be made out
WHOLE_COLONY = frozenset(
    {"attachment", "coloniality", "growth_form", "branch_thickness", "plate_sides", "algae"}
)
DETAIL_FRAC: Mapping[str, float] = {
    "corallite_arrangement": 0.25,
    "axial_corallite": 0.25,
    "corallite_relief": 0.25,
    "corallite_orientation": 0.25,
    "wall": 0.1,
    "coenosteum": 0.1,
    "elevations": 0.25,
    "columella": 0.1,
    "paliform_lobes": 0.08,
    "septal_margin": 0.04,
    "septa_count": 0.065,
    "septa_confluent": 0.065,
    "septa_exsert": 0.1,
    "mouth_arrangement": 0.25,
    "tissue": 0.25,
    "polyps_by_day": 0.25,
    "tentacle_form": 0.08,
    "tentacles_per_polyp": 0.08,
    "budding": 0.1,
    "cup_rows": 0.5,
    "cup_hood": 0.1,
    "cup_spine": 0.1,
    "ridge_top": 0.1,
    "mouth_spacing": 0.5,
    "septa_join": 0.065,
    "axial_count": 0.25,
}
"""Smallest thing to make out, as part of the calice: 24 septa lie 0.065 of it apart halfway in."""
DISC_DETAIL_MM: Mapping[SeenWith, float] = {"eye": 5.0, "lens": 0.5, "broken": 0.5}
"""The same on a single disc, whatever its width: septa of mushroom corals lie that far apart."""
OTHER_DETAIL: Mapping[SeenWith, float] = {"eye": 0.25, "lens": 0.1, "broken": 0.1}


def find_photo_needs(
    character: Character,
    calice_mm: float | None,
    px_per_mm: float | None,
    *,
    is_disc: bool = False,
) -> tuple[float | None, InPhoto]:
    """
    Find the scale that a photo needs to show a character, and whether the one at hand does.

    Parameters
    ----------
    character : Character
    calice_mm : float or None
        Of the smaller of the genera in question; None: not known.
    px_per_mm : float or None
        Scale of the photo at hand.
    is_disc : bool
        Of at least one of them only the width of the whole disc is known.

    Returns
    -------
    needs_px_per_mm : float or None
        0: any photo that holds the colony; None: not known, or no photo can.
    in_photo : str

    Notes
    -----
    The smallest thing to be made out is taken as a stated part of the calice, and must be at least
    three pixels wide: two are the least that sampling allows, one more is for the colour filter of
    the sensor. Both are rules of thumb of ours, for a sharp photo.

    Examples
    --------
    >>> wall = Character(character="wall", question="", seen_with="lens", is_hard=True, states={})
    >>> needs, in_photo = find_photo_needs(wall, 3.0, 8.0)
    >>> round(needs, 3), in_photo
    (10.0, 'no')
    """
    if character.seen_with == "broken":
        return None, "never"
    if character.character in WHOLE_COLONY:
        return 0.0, "yes"
    details_mm = [DISC_DETAIL_MM[character.seen_with]] if is_disc else []
    if calice_mm is not None:
        part = DETAIL_FRAC.get(character.character, OTHER_DETAIL[character.seen_with])
        details_mm.append(part * calice_mm)
    if not details_mm:
        return None, "not known"
    needs = PX_A_DETAIL / min(details_mm)
    if px_per_mm is None:
        return needs, "not known"
    return needs, "yes" if px_per_mm >= needs else "no"
