"""The made-up reef, for every test of identification."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def small_reef() -> ModuleType:
    """Three made-up genera with figures that a pencil can follow (tests/fakes/small_reef.py)."""
    path = Path(__file__).resolve().parents[3] / "fakes" / "small_reef.py"
    spec = importlib.util.spec_from_file_location("small_reef", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["small_reef"] = module
    spec.loader.exec_module(module)
    return module
