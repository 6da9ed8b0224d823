"""Of several cards in one photo the colours come from the first that can be used, else shown."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dryslate.app import card_reading
from dryslate.core.colour.fit import ColourSettings

FITS = {
    "usable": SimpleNamespace(usable=True, can_be_shown=True),
    "shown": SimpleNamespace(usable=False, can_be_shown=True),
    "refused": SimpleNamespace(usable=False, can_be_shown=False),
}


@pytest.mark.parametrize(
    ("fits", "chosen"),
    [
        (("usable", "shown"), 0),
        (("shown", "usable"), 1),
        (("refused", "shown"), 1),
        (("shown", "refused"), 0),
        (("refused", "shown", "usable"), 2),
        (("refused", "refused"), 0),
    ],
)
def test_card_whose_colours_serve_best_is_taken(
    fits: tuple[str, ...], chosen: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    cards: Any = [SimpleNamespace(card=name) for name in fits]
    monkeypatch.setattr(card_reading, "sample_card", lambda pixels, found, lut: found.card)
    monkeypatch.setattr(card_reading, "fit_colour", lambda samples, *rest: FITS[samples])
    photo: Any = SimpleNamespace(kind="jpeg", linear_lut=np.zeros(256), to_srgb=np.eye(3))
    job: Any = SimpleNamespace(colour=ColourSettings())
    order = range(len(fits))
    found = card_reading._first_usable(cards, order, np.zeros((1, 1, 3)), photo, job)
    assert found[0] == chosen
    assert found[1] is FITS[fits[chosen]]
