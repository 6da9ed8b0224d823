"""
Draw the states of the characters that a coral is named by: one small SVG file each.

Our own drawings, made of plain geometry from what the terms mean, after no guide's pictures::

    python3 tools/drawings            writes src/dryslate/web/static/drawings anew
    python3 tools/drawings FOLDER     writes them elsewhere

``tests/web/test_drawings.py`` fails when the stored files are not what this makes.
"""

from __future__ import annotations

import importlib
import shutil
import sys
from pathlib import Path

from pen import DRAWERS, Picture

KEPT = Path(__file__).resolve().parents[2] / "src/dryslate/web/static/drawings"


def main(folder: Path) -> int:
    """Write every drawing into a folder, in place of what it holds."""
    for module in sorted(Path(__file__).parent.glob("*.py")):
        if module.stem not in ("__main__", "pen"):
            importlib.import_module(module.stem)
    shutil.rmtree(folder, ignore_errors=True)
    for (character, state), drawer in sorted(DRAWERS.items()):
        picture = Picture(f"{character}/{state}")
        drawer(picture)
        place = folder / character / f"{state}.svg"
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(picture.svg(), encoding="utf-8", newline="\n")
    print(f"{len(DRAWERS)} drawings in {folder}")
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]) if len(sys.argv) > 1 else KEPT))
