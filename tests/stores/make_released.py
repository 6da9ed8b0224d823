"""
Store a database of the present schema beside the tests; run once when a schema is released.

    python tests/stores/make_released.py 0001
"""

from __future__ import annotations

import dataclasses
import importlib.util
import json
import shutil
import sys
import tempfile
from pathlib import Path

from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions

HERE = Path(__file__).resolve().parent
NAMES = (
    "sites zones observers visits clock_offsets originals card_files copies photos corrections "
    "measurements patch_residuals control_objects derived_files records "
    "identifications review_draws review_chances review_outcomes coral_health "
    "units unit_photos photos_set_aside backups "
    "categories category_mappings unit_designs survey_rows sent_batches "
    "colonies colony_sightings colony_fractions colony_frames colony_colours stress_onsets "
    "site_places unit_places project_people name_ids zone_weights printed_sheets visit_conditions "
    "logger_files site_loggers sheet_photos archived_photos archived_frames visit_edits "
    "archived_measurements archived_sketches"
)


class OneTime:
    """A clock that stands still, so that the stored file says nothing of when it was made."""

    def now_utc(self) -> str:
        return "2026-03-14T12:00:00Z"


def main(name: str) -> None:
    spec = importlib.util.spec_from_file_location("made_rows", HERE / "made_rows.py")
    rows = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(rows)
    folder = Path(tempfile.mkdtemp())
    options = StoreOptions(who="Mara", clock=OneTime(), on_network=True)
    with SqliteSurveyStore.create(folder, options=options) as store:
        rows.fill(store)
        found = {n: [dataclasses.asdict(r) for r in getattr(store, n)()] for n in NAMES.split()}
        store._db.execute("VACUUM")
    (HERE / "released").mkdir(exist_ok=True)
    target = HERE / "released" / f"{name}.sqlite"
    shutil.copy(folder / "dryslate.sqlite", target)
    target.with_suffix(".json").write_text(
        json.dumps(found, indent=1, sort_keys=True, default=dict) + "\n"
    )
    shutil.rmtree(folder)


if __name__ == "__main__":
    main(sys.argv[1])
