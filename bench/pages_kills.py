"""
A server killed (SIGKILL) at random moments while somebody saves, sends photos, or corrects.

After every kill it is started again, and the records are asked: what was acknowledged is there,
the database is whole, and no file that can be seen is half written.
"""

from __future__ import annotations

import hashlib
import json
import random
import sqlite3
import struct
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import httpx2
from bench.pages_project import GENERA
from bench.pages_server import Person, Server
from bench.speed import Figure, at_most

from dryslate import wiring

VISIT = {"site": "Sent Reef", "date": "2031-05-09", "observer": "Bench", "second": ""}
PORTS = ("flat", "dome", "none")
JPEG_ENDS = b"\xff\xd9"


@dataclass
class Toll:
    """What the kills cost; all of it has to stay zero or empty."""

    n_kills: int = 0
    n_acknowledged: int = 0
    lost: list[str] = field(default_factory=list)
    half: list[str] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)

    def add(self, other: Toll) -> None:
        self.n_kills += other.n_kills
        self.n_acknowledged += other.n_acknowledged
        self.lost += other.lost
        self.half += other.half
        self.broken += other.broken


def kill_within(server: Server, seconds: float, work: Callable[[], None]) -> None:
    """Let `work` go on until the server is killed, at that moment."""
    timer = threading.Timer(seconds, server.kill)
    timer.start()
    try:
        while timer.is_alive():
            work()
    except (httpx2.TransportError, ValueError):
        pass  # an answer that broke off was not acknowledged
    timer.join()


def check_files(project: Path, toll: Toll) -> None:
    """Look for files that can be seen and are not whole; and at the database."""
    with sqlite3.connect(project / "dryslate.sqlite") as db:
        (said,) = db.execute("PRAGMA integrity_check").fetchone()
        derived = dict(db.execute("SELECT path, sha256 FROM derived_files").fetchall())
        rows = db.execute("SELECT corrected_path FROM corrections WHERE corrected_path NOT NULL")
        told = {row[0] for row in rows}
        kept = db.execute("SELECT kept_path, sha256 FROM originals").fetchall()
    db.close()
    if said != "ok":
        toll.broken.append(said)
    for path, sha256 in [*derived.items(), *kept]:
        place = project / path
        if not place.is_file():
            toll.lost.append(path)
        elif hashlib.sha256(place.read_bytes()).hexdigest() != sha256:
            toll.half.append(path)
    toll.lost += [path for path in told if not (project / path).is_file()]
    for place in (project / "originals").rglob("*"):
        is_seen = place.is_file() and not place.name.startswith(".")
        if is_seen and hashlib.sha256(place.read_bytes()).hexdigest() != place.name.split(".")[0]:
            toll.half.append(place.name)
    for place in (project / "derived").rglob("*"):
        if place.is_file() and not place.name.startswith(".") and not _is_whole(place):
            toll.half.append(place.name)


def _is_whole(place: Path) -> bool:
    """Tell whether a picture, or the last tile of a pyramid, ends as it should."""
    data = place.read_bytes()
    if place.suffix == ".tiles":
        line = data.index(b"\n") + 1
        (length,) = struct.unpack("<I", data[line : line + 4])
        index = json.loads(data[line + 4 : line + 4 + length])
        return len(data) == line + 4 + length + index["begins"][-1]
    return data.endswith(JPEG_ENDS)


def names(project: Path) -> set[str]:
    """Return the ids of all identifications in the records."""
    with wiring.survey_store(project, write=False) as store:
        return {row.identification_id for row in store.identifications()}


def records(project: Path) -> list[str]:
    with wiring.survey_store(project, write=False) as store:
        return [r.record_id for r in store.records()]


def save_name(person: Person, record: str, n: int) -> httpx2.Response:
    """Ask to save one name."""
    body = {
        "name": GENERA[n % len(GENERA)],
        "confidence": 1 + n % 5,
        "evidence": {"seen": {"growth_form": ["massive"]}},
    }
    return person[0].post(f"/corals/{record}/names", json=body, headers=person[1])


class Saver:
    """Somebody who saves names one after another, and remembers what was acknowledged."""

    def __init__(self, all_records: list[str]) -> None:
        self.records, self.n, self.kept = all_records, 0, set[str]()

    def save(self, person: Person) -> None:
        self.n += 1
        answer = save_name(person, self.records[self.n % len(self.records)], self.n)
        answer.raise_for_status()
        self.kept.add(answer.json()["id"])


def kill_in_entry(project: Path, n_kills: int, chance: random.Random) -> Toll:
    """Kill while somebody saves names."""
    toll, saver = Toll(), Saver(records(project))
    for _ in range(n_kills):
        server = Server(project)
        person = server.person()
        kill_within(server, chance.uniform(0.01, 2.0), lambda: saver.save(person))  # noqa: B023
        toll.lost += sorted(saver.kept - names(project))
        check_files(project, toll)
    toll.n_kills, toll.n_acknowledged = n_kills, len(saver.kept)
    return toll


class Sender:
    """Somebody who sends a folder of photos from a browser, going on where it stopped."""

    def __init__(self, photos: dict[str, bytes]) -> None:
        self.photos = photos
        self.kept: set[str] = set()
        self.batch = ""
        self.is_taken = False

    def send(self, person: Person) -> None:
        """Send what is missing, then have it taken in; wait for that."""
        client, headers = person
        said = [{"path": p, "size": len(d), "modified_ms": 0} for p, d in self.photos.items()]
        asked = client.post("/take/upload/begin", json={**VISIT, "files": said}, headers=headers)
        begun = asked.raise_for_status().json()
        self.batch, paths = begun["batch"], list(self.photos)
        for place in begun["missing"]:
            self._send_one(person, paths[place])
        ended = client.post("/take/upload/end", json=VISIT, headers=headers).raise_for_status()
        job = ended.json()["page"].rsplit("/", 1)[1]
        while client.get(f"/jobs/{job}").raise_for_status().json()["state"] == "running":
            time.sleep(0.02)
        self.is_taken = True

    def _send_one(self, person: Person, path: str) -> None:
        data = self.photos[path]
        told = {
            "batch": self.batch,
            "path": path,
            "size": len(data),
            "modified_ms": 0,
            "sha256": hashlib.sha256(data).hexdigest(),
        }
        pieces = (data[at : at + 65536] for at in range(0, len(data), 65536))
        headers = {**person[1], "content-type": "application/octet-stream"}
        person[0].post(
            "/take/upload", params=told, content=pieces, headers=headers
        ).raise_for_status()
        self.kept.add(path)

    def check(self, project: Path, toll: Toll) -> None:
        """Every file that was acknowledged is there whole: among those sent, or taken in."""
        whole = project / "incoming" / self.batch / "card"
        for place in whole.rglob("*") if self.batch else ():
            path = place.relative_to(whole).as_posix()
            if place.is_file() and place.read_bytes() != self.photos[path]:
                toll.half.append(path)
        vault = wiring.vault(project)
        for path in self.kept:
            sha256 = hashlib.sha256(self.photos[path]).hexdigest()
            if not (whole / path).is_file() and not vault.has(sha256, path):
                toll.lost.append(path)


def kill_in_upload(project: Path, n_kills: int, chance: random.Random) -> Toll:
    """Kill while somebody sends photos and they are taken in; in the end all are there."""
    toll = Toll()
    with wiring.survey_store(project, write=False) as store:
        paths = [project / o.kept_path for o in store.originals()]
    pattern = min((p.read_bytes() for p in paths), key=len)
    n_round = 0
    sender = _sender(pattern, n_round)
    for _ in range(n_kills):
        if sender.is_taken:
            toll.n_acknowledged += len(sender.kept)
            n_round += 1
            sender = _sender(pattern, n_round)
        server = Server(project)
        person = server.person()
        kill_within(server, chance.uniform(0.01, 2.0), lambda: _go_on(sender, person))  # noqa: B023
        sender.check(project, toll)
        check_files(project, toll)
        toll.n_kills += 1
    server = Server(project)
    sender.is_taken = False
    sender.send(server.person())
    server.kill()
    sender.check(project, toll)
    check_files(project, toll)
    toll.n_acknowledged += len(sender.kept)
    return toll


def _sender(pattern: bytes, n: int) -> Sender:
    """Somebody with twenty photos that the project does not have."""
    return Sender({f"DCIM/S{n}_{k:02d}.JPG": pattern + f"{n} {k}".encode() for k in range(20)})


def _go_on(sender: Sender, person: Person) -> None:
    """Send, or wait for the kill when all is taken in."""
    if sender.is_taken:
        time.sleep(0.01)
    else:
        sender.send(person)


def kill_in_correction(project: Path, n_kills: int, chance: random.Random) -> Toll:
    """Kill while photos are corrected and somebody saves names beside it."""
    toll, saver = Toll(), Saver(records(project))
    for n in range(n_kills):
        server = Server(project)
        person = server.person()
        _correct(person, PORTS[n % len(PORTS)])
        kill_within(server, chance.uniform(0.05, 2.5), lambda: saver.save(person))  # noqa: B023
        toll.lost += sorted(saver.kept - names(project))
        check_files(project, toll)
    server = Server(project)
    person = server.person()
    _correct(person, PORTS[n_kills % len(PORTS)])  # goes on where the last one stopped
    while person[0].get("/jobs").json()["jobs"]:
        time.sleep(0.1)
    server.kill()
    check_files(project, toll)
    with wiring.survey_store(project, write=False) as store:
        done = {row.photo_id for row in store.corrections() if row.corrected_path}
        toll.lost += [p.photo_id for p in store.photos() if p.photo_id not in done]
    toll.n_kills, toll.n_acknowledged = n_kills, len(saver.kept)
    return toll


def _correct(person: Person, port: str) -> None:
    """Have every photo corrected, as if behind another port than the last time."""
    form = {"port": port, "again": "all"}
    person[0].post("/photos/correct", data=form, headers=person[1]).raise_for_status()


def measure(projects: Callable[[str], Path], n_kills: int, seed: int) -> list[Figure]:
    """Kill in all three kinds of work; returns the figures."""
    toll = Toll()
    shares = {kill_in_entry: 0.4, kill_in_upload: 0.3, kill_in_correction: 0.3}
    for n, (part, share) in enumerate(shares.items()):
        chance = random.Random(seed + n)
        toll.add(part(projects(part.__name__), round(n_kills * share), chance))
    note = f"{toll.n_kills} kills, {toll.n_acknowledged} acknowledged answers and files"
    return [
        at_most("killed: acknowledged answers lost", len(toll.lost), "", 0, note),
        at_most("killed: half-written files visible", len(toll.half), "", 0, str(toll.half[:5])),
        at_most("killed: faults in the database", len(toll.broken), "", 0, str(toll.broken[:5])),
    ]
