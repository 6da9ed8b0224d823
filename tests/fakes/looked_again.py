"""Corals of a project that were looked at again and settled, stored without photos."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from dryslate import wiring
from dryslate.app.identification_rows import (
    IdentificationRow,
    RecordRow,
    ReviewChanceRow,
    ReviewDrawRow,
    ReviewOutcomeRow,
)

INES, TOMO = "Ines Varro", "Tomo Halle"
NOW = "2024-05-20T08:00:00+00:00"


def look_again(
    folder: Path,
    looks: list[tuple[str, str, float]],
    visit: str = "Ledge 2024-05-19",
    labels: Sequence[str] = (),
) -> None:
    """
    Store corals that were first named, drawn with a chance, looked at again and settled.

    Those settled to nothing still wait for a second look. Without labels each is another coral.
    """
    with wiring.new_store(folder, who=INES) as store, store.write():
        chances, outcomes = [], []
        for k, (first, settled, p) in enumerate(looks):
            record = RecordRow(
                record_id=f"r{k}",
                colony=labels[k] if labels else f"C{k}",
                visit_id=visit,
                place=f"tape {k % 6}",
                observer=INES,
                noted_at=NOW,
            )
            store.save_record(record)
            said = (("first", first, INES), ("second", settled, TOMO))
            for role, name, who in said[: 2 if settled else 1]:
                store.save_identification(
                    IdentificationRow(
                        identification_id=f"{role}{k}",
                        record_id=f"r{k}",
                        role=role,  # type: ignore[arg-type]
                        name_as_recorded=name,
                        name=name,
                        current_names=(name,),
                        rank="genus",
                        observer=who,
                        identified_at=NOW,
                        data_version="1",
                    )
                )
            chances.append(
                ReviewChanceRow(
                    identification_id=f"first{k}",
                    record_id=f"r{k}",
                    draw_id="d",
                    p_drawn=p,
                    is_drawn=True,
                    reasons=("random",),
                )
            )
            if not settled:
                continue
            is_same = first == settled
            outcomes.append(
                ReviewOutcomeRow(
                    outcome_id=f"o{k}",
                    record_id=f"r{k}",
                    first_id=f"first{k}",
                    second_id=f"second{k}",
                    third_id=None if is_same else f"second{k}",
                    rank_shared="genus" if is_same else "family",
                    is_agreed=is_same,
                    agreed_at="genus" if is_same else "",
                    observer=TOMO,
                    decided_at=NOW,
                    settled_name=settled,
                    settled_names=(settled,),
                    settled_rank="genus",
                    relation="same" if is_same else "differs",
                    settled_how="agreed" if is_same else "third",
                )
            )
        draw = ReviewDrawRow(
            draw_id="d",
            seed=1,
            random_frac=0.1,
            least_probability=0.8,
            observer=INES,
            drawn_at=NOW,
        )
        store.save_review_draw(draw, chances)
        for outcome in outcomes:
            store.save_review_outcome(outcome)
