"""Name many corals: JSON lines in, one JSON line out for each."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from dryslate.app.identify import Identifier, cautions_of, unanswered
from dryslate.app.identify_request import parse_record
from dryslate.base.problems import Problem, has_error
from dryslate.core.identify.answer import BATCH, Answer, answer_to_dict, identify_many
from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.reasons import ReasonWords

LONGEST_LINE = 1_000_000
ENCODE = json.JSONEncoder(ensure_ascii=False, check_circular=False).encode
LINE = replace(BATCH, n_reasons=2)
"""A line of many thousands: three genera, two reasons for and two against each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LineAnswer:
    """
    The answer to one line.

    Parameters
    ----------
    text : str
        One JSON document, without the end of the line.
    is_answered : bool
        False where the line could not be used.
    """

    text: str
    is_answered: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """One line as read."""

    head: dict[str, Any]
    evidence: Evidence
    problems: list[Problem]


def answer_blocks(
    blocks: Iterable[bytes], identifier: Identifier
) -> Iterator[Sequence[LineAnswer]]:
    """
    Answer lines as they come.

    Parameters
    ----------
    blocks : iterable of bytes
        UTF-8 text in pieces of any length; what stands complete in a piece is answered before the
        next one is asked for, so that another program can talk line by line.
    identifier : Identifier

    Yields
    ------
    sequence of LineAnswer
        In the order of the lines; empty lines have no answer. Each has ``line`` (its number from
        1), and ``id`` where the record has one, beside the keys of every answer.
    """
    batch = _Batch(identifier)
    rest, number = b"", 0
    for block in blocks:
        *whole, rest = (rest + block).split(b"\n")
        if whole:
            yield batch.answer(whole, number)
            number += len(whole)
    if rest:
        yield batch.answer([rest], number)


def _refuse(word: str) -> None:
    """Refuse what Python reads as a number and JSON does not know."""
    raise ValueError(f"{word} is no JSON")


def _once(fields: list[tuple[str, Any]]) -> dict[str, Any]:
    """Refuse an object that has a field twice: one of the two would be lost unseen."""
    found = dict(fields)
    if len(found) < len(fields):
        names = [name for name, _ in fields]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"the field {twice!r} is given twice")
    return found


_DECODE = json.JSONDecoder(parse_constant=_refuse, object_pairs_hook=_once).decode


def _decode(text: str) -> Any:
    """Read JSON as `json.loads` does, without making a decoder for each line."""
    return json.loads(text) if text.startswith("\ufeff") else _DECODE(text)


class _Batch:
    """Answers lines of any region, a region's lines together."""

    def __init__(self, identifier: Identifier) -> None:
        self._identifier = identifier
        self._words: dict[str, ReasonWords] = {}

    def answer(self, lines: Sequence[bytes], before: int) -> Sequence[LineAnswer]:
        """Answer lines; `before` came earlier."""
        read = [self._read(line, before + i + 1) for i, line in enumerate(lines) if line.strip()]
        by_region: dict[str, list[int]] = {}
        for i, line in enumerate(read):
            if not has_error(line.problems):
                by_region.setdefault(line.evidence.region or "", []).append(i)
        answers: dict[int, Answer] = {}
        for region, places in by_region.items():
            if region not in self._words:
                self._words[region] = ReasonWords(self._identifier.model(region))
            words = self._words[region]
            found = identify_many([read[i].evidence for i in places], words.model, LINE, words)
            answers.update(zip(places, found, strict=True))
        return [self._written(line, answers.get(i)) for i, line in enumerate(read)]

    def _read(self, line: bytes, number: int) -> _Line:
        """Read one line, and find all that is wrong with it."""
        head: dict[str, Any] = {"line": number}
        try:
            if len(line) > LONGEST_LINE:
                raise ValueError(f"{len(line)} bytes long, where {LONGEST_LINE} are read at most")
            text = line.decode("utf-8-sig" if number == 1 else "utf-8")
            record = _decode(text)
        except (ValueError, RecursionError) as error:
            problem = Problem(
                slug="identify-line-unreadable",
                severity="error",
                place=f"line {number}",
                message=f"expected one JSON object in UTF-8: {error}",
                fix="Put the line right; the other lines are answered.",
            )
            return _Line(head=head, evidence=Evidence(), problems=[problem])
        if isinstance(record, dict) and type(record.get("id")) in (str, int):
            head["id"] = record["id"]
        evidence, problems = parse_record(record)
        if evidence.region is None:
            evidence = replace(evidence, region=self._identifier.choice.region)
        problems += self._identifier.faults_of(evidence)
        return _Line(head=head, evidence=evidence, problems=problems)

    def _written(self, line: _Line, answer: Answer | None) -> LineAnswer:
        """Write the answer to one line."""
        if answer is None:
            document = {**line.head, **unanswered(line.evidence.region, line.problems)}
        else:
            document = {**line.head, **answer_to_dict(answer)}
            cautions = cautions_of(answer, self._identifier.taxa)
            if cautions:
                document["cautions"] = cautions
            if line.problems:
                document["problems"] = [p.as_dict() for p in (*line.problems, *answer.problems)]
        return LineAnswer(text=ENCODE(document), is_answered=answer is not None)
