"""Naming points on photos: from the key to the picture that shows what it did."""

from __future__ import annotations

import random
import statistics
from pathlib import Path

from bench.pages_photo import Visitor, visiting
from bench.speed import Figure, at_most

from dryslate import wiring
from dryslate.app.entry_design import save_design
from dryslate.app.entry_unit import entry_sheet
from dryslate.app.unit_words import UnitWords
from dryslate.app.units import start_unit
from dryslate.core.survey.designs import UnitDesign

N_KEYS = 300
N_POINTS = 100
KEY_MS = 60
"""A key each 60 ms is about 17 a second: faster than anybody types names."""
WORDS = ("turf", "sand", "sponge", "rubble", "seagrass", "favites", "porites", "acropora")
WATCH = """
() => { window.keys_ms = [];
  window.addEventListener("keydown", (event) => {
    const from = event.timeStamp;
    requestAnimationFrame(() => { const told = new MessageChannel();
      told.port1.onmessage = () => window.keys_ms.push(performance.now() - from);
      told.port2.postMessage(0); });
  }, { capture: true }); }
"""


def point_unit(project: Path, who: str) -> str:
    """Make a unit of all photos of a project, with points on each."""
    with wiring.survey_store(project, write=True, who=who) as store:
        photos = store.photos()
        words = UnitWords(name="P1", kind="photo_station")
        ids = [photo.photo_id for photo in photos if photo.visit_id == photos[0].visit_id]
        edit = start_unit(store, photos[0].visit_id, words, who, ids)
        unit_id = next(iter(edit.units))
        usual = wiring.import_tools(project).usual
        design = UnitDesign(
            design="photo_points", n_points=N_POINTS, point_rule="stratified_random", seed=5
        )
        sheet = entry_sheet(store, unit_id, usual)
        save_design(store, sheet, design, (who, "2026-03-14T12:00:00Z"), usual)
    return unit_id


def keys_of(seed: int) -> list[str]:
    """Return keys as a person types them: first letters that are enough, then Enter."""
    chance = random.Random(seed)
    keys: list[str] = []
    while len(keys) < N_KEYS:
        keys += [*chance.choice(WORDS)[:4], "Enter"]
    return keys[:N_KEYS]


def measure_keys(visitor: Visitor, unit_id: str, seed: int) -> list[Figure]:
    """Type, and take the time from each key to the frame that shows it."""
    with visitor.page() as page:
        page.goto(f"/records/points/{unit_id}")
        page.wait_for_selector("#crop[data-missing='0']")
        page.wait_for_timeout(3000)
        page.evaluate(WATCH)
        for key in keys_of(seed):
            page.keyboard.press(key)
            page.wait_for_timeout(KEY_MS)
        page.wait_for_timeout(1000)
        times = page.evaluate("window.keys_ms")
        page.wait_for_selector("#state[data-open='0']", timeout=60_000)
        missing = page.get_attribute("#crop", "data-missing")
    cuts = statistics.quantiles(times, n=20)
    note = f"{len(times)} keys, longest {max(times):.0f} ms, tiles missing at the end {missing}"
    return [
        at_most("points, key to painted, median", statistics.median(times), "ms", 20, note),
        at_most("points, key to painted, 95th", cuts[-1], "ms", 50, note),
    ]


def measure(project: Path, seed: int) -> list[Figure]:
    """Measure on a project that may be changed."""
    with wiring.survey_store(project, write=False) as store:
        who = store.visits()[0].observer
    unit_id = point_unit(project, who)
    with visiting(project) as visitor:
        return measure_keys(visitor, unit_id, seed)
