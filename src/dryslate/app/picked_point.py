"""A picked white or grey point in a project: kept with its photo, shared with others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

from dryslate.app.correction_key import correction_key, point_key
from dryslate.app.correction_records import CorrectJob, Loan
from dryslate.app.one_point import PickedPoint, What, lend_point
from dryslate.app.records import CorrectionRow
from dryslate.base.errors import DryslateError
from dryslate.base.problems import Problem

ONE_POINT_NOTE = Problem(
    slug="correct-one-point",
    severity="warning",
    place="",
    message="colours rest on one picked point: nothing checks them, the water's veil stays in, and "
    "the point gives no scale.",
    fix="Keep a card in every frame where colour or size matters.",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PickedLoans:
    """Corrections by one point, by photo, and the photos that may not have it, with the reason."""

    loans: Mapping[str, Loan]
    refused: Mapping[str, Problem]


def picked_of(row: CorrectionRow) -> Mapping[str, Any] | None:
    """Return the picked point that a correction rests on, with who picked it; None without one."""
    picked = (row.colour.get("loan") or {}).get("picked")
    return cast("Mapping[str, Any]", picked) if picked else None


def point_of(picked: Mapping[str, Any]) -> PickedPoint:
    """Return a kept point as it is fitted."""
    x, y = picked["xy_px"]
    what: What = "white" if picked["what"] == "white" else "grey"
    return PickedPoint(xy_px=(float(x), float(y)), what=what)


def lend_picked(
    source: CorrectJob, point: PickedPoint, others: Sequence[CorrectJob], by: Mapping[str, Any]
) -> PickedLoans:
    """
    Fit a correction to a point of one photo, and adapt it to others that share its settings.

    Parameters
    ----------
    source : CorrectJob
        The photo with the point.
    point : PickedPoint
    others : sequence of CorrectJob
    by : Mapping
        ``observer`` and ``at``: who picked it, and when.

    Returns
    -------
    PickedLoans
        The photo with the point is always among the loans.

    Raises
    ------
    InputError
        As `dryslate.app.one_point.lend_point`, in the photos' own names.
    """
    jobs = {job.path: job for job in (*others, source)}
    table = source.colour.mismatch_table
    paths = [job.path for job in others]
    try:
        lent = lend_point(source.path, point, paths, source.reader, table)
    except DryslateError as error:
        message = error.message.replace(str(source.path), source.name)
        raise type(error)(error.slug, message, error.fix) from error
    loans = {
        jobs[path].sha256: replace(
            loan,
            about={
                **loan.about,
                "picked": {**loan.about["picked"], **by},
                "search_key": correction_key(jobs[path]),
            },
            problems=(*(_named(p, jobs) for p in loan.problems), ONE_POINT_NOTE),
        )
        for path, loan in lent.loans.items()
    }
    refused = {jobs[path].sha256: _named(p, jobs) for path, p in lent.refused.items()}
    return PickedLoans(loans=loans, refused=refused)


def key_of_picked(job: CorrectJob, loan: Loan) -> str:
    """Return the key of a photo's correction by a picked point."""
    picked = loan.about["picked"]
    source = loan.from_sha256 or job.sha256
    return point_key(str(loan.about["search_key"]), source, picked["xy_px"], picked["what"])


def _named(problem: Problem, jobs: Mapping[Any, CorrectJob]) -> Problem:
    """Call photos in a problem by their own names instead of by their hashes."""
    message, place = problem.message, problem.place
    for path, job in jobs.items():
        message = message.replace(path.name, job.name)
        place = place.replace(str(path), job.name)
    return replace(problem, message=message, place=place)
