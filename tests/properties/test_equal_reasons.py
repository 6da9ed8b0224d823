"""Reasons that weigh the same stand in one order, whatever the last digits do."""

from __future__ import annotations

from dryslate.core.identify.answer import identify
from dryslate.core.identify.evidence import Evidence, Size
from dryslate.core.identify.model import build_model
from dryslate.files.reference_tables import FileReferenceTables


def test_reasons_that_weigh_the_same_stand_in_one_order() -> None:
    # Teeth, lobes and undersides are of mushroom corals: for all others they weigh the same.
    tables = FileReferenceTables()
    model = build_model(tables.taxa()[0], tables.error_rates(), "eastern_pacific")
    evidence = Evidence(
        region="eastern_pacific",
        seen={
            "attachment": frozenset({"free_living", "attached"}),
            "disc_lobes": frozenset({"present", "absent"}),
            "disc_teeth": frozenset({"fine_points"}),
        },
        sizes={
            "valley_width": Size(value_mm=65.4553, u_mm=1e-5),
            "corallite_diameter": Size(value_mm=17.0),
            "colony_diameter": Size(value_mm=92.46),
        },
    )
    order = {name: i for i, name in enumerate(model.tables)}
    n_equal = 0
    for one in identify(evidence, model).ranked:
        for first, second in zip(one.for_, one.for_[1:], strict=False):
            if abs(first.log_odds - second.log_odds) < 1e-8:
                n_equal += 1
                assert order[first.character] > order[second.character]
    assert n_equal > 0
