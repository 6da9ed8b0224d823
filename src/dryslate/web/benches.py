"""What the routes of photos work with: pictures, planes and pixels, kept while the server runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from dryslate import wiring
from dryslate.app.measure_project import Bench
from dryslate.app.measure_try import Shelf

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.tiles import TileBench
    from dryslate.web.reach import Reach


def tile_bench_of(reach: Reach) -> TileBench:
    """Return what makes the pictures of this server's project."""
    bench = reach.keep("tile bench", lambda: wiring.tile_bench(reach.settings.project))
    return cast("TileBench", bench)


def bench_of(reach: Reach, store: SurveyStore) -> Bench:
    """Return what measuring works with."""
    project = reach.settings.project
    return Bench(
        store=store,
        vault=wiring.vault(project),
        reader=wiring.photo_reader(),
        tables=wiring.reference_tables(project),
    )


def shelf_of(reach: Reach) -> Shelf:
    """Return the photos that are ready to be measured in."""
    return cast(Shelf, reach.keep("measure shelf", Shelf))
