"""
What an archive says in dynamicProperties: all that no column of the standard carries, as JSON.

Darwin Core means that term for structured content such as this. Each word is explained in
docs/archive.md; reading and writing stand side by side here, so that they stay the same.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from functools import lru_cache
from operator import attrgetter
from typing import Any, cast

from dryslate.app.corals_elsewhere import clock_words
from dryslate.app.project_records import ClockOffset
from dryslate.app.survey_records import NotedRow, StatedDesign
from dryslate.app.unit_records import KINDS, Unit
from dryslate.core.survey.designs import (
    DESIGNS,
    EDGE_RULES,
    POINT_RULES,
    ROW_KINDS,
    SurveyRow,
    UnitDesign,
)

Also = dict[str, list[str]]
"""By event: rows that are no occurrence, as JSON."""
ROW_WORDS = tuple(f.name for f in fields(SurveyRow) if f.name not in ("name", "category"))
_MORE = tuple(name for name in ROW_WORDS if name != "kind")
_MORE_OF = attrgetter(*_MORE)
IN_COLUMNS = frozenset(
    {
        "longest_cm",
        "across_cm",
        "across_line_m",
        "normal_pct",
        "pale_pct",
        "bleached_pct",
        "recently_dead_pct",
        "old_dead_pct",
    }
)
"""Of a colony that is an occurrence: these stand as measurements of it."""
_KINDS = frozenset(kind for kinds in ROW_KINDS.values() for kind in kinds)
_TEXT = frozenset({"kind", "growth_form", "photo_id", "lesion", "unreadable", "note", "place"})
_TEXT |= {"tag"}
_WHOLE = frozenset({"n", "cell"})
_DESIGN_NUMBERS = ("length_m", "width_m", "area_m2", "spacing_m", "minutes")
_DESIGN_WHOLE = ("n_cells", "n_points", "seed")


dumps = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode
"""Writes JSON on one line; tabs and line ends stand escaped in it."""


def number(value: float) -> str:
    """
    Write a number with all its digits.

    Examples
    --------
    >>> number(12.0), number(0.1 + 0.2), number(1234567)
    ('12', '0.30000000000000004', '1234567')
    """
    return repr(float(value)).removesuffix(".0")


def visit_words(observer: str, clocks: Sequence[ClockOffset] = ()) -> str:
    """Say what a visit's event cannot say in columns."""
    said: dict[str, Any] = {"level": "visit", "noted_by": observer}
    if clocks:
        said["clocks"] = [clock_words(one) for one in clocks]
    return dumps(said)


def unit_words(unit: Unit, stated: StatedDesign | None, also: Sequence[str]) -> str:
    """Say what a unit's event cannot say in columns: how it was sampled, and rows of no taxon."""
    said: dict[str, Any] = {
        "level": "unit",
        "unit_id": unit.unit_id,
        "kind": unit.kind,
        "depth_m": unit.depth_m,
        "depth_m_u": unit.depth_m_u,
        "noted_by": unit.observer,
    }
    if stated is not None:
        said["design"] = {
            key: value
            for key, value in stated.design.as_dict().items()
            if value not in (None, False, [])
        }
        said["list_version"] = stated.list_version
        said["stated_by"], said["stated_at"] = stated.observer, stated.stated_at
    return _with_also({k: v for k, v in said.items() if v is not None}, also)


def photo_words(photo_id: str, also: Sequence[str]) -> str:
    """Say what a photo's event cannot say in columns."""
    return _with_also({"level": "photo", "photo_id": photo_id}, also)


def _with_also(said: Mapping[str, Any], also: Sequence[str]) -> str:
    text = dumps(said)
    return f'{text[:-1]},"also_noted":[{",".join(also)}]}}' if also else text


def row_words(noted: NotedRow, leave: frozenset[str] = frozenset()) -> str:
    """
    Say what a row's occurrence cannot say in columns.

    Parameters
    ----------
    noted : NotedRow
    leave : frozenset of str
        Words that a column carries.
    """
    return f'{{"row":{_row(noted, leave)}}}'


def also_words(noted: NotedRow, stated: StatedDesign, leave: frozenset[str]) -> str:
    """Write a row that is no occurrence whole, with its number and who noted it when."""
    more = f'"no":{noted.row_no}' if noted.row_no is not None else '"no":null'
    if (noted.observer, noted.noted_at) != (stated.observer, stated.stated_at):
        more += f',"by":{dumps(noted.observer)},"at":{dumps(noted.noted_at)}'
    return f"{{{more},{_row(noted, leave)[1:]}"


def _row(noted: NotedRow, leave: frozenset[str]) -> str:
    """Write the words of a row; what it is called is put together once for rows alike."""
    row = noted.row
    called = _called(
        row.kind, row.category, row.name, (noted.name, noted.current_names, noted.rank)
    )
    more = [
        f'"{name}":{_json(value)}'
        for name, value in zip(_MORE, _MORE_OF(row), strict=True)
        if value is not None and value != "" and name not in leave
    ]
    return f"{called[:-1]},{','.join(more)}}}" if more else called


def _json(value: str | float | None) -> str:
    """Write one value as `dumps` does; numbers sooner, for there are millions."""
    if isinstance(value, float) and math.isfinite(value):
        return repr(value)
    return dumps(value)


@lru_cache(maxsize=4096)
def _called(
    kind: str, category: str, recorded: str, found: tuple[str, tuple[str, ...], str]
) -> str:
    """Write what a row is of."""
    words: dict[str, Any] = {"kind": kind}
    if category:
        words["category"] = category
    if recorded:
        name, genera, rank = found
        words["called"] = {
            "recorded": recorded,
            "name": name,
            "genera": list(genera),
            "rank": rank,
        }
    return dumps(words)


def unit_of(said: Mapping[str, Any], visit_id: str, columns: Mapping[str, str]) -> Unit:
    """
    Read a unit; what stands in columns comes from them.

    Raises
    ------
    ValueError, KeyError, TypeError
        Where it says something that cannot be.
    """
    kind = said.get("kind")
    return Unit(
        unit_id=_text(said["unit_id"]),
        visit_id=visit_id,
        observer=_text(said["noted_by"]),
        kind=None if kind is None else _one_of(kind, KINDS),
        name=columns["fieldNumber"] or None,
        zone=columns["habitat"] or None,
        depth_m=_number(said.get("depth_m")),
        depth_m_u=_number(said.get("depth_m_u")),
        note=columns["eventRemarks"],
    )


def stated_of(said: Mapping[str, Any]) -> StatedDesign | None:
    """Read how a unit was sampled; raises as `unit_of`."""
    found = said.get("design")
    if found is None:
        return None
    design = UnitDesign(
        design=_one_of(found["design"], DESIGNS),
        is_permanent=bool(found.get("is_permanent", False)),
        point_rule=_may_be(found.get("point_rule"), POINT_RULES),
        edge_rule=_may_be(found.get("edge_rule"), EDGE_RULES),
        searched=tuple(_text(one) for one in found.get("searched", ())),
    )
    numbers: dict[str, Any] = {name: _number(found.get(name)) for name in _DESIGN_NUMBERS}
    numbers |= {name: _whole(found.get(name)) for name in _DESIGN_WHOLE}
    return StatedDesign(
        unit_id=_text(said["unit_id"]),
        design=replace(design, **numbers),
        list_version=_whole(said.get("list_version")),
        observer=_text(said["stated_by"]),
        stated_at=_text(said["stated_at"]),
    )


def noted_of(said: Mapping[str, Any], stated: StatedDesign, photo_id: str | None) -> NotedRow:
    """
    Read a row; raises as `unit_of`.

    Parameters
    ----------
    said : Mapping
    stated : StatedDesign
        Of its unit.
    photo_id : str or None
        Of the photo whose event it belongs to.
    """
    called = said.get("called")
    values: dict[str, Any] = {}
    for name in ROW_WORDS:
        if name in said:
            value = said[name]
            read = _text if name in _TEXT else _whole if name in _WHOLE else _number
            values[name] = read(value)
    _one_of(values.get("kind"), tuple(_KINDS))
    values.setdefault("photo_id", photo_id)
    row = SurveyRow(
        category=_text(said.get("category", "")),
        name=_text(called["recorded"]) if called else "",
        **values,
    )
    noted = NotedRow(
        unit_id=stated.unit_id,
        row=row,
        observer=_text(said.get("by", stated.observer)),
        noted_at=_text(said.get("at", stated.stated_at)),
        row_no=_whole(said.get("no")),
    )
    if not called:
        return noted
    return replace(
        noted,
        name=_text(called["name"]),
        current_names=tuple(_text(one) for one in called["genera"]),
        rank=_text(called["rank"]),
    )


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is no text")
    return value


def _number(value: object) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(f"{value!r} is no number")
    if not abs(value) < float("inf"):
        raise ValueError(f"{value!r} is no number")
    return float(value)


def _whole(value: object) -> int | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int):
        raise TypeError(f"{value!r} is no whole number")
    return value


def _one_of(value: object, words: Sequence[str]) -> Any:
    if value not in words:
        raise ValueError(f"{value!r}: expected one of {', '.join(sorted(words))}")
    return cast("Any", value)


def _may_be(value: object, words: Sequence[str]) -> Any:
    return None if value is None else _one_of(value, words)
