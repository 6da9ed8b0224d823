"""Errors carry their slug through text and pickling; problems read as one sentence."""

from __future__ import annotations

import pickle

import pytest

from dryslate.base.errors import (
    DryslateError,
    FormatError,
    InputError,
    MissingPartError,
    SettingsError,
    StoreError,
)
from dryslate.base.problems import Problem, has_error
from dryslate.base.provenance import key_of


@pytest.mark.parametrize(
    "kind", [InputError, SettingsError, StoreError, FormatError, MissingPartError]
)
def test_error_keeps_its_fields_when_it_crosses_a_process(kind: type[DryslateError]) -> None:
    error = kind("made-up-slug", "IMG_1.jpg: 2 found (3 needed).", "Mark the third.")
    back = pickle.loads(pickle.dumps(error))
    assert type(back) is kind
    assert (back.slug, back.message, back.fix) == (error.slug, error.message, error.fix)
    assert str(back) == "IMG_1.jpg: 2 found (3 needed). Mark the third. [made-up-slug]"


def test_errors_about_material_are_value_errors_for_python_callers() -> None:
    assert issubclass(InputError, ValueError)
    assert issubclass(FormatError, ValueError)


def test_problem_reads_as_place_message_fix_and_slug() -> None:
    problem = Problem(
        slug="made-up-slug", severity="warning", place="row 3", message="too deep.", fix="Check it."
    )
    assert str(problem) == "row 3: too deep. Check it. [made-up-slug]"
    assert not has_error([problem])
    assert problem.as_dict()["severity"] == "warning"


def test_key_does_not_depend_on_the_order_of_its_parts_but_on_every_value() -> None:
    one = key_of({"a": 1, "b": [1, 2]})
    assert one == key_of({"b": [1, 2], "a": 1})
    assert one != key_of({"a": 1, "b": [2, 1]})
    assert len(one) == 64
