"""Question by question to the name of a coral: what is asked, and what an answer means."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from dryslate.app.identify import Identifier
from dryslate.app.identify_request import parse_size
from dryslate.base.problems import Problem
from dryslate.core.identify.answer import Answer, AnswerSettings, identify
from dryslate.core.identify.evidence import MEASURES, Evidence

Turn = Literal["taken", "back", "stop", "unclear"]
STEP = AnswerSettings(n_ranked=5, n_reasons=0, has_split=False)
ENOUGH = 0.95
MOST_NAMED = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """
    One question.

    Parameters
    ----------
    character : str
        Character or measure.
    question : str
    seen_with : str
    states : tuple of (str, str)
        State and its plain words, in the order of their numbers; empty: a size is asked for.
    """

    character: str
    question: str
    seen_with: str
    states: tuple[tuple[str, str], ...]

    @property
    def is_size(self) -> bool:
        """Whether a size is asked for."""
        return self.character in MEASURES


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """
    What became of an answer.

    Parameters
    ----------
    turn : str
        ``taken``, ``back``, ``stop`` or ``unclear`` (ask again).
    words : str
        What to say; may be empty.
    problems : tuple of Problem
        What does not go together with earlier answers.
    """

    turn: Turn
    words: str = ""
    problems: tuple[Problem, ...] = ()


class Conversation:
    """
    Asks the most telling question, and takes what the surveyor answers.

    Parameters
    ----------
    identifier : Identifier
    start : Evidence
        What is known before; in order.
    """

    def __init__(self, identifier: Identifier, start: Evidence) -> None:
        self._identifier = identifier
        self._model = identifier.model(identifier.region_of(start))
        self._steps = [replace(start, region=self._model.region)]
        self._answer: Answer | None = None

    @property
    def evidence(self) -> Evidence:
        """What is known now."""
        return self._steps[-1]

    def question(self) -> Asked | None:
        """
        Return the most telling question.

        Returns
        -------
        Asked or None
            None where nothing more would tell.
        """
        following = self._now().next
        if not following:
            return None
        best = following[0]
        known = self._identifier.taxa.characters.get(best.character)
        return Asked(
            character=best.character,
            question=best.question,
            seen_with=best.seen_with,
            states=tuple(known.states.items()) if known else (),
        )

    def tell(self, asked: Asked, line: str) -> Reply:
        """
        Take an answer.

        Parameters
        ----------
        asked : Asked
        line : str
            Numbers of the states that are there, with a minus those that are not; a size; ``?``:
            could not tell; ``b``: back; empty: stop.

        Returns
        -------
        Reply
        """
        said = line.strip()
        if not said:
            return Reply(turn="stop")
        if said.lower() == "b":
            return self._back()
        if said == "?":
            unclear = self.evidence.unclear | {asked.character}
            return self._take(replace(self.evidence, unclear=unclear))
        return self._size(asked, said) if asked.is_size else self._states(asked, said)

    def standing(self) -> tuple[str, ...]:
        """
        Say where it stands.

        Returns
        -------
        tuple of str
            One line; a second where one genus is settled.
        """
        answer = self._now()
        best = answer.ranked[0]
        listed = [r.genus for r in answer.ranked if r.likelihood_word != "unlikely"]
        near = list(dict.fromkeys((*listed, *answer.set95)))  # a long set is not listed whole
        is_likely = best.likelihood_word == "most likely"
        others = near[1:] if is_likely else near
        named = ", ".join(others[:MOST_NAMED])
        if len(others) > MOST_NAMED:
            named += f" and {len(others) - MOST_NAMED} more"
        if is_likely:
            told = f"most likely {best.genus}" + (f"; possible: {named}" if named else "")
        else:
            told = f"possible: {named}"
        lines = [f"So far {told}."]
        if best.probability >= ENOUGH:
            lines.append("That would be enough: Enter ends, or go on to make sure.")
        return tuple(lines)

    def _now(self) -> Answer:
        """Return the answer to what is known now."""
        if self._answer is None:
            self._answer = identify(self.evidence, self._model, STEP)
        return self._answer

    def _back(self) -> Reply:
        """Take the last answer back."""
        if len(self._steps) == 1:
            return Reply(turn="unclear", words="This is the first question.")
        self._steps.pop()
        self._answer = None
        return Reply(turn="back", words="Taken back.")

    def _take(self, evidence: Evidence) -> Reply:
        """Go on with more evidence, unless it cannot be right."""
        before = {str(p) for p in self._identifier.check(self.evidence)}
        found = tuple(p for p in self._identifier.check(evidence) if str(p) not in before)
        errors = [p for p in found if p.severity == "error"]
        if errors:
            return Reply(turn="unclear", problems=tuple(errors))
        self._steps.append(evidence)
        self._answer = None
        return Reply(turn="taken", problems=found)

    def _size(self, asked: Asked, said: str) -> Reply:
        """Take a size."""
        size, problem = parse_size(said, asked.character)
        if size is None:
            return Reply(turn="unclear", problems=(problem,) if problem else ())
        return self._take(
            replace(self.evidence, sizes={**self.evidence.sizes, asked.character: size})
        )

    def _states(self, asked: Asked, said: str) -> Reply:
        """Take numbers of states."""
        there, absent, strange = read_numbers(said, [s for s, _ in asked.states])
        if strange:
            told = f"{', '.join(strange)}: expected numbers from 1 to {len(asked.states)}."
            return Reply(turn="unclear", words=told)
        evidence = self.evidence
        if there:
            evidence = replace(evidence, seen={**evidence.seen, asked.character: there})
        if absent:
            evidence = replace(evidence, not_seen={**evidence.not_seen, asked.character: absent})
        return self._take(evidence)


def read_numbers(
    said: str, states: Sequence[str]
) -> tuple[frozenset[str], frozenset[str], tuple[str, ...]]:
    """
    Read the numbers (or ids) of states.

    Parameters
    ----------
    said : str
        Parted by blanks or commas; a minus before what is not there.
    states : sequence of str
        In the order of their numbers, the first being 1.

    Returns
    -------
    there, absent : frozenset of str
    strange : tuple of str
        What is no state; a lone comma leaves one too.

    Examples
    --------
    >>> read_numbers("1, -3", ["open", "shut", "gone"])
    (frozenset({'open'}), frozenset({'gone'}), ())
    >>> read_numbers("0 4", ["open"])[2]
    ('0', '4')
    """
    known = {**{str(i): s for i, s in enumerate(states, 1)}, **{s: s for s in states}}
    there, absent, strange = set(), set(), []
    words = [w for w in re.split(r"[\s,;]+", said) if w]
    for word in words:
        name = word.removeprefix("-")
        if name not in known:
            strange.append(word)
        elif word.startswith("-"):
            absent.add(known[name])
        else:
            there.add(known[name])
    return frozenset(there), frozenset(absent), tuple(strange or ([] if words else [said]))
