"""Identifiers that stay the same at every export: made of the project's id and a record's."""

from __future__ import annotations

import hashlib
from base64 import urlsafe_b64encode
from collections.abc import Mapping
from dataclasses import fields, replace
from functools import lru_cache
from typing import Any
from uuid import UUID

_VARIANT: Mapping[str, str] = {f"{n:x}": f"{n & 3 | 8:x}" for n in range(16)}
"""The first digit of the fourth part, by what the hash has there."""
_HASHES: Mapping[str, str] = {
    "record_id": "coral",
    "identification_id": "look",
    "first_id": "look",
    "second_id": "look",
    "third_id": "look",
    "outcome_id": "outcome",
    "draw_id": "draw",
}
"""Fields that hold hashes of what was noted, the site's name in it, to what they identify."""


class Identifiers:
    """
    Identifiers of one project: version-5 UUIDs (RFC 9562) as URNs.

    Parameters
    ----------
    project_id : str
        A UUID, made with the project.

    Examples
    --------
    >>> made = Identifiers("00000000-0000-4000-8000-000000000000")
    >>> made.of("unit", "u1") == made.of("unit", "u1") != made.of("visit", "u1")
    True
    """

    def __init__(self, project_id: str) -> None:
        self._start = hashlib.sha1(UUID(project_id).bytes, usedforsecurity=False)

    def of(self, kind: str, record: object) -> str:
        """Return the identifier of a record."""
        made = self._start.copy()
        made.update(f"{kind}\t{record}".encode())
        t = made.hexdigest()
        return f"urn:uuid:{t[:8]}-{t[8:12]}-5{t[13:16]}-{_VARIANT[t[16]]}{t[17:20]}-{t[20:32]}"

    def anew(self, row: Any) -> Any:
        """
        Return a record whose ids tell nobody that he guessed a site's name right.

        Ids of corals, looks, outcomes and draws are hashes of public facts and that name; these
        are made of the project's id too, which stays in it.
        """
        kind: type = type(row)
        told = {name: getattr(row, name) for name in _hashes_in(kind)}
        return replace(row, **{k: self.of(_HASHES[k], v) for k, v in told.items() if v is not None})


@lru_cache(maxsize=64)
def _hashes_in(kind: type) -> tuple[str, ...]:
    """Return which of `_HASHES` a record has."""
    return tuple(field.name for field in fields(kind) if field.name in _HASHES)


def content_address(sha256: str) -> str:
    """
    Return what names a file by its content (RFC 6920).

    Examples
    --------
    >>> content_address("00" * 32)
    'ni:///sha-256;AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA'
    """
    return "ni:///sha-256;" + urlsafe_b64encode(bytes.fromhex(sha256)).decode().rstrip("=")
