"""
Speed of correcting photos: the whole job against its floor, two cores, memory, and peers.

Run it with ``python bench/speed.py``; ``--quick`` takes smaller photos and leaves the peers out.

The floor F is what any corrector of JPEG photos must do: decode, one pass of the shipped
root-polynomial kernel, encode (quality 92, 4:4:4), on one core, measured in the same run and in
turn with what is compared with it. Figures for one core are medians of CPU time; those for two
cores are wall time of a whole batch.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

CACHE = ROOT / "build" / "bench-cache"
PEER_PYTHON = ROOT / ".venv-bench" / "bin" / "python"
PEERS = ROOT / "bench" / "peers" / "chains.py"
N_BATCH = 50
N_TRIP = 60


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One line of the table: what was measured, and the target it is held against."""

    name: str
    value: float | None
    unit: str
    target: str
    is_met: bool | None
    note: str = ""

    def as_dict(self) -> dict[str, Any]:
        return {n: getattr(self, n) for n in self.__dataclass_fields__}


def at_most(name: str, value: float, unit: str, limit: float, note: str = "") -> Figure:
    return Figure(
        name=name,
        value=float(value),
        unit=unit,
        target=f"<= {limit:g}",
        is_met=bool(value <= limit),
        note=note,
    )


def at_least(name: str, value: float, unit: str, limit: float, note: str = "") -> Figure:
    return Figure(
        name=name,
        value=float(value),
        unit=unit,
        target=f">= {limit:g}",
        is_met=bool(value >= limit),
        note=note,
    )


def in_turn(works: dict[str, Callable[[], Any]], repeats: int) -> dict[str, float]:
    """Median CPU seconds of each piece of work, done in turn so that a slow spell hits all."""
    times: dict[str, list[float]] = {name: [] for name in works}
    for work in works.values():
        work()  # warm
    for _ in range(repeats):
        for name, work in works.items():
            start = time.process_time()
            work()
            times[name].append(time.process_time() - start)
    return {name: statistics.median(taken) for name, taken in times.items()}


class Bench:
    """Photos, jobs and the pieces of the floor."""

    def __init__(self, out: Path, size_px: tuple[int, int]) -> None:
        import cv2
        from bench.speed_photos import PhotoPlan, saved_photo

        from dryslate.app.correct import cards_wanted, colour_settings
        from dryslate.app.correction_records import CorrectSettings
        from dryslate.files.photos import FilePhotoReader
        from dryslate.files.reference_tables import FileReferenceTables

        cv2.setNumThreads(1)
        self.out, self.size_px = out, size_px
        self.plan, self.saved = PhotoPlan, saved_photo
        self.tables, self.reader = FileReferenceTables(), FilePhotoReader()
        self.settings = CorrectSettings(nominal_as_measured=True)
        self.wanted = cards_wanted(self.tables, self.settings)
        self.colour = colour_settings(self.tables, self.settings)

    def photo(self, seed: int, **what: Any) -> Path:
        return self.saved(self.plan(seed=seed, size_px=self.size_px, **what), CACHE)

    def job(self, photo: Path) -> Any:
        from dryslate.app.correction_records import CorrectJob

        return CorrectJob(
            path=photo,
            name=photo.name,
            reader=self.reader,
            settings=self.settings,
            cards=self.wanted.marked,
            colour=self.colour,
            corrected_path=self.out / f"{photo.stem}-corrected.jpg",
            preview_path=self.out / f"{photo.stem}-preview.jpg",
        )


def floor_of(photo: Path, bench: Bench) -> Callable[[], bytes]:
    """The floor F for one photo: decode, the shipped kernel in place, encode."""
    import simplejpeg

    from dryslate.core.colour.apply import apply_correction

    data, lut = photo.read_bytes(), bench.reader.read(photo).linear_lut
    fit = root_correction()

    def floor() -> bytes:
        pixels = simplejpeg.decode_jpeg(data, "RGB")
        apply_correction(pixels, lut, fit, out=pixels)
        encoded: bytes = simplejpeg.encode_jpeg(pixels, 92, "RGB", "444")
        return encoded

    return floor


def root_correction() -> Any:
    """A root-polynomial correction with veil and light field, as a blue-green photo needs."""
    import numpy as np

    from dryslate.core.colour.correction import Correction, LightField

    matrix = np.array(
        [
            [2.9, -0.3, 0.1, -0.5, 0.2, 0.1],
            [-0.2, 1.3, 0.1, 0.2, -0.1, 0.1],
            [0.1, -0.4, 1.2, 0.1, 0.3, -0.2],
        ]
    )
    field = LightField(
        centre_px=np.array([3000.0, 2000.0]),
        log_per_px=np.array([6e-5, -4e-5]),
        log_lo=-0.2,
        log_hi=0.2,
    )
    veil = np.array([0.004, 0.02, 0.03])
    return Correction(
        fit="root_polynomial_2", tone=(0.1, 0.2), veil=veil, matrix=matrix, field=field
    )


def measure_kernel(bench: Bench, repeats: int) -> list[Figure]:
    """Nanoseconds a pixel of the shipped kernel, and its error against float64."""
    import numpy as np

    from dryslate.core.colour.apply import apply_correction
    from dryslate.core.colour.correction import correct_linear
    from dryslate.core.colour.spaces import linear_to_srgb

    photo = bench.reader.read(bench.photo(1, has_chart=True))
    fit, out = root_correction(), np.empty_like(photo.pixels)
    taken = in_turn(
        {"kernel": lambda: apply_correction(photo.pixels, photo.linear_lut, fit, out=out)}, repeats
    )
    n_px = photo.pixels.shape[0] * photo.pixels.shape[1]
    worst, total, count = 0.0, 0.0, 0
    for y in range(0, photo.pixels.shape[0], 97):
        row = photo.pixels[y]
        values = np.stack([photo.linear_lut[row[:, c], c] for c in range(3)], axis=-1)
        xy = np.column_stack([np.arange(row.shape[0]), np.full(row.shape[0], y)])
        exact = np.rint(255 * linear_to_srgb(np.clip(correct_linear(values, xy, fit), 0, 1)))
        error = np.abs(out[y] - exact)
        worst, total, count = max(worst, error.max()), total + error.sum(), count + error.size
    return [
        at_most("kernel, root-polynomial", taken["kernel"] / n_px * 1e9, "ns a pixel", 3.5),
        at_most("kernel, largest error", worst, "levels", 1, f"mean {total / count:.4f}"),
    ]


def measure_one_core(bench: Bench, repeats: int) -> tuple[list[Figure], float]:
    """Whole job with and without a card against F; returns the figures and the job's seconds."""
    from dryslate.app.correct_one import correct_one

    card, bare = bench.photo(1, has_chart=True), bench.photo(2, has_card=False)
    answers = [correct_one(bench.job(p)).outcome for p in (card, bare)]
    if answers != ["corrected", "no_card"]:
        raise SystemExit(f"expected a corrected photo and one without a card, got {answers}")
    taken = in_turn(
        {
            "F": floor_of(card, bench),
            "card": lambda: correct_one(bench.job(card)),
            "F bare": floor_of(bare, bench),
            "bare": lambda: correct_one(bench.job(bare)),
        },
        repeats,
    )
    floor = taken["F"]
    return [
        Figure(name="floor F", value=floor * 1e3, unit="ms", target="", is_met=None),
        at_most(
            "whole job, one core",
            taken["card"] / floor,
            "x F",
            1.5,
            f"{taken['card'] * 1e3:.0f} ms",
        ),
        at_most(
            "photo without a card",
            taken["bare"] / taken["F bare"],
            "x F",
            2.5,
            f"{taken['bare'] * 1e3:.0f} ms",
        ),
    ], taken["card"]


def measure_two_cores(bench: Bench, n_photos: int) -> list[Figure]:
    """Wall time a photo with two workers over that with one, on the same photos."""
    from dryslate.app.correct_one import correct_one
    from dryslate.batch.local_runner import LocalRunner

    jobs = [bench.job(bench.photo(100 + i)) for i in range(n_photos)]
    half = len(jobs) // 2
    taken = {1: 0.0, 2: 0.0}
    for part in (jobs[:half], jobs[half:]):  # in turn, so that a slow spell hits both
        for workers in (1, 2):
            start = time.perf_counter()
            for job, answer in LocalRunner(workers).run(correct_one, part):
                if getattr(answer, "outcome", None) != "corrected":
                    raise SystemExit(f"{job.name}: {answer}")
            taken[workers] += time.perf_counter() - start
    note = f"{taken[1] / len(jobs) * 1e3:.0f} and {taken[2] / len(jobs) * 1e3:.0f} ms a photo"
    return [
        at_most("two cores over one, a photo", taken[2] / taken[1], "", 0.55, note),
    ]


def peak_mb() -> float:
    """Peak resident memory of this process since it began its program (Linux)."""
    for line in Path("/proc/self/status").read_text("ascii").splitlines():
        if line.startswith("VmHWM"):
            return int(line.split()[1]) / 1024
    return float("nan")


MEMORY = """
import sys
sys.path[:0] = [{root!r}]
from pathlib import Path
from bench.speed import Bench, peak_mb
from dryslate.app.correct_one import correct_one
from dryslate.batch.local_runner import LocalRunner
bench = Bench(Path({out!r}), {size!r})
jobs = [bench.job(bench.photo(100 + i)) for i in range(6)]
list(LocalRunner({workers}).run(correct_one, jobs))
print(peak_mb())
"""


def measure_memory(bench: Bench) -> list[Figure]:
    """Peak memory of a process with one and with two workers, less three frames each."""
    frame = bench.size_px[0] * bench.size_px[1] * 3 / 2**20
    figures = []
    for workers in (1, 2):
        code = MEMORY.format(
            root=str(ROOT), out=str(bench.out), size=bench.size_px, workers=workers
        )
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        )
        peak = float(done.stdout)
        limit = 150.0 + 3 * frame * workers
        note = f"150 MB + 3 frames of {frame:.0f} MB a worker"
        figures.append(at_most(f"peak memory, {workers} at a time", peak, "MB", limit, note))
    return figures


def measure_start() -> list[Figure]:
    """Seconds until the command answers, and until it has corrected a small photo."""
    start = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "dryslate.cli.main", "correct", "--help"],
        capture_output=True,
        check=True,
    )
    return [at_most("start of the command", time.perf_counter() - start, "s", 0.6)]


def measure_peers(bench: Bench, ours_s: float, repeats: int) -> list[Figure]:
    """General-purpose chains on the same photos; each in a process of its own."""
    if not PEER_PYTHON.exists():
        note = "no .venv-bench: pip install --no-deps -r requirements-bench.lock there"
        return [Figure(name="peers", value=None, unit="", target="", is_met=None, note=note)]
    photos = [
        bench.photo(1, has_chart=True),
        bench.photo(7, has_chart=True, tilt_deg=0.0),
        bench.photo(8, has_chart=True, tilt_deg=10.0),
    ]
    figures = []
    ratios: dict[str, list[float]] = {"documented": [], "tuned": []}
    for name in peer_names():
        answer = run_peer(name, photos, bench, repeats)
        good = [r[0] for r, found in zip(answer["runs"], answer["found"], strict=True) if found]
        n_found, n = sum(answer["found"]), len(answer["found"])
        note = f"target found in {n_found} of {n} runs, peak {answer['peak_mb']:.0f} MB"
        if not good:
            figures.append(
                Figure(name=name, value=None, unit="x", target="", is_met=None, note=note)
            )
            continue
        ratio = statistics.median(good) / ours_s
        ratios["tuned" if "tuned" in name else "documented"].append(ratio)
        figures.append(
            Figure(
                name=name,
                value=ratio,
                unit="x our whole job",
                target="",
                is_met=None,
                note=f"{statistics.median(good):.2f} s; {note}",
            )
        )
    if ratios["documented"]:
        figures.append(at_least("fastest as documented", min(ratios["documented"]), "x", 10))
    if ratios["tuned"]:
        figures.append(at_least("fastest tuned", min(ratios["tuned"]), "x", 5))
    return figures


def peer_names() -> list[str]:
    """The chains by name, read from the peers' own module without importing it."""
    tree = ast.parse(PEERS.read_text("utf-8"))
    table = next(
        node.value
        for node in tree.body
        if isinstance(node, ast.AnnAssign) and ast.unparse(node.target) == "CHAINS"
    )
    assert isinstance(table, ast.Dict)
    return [str(ast.literal_eval(key)) for key in table.keys if key is not None]


def run_peer(name: str, photos: Sequence[Path], bench: Bench, repeats: int) -> dict[str, Any]:
    """Run one chain in the peers' environment."""
    from dryslate.core.colour.spaces import lab_to_linear_srgb

    target = bench.tables.card("target24")
    request = {
        "chain": name,
        "photos": [str(p) for p in photos],
        "out": str(bench.out / "peer.jpg"),
        "reference_linear": lab_to_linear_srgb([p.lab_d65 for p in target.patches]).tolist(),
        "repeats": repeats,
    }
    done = subprocess.run(
        [str(PEER_PYTHON), str(PEERS), json.dumps(request)],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        raise SystemExit(f"{name}: {done.stderr[-800:]}")
    answer: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answer


def measure_trip(bench: Bench, n_photos: int) -> list[Figure]:
    """From memory card to corrected list in a project, with two workers; stated for 600 photos."""
    card = bench.out / "card"
    card.mkdir()
    for i in range(n_photos):
        shutil.copy(bench.photo(100 + i), card / f"P{i:04d}.jpg")
    project = bench.out / "trip"
    command = [sys.executable, "-m", "dryslate.cli.main"]
    begun = time.perf_counter()
    take = ["take", str(card), "--into", str(project), "--visit", "Made", "2031-05-04"]
    subprocess.run([*command, *take, "--observer", "Bench"], check=True, capture_output=True)
    taken_s = time.perf_counter() - begun
    done = subprocess.run(
        [*command, "correct", "--project", str(project), "--json", "--jobs", "2"],
        capture_output=True,
        text=True,
        check=False,
    )
    whole_s = time.perf_counter() - begun
    n_done = sum(json.loads(line)["corrected"] is not None for line in done.stdout.splitlines())
    note = f"{n_done} of {n_photos} corrected, take {taken_s:.1f} s of {whole_s:.1f} s"
    minutes = whole_s / n_photos * 600 / 60
    return [at_most("600 photos from card to list", minutes, "min", 8, note)]


def run(*, quick: bool = False, with_peers: bool = True) -> dict[str, Any]:
    """Measure everything; returns the figures by name."""
    size = (3000, 2000) if quick else (6000, 4000)
    repeats = 3 if quick else 7
    with tempfile.TemporaryDirectory(prefix="dryslate-speed-") as folder:
        bench = Bench(Path(folder), size)
        figures = measure_kernel(bench, repeats)
        core, ours_s = measure_one_core(bench, repeats)
        figures += core
        figures += measure_two_cores(bench, 8 if quick else N_BATCH)
        figures += measure_memory(bench)
        figures += measure_start()
        if with_peers and not quick:
            figures += measure_peers(bench, ours_s, 2)
        figures += measure_trip(bench, 6 if quick else N_TRIP)
    return {
        "figures": {f.name: f.as_dict() for f in figures},
        "size_px": size,
        "n_cores": len(os.sched_getaffinity(0)),
        "load_before": os.getloadavg()[0],
    }


def show(outcome: dict[str, Any]) -> str:
    """The figures as a table."""
    lines = [f"{'figure':58} {'measured':>10} {'unit':16} {'target':>8}  met"]
    for f in outcome["figures"].values():
        value = "-" if f["value"] is None else f"{f['value']:.3g}"
        met = {True: "yes", False: "NO", None: ""}[f["is_met"]]
        lines.append(f"{f['name']:58} {value:>10} {f['unit']:16} {f['target']:>8}  {met}")
        if f["note"]:
            lines.append(f"{'':6}{f['note']}")
    return "\n".join(lines)


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--quick", action="store_true", help="6 MP, few repeats, no peers")
    parser.add_argument("--no-peers", action="store_true")
    parser.add_argument("--json", type=Path, help="also write the figures to this file")
    options = parser.parse_args(argv)
    outcome = run(quick=options.quick, with_peers=not options.no_peers)
    print(show(outcome))
    if options.json:
        options.json.write_text(json.dumps(outcome, indent=1))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
