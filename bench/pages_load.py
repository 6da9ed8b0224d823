"""
Eight people at once on one server: half of them save names of corals, the others read pages.

A bounded load on the loopback address. Every answer that was acknowledged has to be in the records
afterwards.
"""

from __future__ import annotations

import threading
import time
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

import httpx2
import numpy as np
from bench.pages_kills import names, save_name
from bench.pages_server import Server
from bench.speed import Figure, at_most

from dryslate import wiring

N_PEOPLE = 8
PAUSE_S = 0.25
"""Between an answer and the next request of the same person: nobody types faster."""


@dataclass
class Told:
    """What one person saw: how long requests took, what went wrong, what was acknowledged."""

    times_ms: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    errors: list[str] = field(default_factory=list)
    kept: set[str] = field(default_factory=set)

    def note(self, kind: str, began: float, answer: httpx2.Response) -> bool:
        self.times_ms[kind].append(1000 * (time.perf_counter() - began))
        if answer.status_code >= 400:
            self.errors.append(f"{answer.status_code} {answer.request.url}")
        return answer.status_code < 400


class Load:
    """A server, and what can be asked of its project."""

    def __init__(self, project: Path, seconds: float) -> None:
        with wiring.survey_store(project, write=False) as store:
            self.records = [r.record_id for r in store.records()]
            self.photos = [p.photo_id for p in store.photos()]
        self.server = Server(project)
        time.sleep(3.0)  # what is loaded beside the first answers is there
        self.ends = time.perf_counter() + seconds

    def work(self, k: int, told: Told) -> None:
        """Be person k."""
        client, headers = self.server.person(f"person {k}")
        n = 0
        while time.perf_counter() < self.ends:
            n += 1
            began = time.perf_counter()
            try:
                if k % 2:
                    record = self.records[(k + 8 * n) % len(self.records)]
                    answer = save_name((client, headers), record, n)
                    if told.note("save a name", began, answer):
                        told.kept.add(answer.json()["id"])
                else:
                    kind, path = self._page(k, n)
                    told.note(kind, began, client.get(path))
            except httpx2.TransportError as error:
                told.errors.append(repr(error))
            time.sleep(PAUSE_S)

    def _page(self, k: int, n: int) -> tuple[str, str]:
        """A page to read next, and what kind it is."""
        record = self.records[(k + n) % len(self.records)]
        photo = self.photos[(k + n) % len(self.photos)]
        pages = (
            ("what is left", "/"),
            ("corals", "/corals"),
            ("one coral", f"/corals/{record}"),
            ("photos", "/photos"),
            ("one photo", f"/photos/{photo}"),
        )
        return pages[n % len(pages)]


def measure(project: Path, seconds: float) -> list[Figure]:
    """Let eight people work at once; returns the figures."""
    load = Load(project, seconds)
    everybody = [Told() for _ in range(N_PEOPLE)]
    threads = [threading.Thread(target=load.work, args=(k, t)) for k, t in enumerate(everybody)]
    for thread in threads:
        thread.start()
    strayed: set[str] = set()
    while any(thread.is_alive() for thread in threads):
        strayed |= load.server.talks_to()
        time.sleep(1.0)
    load.server.kill()
    kept = set().union(*(told.kept for told in everybody))
    errors = [error for told in everybody for error in told.errors]
    kinds = sorted({kind for told in everybody for kind in told.times_ms})
    by_kind = {kind: [ms for t in everybody for ms in t.times_ms[kind]] for kind in kinds}
    times = np.concatenate(list(by_kind.values()))
    each = ", ".join(f"{kind} {np.percentile(ms, 95):.0f}" for kind, ms in by_kind.items())
    note = (
        f"{len(times)} requests in {seconds:.0f} s, median {np.median(times):.0f} ms; 95th: {each}"
    )
    return [
        at_most("eight people: errors", len(errors), "", 0, "; ".join(errors[:3])),
        at_most(
            "eight people: lost writes", len(kept - names(project)), "", 0, f"{len(kept)} saved"
        ),
        at_most("eight people: an answer, 95th", np.percentile(times, 95), "ms", 200, note),
        at_most("eight people: server speaks elsewhere", len(strayed), "", 0),
    ]
