"""Learn the prior of the correction matrix from spectral scenes; bring scenes before the fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from spectral_scenes import N_PX, Scene

from dryslate.core.card.definition import CardDefinition, Patch
from dryslate.core.card.found import CardSamples, PatchSample
from dryslate.core.colour.estimate import Belief, Observations, fit_parameters, observe
from dryslate.core.colour.neutrals import GreyFit
from dryslate.core.colour.preparation import fit_card_greys, gather_card
from dryslate.core.colour.prior import MatrixPrior, gain_features, matrix_belief
from dryslate.core.colour.weights import whiten

FloatArray = NDArray[np.float64]

TWINS = {0: 7, 7: 0, 3: 4, 4: 3, 6: 8, 8: 6}
REEF_SPREAD = 2.0
_FREEDOM = 5.0


def card_of(scene: Scene, status: str = "measured") -> CardDefinition:
    """The scene's card, with its true values in water."""
    patches = tuple(
        Patch(
            patch_id=f"p{i}",
            x_mm=13.0 * i,
            y_mm=0.0,
            width_mm=12.0,
            height_mm=12.0,
            role="neutral" if scene.is_grey[i] else "colour",
            lab_d65=(float(lab[0]), float(lab[1]), float(lab[2])),
            twin_of=f"p{TWINS[i]}" if i in TWINS else "",
        )
        for i, lab in enumerate(scene.card_lab)
    )
    return CardDefinition(
        name="made",
        title="made",
        width_mm=400.0,
        height_mm=100.0,
        ground_lab_d65=(57.1, 0.0, 0.0),
        markers=(),
        patches=patches,
        status=status,  # type: ignore[arg-type]  # a literal of the caller
        medium="water",
    )


def samples_of(scene: Scene) -> CardSamples:
    """The scene's card as it would be sampled in a photo."""

    def one(name: str, role: str, mean: FloatArray, cov: FloatArray, xy: FloatArray) -> PatchSample:
        return PatchSample(
            patch_id=name,
            role=role,  # type: ignore[arg-type]  # a literal of the caller
            centre_px=xy,
            centre_mm=xy,
            mean_linear=mean,
            cov_linear=cov,
            n_px=N_PX,
            clipped_frac=0.0,
            dropped="clipped" if mean.max() > 0.985 else "",
        )

    return CardSamples(
        patches=tuple(
            one(
                f"p{i}",
                "neutral" if scene.is_grey[i] else "colour",
                scene.card_linear[i],
                scene.card_cov[i],
                scene.card_xy[i],
            )
            for i in range(len(scene.card_lab))
        ),
        ground=tuple(
            one(f"ground:{i}", "ground", mean, scene.ground_cov[i], scene.ground_xy[i])
            for i, mean in enumerate(scene.ground_linear)
        ),
    )


@dataclass(frozen=True)
class Lesson:
    """Observations of card and reef of one scene, with what the greys say."""

    seen: Observations
    greys: GreyFit


def lesson_of(scene: Scene) -> Lesson | None:
    """Observations of card and reef together; None where the photo would be refused."""
    card = card_of(scene)
    held = gather_card(samples_of(scene), card, with_colours=True)
    ready = fit_card_greys(held, card, np.eye(3), is_encoded=True)
    greys = ready.greys
    gain = greys.gain
    if gain.max() / gain.min() > 16.0 or held.n_grey < 5:
        return None
    place = np.zeros((len(scene.reef_lab), 2))  # in the card's own light
    n = len(scene.reef_lab)
    target = whiten(
        scene.reef_lab,
        np.full((n, 3), REEF_SPREAD),
        scene.reef_even_linear,
        np.repeat(scene.card_cov[3:4] / N_PX, n, axis=0),
        np.diag(gain),
    )
    reef = observe(scene.reef_even_linear, place, gain, target)
    both = Observations(
        encoded=np.vstack([ready.seen.encoded, reef.encoded]),
        place=np.vstack([ready.seen.place, reef.place]),
        reference=np.vstack([ready.seen.reference, reef.reference]),
        whitener=np.concatenate([ready.seen.whitener, reef.whitener]),
        gain=gain,
    )
    return Lesson(seen=both, greys=greys)


def learn_prior(
    lessons: list[Lesson], n_terms: int, n_rounds: int = 4
) -> tuple[FloatArray, FloatArray]:
    """
    Learn mean (by gain features) and covariance of the matrix by expectation and maximisation.

    The matrix of each scene is the one that serves card and reef together; scenes far from the
    regression count less (Student weights with 5 degrees of freedom).
    """
    q = 3 * n_terms
    features = np.stack([gain_features(lesson.greys.gain) for lesson in lessons])
    by_feature = np.zeros((features.shape[1], q))
    by_feature[0] = np.eye(3, n_terms).ravel()
    covariance = np.eye(q) * 0.3**2
    for _ in range(n_rounds):
        prior = MatrixPrior(mean={n_terms: by_feature}, covariance={n_terms: covariance})
        found, spread = [], []
        for lesson in lessons:
            belief: Belief = matrix_belief(n_terms, lesson.greys, np.eye(3), prior, has_tone=True)
            theta, precision = fit_parameters(
                lesson.seen, belief, np.ones((1, len(lesson.seen.encoded)))
            )
            found.append(theta[0, :q])
            spread.append(np.linalg.inv(precision[0])[:q, :q])
        values, within = np.stack(found), np.stack(spread)
        weight = np.ones(len(values))
        for _ in range(6):
            heavy = features * weight[:, None]
            normal = heavy.T @ features + 0.1 * np.eye(features.shape[1])
            by_feature = np.linalg.solve(normal, heavy.T @ values)
            rest = values - features @ by_feature
            covariance = (weight[:, None] * rest).T @ rest / weight.sum()
            covariance += (weight[:, None, None] * within).sum(axis=0) / weight.sum()
            covariance += np.eye(q) * 1e-4
            far = np.einsum("ij,jk,ik->i", rest, np.linalg.inv(covariance), rest)
            weight = (q + _FREEDOM) / (far + _FREEDOM)
    return by_feature, covariance


def prior_rows(n_terms: int, by_feature: FloatArray, covariance: FloatArray) -> list[list[str]]:
    """Rows of the prior's table: mean in full, covariance by its lower half."""
    rows = [
        [str(n_terms), "mean", str(i), str(j), f"{by_feature[i, j]:.5g}"]
        for i in range(by_feature.shape[0])
        for j in range(by_feature.shape[1])
    ]
    rows += [
        [str(n_terms), "covariance", str(i), str(j), f"{covariance[i, j]:.5g}"]
        for i in range(len(covariance))
        for j in range(i + 1)
    ]
    return rows
