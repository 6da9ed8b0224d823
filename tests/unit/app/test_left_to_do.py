"""How long things take at the team's own pace."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from dryslate.app.identification_rows import IdentificationRow
from dryslate.app.left_to_do import FEWEST_GAPS, own_pace_min

EIGHT = datetime(2026, 3, 14, 8, tzinfo=UTC)


def looks(minutes: list[float], observer: str = "Mara") -> list[IdentificationRow]:
    """Identifications at so many minutes after eight in the morning."""
    return [
        IdentificationRow(
            identification_id=f"{observer} {m}",
            record_id=f"r{m}",
            role="first",
            name_as_recorded="Favites",
            name="Favites",
            current_names=("Favites",),
            rank="genus",
            observer=observer,
            identified_at=(EIGHT + timedelta(minutes=m)).isoformat(),
            data_version="1",
        )
        for m in minutes
    ]


def test_pace_is_the_median_gap_and_breaks_do_not_count() -> None:
    times = [0.0, 1.0, 3.0, 5.0, 7.0, 60.0, 62.0, 64.0, 66.0, 70.0]  # a break of 53 minutes
    assert own_pace_min(looks(times)) == 2.0


def test_names_stored_in_one_go_tell_nothing_of_the_pace() -> None:
    assert own_pace_min(looks([5.0] * (FEWEST_GAPS + 5))) is None


def test_pace_is_not_told_before_there_are_enough_gaps() -> None:
    times = [2.0 * n for n in range(FEWEST_GAPS)]
    assert own_pace_min(looks(times)) is None
    assert own_pace_min(looks([*times, 2.0 * FEWEST_GAPS])) == 2.0


def test_two_people_at_once_do_not_make_each_other_look_quick() -> None:
    mine = [3.0 * n for n in range(FEWEST_GAPS)]
    hers = [3.0 * n + 1.0 for n in range(FEWEST_GAPS)]
    assert own_pace_min([*looks(mine), *looks(hers, "Tevi")]) == 3.0
