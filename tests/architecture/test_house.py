"""The house keeps its own rules: layers, allow-lists, sizes, names."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SRC = ROOT / "src" / "dryslate"
MODULES = sorted(SRC.rglob("*.py"))
CORE = sorted((SRC / "core").rglob("*.py")) + sorted((SRC / "base").rglob("*.py"))

NUMERIC = {"numpy", "scipy"}
ROOMS = {
    "arrays": NUMERIC | {"numba"},
    "measure": NUMERIC,
    "health": NUMERIC,
    "scale": NUMERIC | {"cv2"},  # camera calibration is OpenCV's, a well-kept library
    "colour": NUMERIC,
    "card": NUMERIC | {"cv2", "pyapriltags"},
    "sheet": NUMERIC | {"cv2", "pyapriltags"},
    "identify": NUMERIC | {"rapidfuzz"},
    "survey": NUMERIC,
}
STANDARD = {
    "__future__",
    "collections",
    "dataclasses",
    "difflib",
    "enum",
    "functools",
    "hashlib",
    "itertools",
    "json",
    "math",
    "re",
    "threading",  # thread-local detectors of the card room only, see below
    "types",
    "typing",
    "warnings",  # to keep a library's words to programmers from the surveyor
}
NOT_IMPORTED = {"python-multipart"}
"""What another library asks for: FastAPI reads forms by it."""
FORBIDDEN_CALLS = {"open", "print", "input", "imread", "imwrite", "imshow", "VideoCapture"}
NOT_MODULE_NAMES = {"utils", "util", "helpers", "helper", "common", "misc", "manager"}


def imports_of(path: Path) -> Iterator[str]:
    """Top-level package of each import, wherever it stands in the file."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module.split(".")[0]


def relative(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@pytest.mark.parametrize("path", CORE, ids=relative)
def test_core_rooms_import_only_what_their_list_allows(path: Path) -> None:
    room = path.parent.name if path.parent.parent.name == "core" else ""
    allowed = STANDARD | ROOMS.get(room, set()) | {"dryslate"}
    if room != "card":
        allowed = allowed - {"threading"}
    assert set(imports_of(path)) <= allowed


def test_every_library_that_is_installed_is_imported() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = {re.split(r"[<>=!~ \[;]", line)[0].lower() for line in project["dependencies"]}
    imported = {name for path in MODULES for name in imports_of(path)}
    given = packages_distributions()
    used = {found.lower().replace("_", "-") for name in imported for found in given.get(name, ())}
    assert wanted - used == NOT_IMPORTED


@pytest.mark.parametrize("path", CORE, ids=relative)
def test_core_opens_no_file_and_draws_no_unseeded_random_number(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        name = ast.unparse(node.func)
        assert name.split(".")[-1] not in FORBIDDEN_CALLS or name == "re.open", name
        if name.startswith(("np.random.", "numpy.random.")):
            # A stated seed is a value like any other; an empty call is not.
            assert name.endswith("default_rng"), name
            assert node.args, f"{relative(path)}: default_rng without a seed"


@pytest.mark.parametrize("path", MODULES + sorted((ROOT / "tests").rglob("*.py")), ids=relative)
def test_no_module_outgrows_its_purpose(path: Path) -> None:
    assert len(path.read_text("utf-8").splitlines()) <= 600


@pytest.mark.parametrize("path", MODULES, ids=relative)
def test_modules_are_nouns_of_the_trade(path: Path) -> None:
    assert path.stem not in NOT_MODULE_NAMES


@pytest.mark.parametrize("folder", sorted({p.parent for p in MODULES}), ids=relative)
def test_every_package_says_what_it_is(folder: Path) -> None:
    init = folder / "__init__.py"
    assert init.exists()
    assert ast.get_docstring(ast.parse(init.read_text("utf-8")))


def test_data_folder_holds_no_python() -> None:
    assert not list((SRC / "data").rglob("*.py"))


def test_importing_the_package_loads_nothing_else() -> None:
    code = "import sys, dryslate; print(sorted(m for m in sys.modules if m.split('.')[0] in " + (
        "('numpy', 'cv2', 'numba', 'scipy', 'typer')))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_import_contracts_hold() -> None:
    exe = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run(
        [exe, "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize("module", ["dryslate.app.archive_make", "dryslate.app.package_make"])
def test_archives_are_made_without_the_large_libraries_that_fit_and_test(module: str) -> None:
    code = f"import sys, {module}; print('scipy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
