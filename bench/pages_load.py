"""
Eight people at once, and a server that is killed: ``python -m bench.pages_load PROJECT``.

Half of the people save names of corals without a pause, the others read pages; every answer that
was acknowledged has to be in the records afterwards. Then the server is killed (SIGKILL) at random
moments while somebody saves, started again, and the same is asked. Works on copies of the project.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import httpx2
import numpy as np

from dryslate import wiring

GENERA = ("Favites", "Goniastrea", "Platygyra", "Dipsastraea", "Acropora", "Porites")


class Server:
    """`dryslate serve` in a process of its own."""

    def __init__(self, project: Path, port: int) -> None:
        words = [sys.executable, "-m", "dryslate.cli.main", "serve", str(project)]
        began = time.perf_counter()
        self.process = subprocess.Popen(
            [*words, "--port", str(port)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        while line and not line.startswith("Open: "):
            line = self.process.stdout.readline()
        self.address = line.removeprefix("Open: ").strip()
        self.base = self.address.split("/?")[0]
        while True:
            try:
                httpx2.get(self.base + "/sign-in")
                break
            except httpx2.TransportError:
                time.sleep(0.005)
        self.start_s = time.perf_counter() - began

    def kill(self) -> None:
        """Pull the plug."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def person(self, name: str) -> tuple[httpx2.Client, dict[str, str]]:
        """Sign somebody in; returns the client and the headers that changes need."""
        client = httpx2.Client(base_url=self.base, follow_redirects=True, timeout=30.0)
        html = client.get(self.address).text
        found = re.search(r'<meta name="token" content="([^"]+)"', html)
        assert found
        headers = {"x-dryslate-token": found[1], "origin": self.base}
        client.post("/people/new", data={"observer": name}, headers=headers)
        return client, headers


@dataclass
class Told:
    """What one person saw: times of requests, errors, and what the server acknowledged."""

    times_s: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)


def timed(told: Told, ask: Callable[[], httpx2.Response]) -> httpx2.Response | None:
    """Ask, and note how long it took and whether it failed."""
    began = time.perf_counter()
    answer = ask()
    told.times_s.append(time.perf_counter() - began)
    if answer.status_code >= 400:
        told.errors.append(f"{answer.status_code} {answer.request.url}")
        return None
    return answer


def save_name(
    person: tuple[httpx2.Client, dict[str, str]], record: str, told: Told, n: int
) -> None:
    """Save one name; what the server acknowledged is noted."""
    client, headers = person
    seen = {"seen": {"growth_form": ["massive"]}}
    body = {"name": GENERA[n % len(GENERA)], "confidence": 1 + n % 5, "evidence": seen}
    answer = timed(told, lambda: client.post(f"/corals/{record}/names", json=body, headers=headers))
    if answer is not None:
        told.kept.append(answer.json()["id"])


def load(project: Path, seconds: float, port: int) -> dict[str, object]:
    """Let eight people work at once."""
    server = Server(project, port)
    with wiring.survey_store(project, write=False) as store:
        records = [r.record_id for r in store.records()]
        photos = [p.photo_id for p in store.photos()]
    ends = time.perf_counter() + seconds
    everybody = [Told() for _ in range(8)]

    def work(k: int) -> None:
        person, told, n = server.person(f"person {k}"), everybody[k], 0
        pages = ("/", "/corals", f"/corals/{records[k]}", "/photos", f"/photos/{photos[k]}")
        while time.perf_counter() < ends:
            if k % 2:
                save_name(person, records[(k + n) % len(records)], told, n)
            else:
                timed(told, partial(person[0].get, pages[n % len(pages)]))
            n += 1
            time.sleep(0.25)  # nobody types faster

    threads = [threading.Thread(target=work, args=(k,)) for k in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    server.kill()
    times = np.concatenate([t.times_s for t in everybody])
    kept = [one for t in everybody for one in t.kept]
    return {
        "server_start_s": round(server.start_s, 3),
        "n_requests": len(times),
        "n_saved": len(kept),
        "n_errors": sum(len(t.errors) for t in everybody),
        "errors": [e for t in everybody for e in t.errors][:5],
        "n_lost": len(set(kept) - stored(project)),
        "median_ms": round(1000 * float(np.median(times)), 1),
        "p95_ms": round(1000 * float(np.percentile(times, 95)), 1),
    }


def stored(project: Path) -> set[str]:
    """Return the ids of all identifications in the records."""
    with wiring.survey_store(project, write=False) as store:
        return {row.identification_id for row in store.identifications()}


def killed(project: Path, times: int, port: int, seed: int) -> dict[str, object]:
    """Kill the server at random moments while somebody saves; start it again and go on."""
    chance = random.Random(seed)
    with wiring.survey_store(project, write=False) as store:
        records = [r.record_id for r in store.records()]
    told = Told()
    for k in range(times):
        server = Server(project, port + k % 20)
        person = server.person("person 1")
        timer = threading.Timer(chance.uniform(0.01, 1.5), server.kill)
        timer.start()
        for n in range(10_000):
            try:
                save_name(person, records[n % len(records)], told, n + k)
            except (httpx2.TransportError, ValueError):
                break
        timer.join()
    kept = set(told.kept)
    with wiring.survey_store(project, write=True, who="bench") as store:
        is_sound = len(store.identifications()) >= len(kept)
    left = [str(p) for p in project.rglob("*") if p.suffix == ".part"]
    return {
        "n_kills": times,
        "n_acknowledged": len(kept),
        "n_lost": len(kept - stored(project)),
        "opens_again": is_sound,
        "half_files_visible": [p for p in left if not Path(p).name.startswith(".")],
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("project", type=Path)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--port", type=int, default=8500)
    parser.add_argument("--seed", type=int, default=11)
    args = parser.parse_args()
    found = {}
    with tempfile.TemporaryDirectory(prefix="dryslate-load-") as folder:
        one = Path(shutil.copytree(args.project, Path(folder) / "one"))
        found["eight_people"] = load(one, args.seconds, args.port)
        two = Path(shutil.copytree(args.project, Path(folder) / "two"))
        found["killed"] = killed(two, args.kills, args.port + 1, args.seed)
    print(json.dumps(found, indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(main())
