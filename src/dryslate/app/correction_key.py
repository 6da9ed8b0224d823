"""The key of a correction: a hash of everything that could change its outcome."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from importlib import metadata
from typing import Any

from dryslate import __version__
from dryslate.app.correct_one import card_key
from dryslate.app.correction_records import CorrectJob, CorrectSettings
from dryslate.base.provenance import key_of
from dryslate.core.card.corners import CORNER_U_PX
from dryslate.core.colour.mismatch import DOUBT_OF
from dryslate.core.colour.signal import DE00_P95_FIT, DE00_P95_SHOWN

PARTS = (
    "numpy",
    "scipy",
    "opencv-python-headless",
    "pyapriltags",
    "numba",
    "simplejpeg",
    "pillow",
    "pi-heif",
    "rawpy",
    "tifffile",
)
"""Packages whose version may change a pixel or a number: arithmetic, finding and decoding."""


@cache
def part_versions() -> Mapping[str, str]:
    """Return the versions of the program and of the packages it rests on; "-" where not there."""
    found = {"dryslate": __version__}
    for name in PARTS:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = "-"
    return found


def correction_steps(job: CorrectJob) -> dict[str, Any]:
    """
    Say everything that the outcome of a job depends on.

    Parameters
    ----------
    job : CorrectJob
        With the hash of its photo.

    Returns
    -------
    dict
        JSON-able: photo, cards (definition with serial and medium), lens, settings, versions, and
        which way of stating a colour's doubt.
    """
    settings = job.settings
    cards = [*job.cards, *(card for card, _ in job.plain_cards)]
    return {
        "photo": job.sha256,
        "cards": {card.name: card_key(card) for card in cards},
        "lens": job.lens.sha256 if job.lens is not None else None,
        "settings": {
            "corners_px": settings.corners_px,
            "nominal_as_measured": settings.nominal_as_measured,
            "port": settings.port,
            "is_tiff": settings.is_tiff,
            "has_preview": settings.has_preview,
            **_pointing(settings),
        },
        "versions": dict(part_versions()),
        "doubt_of": DOUBT_OF,
    }


def _pointing(settings: CorrectSettings) -> dict[str, float]:
    """Say how surely corners were set, where it is otherwise than usual."""
    is_usual = settings.corners_px is None or settings.corner_u_px == CORNER_U_PX
    return {} if is_usual else {"corner_u_px": settings.corner_u_px}


def correction_key(job: CorrectJob) -> str:
    """
    Return the key of a job that looks for a card.

    Parameters
    ----------
    job : CorrectJob

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    return key_of(correction_steps(job))


def loan_key(search_key: str, lender_key: str, about: Mapping[str, Any] | None = None) -> str:
    """
    Return the key of a borrowed correction.

    Parameters
    ----------
    search_key : str
        Key of the search that found no card.
    lender_key : str
        Key of the correction that is borrowed.
    about : Mapping, optional
        What the loan's doubt was made of (times, depths, exposures), as `make_loan` states it:
        another depth or clock makes another loan. None: the key as earlier versions made it.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    parts = {"search": search_key, "lender": lender_key, "limits": [DE00_P95_FIT, DE00_P95_SHOWN]}
    return key_of(parts if about is None else {**parts, "about": dict(about)})


def point_key(search_key: str, source: str, xy_px: Sequence[float], what: str) -> str:
    """
    Return the key of a correction by one picked point.

    Parameters
    ----------
    search_key : str
        Key of the search for a card in the same photo.
    source : str
        The photo in which the point was picked.
    xy_px : sequence of float
    what : str
        ``white`` or ``grey``.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    picked = {"source": source, "xy_px": [float(v) for v in xy_px], "what": what}
    return key_of({"search": search_key, "point": picked})
