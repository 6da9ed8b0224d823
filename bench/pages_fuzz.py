"""
Requests made up from our own OpenAPI document: no answer may be a fault of the server.

``python -m bench.pages_fuzz --cases 5000``. Every operation gets its share; half of the cases fit
the document, half break it. The server runs in this process on a copy of the project.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import shutil
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx2
import hypothesis
import schemathesis
from fastapi import FastAPI
from fastapi.testclient import TestClient
from schemathesis.generation import GenerationMode

from dryslate import wiring
from dryslate.core.survey.designs import DESIGNS
from dryslate.web.app import create_app
from dryslate.web.settings import ServeSettings

BASE = "http://127.0.0.1:8321"
OBSERVER = "Ines Varro"
TURNS = 6
LEFT_OUT = ("/events", "/sign-out")
"""Ends of addresses that answer as long as something runs, or end the session; tested apart."""


def fuzz(project: Path, n_cases: int, seed: int) -> dict[str, Any]:
    """
    Send made-up requests to the pages of a project, which is changed by them.

    Returns
    -------
    dict
        ``n_cases``, ``n_operations``, ``faults`` (operation, status, what was sent) and ``status``
        counts.
    """
    app = create_app(ServeSettings(project=project, token="key"))
    with TestClient(app, base_url=BASE, raise_server_exceptions=False) as client:
        headers = _signed_in(client)
        document = client.get("/openapi.json").json()
        schema = schemathesis.openapi.from_dict(document)
        operations = [
            found.ok()
            for found in schema.get_all_operations()
            if not found.ok().path.endswith(LEFT_OUT)
        ]
        status: Counter[int] = Counter()
        faults: list[dict[str, Any]] = []
        for turn in range(TURNS):  # some operations have fewer ways to be asked than their share
            missing = n_cases - sum(status.values())
            if missing <= 0:
                break
            each = -(-missing // len(operations))
            known = _known_names(project)  # what was made in the turn before is known in the next
            for n, operation in enumerate(operations):
                at = seed + turn * len(operations) + n
                tried = _Tried(operation=operation, n=each, seed=at, known=known)
                _try(client, headers, tried, (status, faults))
        _stop_jobs(app)
    return {
        "n_cases": sum(status.values()),
        "n_operations": len(operations),
        "n_faults": len(faults),
        "status": {str(k): v for k, v in sorted(status.items())},
        "faults": faults[:20],
    }


def _signed_in(client: TestClient) -> dict[str, str]:
    """Open a session, pick an observer; returns the headers that changes need."""
    client.get("/?key=key")
    found = re.search(r'<meta name="token" content="([^"]+)"', client.get("/").text)
    assert found
    headers = {"x-dryslate-token": found[1], "origin": BASE}
    client.post("/people/pick", data={"observer": OBSERVER}, headers=headers)
    return headers


@dataclass(frozen=True, kw_only=True)
class _Tried:
    """One operation, how many requests it gets, and names that the project knows."""

    operation: Any
    n: int
    seed: int
    known: dict[str, list[str]]


def _known_names(project: Path) -> dict[str, list[str]]:
    """Names that stand in addresses, so that requests also get past the first check."""
    with wiring.survey_store(project, write=False) as store:
        return {
            "photo_id": [p.photo_id for p in store.photos()],
            "record_id": [r.record_id for r in store.records()],
            "name": [c.name for c in wiring.reference_tables(project).cards()],
            "visit_id": [v.visit_id for v in store.visits()],
            "unit_id": [u.unit_id for u in store.units()],
            "organism_id": [c.organism_id for c in store.colonies()],
            "design": list(DESIGNS),
            "variant": ["original", "corrected"],
        }


def _try(
    client: TestClient,
    headers: dict[str, str],
    tried: _Tried,
    told: tuple[Counter[int], list[dict[str, Any]]],
) -> None:
    """Send made-up requests of one operation; two in three name things that there are."""
    status, faults = told
    operation, n, seed = tried.operation, tried.n, tried.seed
    chance = random.Random(seed)

    def check(case: Any) -> None:
        if chance.random() < 2 / 3:
            for key in case.path_parameters or {}:
                if tried.known.get(key):
                    case.path_parameters[key] = chance.choice(tried.known[key])
        sent = case.as_transport_kwargs(base_url=BASE)
        sent["headers"] = {**dict(sent.get("headers") or {}), **headers}
        sent.pop("cookies", None)
        try:
            answer = client.request(**{**sent, "follow_redirects": False})
        except (
            ValueError,
            TypeError,
            UnicodeError,
            httpx2.InvalidURL,
        ):  # no client could send this
            return
        status[answer.status_code] += 1
        if answer.status_code >= 500 and answer.status_code not in (501, 503):
            place = f"{operation.method.upper()} {operation.path}"
            faults.append({"place": place, "status": answer.status_code, "sent": repr(sent)[:400]})

    for mode, count in ((GenerationMode.POSITIVE, -(-n // 2)), (GenerationMode.NEGATIVE, n // 2)):
        if not count:
            continue
        try:
            strategy = operation.as_strategy(generation_mode=mode)
            _given(strategy, check, count, seed)
        except (hypothesis.errors.Unsatisfiable, hypothesis.errors.UnsatisfiedAssumption):
            continue  # nothing about this operation can be broken


def _given(strategy: Any, check: Any, count: int, seed: int) -> None:
    """Draw `count` cases and send them."""
    settings = hypothesis.settings(
        max_examples=count,
        database=None,
        deadline=None,
        phases=[hypothesis.Phase.generate],
        suppress_health_check=list(hypothesis.HealthCheck),
    )
    hypothesis.seed(seed)(settings(hypothesis.given(strategy)(check)))()


def _stop_jobs(app: FastAPI) -> None:
    """End whatever the requests started."""
    app.state.reach.jobs.stop_all(30.0)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("project", type=Path)
    parser.add_argument("--cases", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=20261125)
    args = parser.parse_args()
    began = time.perf_counter()
    with tempfile.TemporaryDirectory(prefix="dryslate-fuzz-") as folder:
        project = Path(shutil.copytree(args.project, Path(folder) / "trip"))
        found = fuzz(project, args.cases, args.seed)
    found["seconds"] = round(time.perf_counter() - began, 1)
    print(json.dumps(found, indent=1))
    return int(found["n_faults"] > 0)


if __name__ == "__main__":
    sys.exit(main())
