"""Stores and records that the tests of the stores share."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions

HERE = Path(__file__).resolve().parent


def load(path: Path) -> ModuleType:
    """Load a module of the test folders, which are no packages."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def rows() -> ModuleType:
    """Makers of records."""
    return load(HERE / "made_rows.py")


@pytest.fixture(params=["sqlite", "memory"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Any]:
    """Each store in turn, open for writing as Mara."""
    if request.param == "sqlite":
        opened: Any = SqliteSurveyStore.create(tmp_path, options=StoreOptions(who="Mara"))
    else:
        opened = load(HERE.parent / "fakes" / "store.py").MemorySurveyStore(who="Mara")
    yield opened
    opened.close()


@pytest.fixture(params=["sqlite", "memory"])
def reading_store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Any]:
    """Each store in turn, open for reading."""
    if request.param == "sqlite":
        SqliteSurveyStore.create(tmp_path).close()
        opened: Any = SqliteSurveyStore.open(tmp_path, write=False)
    else:
        opened = load(HERE.parent / "fakes" / "store.py").MemorySurveyStore(write=False)
    yield opened
    opened.close()


@pytest.fixture
def reopen(tmp_path: Path) -> Callable[..., SqliteSurveyStore]:
    """Open the SQLite store of this test once more."""
    return lambda **options: SqliteSurveyStore.open(
        tmp_path, write=True, options=StoreOptions(**options)
    )
