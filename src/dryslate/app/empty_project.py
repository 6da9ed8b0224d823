"""Filling an empty project with what another one holds: all of it or nothing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

from dryslate.app.visits import require_observer
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import NotedRow


@contextmanager
def filling(store: SurveyStore, observer: str) -> Iterator[None]:
    """
    One transaction on a project without visits.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    observer : str
        Who imports; for the change log.

    Raises
    ------
    InputError
        ``package-project-not-empty``, and those of `dryslate.app.visits.require_observer`.
    """
    if store.units() or store.visits():
        raise InputError(
            "package-project-not-empty",
            "This project has visits already; a package or an archive is read into an empty one.",
            "Make one with `dryslate new`.",
        )
    require_observer(store, observer)
    with store.write():
        yield


def placed(noted: NotedRow, photos: set[str]) -> NotedRow:
    """Return a row as it is stored anew; a photo that is not here stays named in its place."""
    row, photo = noted.row, noted.row.photo_id
    if photo is not None and photo not in photos:
        told = f"photo {photo}"
        place = row.place if told in row.place else "; ".join(p for p in (row.place, told) if p)
        row = replace(row, photo_id=None, place=place)
    return replace(noted, row=row, row_no=None)
