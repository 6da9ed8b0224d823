"""What contradictory evidence would be without its slip agrees with the ranking."""

from __future__ import annotations

from dryslate.core.identify.answer import identify
from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.model import build_model
from dryslate.files.reference_tables import FileReferenceTables


def test_genus_that_is_named_for_contradictory_evidence_is_the_likeliest_that_fits() -> None:
    # Alveopora shows honeycombs and nothing else, so they are likeliest in it; but it is met
    # far more seldom than the others that show them.
    tables = FileReferenceTables()
    model = build_model(tables.taxa()[0], tables.error_rates(), "indo_pacific")
    seen = {
        "corallite_arrangement": frozenset({"cerioid"}),
        "axial_corallite": frozenset({"present"}),
    }
    answer = identify(Evidence(region="indo_pacific", seen=seen), model)
    (problem,) = [p for p in answer.problems if p.slug == "identify-nothing-has-all"]
    assert f"without axial_corallite it would be {answer.ranked[0].genus}" in problem.message
