"""Where a project's own genus data may lie."""

from __future__ import annotations

from pathlib import Path

from dryslate.app.new import ProjectFolders
from dryslate.base.errors import InputError


def require_data_folder(folder: Path, folders: ProjectFolders) -> bool:
    """
    Refuse a folder that can hold no genus data.

    Parameters
    ----------
    folder : Path
        A project, or a folder with a ``taxa`` folder in it.
    folders : ProjectFolders

    Returns
    -------
    bool
        Whether it is a project.

    Raises
    ------
    InputError
        ``project-not-found`` where the folder is neither.
    """
    is_project = folders.is_project(folder)
    if not is_project and not (folder / "taxa").is_dir():
        raise InputError(
            "project-not-found",
            f"{folder}: no project there, and no folder taxa with genus data.",
            "Give the folder of a project, or make one with `dryslate new`.",
        )
    return is_project
