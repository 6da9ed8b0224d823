"""Make a project, or find that it is one already."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from dryslate.app.ports import SurveyStore
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem


class ProjectFolders(Protocol):
    """Looks at and lays out project folders."""

    def is_project(self, folder: Path) -> bool:
        """Tell whether a project is there."""

    def is_free(self, folder: Path) -> bool:
        """Tell whether the folder is absent or empty (a half-made project counts as empty)."""

    def lay_out(self, folder: Path) -> None:
        """Make the folder and the folders in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewReport:
    """The project that is there now; `is_new` is False where it was there before."""

    project: Path
    is_new: bool
    problems: tuple[Problem, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            "project": str(self.project),
            "is_new": self.is_new,
            "problems": [problem.as_dict() for problem in self.problems],
        }


def make_project(
    folder: Path, folders: ProjectFolders, create_store: Callable[[Path], SurveyStore]
) -> tuple[NewReport, SurveyStore]:
    """
    Make a project in a folder, or open the one that is there, for writing.

    Parameters
    ----------
    folder : Path
    folders : ProjectFolders
    create_store : callable
        Opens the project's store for writing, making it where it is not there.

    Returns
    -------
    report : NewReport
    store : SurveyStore
        Open; the caller closes it.

    Raises
    ------
    InputError
        ``project-folder-taken`` where other things lie in the folder; ``folder-is-a-file``.
    StoreError
        Where the store cannot be opened or the folder cannot be written.
    """
    is_new = not folders.is_project(folder)
    if is_new and not folders.is_free(folder):
        raise InputError(
            "project-folder-taken",
            f"{folder}: other files lie in this folder and it is no project.",
            "Give an empty folder or one that is not there yet.",
        )
    folders.lay_out(folder)
    store = create_store(folder)
    return NewReport(project=folder, is_new=is_new, problems=store.problems()), store
