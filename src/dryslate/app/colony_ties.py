"""Pairs of points set by hand to carry a colony's outline: tried as they are set, then saved."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dryslate.app.colony_outlines import Carried, mm_per_px, reference_of, save_carried
from dryslate.app.colony_visits import frame_of
from dryslate.app.note_records import one_photo
from dryslate.app.photo_page import photo_sheet
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem, problem_of
from dryslate.core.scale.alignment import lies_around, require_close
from dryslate.core.scale.tie_points import TiePairs, fit_tie_pairs

if TYPE_CHECKING:
    from dryslate.app.colony_records import Colony, ColonyFrame, Points, TiePoints
    from dryslate.app.photo_page import PhotoSheet
    from dryslate.app.ports import SurveyStore
    from dryslate.app.tiles import TileBench


@dataclass(frozen=True, slots=True, kw_only=True)
class TieSheet:
    """
    What the page of pairs shows.

    Parameters
    ----------
    reference, frame : ColonyFrame
        With the outline, and the one that it is carried to.
    photos : (PhotoSheet, PhotoSheet)
        Of both.
    """

    reference: ColonyFrame
    frame: ColonyFrame
    photos: tuple[PhotoSheet, PhotoSheet]

    @property
    def saved(self) -> TiePoints:
        """The pairs that the outline was carried by; none where they are of another photo."""
        is_of_it = self.frame.carried_from == self.reference.photo_id
        return self.frame.tie_points_px if is_of_it else ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TriedPair:
    """
    One pair, as it fits the rest.

    Parameters
    ----------
    placed_px : (float, float)
        Where the others put it in the second photo.
    away_px : float
    away_mm : float or None
        In the card's plane; None where the photo has no scale.
    is_odd : bool
        Without it the others agree at least twice as well.
    """

    placed_px: tuple[float, float]
    away_px: float
    away_mm: float | None
    is_odd: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TriedPairs:
    """
    What pairs give, with nothing saved.

    Parameters
    ----------
    outline_px : tuple of points
        Where the outline would lie; empty where the pairs give no alignment.
    model : str
    misfit_px : float
    misfit_mm : float or None
    pairs : tuple of TriedPair
    problems : tuple of Problem
        One that is an error keeps the pairs from being saved.
    """

    outline_px: Points = ()
    model: str = ""
    misfit_px: float = 0.0
    misfit_mm: float | None = None
    pairs: tuple[TriedPair, ...] = ()
    problems: tuple[Problem, ...] = ()

    @property
    def may_save(self) -> bool:
        """Whether the pairs may be saved."""
        return bool(self.outline_px) and not any(p.severity == "error" for p in self.problems)

    def words(self) -> str:
        """Say how far each pair is off, and which does not fit; empty where nothing is known."""
        off = [
            f"{n}: {p.away_px:.1f} px" if p.away_mm is None else f"{n}: {p.away_mm:.1f} mm"
            for n, p in enumerate(self.pairs, 1)
        ]
        odd = [
            f" Pair {n} does not fit the others." for n, p in enumerate(self.pairs, 1) if p.is_odd
        ]
        warned = [f" {p.message} {p.fix}" for p in self.problems if p.severity == "warning"]
        return f"Pairs off by {', '.join(off)}.{''.join(odd + warned)}" if off else ""


def tie_sheet(bench: TileBench, store: SurveyStore, colony: Colony, photo_id: str) -> TieSheet:
    """
    Gather what the page of pairs shows.

    Parameters
    ----------
    bench : TileBench
    store : SurveyStore
    colony : Colony
    photo_id : str
        One of the colony's photos.

    Returns
    -------
    TieSheet

    Raises
    ------
    InputError
        ``colony-no-outline``, ``colony-frame-unknown``, ``colony-outline-kept``; those of reading
        the photos.
    """
    reference, frame = _both(store, colony, photo_id)
    first = photo_sheet(bench, store, reference.photo_id)
    return TieSheet(
        reference=reference, frame=frame, photos=(first, photo_sheet(bench, store, frame.photo_id))
    )


def _both(store: SurveyStore, colony: Colony, photo_id: str) -> tuple[ColonyFrame, ColonyFrame]:
    """Return the reference frame, and the one that its outline can be carried to."""
    reference = reference_of(store, colony)
    if reference is None:
        raise InputError(
            "colony-no-outline",
            f"{colony.label}: its outline is not drawn in any photo yet.",
            "Draw it in one good photo, the reference; then it can be carried to the others.",
        )
    frame = frame_of(store, colony, photo_id)
    if frame is None:
        raise InputError(
            "colony-frame-unknown",
            f"{colony.label}: that photo is not one of its photos.",
            "Open the colony again.",
        )
    if frame.photo_id == reference.photo_id:
        raise InputError(
            "colony-outline-kept",
            f"{colony.label}: its outline was drawn in this photo, and the others come from it.",
            "Carry it to another photo, or draw it anew on the photo's page.",
        )
    return reference, frame


def try_pairs(store: SurveyStore, colony: Colony, photo_id: str, pairs: TiePoints) -> TriedPairs:
    """
    Say how pairs fit and where they would put the outline.

    Parameters
    ----------
    store : SurveyStore
    colony : Colony
    photo_id : str
    pairs : sequence of pairs of points
        Of the reference photo and of this one.

    Returns
    -------
    TriedPairs

    Raises
    ------
    InputError
        As `tie_sheet`.
    """
    reference, frame = _both(store, colony, photo_id)
    outline = np.array(reference.outline_px)
    try:
        found = _fitted(pairs)
    except InputError as error:
        return TriedPairs(problems=(problem_of(error, ""),))
    problems = []
    try:
        require_close(found.alignment, outline)
    except InputError as error:
        problems.append(problem_of(error, ""))
    if not lies_around([a for a, _ in pairs], outline):
        problems.append(
            Problem(
                slug="align-one-sided",
                severity="warning",
                place="",
                message="The pairs do not lie all around the outline.",
                fix="Set one or two more on the side where there are none: there the outline is "
                "a guess, and the misfit does not show it.",
            )
        )
    carried = found.alignment.carry(outline)
    is_sound = bool(np.isfinite(carried).all())
    scale = mm_per_px(store, frame.photo_id, [*found.placed_px, carried.mean(axis=0)])
    return TriedPairs(
        outline_px=tuple((float(x), float(y)) for x, y in carried) if is_sound else (),
        model=found.alignment.model,
        misfit_px=found.alignment.misfit_px,
        misfit_mm=_times(found.alignment.misfit_px, scale[-1]),
        pairs=tuple(
            TriedPair(
                placed_px=(float(at[0]), float(at[1])),
                away_px=float(away),
                away_mm=_times(float(away), mm),
                is_odd=i == found.odd,
            )
            for i, (at, away, mm) in enumerate(
                zip(found.placed_px, found.away_px, scale[:-1], strict=True)
            )
        ),
        problems=tuple(problems),
    )


def carry_by_pairs(
    store: SurveyStore, colony: Colony, photo: str, pairs: TiePoints, who: tuple[str, str]
) -> Carried:
    """
    Carry an outline by pairs whose outcome the person saw: it is confirmed with that.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    colony : Colony
    photo : str
    pairs : sequence of pairs of points
    who : (str, str)
        Observer and time.

    Returns
    -------
    Carried
        An outline that was drawn or carried there before is in the change log.

    Raises
    ------
    InputError
        ``align-too-few-points``, ``align-misfit``, ``scale-points-on-a-line``; as `tie_sheet`.
    """
    photo_id = one_photo(store, photo).photo_id
    reference, _ = _both(store, colony, photo_id)
    alignment = _fitted(pairs).alignment
    require_close(alignment, reference.outline_px)
    return save_carried(store, colony, (reference, photo_id), (alignment, pairs), who, is_seen=True)


def _fitted(pairs: TiePoints) -> TiePairs:
    """Fit pairs of points."""
    return fit_tie_pairs([a for a, _ in pairs], [b for _, b in pairs])


def _times(px: float, mm: float | None) -> float | None:
    """Pixels in millimetres; None without a scale."""
    return None if mm is None else px * mm
