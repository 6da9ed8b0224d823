"""The table at the end of a run counts every photo once, and says which are for looking only."""

from __future__ import annotations

from typing import Any

from dryslate.app.correct_summary import LOOKING_ONLY_WORDS, summarise


def document(*, usable: bool) -> dict[str, Any]:
    return {"photo": "a.jpg", "corrected": "b.jpg", "colour": {"usable": usable}, "problems": []}


def test_photos_for_looking_only_are_told_apart_from_those_fit_for_measuring() -> None:
    documents = [document(usable=u) for u in (True, False, False, False)]
    found = summarise(documents, ["corrected", "corrected", "borrowed", "refused"])
    assert found.n_looking_only == 2
    assert found.n_uncorrected == 1
    assert found.rows()[:4] == [
        ("corrected by their own card or point", "2"),
        ("corrected with borrowed colours", "1"),
        (LOOKING_ONLY_WORDS, "2"),
        ("refused", "1"),
    ]


def test_nothing_is_said_of_looking_only_where_all_are_fit() -> None:
    found = summarise([document(usable=True)], ["corrected"])
    assert LOOKING_ONLY_WORDS not in dict(found.rows())
