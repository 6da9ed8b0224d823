"""The table of published checks: every check has its test, and every test reads its values."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ROW = re.compile(r"^\| ([A-Z]{3}-\d\d) \| .* \| `([^`]+)` \| (.+) \|$", re.MULTILINE)
ROWS = ROW.findall((HERE / "README.md").read_text("utf-8"))
KINDS = ("AGR", "BLE", "DIV", "SAM", "STD")


@pytest.mark.parametrize(("check", "test", "files"), ROWS, ids=[row[0] for row in ROWS])
def test_a_check_has_a_test_that_reads_its_values(check: str, test: str, files: str) -> None:
    code = (HERE / test).read_text("utf-8")
    assert "\ndef test_" in code
    for name in re.findall(r"`([^`]+)`", files):
        assert name in code, f"{check}: {test} does not read {name}"
        assert (HERE / "checks" / name).is_file() != ("†" in files), name


def test_none_is_missing_and_none_stands_twice() -> None:
    listed = [row[0] for row in ROWS]
    assert len(listed) == len(set(listed))
    for kind, n in zip(KINDS, (6, 3, 12, 12, 9), strict=True):
        want = [f"{kind}-{k:02d}" for k in range(1, n + 1)]
        assert [one for one in listed if one.startswith(kind)] == want


def test_the_list_beside_the_checkout_has_no_other(repo_root: Path) -> None:
    path = repo_root.parent / "shared" / "checks" / "README.md"
    if not path.is_file():
        pytest.skip("no list of checks beside this checkout")
    there = set(re.findall(r"^\| ([A-Z]{3}-\d\d) \|", path.read_text("utf-8"), re.MULTILINE))
    assert {one for one in there if one.startswith(KINDS)} == {row[0] for row in ROWS}
