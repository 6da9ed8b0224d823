"""
The front door: python3 dev.py demo | test | check | bench | gold | build | pack.

demo    install, then run the whole job on a made-up trip and serve it (--no-serve: end there)
test    install, then run the tests, on all cores (further words go to pytest, which then uses one)
check   install, then lint, types and import contracts
bench   install, then run the benchmarks, or those named (finding, colour, lengths, identify, speed,
        pages, survey_coverage, other_coverage, agreement_coverage, demo_truth, change_coverage,
        mixed_coverage, name_coverage, results_speed, archive_speed, rarefaction)
gold    install, then tell what has moved against the stored results (--accept stores them anew)
build   make the wheel
pack    put the wheel, and all that it needs, into a folder from which a computer of the same kind
        installs it without a network (pack FOLDER; else dist/offline)

Needs Python 3.11 to 3.14 with venv; nothing else.
"""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
BENCHES = (
    "finding",
    "colour",
    "lengths",
    "identify",
    "speed",
    "pages",
    "survey_coverage",
    "other_coverage",
    "agreement_coverage",
    "demo_truth",
    "change_coverage",
    "mixed_coverage",
    "name_coverage",
    "results_speed",
    "archive_speed",
    "rarefaction",
)


def main() -> int:
    """Run one of the words above."""
    what, *rest = sys.argv[1:] or ["demo"]
    if not (3, 11) <= sys.version_info[:2] <= (3, 14):
        print("Python 3.11 to 3.14 is needed.", file=sys.stderr)
        return 2
    if what not in ("demo", "test", "check", "bench", "gold", "build", "pack"):
        print(__doc__.strip(), file=sys.stderr)
        return 2
    install("requirements.lock" if what in ("demo", "pack") else "requirements-dev.lock")
    python = str(BIN / "python")
    does = {
        "demo": lambda: run([python, "-m", "dryslate.cli.main", "demo", *rest]),
        "test": lambda: test(python, rest),
        "check": lambda: check(python),
        "bench": lambda: bench(python, rest),
        "gold": lambda: run([python, str(ROOT / "tests" / "gold" / "chain.py"), *rest]),
        "build": lambda: build(python, *rest),
        "pack": lambda: pack(
            python, Path(rest[0] if rest else ROOT / "dist" / "offline").resolve()
        ),
    }
    return does[what]()


def test(python: str, words: list[str]) -> int:
    """Run the tests: all of them on all cores, or those asked for on one."""
    cores = str(min(os.cpu_count() or 1, 8))
    return run([python, "-m", "pytest", "-q", *(words or ["-n", cores, "--dist", "loadfile"])])


def build(python: str, *words: str) -> int:
    """Make the wheel."""
    quiet = ["--quiet", "--disable-pip-version-check"]
    return run([python, "-m", "pip", "install", *quiet, "build"]) or run(
        [python, "-m", "build", *words]
    )


def check(python: str) -> int:
    """Lint, format, types and import contracts; all run, any failure counts."""
    steps = (
        [python, "-m", "ruff", "check", "."],
        [python, "-m", "ruff", "format", "--check", "."],
        [python, "-m", "mypy"],
        [str(BIN / "lint-imports")],
    )
    return max([run(step) for step in steps])


def pack(python: str, folder: Path) -> int:
    """Gather what a computer without a network installs from; say how."""
    pip = [python, "-m", "pip", "--disable-pip-version-check"]
    locked = ["--only-binary", ":all:", "--require-hashes", "-r", str(ROOT / "requirements.lock")]
    if build(python, "--wheel", "--outdir", str(folder)) or run(
        [*pip, "download", "--quiet", "--dest", str(folder), *locked]
    ):
        return 1
    version = ".".join(map(str, sys.version_info[:2]))
    print(f"""
{folder} is complete. On a computer of the same kind with Python {version}:
    python3 -m venv dryslate
    dryslate/bin/python -m pip install --no-index --find-links FOLDER dryslate
    dryslate/bin/dryslate --help""")
    return 0


def bench(python: str, names: list[str]) -> int:
    """Run the named benchmarks, or all; what follows ``--`` goes to each."""
    cut = names.index("--") if "--" in names else len(names)
    names, rest = names[:cut], names[cut + 1 :]
    unknown = [name for name in names if name not in BENCHES]
    if unknown:
        print(
            f"no benchmark named {', '.join(unknown)}; there are: {', '.join(BENCHES)}",
            file=sys.stderr,
        )
        return 2
    return max([run([python, "-m", f"bench.{name}", *rest]) for name in names or BENCHES])


def install(lock_name: str) -> None:
    """Make the environment, once for each state of the lock and of pyproject.toml."""
    try:
        import ensurepip  # noqa: F401  Debian splits these off
        import venv
    except ImportError:
        sys.exit("This Python has no venv. On Debian or Ubuntu: sudo apt install python3-venv")
    lock = ROOT / lock_name
    read = (lock, ROOT / "pyproject.toml", ROOT / "package-lock.json", ROOT / "hatch_build.py")
    parts = [*(path.read_bytes() for path in read), sys.version.encode()]
    want = hashlib.sha256(b"".join(parts)).hexdigest()
    stamp = VENV / f"{lock_name}.ok"
    if stamp.exists() and stamp.read_text() == want:
        return
    print(
        f"Installing from {lock_name} into .venv (about a minute) ...", file=sys.stderr, flush=True
    )
    ending = ".exe" if os.name == "nt" else ""
    if not all((BIN / f"{name}{ending}").exists() for name in ("python", "pip")):
        # from the beginning, also where an earlier try was cut short
        venv.create(VENV, with_pip=True, clear=True, symlinks=os.name != "nt")
    pip = [str(BIN / "python"), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    if lock_name == "requirements.lock" and not sys.dont_write_bytecode:
        pip.append("--no-compile")  # Python compiles what is used when it is; most never is
    if run([*pip, "--require-hashes", "-r", str(lock)]) or run(
        [*pip, "--no-deps", "-e", str(ROOT)]
    ):
        sys.exit("Installing failed; see the lines above.")
    stamp.write_text(want)


def run(command: list[str]) -> int:
    """Run a command in the project's folder and return its exit code."""
    return subprocess.run(command, cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
