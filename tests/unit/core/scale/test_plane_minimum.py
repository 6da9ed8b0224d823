"""The plane's least-squares fit ends in the minimum that a general solver finds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from dryslate.core.scale.adjust import Sightings, fit_pose_and_lens
from dryslate.core.scale.lens import lens_prior
from dryslate.core.scale.plane import _local_scale
from dryslate.core.scale.pose import apply_pose, find_poses

SIZE, HALF, U_PX = (4000, 3000), 2500.0, 0.15
SQUARE = np.array([(0, 0), (15, 0), (15, 15), (0, 15)], dtype=float)
MM = np.concatenate([SQUARE + at for at in ((-70, -45), (55, -45), (55, 30), (-70, 30))])


@pytest.mark.parametrize("tilt_deg", [3.0, 12.0, 35.0])
def test_unknown_lens_does_not_stop_the_fit_halfway(tilt_deg: float) -> None:
    prior = lens_prior(35.0, SIZE, under_water=True, port="unknown")
    rng = np.random.default_rng(int(tilt_deg))
    lens = rng.multivariate_normal(prior.params, prior.covariance)
    pose = np.array([np.radians(tilt_deg), 0.02, 0.3, 60.0, -40.0, 700.0])
    px = apply_pose(np.concatenate([pose, lens]), "radial", HALF, MM)
    px = px + rng.normal(0.0, 0.4 * U_PX, px.shape)
    u = np.full(len(MM), U_PX)
    starts = find_poses(MM, px, ("radial", prior.params, HALF), 1.0 / u)
    seen = Sightings(mm=MM, px=px, u=u, shared_frac=0.0)
    found = fit_pose_and_lens(seen, starts, prior, HALF)
    prior_u = np.sqrt(np.diag(prior.covariance))

    def residuals(theta: np.ndarray) -> np.ndarray:
        miss = (apply_pose(theta, "radial", HALF, MM) - px) / U_PX
        return np.concatenate([miss.ravel(), (theta[6:] - prior.params) / prior_u])

    best = min(
        (
            least_squares(residuals, np.concatenate([s, prior.params]), x_scale="jac", xtol=1e-12)
            for s in starts
        ),
        key=lambda outcome: outcome.cost,
    )
    assert found.weights == pytest.approx(1.0)  # no corner was weighed down: the same task
    assert np.sum(residuals(found.theta) ** 2) < 2.0 * best.cost + 1e-3


def test_slopes_of_the_local_scale_are_those_of_differences() -> None:
    theta = np.array([0.3, -0.2, 0.1, 40.0, -30.0, 600.0, 8.0, 2000.0, 1500.0, 0.03, -0.01])
    _, slopes = _local_scale(theta, "radial", HALF)
    for i, step in enumerate(np.array([1e-5] * 3 + [1e-3] * 3 + [1e-5, 1e-1, 1e-1, 1e-5, 1e-5])):
        move = np.zeros(len(theta))
        move[i] = step
        ahead, behind = (_local_scale(theta + s * move, "radial", HALF)[0] for s in (1, -1))
        np.testing.assert_allclose(slopes[:, i], (ahead - behind) / (2 * step), atol=2e-5)
