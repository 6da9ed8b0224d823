"""The questions on the sheet of a tagged colony, in the order in which the program asks them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dryslate.app.identify import DEFAULT_REGION
from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.model import build_model
from dryslate.core.identify.questions import expected_bits, find_next
from dryslate.core.sheet.page import SheetQuestion

if TYPE_CHECKING:
    from dryslate.app.ports import ReferenceTables

N_QUESTIONS = 10
_NOT_ON_A_DIVE = "broken"
"""What is seen on broken skeleton only: nothing is broken for a look."""


def colony_questions(tables: ReferenceTables, region: str | None) -> tuple[SheetQuestion, ...]:
    """
    Return what to look at on a colony of which nothing is known yet.

    Parameters
    ----------
    tables : ReferenceTables
    region : str or None
        None: `DEFAULT_REGION`.

    Returns
    -------
    tuple of SheetQuestion
        By expected bits over effort, the order of `find_next` before anything was seen.

    Raises
    ------
    InputError
        ``identify-region-unknown``, ``identify-region-empty``.
    """
    taxa, _ = tables.taxa()
    model = build_model(taxa, tables.error_rates(), region or DEFAULT_REGION)
    bits = expected_bits(model.prior[None, :], model)[0]
    asked = find_next(Evidence(), bits, model, n_most=len(model.ask.names))
    found = []
    for one in asked:
        if one.seen_with == _NOT_ON_A_DIVE:
            continue
        character = taxa.characters.get(one.character)
        states = tuple(character.states.items()) if character is not None else ()
        question = SheetQuestion(character=one.character, question=one.question, states=states)
        found.append(question)
    return tuple(found[:N_QUESTIONS])
