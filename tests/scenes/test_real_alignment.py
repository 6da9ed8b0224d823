"""Alignment of real photographs: markers of known identity say how far an outline is off."""

from __future__ import annotations

import importlib.util
from itertools import combinations
from pathlib import Path
from types import ModuleType

import cv2
import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.card.finding import find_cards
from dryslate.core.scale.alignment import align_photos

pytestmark = pytest.mark.real

SHEETS = [*combinations(("a4_1", "a4_2", "a4_4"), 2), ("a3_6", "a3_9"), ("a3_2", "a3_9")]
FRAMES = list(combinations(("frame_060", "frame_120", "frame_300", "frame_400"), 2))


@pytest.fixture(scope="module")
def markers() -> ModuleType:
    """What the photographs show: `test_real_markers.py`."""
    path = Path(__file__).with_name("test_real_markers.py")
    spec = importlib.util.spec_from_file_location("real_markers", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def off_of(photos, card) -> tuple[float, float] | None:
    """Stated misfit, and how far the corners of shared markers are off; None: refused."""
    corners = [{m.marker_id: m.corners_px for m in find_cards(p, [card]).cards[0].markers}
               for p in photos]  # fmt: skip
    shared = sorted(set(corners[0]) & set(corners[1]))
    a, b = (np.vstack([each[i] for i in shared]) for each in corners)
    outline = cv2.convexHull(a.astype(np.float32)).reshape(-1, 2)
    try:
        found = align_photos(*photos, outline)
    except InputError:
        return None
    return found.misfit_px, float(np.sqrt(((found.carry(a) - b) ** 2).sum(axis=1).mean()))


@pytest.mark.parametrize("pair", SHEETS, ids=" ".join)
def test_printed_sheets_in_the_hand(real_photos: Path, markers: ModuleType, pair) -> None:
    photos = [markers.read(real_photos / "markers-and-patches" / f"{n}.jpg") for n in pair]
    found = off_of(photos, markers.sheet(pair[0][:2]))
    if pair == ("a3_2", "a3_9"):  # they share detail in one part of the sheet only
        assert found is None
        return
    assert found is not None
    stated, true = found
    assert true < 1.5 * stated
    assert stated < 4.0


@pytest.mark.parametrize("pair", FRAMES, ids=" ".join)
def test_frames_of_a_tank_under_water(real_photos: Path, markers: ModuleType, pair) -> None:
    photos = [markers.read(real_photos / "tags-under-water" / f"{n}.jpg") for n in pair]
    found = off_of(photos, markers.wall())
    if pair == ("frame_060", "frame_400"):  # pairs lie on one side
        assert found is None
        return
    assert found is not None
    stated, true = found
    assert true < 1.5 * stated
    assert stated < 3.0
