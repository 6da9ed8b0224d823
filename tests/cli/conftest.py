"""What tests of commands share."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from dryslate.files.reference_tables import FileReferenceTables


@pytest.fixture(scope="module")
def tables_read_once() -> Iterator[None]:
    """Read the genus data once: for modules whose projects add nothing to them."""
    reading = FileReferenceTables.taxa
    known: list[Any] = []

    def read_once(self: FileReferenceTables) -> Any:
        if not known:
            known.append(reading(self))
        return known[0]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(FileReferenceTables, "taxa", read_once)
        yield
