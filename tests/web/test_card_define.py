"""A card defined from a photo on its page: tried, filled in, saved, found again, put away."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.cli.main import build_app

DESIGN = "target24"


def run(*words: object) -> None:
    result = CliRunner().invoke(build_app(), [str(word) for word in words])
    assert result.exit_code in (0, 3), result.output


@pytest.fixture(scope="module")
def made(tmp_path_factory, card_photos):
    """A project with a straight photo of a chart without markers, and its true corners."""
    folder = tmp_path_factory.mktemp("define")
    (folder / "memory").mkdir()
    plan = card_photos.Plan(card=DESIGN, cast=(0.9, 1.0, 0.95), width_px=900.0)
    corners = card_photos.save_photo(plan, folder / "memory" / "CHART.JPG")
    trip, visit = folder / "trip", ("--visit", "Boat deck", "2031-05-04")
    run("take", folder / "memory", "--into", trip, *visit, "--observer", "Ines Varro")
    return trip, corners


@pytest.fixture
def deck(made, tmp_path):
    trip, corners = made
    return Path(shutil.copytree(trip, tmp_path / "trip")), corners


def photo_of(project):
    with wiring.survey_store(project, write=False) as store:
        return store.photos()[0].photo_id


def at(corners, x_mm, y_mm):
    """Where a place on the card lies in the photo, which sees it straight."""
    card = wiring.reference_tables().card(DESIGN)
    across, down = corners[1] - corners[0], corners[3] - corners[0]
    return (corners[0] + x_mm / card.width_mm * across + y_mm / card.height_mm * down).tolist()


def box_of(corners, patch):
    """A box well inside a patch, as a person marks it."""
    middle = np.array(
        at(corners, patch.x_mm + patch.width_mm / 2, patch.y_mm + patch.height_mm / 2)
    )
    half = 0.3 * patch.width_mm * np.hypot(*(corners[1] - corners[0]))
    half = half / wiring.reference_tables().card(DESIGN).width_mm
    return [*(middle - half).tolist(), *(middle + half).tolist()]


def marks_of(true, **more):
    card = wiring.reference_tables().card(DESIGN)
    patches = [{"id": p.patch_id, "role": p.role, "box": box_of(true, p)} for p in card.patches]
    ticks = [at(true, 10.0, card.height_mm / 2), at(true, 60.0, card.height_mm / 2)]
    marks = {"corners": true.tolist(), "ticks": ticks, "ticks_mm": 50.0, "patches": patches}
    return {**marks, "name": "deck-chart", **more}


def slugs(answer):
    return [p["slug"] for p in answer.json()["problems"]]


def test_a_card_defined_on_the_page_has_its_true_size_and_is_found_again(client_of, deck):
    project, corners = deck
    photo_id, client = photo_of(project), client_of(project)
    truth = wiring.reference_tables().card(DESIGN)
    way = f"/photos/{photo_id}/card/define"
    tried = client.post(f"{way}/try", json=marks_of(corners)).json()
    assert not tried["refused"]
    assert "Size of the card" in tried["html"]
    roles = {p.patch_id: role for p, (_, role) in zip(truth.patches, tried["seen"], strict=True)}
    greys = {p.patch_id for p in truth.neutrals}
    assert greys <= {patch for patch, role in roles.items() if role == "neutral"}
    assert sum(role == "colour" for role in roles.values()) >= 14
    answer = client.post(way, json=marks_of(corners))
    assert answer.status_code == 201
    assert str(project) not in answer.text  # where files lie is not told
    card = wiring.reference_tables(project).card("deck-chart")
    assert card.width_mm == pytest.approx(truth.width_mm, rel=3 * card.print_scale_u_frac)
    assert card.height_mm == pytest.approx(truth.height_mm, rel=3 * card.print_scale_u_frac)
    assert card.status == "nominal"
    assert "CHART.JPG" in card.values_source
    assert "Ines Varro" in card.values_source
    white, black = card.neutrals[0], card.neutrals[-1]
    assert white.lab_d65[0] - black.lab_d65[0] > 50
    body = {"card": "deck-chart", "corners": corners.tolist(), "version": ""}
    assert client.post(f"/photos/{photo_id}/card/corners", json=body).status_code == 200
    with wiring.survey_store(project, write=False) as store:
        row = store.correction(photo_id)
    assert row.geometry["card"] == "deck-chart"
    used = client.post(f"{way}/away", json={"name": "deck-chart"})
    assert used.status_code == 422
    assert slugs(used) == ["card-in-use"]


def test_a_card_is_put_away_and_defined_again(client_of, deck):
    project, corners = deck
    photo_id, client = photo_of(project), client_of(project)
    way = f"/photos/{photo_id}/card/define"
    for _ in range(2):
        assert client.post(way, json=marks_of(corners)).status_code == 201
        assert client.post(f"{way}/away", json={"name": "deck-chart"}).status_code == 200
        names = [c.name for c in wiring.reference_tables(project).cards()]
        assert "deck-chart" not in names
    older = {path.suffix for path in (project / "cards" / "older").iterdir()}
    assert older == {".toml", ".png"}
    for name in ("deck-chart", "field", "../trip"):
        gone = client.post(f"{way}/away", json={"name": name})
        assert slugs(gone) == ["card-unknown"]


@pytest.mark.parametrize(
    ("more", "slug"),
    [
        ({"name": "Deck chart!"}, "card-name-wrong"),
        ({"name": "../deck"}, "card-name-wrong"),
        ({"name": "field"}, "card-name-taken"),
        ({"ticks_mm": 0.0}, "page-input"),
        ({"ticks_mm": float("nan")}, "page-input"),
        ({"ticks": [[400.0, 400.0], [401.0, 400.0]]}, "card-ticks-wrong"),
        ({"corners": [[10, 10], [90, 60], [90, 10], [10, 60]]}, "corners-folded"),
        ({"corners": [[10, 10], [9000, 10], [9000, 60], [10, 60]]}, "corners-outside"),
        ({"corners": [[10, 10], [900, 10], [500, 600], [10, 600]]}, "card-photo-not-straight"),
        ({"patches": []}, "card-few-neutrals"),
    ],
)
def test_marks_that_make_no_card_are_refused(more, slug, client_of, deck):
    project, corners = deck
    client = client_of(project)
    sent = json.dumps(marks_of(corners, **more))
    headers = {"content-type": "application/json"}
    answer = client.post(f"/photos/{photo_of(project)}/card/define", content=sent, headers=headers)
    assert answer.status_code == 422
    assert slugs(answer) == [slug]
    assert not (project / "cards" / "deck-chart.toml").exists()


def test_a_box_that_holds_nothing_is_refused_and_shown_without_colour(client_of, deck):
    project, corners = deck
    client = client_of(project)
    marks = marks_of(corners)
    marks["patches"][0]["box"] = [5.0, 5.0, 5.2, 5.2]
    way = f"/photos/{photo_of(project)}/card/define"
    assert client.post(f"{way}/try", json=marks).json()["seen"][0] == ["", ""]
    assert slugs(client.post(way, json=marks)) == ["card-box-wrong"]


def test_patches_in_rows_and_columns_are_filled_in_where_they_are(client_of, deck):
    project, corners = deck
    client = client_of(project)
    card = wiring.reference_tables().card(DESIGN)
    true = [box_of(corners, p) for p in card.patches]
    body = {"corners": corners.tolist(), "first": true[0], "last": true[-1]}
    way = f"/photos/{photo_of(project)}/card/define/grid"
    found = client.post(way, json={**body, "rows": 4, "columns": 6}).json()["boxes"]
    middle = lambda b: np.array([(b[0] + b[2]) / 2, (b[1] + b[3]) / 2])  # noqa: E731
    gaps = [np.hypot(*(middle(f) - middle(t))) for f, t in zip(found, true, strict=True)]
    side = 0.6 * card.patches[0].width_mm * np.hypot(*(corners[1] - corners[0])) / card.width_mm
    assert max(gaps) < 0.15 * side  # well inside each patch
    wrong = client.post(way, json={**body, "rows": 1, "columns": 1})
    assert slugs(wrong) == ["card-grid-wrong"]
    folded = {**body, "corners": [[10, 10], [90, 60], [90, 10], [10, 60]], "rows": 4, "columns": 6}
    assert slugs(client.post(way, json=folded)) == ["corners-folded"]


def test_a_viewer_defines_nothing(viewer_of, deck):
    project, corners = deck
    client = viewer_of(project)
    for word in ("", "/try", "/grid", "/away"):
        answer = client.post(
            f"/photos/{photo_of(project)}/card/define{word}", json=marks_of(corners)
        )
        assert answer.status_code == 403
