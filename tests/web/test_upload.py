"""Photos that a browser sends: whole and the very same, or not there at all."""

from __future__ import annotations

import hashlib
import re
import time
from pathlib import Path

import pytest

from dryslate import wiring

GOLD = Path(__file__).resolve().parents[1] / "gold" / "photos"
SAID = {"site": "Quiet Ledge", "date": "2024-05-19", "observer": "Tomo Halle"}
WHEN_MS = 1_716_100_000_000
OCTETS = {"content-type": "application/octet-stream"}


@pytest.fixture
def photos() -> dict[str, bytes]:
    """Two photos by their path below the picked folder."""
    return {f"100/{p.name}": p.read_bytes() for p in sorted(GOLD.glob("*.JPG"))[:2]}


def begin(pages, files: dict[str, bytes]):
    """Say what is about to be sent."""
    told = [{"path": p, "size": len(b), "modified_ms": WHEN_MS} for p, b in files.items()]
    return pages.post("/take/upload/begin", json={**SAID, "files": told})


def send(pages, batch: str, path: str, data: bytes, **changed: object):
    """Send one file."""
    told = {
        "batch": batch,
        "path": path,
        "size": len(data),
        "modified_ms": WHEN_MS,
        "sha256": hashlib.sha256(data).hexdigest(),
        **changed,
    }
    return pages.post("/take/upload", params=told, content=data, headers=OCTETS)


def whole_files(project: Path) -> list[str]:
    """Every file that a batch shows."""
    return sorted(p.name for p in project.glob("incoming/*/card/**/*") if p.is_file())


def all_files(project: Path) -> list[Path]:
    """Every file below the folder of what comes in, half-written ones too."""
    return [p for p in project.glob("incoming/**/*") if p.is_file()]


def test_sent_photos_are_taken_in_like_a_card(client_of, own_project, photos) -> None:
    pages = client_of(own_project)
    told = begin(pages, photos).json()
    assert told["missing"] == [0, 1]
    for path, data in photos.items():
        assert send(pages, told["batch"], path, data).status_code == 201
    answer = pages.post("/take/upload/end", json=SAID)
    assert answer.status_code == 202
    address = answer.json()["page"]
    for _ in range(300):
        if pages.get("/jobs/" + address.rsplit("/", 1)[1]).json()["state"] != "running":
            break
        time.sleep(0.03)
    html = pages.get(address).text
    assert "one copy: do not wipe" in html
    assert "a browser sent the photos, so what else is on the card is not known" in html
    assert re.search(r"<dt>files sent</dt><dd>2</dd>", html)
    assert "files on the card" not in html
    assert "same drive as the memory card" not in html
    with wiring.survey_store(own_project, write=False) as store:
        rows = {r.card_path: r for r in store.card_files() if r.visit_id.startswith("Quiet Ledge")}
    assert set(rows) == set(photos)
    for path, data in photos.items():
        assert rows[path].sha256 == hashlib.sha256(data).hexdigest()
        assert rows[path].modified_ns == WHEN_MS * 1_000_000
    assert not (own_project / "incoming").exists()


def test_interrupted_sending_goes_on_with_what_is_missing(client_of, own_project, photos) -> None:
    pages = client_of(own_project)
    batch = begin(pages, photos).json()["batch"]
    first, second = photos
    send(pages, batch, first, photos[first])
    assert send(pages, batch, second, photos[second][:1000], size=len(photos[second])).is_error
    assert whole_files(own_project) == [first.split("/")[1]]
    again = begin(client_of(own_project), photos).json()
    assert again["batch"] == batch
    assert again["missing"] == [1]


@pytest.mark.parametrize(
    ("changed", "slug"),
    [
        ({"sha256": "0" * 64}, "upload-differs"),
        ({"size": 10}, "upload-differs"),
        ({"size": 5_000_000}, "upload-differs"),
        ({"size": 2_000_000_001}, "upload-too-large"),
        ({"path": "../../cards/field-007.toml"}, "upload-path"),
        ({"path": "/etc/passwd"}, "upload-path"),
        ({"path": "100/../../x.jpg"}, "upload-path"),
        ({"path": "a\\b.jpg"}, "upload-path"),
        ({"path": "x" * 201}, "upload-path"),
        ({"path": "a\nb.jpg"}, "upload-path"),
        ({"batch": "../../../../etc"}, "page-input"),
        ({"size": -1}, "page-input"),
    ],
)
def test_what_is_not_as_said_leaves_nothing_behind(
    client_of, own_project, photos, changed, slug
) -> None:
    pages = client_of(own_project)
    batch = begin(pages, photos).json()["batch"]
    path, data = next(iter(photos.items()))
    told = {"batch": batch, "path": path, **changed}
    answer = send(pages, data=data, **told)
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["slug"] == slug
    assert all_files(own_project) == []


@pytest.mark.parametrize("data", [b"<html><script>1</script></html>" * 10, b"", b"\xff\xd8"])
def test_only_photos_are_taken_whatever_their_name(client_of, own_project, photos, data) -> None:
    pages = client_of(own_project)
    batch = begin(pages, photos).json()["batch"]
    answer = send(pages, batch, "IMG_1.JPG", data)
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["slug"] == "upload-not-a-photo"
    assert all_files(own_project) == []


def test_room_is_looked_at_before_anything_is_sent(client_of, own_project) -> None:
    files = [{"path": f"{n}.jpg", "size": 10**15, "modified_ms": WHEN_MS} for n in range(3)]
    answer = client_of(own_project).post("/take/upload/begin", json={**SAID, "files": files})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["slug"] == "disk-too-small"


def test_sending_needs_token_and_observer(client_of, own_project, photos) -> None:
    pages = client_of(own_project, observer=None)
    assert begin(pages, photos).status_code == 409
    path, data = next(iter(photos.items()))
    assert send(pages, "0" * 16, path, data).status_code == 409
    pages.token = "another"
    assert send(pages, "0" * 16, path, data).json()["problems"][0]["slug"] == "page-token"


def test_end_without_anything_sent_says_so(client_of, own_project) -> None:
    answer = client_of(own_project).post("/take/upload/end", json=SAID)
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["slug"] == "source-not-found"


def test_page_offers_sending(client_of, read_only_project) -> None:
    html = client_of(read_only_project).get("/take").text
    assert re.search(r'<input id="upload-folder" type="file" webkitdirectory', html)
