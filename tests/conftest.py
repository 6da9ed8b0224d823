"""Fixtures that every test may use."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("any machine")  # a slow hour is no fault of what is tested

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session", autouse=True)
def made_once() -> Iterator[None]:
    """
    Make once in a run what each command makes anew in its own process.

    The tree of commands does not change; genus data are read anew where a table has changed.
    """
    import typer.testing

    from dryslate.files import reference_tables

    read: dict[tuple[tuple[str, str], ...], Any] = {}
    parse = reference_tables.parse_taxa

    def parse_once(tables: Mapping[str, str]) -> Any:
        key = tuple(tables.items())
        if key not in read:
            read[key] = parse(tables)
        data, problems = read[key]
        return data, list(problems)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(typer.testing, "_get_command", cache(typer.testing._get_command))
        patch.setattr(reference_tables, "parse_taxa", parse_once)
        yield


@pytest.fixture(scope="session")
def repo_root() -> Path:
    """Folder of the checkout."""
    return ROOT


@pytest.fixture(scope="session")
def real_photos() -> Path:
    """Folder with real photographs beside the checkout; the test is skipped where it is absent."""
    folder = ROOT.parent / "shared" / "real"
    if not folder.is_dir():
        pytest.skip("no real photographs beside this checkout")
    return folder


@pytest.fixture(scope="session")
def diversity_tables() -> Path:
    """Folder with tables of plants under a licence of their own; skipped where it is absent."""
    folder = ROOT.parent / "shared" / "checks"
    if not (folder / "div_data_bci.csv").is_file():
        pytest.skip("no tables of dune meadows and trees beside this checkout (licence)")
    return folder


def load_fake(name: str) -> ModuleType:
    """Import a module of `tests/fakes` (test folders are no packages)."""
    spec = importlib.util.spec_from_file_location(name, ROOT / "tests" / "fakes" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def made_photos() -> ModuleType:
    """Makers of photo files by other libraries."""
    return load_fake("made_photos")


@pytest.fixture(scope="session")
def dive() -> ModuleType:
    """A made-up dive of photos without files: `tests/fakes/dive.py`."""
    return load_fake("dive")


@pytest.fixture(scope="session")
def english_left() -> ModuleType:
    """Finds English in pages of another language: `tests/fakes/english_left.py`."""
    return load_fake("english_left")


@pytest.fixture
def memory_store() -> Any:
    """A survey store in memory: `tests/fakes/store.py`."""
    return load_fake("store").MemorySurveyStore(who="Ines Varro")


@pytest.fixture(scope="session")
def made_heic() -> ModuleType:
    """A maker of HEIC files."""
    return load_fake("made_heic")


@pytest.fixture(scope="session")
def card_photos() -> ModuleType:
    """Makers of photos with a card, and stand-ins for ports: `tests/fakes/card_photos.py`."""
    return load_fake("card_photos")


@pytest.fixture(scope="session")
def web_project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small finished project; tests that change anything copy it first."""
    made: Path = load_fake("web_project").make_project(tmp_path_factory.mktemp("web"))
    return made


@pytest.fixture(scope="session")
def photographed() -> ModuleType:
    """Makes units with printed and photographed sheets: `tests/fakes/photographed_sheets.py`."""
    return load_fake("photographed_sheets")


@pytest.fixture(scope="session")
def visited_twice() -> ModuleType:
    """Makes a project of two sites and several visits: `tests/fakes/visited_twice.py`."""
    return load_fake("visited_twice")


@pytest.fixture
def visited(own_project: Path, tmp_path: Path, visited_twice: ModuleType) -> Path:
    """A project with belts and tapes at two sites and several visits."""
    made: Path = visited_twice.survey(own_project, tmp_path)
    return made
