"""Fixtures that every test may use."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


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
