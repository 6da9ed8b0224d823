"""Rows of a kind made of plain values that somebody else wrote: each field is what it may be."""

from __future__ import annotations

import math
import types
from collections.abc import Mapping
from dataclasses import MISSING, fields
from functools import lru_cache
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints


def checked_row(kind: Any, values: Mapping[str, Any]) -> Any:
    """
    Make a row.

    Parameters
    ----------
    kind : type
        A dataclass.
    values : Mapping
        Field to value.

    Raises
    ------
    ValueError
        Where a field is missing or unknown, or holds what it cannot hold; the message names it.

    Examples
    --------
    >>> from dryslate.app.project_records import Site
    >>> checked_row(Site, {"site": 5})
    Traceback (most recent call last):
    ValueError: site: 5 cannot be
    """
    hints, needed = _known(kind)
    for name in needed:
        if name not in values:
            raise ValueError(f"{name} is missing")
    for name, value in values.items():
        if name not in hints:
            raise ValueError(f"{name} is not known")
        if not _fits(value, hints[name]):
            raise ValueError(f"{name}: {value!r} cannot be")
    return kind(**values)


@lru_cache(maxsize=64)
def _known(kind: type) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return the types of a row's fields, and those that must be stated."""
    needed = tuple(
        one.name
        for one in fields(kind)
        if one.default is MISSING and one.default_factory is MISSING
    )
    return get_type_hints(kind), needed


_PLAIN: Mapping[Any, tuple[type, ...]] = {str: (str,), bool: (bool,), int: (int,)}


def _fits(value: Any, hint: Any) -> bool:
    """Tell whether a value is of a type."""
    origin, args = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return any(_fits(value, one) for one in args)
    if origin is Literal:
        return isinstance(value, str) and value in args
    if isinstance(value, bool):
        return hint in (bool, Any)
    if hint is float:
        return isinstance(value, int | float) and math.isfinite(value)
    if origin is tuple:
        if not isinstance(value, tuple | list):
            return False
        each = args[:1] * len(value) if args[1:] == (...,) else args
        return len(each) == len(value) and all(map(_fits, value, each))
    if hint in _PLAIN:
        return isinstance(value, _PLAIN[hint])
    return hint is Any or isinstance(value, origin or hint)
