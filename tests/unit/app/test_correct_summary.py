"""The table at the end of a run counts every photo once, and says how good each one is."""

from __future__ import annotations

from typing import Any

from dryslate.app.correct_summary import GREYS_ONLY_WORDS, LOOKING_ONLY_WORDS, summarise


def document(*, usable: bool, flags: tuple[str, ...] = ()) -> dict[str, Any]:
    return {
        "photo": "trip/a.jpg",
        "card": {"name": "field", "tilt_deg": 20.31, "tilt_deg_u": 0.45},
        "colour": {"usable": usable, "off_card_de00_p95": 9.84, "flags": list(flags)},
        "scale": {"px_per_mm": 4.138, "px_per_mm_u": 0.0124},
        "corrected": "b.jpg",
        "problems": [],
    }


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


def test_how_good_each_corrected_photo_is_stands_in_its_row_with_doubt() -> None:
    documents = [
        document(usable=True),
        document(usable=False),
        document(usable=True, flags=("nominal_values",)),
        document(usable=False),
    ]
    outcomes = ["corrected", "borrowed", "corrected", "refused"]
    found = summarise(documents, outcomes)
    seen = ("9.8", "4.14 ± 0.01", "20.3 ± 0.5")
    assert found.qualities == (
        ("a.jpg", "field", "measuring", *seen),
        ("a.jpg", "field", "looking", *seen),
        ("a.jpg", "field", "greys alone", *seen),
    )
    assert dict(found.rows())[GREYS_ONLY_WORDS] == "1"


def test_photo_without_a_card_of_its_own_has_no_scale_to_state() -> None:
    lent = document(usable=True)
    lent["card"] = {"name": None, "tilt_deg": None, "tilt_deg_u": None}
    lent["scale"] = {"px_per_mm": None, "px_per_mm_u": None}
    (row,) = summarise([lent], ["borrowed"]).qualities
    assert row == ("a.jpg", "-", "measuring", "9.8", "-", "-")
