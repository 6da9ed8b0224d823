"""What was measured of tagged colonies in photos, as measurements of an archive."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from dryslate.app.archive_ids import content_address
from dryslate.app.archived_frames import is_ready

if TYPE_CHECKING:
    from dryslate.app.archive_rows import RowMaker
    from dryslate.app.archived_records import ArchivedFrame
    from dryslate.core.health.colony_colour import ColourFigure

CORRECTED = "of the outlined area in photos corrected by a card: median of the visit's photos"
COLOURS: Mapping[ColourFigure, tuple[str, str, str]] = {
    "lightness": ("lightness L* of the colony", "CIELAB units", CORRECTED),
    "chroma": ("chroma of the colony", "CIELAB units", CORRECTED),
    "hue_deg": ("hue angle of the colony", "degrees", CORRECTED),
    "white_distance": (
        "distance of the colony from the card's white",
        "CIELAB units",
        "of the outlined area in uncorrected photos: median of the visit's photos",
    ),
}
SIZES = (
    ("area_cm2", "area of the outlined part", "square centimetres"),
    ("diameter_max_mm", "longest diameter of the outlined part", "millimetres"),
)
IN_PHOTO = "outline in a photo beside a scale card; accuracy is one standard uncertainty"


def write_measured(
    maker: RowMaker, of: tuple[str, str], frames: Sequence[ArchivedFrame], visit_id: str
) -> None:
    """
    Write a colony's colour on a visit, and the sizes of its outline in each photo.

    Parameters
    ----------
    maker : RowMaker
    of : (str, str)
        Event and occurrence.
    frames : sequence of ArchivedFrame
        Of one colony and visit.
    visit_id : str
    """
    for frame in frames:
        for name, what, unit in SIZES:
            value, doubt = getattr(frame, name), getattr(frame, f"{name}_u")
            if value is not None:
                maker.measure(
                    of,
                    (what, f"{value:.6g}", unit),
                    key=("frame", frame.organism_id, frame.photo_id, name),
                    accuracy="" if doubt is None else f"{doubt:.3g}",
                    who=frame.observer,
                    when=frame.noted_at,
                    method=IN_PHOTO,
                    remarks=content_address(frame.photo_id),
                )
    measured = [one for one in frames if is_ready(one) and one.measured]
    if not measured:
        return
    from dryslate.app.colony_colours import frame_colour
    from dryslate.core.health.colony_colour import visit_figures, visit_u

    figures = visit_figures(
        [frame_colour(one.measured, str(one.measured.get("camera", ""))) for one in measured]
    )
    for figure, found in figures.items():
        what, unit, method = COLOURS[figure]
        doubt = visit_u(found)
        maker.measure(
            of,
            (what, f"{found.median:.6g}", unit),
            key=("colour", measured[0].organism_id, visit_id, figure),
            accuracy="" if doubt is None else f"{doubt:.3g}",
            when=max(one.measured_at for one in measured),
            method=f"{method}; accuracy is one standard uncertainty",
            remarks=f"photos: {found.n_frames}",
        )
