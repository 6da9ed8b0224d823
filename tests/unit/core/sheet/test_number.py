"""Numbers of sheets: their check finds single wrong digits and swaps of neighbours."""

from __future__ import annotations

from dryslate.core.sheet.number import check_digits, groups_of, is_sheet_number, sheet_number

NUMBERS = [sheet_number(f"sheet {k}") for k in range(200)]


def test_check_digits_are_those_of_the_standard() -> None:
    # ISO/IEC 7064:2003, MOD 97-10: 794 takes 44 (example of the standard, from memory).
    assert check_digits(794) == 44


def test_every_single_wrong_digit_and_every_swap_is_found() -> None:
    for number in NUMBERS[:20]:
        assert is_sheet_number(number)
        for k, digit in enumerate(number):
            for other in set("0123456789") - {digit}:
                assert not is_sheet_number(number[:k] + other + number[k + 1 :])
            swapped = number[:k] + number[k : k + 2][::-1] + number[k + 2 :]
            assert swapped == number or not is_sheet_number(swapped)


def test_numbers_are_of_twelve_digits_and_differ() -> None:
    assert len(set(NUMBERS)) == len(NUMBERS)
    assert {len(n) for n in NUMBERS} == {12}
    assert not is_sheet_number("12")
    assert not is_sheet_number("٠" * 12)


def test_groups_are_ids_of_markers() -> None:
    assert all(0 <= group < 1000 for n in NUMBERS for group in groups_of(n))
