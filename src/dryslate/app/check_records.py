"""Proving the corals' records: every look leads to its coral, every settled name to its looks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING, Literal, Protocol

from dryslate.app.review_state import state_of
from dryslate.base.problems import Problem

if TYPE_CHECKING:
    from dryslate.app.identification_rows import IdentificationRow, ReviewOutcomeRow
    from dryslate.app.ports import SurveyStore
    from dryslate.app.project_records import LogFault
    from dryslate.app.records import Photo

LOG_SLUGS: dict[str, tuple[str, str]] = {
    "not_logged": ("log-row-unknown", "the change log does not know this row"),
    "differs": ("log-row-differs", "its words are not those that the change log wrote down last"),
    "gone": ("log-row-gone", "the row is gone, and the change log knows nothing of it"),
    "gap": ("log-gap", "lines of the change log are missing, from and to"),
    "link": ("row-without-its-link", "the row refers to another one that is not there"),
    "guard": ("database-guard-missing", "what keeps rows from being changed unseen is missing"),
}
EDGE_PX = 1.0
RESTORE = (
    "Something other than dryslate wrote to the database: compare it with a copy or a backup, and "
    "take the sound one."
)


class PhotoSizes(Protocol):
    """Tells how large an original photo is."""

    def size_px(self, path: str) -> tuple[int, int] | None:
        """Return width and height as stored of a file below the project; None: cannot be read."""


def check_records(
    store: SurveyStore, files: PhotoSizes, known_versions: Collection[str]
) -> list[Problem]:
    """
    Prove the records of corals, who called them what, and the change log; nothing is changed.

    Parameters
    ----------
    store : SurveyStore
        Open for reading.
    files : PhotoSizes
    known_versions : collection of str
        Versions of the genus data, without a project's additions; empty: not looked at.

    Returns
    -------
    list of Problem
        Every fault that was found.
    """
    book = _Book(store)
    return [
        *(_of_log(fault) for fault in store.log_faults()),
        *_check_corals(store, book),
        *_check_names(book, known_versions),
        *_check_regions(store, book, files),
        *_check_chances(store, book),
        *_check_outcomes(store, book),
    ]


class _Book:
    """Records and identifications by what refers to them."""

    def __init__(self, store: SurveyStore) -> None:
        self.records = {r.record_id: r for r in store.records()}
        self.names = {i.identification_id: i for i in store.identifications()}
        self.of_record: dict[str, list[IdentificationRow]] = defaultdict(list)
        for row in self.names.values():
            self.of_record[row.record_id].append(row)
        self.photos = {p.photo_id: p for p in store.photos()}

    def place(self, record_id: str) -> str:
        """How a coral is called in a message."""
        record = self.records.get(record_id)
        return record.colony if record else f"record {record_id[:12]}"


def _fault(
    slug: str,
    place: str,
    message: str,
    fix: str = RESTORE,
    severity: Literal["error", "warning", "note"] = "error",
) -> Problem:
    """Make a problem."""
    return Problem(slug=slug, severity=severity, place=place, message=message, fix=fix)


def _of_log(fault: LogFault) -> Problem:
    """Say where a table and the change log do not agree."""
    slug, message = LOG_SLUGS[fault.kind]
    return _fault(slug, f"{fault.table_name} {fault.row_key}".strip(), message)


def _check_corals(store: SurveyStore, book: _Book) -> Iterator[Problem]:
    """Corals stand on visits and photos, and their measurements are theirs."""
    visits = {v.visit_id for v in store.visits()}
    measured = {m.measurement_id: m for m in store.archived_measurements()}
    measured |= {m.measurement_id: m for m in store.measurements(with_taken_back=True)}
    for record in book.records.values():
        photo = book.photos.get(record.photo_id or "")
        if record.visit_id not in visits or (record.photo_id and photo is None):
            yield _fault(
                "coral-without-place",
                record.colony,
                "the visit or the photo that it was noted on is not on record",
            )
        elif photo is not None and photo.visit_id != record.visit_id:
            yield _fault(
                "coral-without-place",
                record.colony,
                f"noted on {record.visit_id}, but its photo is of {photo.visit_id}",
            )
        for name in record.measurement_ids:
            row = measured.get(name)
            if row is None:
                told = "is not on record"
            elif row.colony != record.colony or (photo and row.photo_id != photo.photo_id):
                told = f"is of {row.colony} in another photo or of another label"
            else:
                continue
            yield _fault(
                "coral-measurement-lost",
                record.colony,
                f"its measurement {name[:12]} {told}",
                "Note the coral again (dryslate record): its measurements are gathered anew.",
                "warning",
            )


def _check_names(book: _Book, known_versions: Collection[str]) -> Iterator[Problem]:
    """Every name is of a coral, follows the looks before it, and knows its data."""
    for row in book.names.values():
        if row.record_id not in book.records:
            yield _fault(
                "name-without-coral",
                f"{row.name_as_recorded} ({row.observer})",
                f"the coral that was called so is not on record ({row.record_id[:12]})",
            )
        if known_versions and row.data_version.partition("+")[0] not in known_versions:
            yield _fault(
                "name-data-unknown",
                f"{book.place(row.record_id)}, {row.name_as_recorded}",
                f"named with genus data {row.data_version}, which this program does not know",
                "Install the version of dryslate that the team works with.",
                "warning",
            )
    for record_id, rows in book.of_record.items():
        told = _out_of_order(rows)
        if told:
            yield _fault("name-out-of-order", book.place(record_id), told)


def _out_of_order(rows: list[IdentificationRow]) -> str:
    """Say what of a coral's names cannot have come about; empty: nothing."""
    first: set[str] = set()
    looked: set[str] = set()
    for row in rows:
        if row.role == "first":
            first.add(row.observer)
        elif not first:
            return f"a {row.role} look by {row.observer} with no first look before it"
        elif row.role == "second":
            if row.observer in first:
                return f"{row.observer} looked first and second"
            looked.add(row.observer)
        elif not looked:
            return f"{row.observer} decided before anybody had looked a second time"
        elif row.with_observer is None and row.observer in first | looked:
            return f"{row.observer} decided alone between a name of their own and another"
        elif row.with_observer is not None and not row.who() <= first | looked:
            return "decided together by somebody who had not looked"
    return ""


def _check_regions(store: SurveyStore, book: _Book, files: PhotoSizes) -> Iterator[Problem]:
    """Every part of a photo that was looked at lies in a photo of the project."""
    paths = {o.sha256: o.kept_path for o in store.originals()}
    sizes: dict[str, tuple[int, int] | None] = {}
    for row in book.names.values():
        for photo_id, x0, y0, x1, y1 in row.photo_regions:
            photo = book.photos.get(photo_id)
            if photo is None:
                yield _fault(
                    "region-without-photo",
                    book.place(row.record_id),
                    f"{row.observer} looked at a photo that is not on record ({photo_id[:12]})",
                )
                continue
            if photo_id not in sizes:
                sizes[photo_id] = _upright_size(photo, paths, files)
            size = sizes[photo_id]
            if size is None or _is_inside((x0, y0, x1, y1), size, EDGE_PX):
                continue
            is_partly = x0 < x1 and y0 < y1 and x1 > 0 and y1 > 0 and x0 < size[0] and y0 < size[1]
            yield _fault(
                "region-outside-photo",
                f"{book.place(row.record_id)}, {photo.files[0].original_name}",
                f"{row.observer} looked at {x0:g},{y0:g} to {x1:g},{y1:g}, and the photo has "
                f"{size[0]} by {size[1]} pixels",
                "Nothing needs doing: part of it lies in the photo." if is_partly else RESTORE,
                "note" if is_partly else "error",
            )


def _is_inside(box: tuple[float, ...], size: tuple[int, int], edge_px: float) -> bool:
    """Whether a box is one, and lies in a picture but for its edge."""
    x0, y0, x1, y1 = box
    low, width, height = -edge_px, size[0] + edge_px, size[1] + edge_px
    return low <= x0 < x1 <= width and low <= y0 < y1 <= height


def _upright_size(photo: Photo, paths: dict[str, str], files: PhotoSizes) -> tuple[int, int] | None:
    """Width and height of the upright photo, where its file can be read."""
    path = paths.get(photo.photo_id)
    size = None if path is None else files.size_px(path)
    if size is None or photo.metadata.orientation < 5:
        return size
    return size[1], size[0]


def _check_chances(store: SurveyStore, book: _Book) -> Iterator[Problem]:
    """Every chance of being drawn is of a first name of the same coral, and of a draw."""
    draws = {d.draw_id for d in store.review_draws()}
    for chance in store.review_chances():
        row = book.names.get(chance.identification_id)
        is_sound = row is not None and row.record_id == chance.record_id and row.role == "first"
        if not is_sound or chance.draw_id not in draws:
            yield _fault(
                "draw-without-name",
                book.place(chance.record_id),
                "drawn for a second look, but the name or the draw behind it is not on record",
            )


def _check_outcomes(store: SurveyStore, book: _Book) -> Iterator[Problem]:
    """Every outcome rests on the looks it names, and settles what they say."""
    for outcome in store.review_outcomes():
        told = _outcome_fault(outcome, book)
        if told:
            yield _fault("settled-without-looks", book.place(outcome.record_id), told)


def _outcome_fault(outcome: ReviewOutcomeRow, book: _Book) -> str:
    """Say what is wrong with an outcome; empty: nothing."""
    wanted = {"first": outcome.first_id, "second": outcome.second_id, "third": outcome.third_id}
    for role, name in wanted.items():
        row = book.names.get(name or "")
        if name is None:
            continue
        if row is None or row.record_id != outcome.record_id or row.role != role:
            return f"its {role} look is not on record"
    if outcome.third_id is not None:
        return _decision_fault(outcome, book.names[outcome.third_id])
    first = book.names[outcome.first_id]
    if state_of(outcome, book.names) != "agreed":
        if outcome.settled_name and outcome.relation:
            return f"settled as {outcome.settled_name}, but nobody decided it"
        return ""
    if set(outcome.settled_names) != set(first.current_names):
        return f"settled as {outcome.settled_name}, which is not what both said"
    return ""


def _decision_fault(outcome: ReviewOutcomeRow, third: IdentificationRow) -> str:
    """Say where a settled name is not what was decided, or by others than it says."""
    names = (third.name, third.name or third.name_as_recorded)
    said = (outcome.settled_rank, outcome.settled_names)
    if outcome.settled_name not in names or said != (third.rank, third.current_names):
        return f"settled as {outcome.settled_name}, but {third.name} was decided"
    if (outcome.settled_how == "together") != (third.with_observer is not None):
        return "it does not say rightly whether one decided or two together"
    return ""
