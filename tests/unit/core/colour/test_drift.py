"""A dive card against its twin: what moved is named, what the light did is not."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.card.definition import CardDefinition, Patch
from dryslate.core.card.found import CardSamples, PatchSample
from dryslate.core.colour.characterise import rounding_var
from dryslate.core.colour.correction import Correction
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.drift import compare_cards
from dryslate.core.colour.spaces import lab_to_linear_srgb

PLAIN = Correction(fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.eye(3))
GREYS = [92.0, 92.0, 80.0, 68.0, 52.0, 52.0, 38.0, 28.0]
COLOURS = {"rust": (42.0, 28.0, 30.0), "moss": (45.0, -18.0, 22.0), "lemon": (84.0, -5.0, 60.0)}


def made_card() -> CardDefinition:
    rows = [(f"g{k}", "neutral", (v, 0.0, 0.0)) for k, v in enumerate(GREYS)]
    rows += [(name, "colour", lab) for name, lab in COLOURS.items()]
    patches = tuple(
        Patch(
            patch_id=name,
            x_mm=5.0 + 20 * (k % 4),
            y_mm=5.0 + 20 * (k // 4),
            width_mm=12,
            height_mm=12,
            role=role,
            lab_d65=lab,
        )
        for k, (name, role, lab) in enumerate(rows)
    )
    return CardDefinition(
        name="made",
        title="made",
        width_mm=90,
        height_mm=70,
        ground_lab_d65=(57, 0, 0),
        markers=(),
        patches=patches,
    )


def samples_of(card, labs, light=lambda _: 1.0, noise=0.0, rng=None) -> CardSamples:
    out = []
    for p in card.patches:
        centre = np.array([p.x_mm + 6, p.y_mm + 6])
        linear = lab_to_linear_srgb(labs[p.patch_id]) * light(centre)
        if rng is not None:
            linear = linear + rng.normal(0, np.sqrt(noise**2 / 400 + rounding_var(linear)))
        out.append(
            PatchSample(
                patch_id=p.patch_id,
                role=p.role,
                centre_px=centre * 5,
                centre_mm=centre,
                mean_linear=linear,
                cov_linear=noise**2 * np.eye(3),
                n_px=400,
                clipped_frac=0.0,
            )
        )
    return CardSamples(patches=tuple(out), ground=())


CARD = made_card()
TRUE = {p.patch_id: p.lab_d65 for p in CARD.patches}


def test_patch_that_faded_is_named_and_the_others_hold() -> None:
    faded = TRUE | {"rust": (50.0, 16.0, 18.0)}
    drift = compare_cards(
        CARD, samples_of(CARD, TRUE), samples_of(CARD, faded), PLAIN, in_one_photo=True
    )
    by_id = {p.patch_id: p for p in drift.patches}
    assert by_id["rust"].verdict == "replace"
    expected = float(ciede2000(TRUE["rust"], faded["rust"]))
    assert by_id["rust"].drift_de00 == pytest.approx(expected, abs=0.05)
    assert all(p.verdict == "holds" for i, p in by_id.items() if i != "rust")


@pytest.mark.parametrize("in_one_photo", [True, False])
def test_brighter_light_with_a_gradient_is_not_taken_for_drift(in_one_photo) -> None:
    def light(centre):
        return 1.3 * np.exp(0.003 * (centre[0] - 40) - 0.002 * centre[1])

    drift = compare_cards(
        CARD,
        samples_of(CARD, TRUE),
        samples_of(CARD, TRUE, light),
        PLAIN,
        in_one_photo=in_one_photo,
    )
    assert max(p.drift_de00 for p in drift.patches) < 0.05
    assert np.mean(drift.light_ratio) > 1.1


def test_yellowed_film_shows_in_one_photo_and_cannot_in_two() -> None:
    yellow = np.array([1.0, 0.97, 0.80])
    shown, hidden = (
        compare_cards(
            CARD,
            samples_of(CARD, TRUE),
            samples_of(CARD, TRUE, lambda _: yellow),
            PLAIN,
            in_one_photo=one,
        )
        for one in (True, False)
    )
    assert sum(p.verdict == "replace" for p in shown.patches) >= 8
    assert all(p.verdict == "holds" for p in hidden.patches)


def test_one_changed_neutral_does_not_carry_the_light() -> None:
    changed = TRUE | {"g4": (62.0, 0.0, 0.0)}
    drift = compare_cards(
        CARD, samples_of(CARD, TRUE), samples_of(CARD, changed), PLAIN, in_one_photo=True
    )
    assert [p.patch_id for p in drift.patches if p.verdict == "replace"] == ["g4"]


def test_doubt_matches_the_scatter_of_repeats() -> None:
    rng = np.random.default_rng(3)
    moved = TRUE | {"lemon": (80.0, -3.0, 48.0)}
    found = []
    for _ in range(200):
        drift = compare_cards(
            CARD,
            samples_of(CARD, TRUE, noise=0.03, rng=rng),
            samples_of(CARD, moved, noise=0.03, rng=rng),
            PLAIN,
            in_one_photo=True,
        )
        lemon = next(p for p in drift.patches if p.patch_id == "lemon")
        found.append((lemon.drift_de00, lemon.drift_de00_u))
    table = np.array(found)
    assert table[:, 0].std() == pytest.approx(table[:, 1].mean(), rel=0.3)


def test_small_move_with_wide_doubt_is_doubtful() -> None:
    moved = TRUE | {"moss": (47.0, -16.0, 20.0)}
    drift = compare_cards(
        CARD,
        samples_of(CARD, TRUE, noise=0.3),
        samples_of(CARD, moved, noise=0.3),
        PLAIN,
        in_one_photo=True,
    )
    moss = next(p for p in drift.patches if p.patch_id == "moss")
    assert moss.drift_de00 < 3
    assert moss.verdict == "doubtful"


def test_too_few_neutrals_are_refused() -> None:
    twin = samples_of(CARD, TRUE)
    few = CardSamples(
        patches=tuple(s for s in twin.patches if s.patch_id in ("g0", "g4", "rust")), ground=()
    )
    with pytest.raises(InputError) as caught:
        compare_cards(CARD, twin, few, PLAIN, in_one_photo=True)
    assert caught.value.slug == "drift-too-few-neutrals"
