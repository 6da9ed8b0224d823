"""What was seen on a coral, from the words of an option or the fields of a record."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from dryslate.base.problems import Problem
from dryslate.core.identify.evidence import Evidence, Size

UNITS_MM = {"": 1.0, "mm": 1.0, "cm": 10.0}
_NUMBER = r"\d+(?:\.\d+)?(?:[eE][-+]?\d+)?|\.\d+"
SIZE = re.compile(
    rf"\s*(?P<value>{_NUMBER})\s*(?:(?:±|\+-|\+/-)\s*(?P<u>{_NUMBER}))?\s*(?P<unit>[^\W\d]*)\s*"
)
ONLY_TEXT = {str}
COLLECTIONS = (list, tuple, set, frozenset)
RECORD_KEYS = ("id", "region", "seen", "not", "unclear", "sizes_mm", "juvenile")


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """
    What a command line says of one coral, as it was typed.

    Parameters
    ----------
    seen, not_seen : sequence of str
        Each ``character=state``; several states of one character: parted by commas, or given again.
    unclear : sequence of str
        Characters that were looked at and could not be told.
    sizes : sequence of str
        Each ``measure=7.5±0.4``, also ``7.5+-0.4``, with ``mm`` (or nothing) or ``cm``.
    is_juvenile : bool
    """

    seen: Sequence[str] = ()
    not_seen: Sequence[str] = ()
    unclear: Sequence[str] = ()
    sizes: Sequence[str] = ()
    is_juvenile: bool = False

    @property
    def has_any(self) -> bool:
        """Whether anything was said of the coral itself."""
        return bool(self.seen or self.not_seen or self.unclear or self.sizes)


@dataclass(slots=True)
class _Gathered:
    """Parts of an evidence while they are read."""

    problems: list[Problem] = field(default_factory=list)

    def fault(self, slug: str, place: str, message: str, fix: str) -> None:
        """Note an error."""
        self.problems.append(
            Problem(slug=slug, severity="error", place=place, message=message, fix=fix)
        )


def parse_words(words: Words, region: str | None) -> tuple[Evidence, list[Problem]]:
    """
    Read what a command line says of one coral.

    Parameters
    ----------
    words : Words
    region : str or None

    Returns
    -------
    evidence : Evidence
        What could be read.
    problems : list of Problem
        Every fault: ``identify-option-unclear``, ``identify-size-unclear``,
        ``identify-size-unit``, ``identify-size-twice``.

    Examples
    --------
    >>> said = Words(seen=["growth_form=massive"], sizes=["corallite_diameter=7.5+-0.4 mm"])
    >>> evidence, problems = parse_words(said, "atlantic")
    >>> evidence.sizes["corallite_diameter"], problems
    (Size(value_mm=7.5, u_mm=0.4), [])
    """
    gathered = _Gathered()
    sizes: dict[str, Size] = {}
    for text in words.sizes:
        name, is_parted, value = text.partition("=")
        if not is_parted or not name.strip():
            _not_parted(gathered, "--size", text, "corallite_diameter=7.5±0.4")
            continue
        if name.strip() in sizes:
            gathered.fault(
                "identify-size-twice",
                name.strip(),
                "two sizes were given for it",
                "Give the mean of several calices with its standard uncertainty.",
            )
            continue
        size, problem = parse_size(value, name.strip())
        if problem is not None:
            gathered.problems.append(problem)
        if size is not None:
            sizes[name.strip()] = size
    evidence = Evidence(
        region=region,
        seen=_states(words.seen, "--seen", gathered),
        not_seen=_states(words.not_seen, "--not", gathered),
        unclear=frozenset(u.strip() for u in words.unclear),
        sizes=sizes,
        is_juvenile=words.is_juvenile,
    )
    return evidence, gathered.problems


def _states(texts: Sequence[str], option: str, gathered: _Gathered) -> dict[str, frozenset[str]]:
    """Read ``character=state`` words; the states of one character are put together."""
    found: dict[str, frozenset[str]] = {}
    for text in texts:
        name, _, told = text.partition("=")
        states = frozenset(s.strip() for s in told.split(",") if s.strip())
        if not states or not name.strip():
            _not_parted(gathered, option, text, "growth_form=massive")
            continue
        found[name.strip()] = found.get(name.strip(), frozenset()) | states
    return found


def _not_parted(gathered: _Gathered, option: str, text: str, example: str) -> None:
    """Note an option that does not have its two halves."""
    gathered.fault(
        "identify-option-unclear",
        option,
        f"expected NAME=VALUE, found {text!r}",
        f"For example {option} {example}.",
    )


def parse_size(text: str, measure: str) -> tuple[Size | None, Problem | None]:
    """
    Read a size in words.

    Parameters
    ----------
    text : str
        Such as ``7.5``, ``7.5±0.4``, ``7.5+-0.4 mm``, ``1.2±0.1 cm``.
    measure : str
        For the message.

    Returns
    -------
    size : Size or None
        In millimetres; None where it cannot be read.
    problem : Problem or None
        ``identify-size-unclear``; ``identify-size-unit`` for a unit that is not known.

    Examples
    --------
    >>> parse_size("1.2±0.1 cm", "valley_width")
    (Size(value_mm=12.0, u_mm=1.0), None)
    >>> parse_size("3 inches", "valley_width")[1].slug
    'identify-size-unit'
    """
    match = SIZE.fullmatch(text)
    if match is None:
        return None, Problem(
            slug="identify-size-unclear",
            severity="error",
            place=measure,
            message=f"expected a number of millimetres, found {text.strip()!r}",
            fix="Give it as 7.5 or 7.5±0.4 (also 7.5+-0.4), with a full stop as decimal mark.",
        )
    unit = match["unit"].lower()
    if unit not in UNITS_MM:
        return None, Problem(
            slug="identify-size-unit",
            severity="error",
            place=measure,
            message=f"expected mm or cm, found {match['unit']!r}",
            fix="Sizes are in millimetres; give it in mm, or in cm with the unit behind it.",
        )
    factor = UNITS_MM[unit]
    size = Size(
        value_mm=round(float(match["value"]) * factor, 9),
        u_mm=round(float(match["u"] or 0.0) * factor, 9),
    )
    return size, None


def in_centimetres(texts: Sequence[str]) -> frozenset[str]:
    """
    Return the measures that were typed in centimetres.

    Parameters
    ----------
    texts : sequence of str
        As `Words.sizes`.

    Returns
    -------
    frozenset of str
    """
    parted = [text.partition("=") for text in texts]
    return frozenset(name.strip() for name, _, v in parted if v.strip().lower().endswith("cm"))


def parse_record(record: object) -> tuple[Evidence, list[Problem]]:
    """
    Read one coral from the fields of a record.

    Parameters
    ----------
    record : object
        A mapping ``{"region": ..., "seen": {character: [states]}, "not": {...}, "unclear":
        [characters], "sizes_mm": {measure: [value, u]}, "juvenile": false}``; each may be absent,
        a single state may stand without its list, and a size without its doubt.

    Returns
    -------
    evidence : Evidence
        What could be read.
    problems : list of Problem
        Errors ``identify-record-unclear``, warnings ``identify-record-key``.

    Examples
    --------
    >>> evidence, problems = parse_record({"seen": {"growth_form": ["massive"]}, "size": 3})
    >>> sorted(evidence.seen["growth_form"]), [p.slug for p in problems]
    (['massive'], ['identify-record-key'])
    """
    gathered = _Gathered()
    if not isinstance(record, Mapping):
        _unclear(gathered, "record", "an object with region, seen, not and sizes_mm", record)
        return Evidence(), gathered.problems
    for key in [k for k in record if k not in RECORD_KEYS]:
        gathered.problems.append(
            Problem(
                slug="identify-record-key",
                severity="warning",
                place=str(key),
                message="this field is not known and was left out",
                fix=f"Known: {', '.join(RECORD_KEYS)}.",
            )
        )
    region = record.get("region")
    if region is not None and not isinstance(region, str):
        _unclear(gathered, "region", "a name", region)
        region = None
    if type(record.get("id", "")) not in (str, int):
        _unclear(gathered, "id", "a text or a whole number", record["id"])
    juvenile = record.get("juvenile")
    if juvenile is not None and not isinstance(juvenile, bool):
        _unclear(gathered, "juvenile", "true or false", juvenile)
    evidence = Evidence(
        region=region,
        seen=_record_states(record.get("seen"), "seen", gathered),
        not_seen=_record_states(record.get("not"), "not", gathered),
        unclear=_names(record.get("unclear"), "unclear", gathered) or frozenset(),
        sizes=_record_sizes(record.get("sizes_mm"), gathered),
        is_juvenile=juvenile is True,
    )
    return evidence, gathered.problems


def _record_states(value: object, key: str, gathered: _Gathered) -> dict[str, frozenset[str]]:
    """Read states by character."""
    if value is None:
        return {}
    if not isinstance(value, Mapping):
        _unclear(gathered, key, "an object of states by character", value)
        return {}
    found = {}
    for name, states in value.items():
        if type(states) is list and set(map(type, states)) == ONLY_TEXT:  # as nearly always
            found[name] = frozenset(states)
            continue
        read = _names(states, f"{key}.{name}", gathered)
        if read:
            found[name] = read
        elif read is not None:
            _unclear(gathered, f"{key}.{name}", "one state or more", states)
    return found


def _names(value: object, place: str, gathered: _Gathered) -> frozenset[str] | None:
    """Read a list of names, or one; None where it is something else."""
    if value is None:
        return frozenset()
    if isinstance(value, str):
        return frozenset({value})
    if isinstance(value, list | tuple | set | frozenset) and all(isinstance(v, str) for v in value):
        return frozenset(value)
    _unclear(gathered, place, "a list of names", value)
    return None


def _record_sizes(value: object, gathered: _Gathered) -> dict[str, Size]:
    """Read sizes by measure."""
    if value is None:
        return {}
    if not isinstance(value, Mapping):
        _unclear(gathered, "sizes_mm", "an object of [value, u] by measure", value)
        return {}
    found = {}
    for name, given in value.items():
        if isinstance(given, Size):
            found[name] = given
            continue
        pair = list(given) if isinstance(given, list | tuple) else [given]
        if len(pair) in (1, 2) and all(_is_number(v) for v in pair):
            found[name] = Size(value_mm=float(pair[0]), u_mm=float(pair[1]) if pair[1:] else 0.0)
        else:
            _unclear(gathered, f"sizes_mm.{name}", "[value, u] in millimetres", given)
    return found


def _is_number(value: Any) -> bool:
    """Tell a number that a float can hold."""
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e300


def _unclear(gathered: _Gathered, place: str, expected: str, found: object) -> None:
    """Note a field of the wrong kind."""
    told = repr(found)
    gathered.fault(
        "identify-record-unclear",
        place,
        f"expected {expected}, found {told if len(told) <= 60 else told[:57] + '...'}",
        "Put the field right; docs/identify.md has the form.",
    )
