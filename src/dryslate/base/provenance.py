"""Provenance: what was done to get from one hash to another."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """
    One step of the work; the use case adds the time and stores it after success.

    Parameters
    ----------
    name, version : str
        Which step, by which version of the program.
    settings : Mapping
        Everything that could change the output, JSON-able.
    input_sha256, output_sha256 : str
        Hashes of what went in and what came out (empty where nothing was written).
    """

    name: str
    version: str
    settings: Mapping[str, Any]
    input_sha256: str
    output_sha256: str = ""


def key_of(parts: Mapping[str, Any]) -> str:
    """
    Hash a mapping of JSON-able parts to a stable hexadecimal key.

    Parameters
    ----------
    parts : Mapping
        JSON-able values; the order of the keys does not matter.

    Returns
    -------
    str
        64 hexadecimal digits (SHA-256 of the canonical JSON).
    """
    text = json.dumps(parts, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
