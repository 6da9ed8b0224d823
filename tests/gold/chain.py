"""
The whole chain on stored photos, against what it gave when it was last accepted.

``python3 dev.py gold`` tells what has moved; ``python3 dev.py gold --accept`` stores what is
found now. What to look at before accepting is in the README beside this file.
"""

from __future__ import annotations

import json
import math
import shutil
import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).resolve().parent
EXPECTED = HERE / "expected.json"

SHARE_OF_U = 0.2
"""A value with a stated doubt may move by this part of one standard uncertainty."""
SHARE_OF_DOUBT = 0.1
"""A stated doubt may move by this part of itself."""
CORNER_PX = 0.15
"""A corner of the card, whose doubt is not stated."""
LEVELS = 2.0
"""The mean of a square of the corrected photo, in levels of 255."""

Entry = dict[str, Any]


def record(folder: Path) -> dict[str, Entry]:
    """
    Run the chain with the real commands and return every figure that is kept.

    Parameters
    ----------
    folder : Path
        An empty folder; a project is made in it.

    Returns
    -------
    dict
        Name to ``{"text"}`` or ``{"value", "within"}``.
    """
    trip = folder / "trip"
    visit = ["--visit", "Lantern Steps", "2024-03-09", "--observer", "Ines Varro"]
    _command("take", HERE / "photos", "--into", trip, *visit)
    (trip / "cards").mkdir(exist_ok=True)
    shutil.copy(HERE / "field-007.toml", trip / "cards")
    entries: dict[str, Entry] = {}
    for document in _command("correct", "--project", trip, "--port", "flat", "--json"):
        name = str(document["photo"])
        entries.update({f"{name} {k}": e for k, e in _of_photo(document, trip)})
    table = HERE / "to_measure.csv"
    count: dict[str, int] = {}
    for answer in _command("measure", "--project", trip, "--from", table, "--json"):
        name = f"{answer['photo']} {answer['colony']} {answer['kind']}"
        count[name] = count.get(name, 0) + 1
        entries.update({f"{name} {count[name]} {k}": e for k, e in _of_measurement(answer)})
    return dict(sorted(entries.items()))


def _command(*words: object) -> list[dict[str, Any]]:
    """Run a command in this process; return its JSON lines."""
    from typer.testing import CliRunner

    from dryslate.cli.main import build_app

    result = CliRunner().invoke(build_app(), [str(w) for w in words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return [json.loads(line) for line in result.stdout.splitlines() if line.startswith("{")]


def _of_photo(document: Mapping[str, Any], trip: Path) -> Iterator[tuple[str, Entry]]:
    """Yield what is kept of a corrected photo."""
    card, colour, scale = document["card"], document["colour"], document["scale"]
    yield "card", _text(card["name"])
    yield "markers", _text(card["n_markers"])
    yield "is borrowed", _text(document["borrowed_from"] is not None)
    yield "fit", _text(colour["fit"])
    yield "dropped patches", _text(sorted(colour["dropped"]))
    yield "problems", _text(sorted(p["slug"] for p in document["problems"]))
    for i, (x, y) in enumerate(card["corners_px"] or ()):
        yield f"corner {i} x", _number(x, CORNER_PX)
        yield f"corner {i} y", _number(y, CORNER_PX)
    if scale["usable"]:
        yield "tilt_deg", _number(card["tilt_deg"], SHARE_OF_U * card["tilt_deg_u"])
        yield "px_per_mm", _number(scale["px_per_mm"], SHARE_OF_U * scale["px_per_mm_u"])
        yield "px_per_mm_u", _doubt(scale["px_per_mm_u"])
    for key in ("left_out_de00_median", "off_card_de00_p95"):
        if colour[key] is not None:
            yield key, _doubt(colour[key])
    if document["corrected"]:
        for place, level in _levels(trip / document["corrected"]):
            yield f"corrected {place}", _number(level, LEVELS)


def _levels(path: Path) -> Iterator[tuple[str, float]]:
    """Yield the mean of squares of 15 x 15 pixels on a grid, for each channel."""
    from dryslate import wiring

    pixels = wiring.photo_reader().read(path).pixels
    height, width = pixels.shape[:2]
    for y in np.linspace(60, height - 60, 4).round().astype(int):
        for x in np.linspace(60, width - 60, 5).round().astype(int):
            mean = pixels[y - 7 : y + 8, x - 7 : x + 8].reshape(-1, 3).mean(axis=0)
            yield from ((f"{x},{y} {name}", float(m)) for name, m in zip("RGB", mean, strict=True))


def _of_measurement(answer: Mapping[str, Any]) -> Iterator[tuple[str, Entry]]:
    """Yield every value that has a stated doubt beside it, and the doubt."""
    yield "problems", _text(sorted(p["slug"] for p in answer["problems"]))
    for key, doubt in answer.items():
        value = answer.get(key.removesuffix("_u"))
        if not key.endswith("_u") or doubt is None or value is None:
            continue
        for i, (v, u) in enumerate(zip(np.atleast_1d(value), np.atleast_1d(doubt), strict=True)):
            name = f"{key.removesuffix('_u')} {i}" if np.ndim(value) else key.removesuffix("_u")
            yield name, _number(float(v), SHARE_OF_U * float(u))
            yield f"{name} doubt", _doubt(float(u))


def _text(value: Any) -> Entry:
    """Keep something that must stay as it is."""
    return {"text": value}


def _number(value: float, within: float) -> Entry:
    """Keep a value and how far it may move, to five figures: no machine's last bits."""
    return {"value": float(f"{value:.7g}"), "within": float(f"{within:.2g}")}


def _doubt(value: float) -> Entry:
    """Keep a stated doubt."""
    return _number(value, SHARE_OF_DOUBT * abs(value))


def compare(found: Mapping[str, Entry], expected: Mapping[str, Entry]) -> list[str]:
    """
    Say what has moved beyond what is allowed.

    Parameters
    ----------
    found, expected : Mapping
        As `record` returns them.

    Returns
    -------
    list of str
        A sentence for each.
    """
    moved = [f"{name}: is no more" for name in expected if name not in found]
    moved += [f"{name}: is new" for name in found if name not in expected]
    for name in sorted(set(found) & set(expected)):
        new, old = found[name], expected[name]
        if "text" in old or "text" in new:
            if new.get("text") != old.get("text"):
                moved.append(f"{name}: was {old.get('text')!r}, is {new.get('text')!r}")
        elif not math.isclose(new["value"], old["value"], rel_tol=0, abs_tol=old["within"]):
            moved.append(
                f"{name}: was {old['value']:.6g}, is {new['value']:.6g}; "
                f"may move by {old['within']:.2g}"
            )
    return moved


def load_expected() -> dict[str, Entry]:
    """Read what was last accepted."""
    stored: dict[str, Entry] = json.loads(EXPECTED.read_text(encoding="utf-8"))
    return stored


def main(words: list[str]) -> int:
    """Tell what has moved; with ``--accept`` store what is found."""
    with tempfile.TemporaryDirectory() as folder:
        found = record(Path(folder))
    moved = compare(found, load_expected() if EXPECTED.exists() else {})
    for line in moved:
        print(line)
    print(f"{len(moved)} of {len(found)} entries have moved.")
    if words == ["--accept"]:
        lines = [f"{json.dumps(k)}: {json.dumps(e)}" for k, e in found.items()]
        EXPECTED.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")
        print(f"Accepted; look at the change of {EXPECTED.name} before it is committed.")
        return 0
    return 1 if moved else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
