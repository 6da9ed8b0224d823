"""Fits of error rates, frequency weights and temperature to corals whose genus is known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize_scalar

from dryslate.core.identify.batches import smallest_sets
from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.kinds import GROWTH
from dryslate.core.identify.model import Model
from dryslate.core.identify.observer import CLASS_ERROR, ErrorRates, confusion_of, nearness_of
from dryslate.core.identify.posterior import probabilities, score_evidence
from dryslate.core.identify.tables import FloatArray
from dryslate.core.identify.taxa import Frequency, TaxaData

PRIOR_LOOKS = 30.0
"""So many looks the rate of a character is worth from which a fit begins."""
N_BINS = 10
CHUNK = 512


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """
    How well probabilities keep what they promise.

    Parameters
    ----------
    n : int
    ece : float
        Expected calibration error of the first genus, over ten bins of equal width.
    first_frac, top3_frac : float
        How often the truth is first, and among the first three.
    in_set_frac : float
        How often the 95 % set holds the truth.
    n_in_set_mean : float
        Mean size of that set.
    log_loss : float
        Mean of minus the natural log of the truth's probability.
    """

    n: int
    ece: float
    first_frac: float
    top3_frac: float
    in_set_frac: float
    n_in_set_mean: float
    log_loss: float


def log_likelihoods(evidences: Sequence[Evidence], model: Model) -> FloatArray:
    """
    Return the log-likelihood of each record for each profile, before tempering.

    Parameters
    ----------
    evidences : sequence of Evidence
    model : Model

    Returns
    -------
    ndarray of float, shape (n, n_profiles)
    """
    parts = [
        score_evidence(evidences[i : i + CHUNK], model).log_lik
        for i in range(0, len(evidences), CHUNK)
    ]
    return np.concatenate(parts) if parts else np.zeros((0, len(model.profiles)))


def measure_calibration(
    log_lik: FloatArray, truth: Sequence[str], model: Model, temperature: float | None = None
) -> Calibration:
    """
    Compare probabilities with the known truth.

    Parameters
    ----------
    log_lik : ndarray of float, shape (n, n_profiles)
    truth : sequence of str
        Genera of the model.
    model : Model
    temperature : float or None
        None: the model's own.

    Returns
    -------
    Calibration

    References
    ----------
    .. [1] Naeini, M. P., Cooper, G. F. & Hauskrecht, M. (2015). Obtaining well calibrated
       probabilities using Bayesian binning. AAAI 29, 2901-2907 (expected calibration error).
    """
    p_genus = model.sum_by_genus(probabilities(log_lik, model, temperature))
    right = np.array([model.genera.index(g) for g in truth])
    order, n_set = smallest_sets(p_genus)
    place = np.argmax(order == right[:, None], axis=1)
    p_true = p_genus[np.arange(len(right)), right]
    return Calibration(
        n=len(right),
        ece=expected_calibration_error(p_genus.max(axis=1), place == 0),
        first_frac=float((place == 0).mean()),
        top3_frac=float((place < 3).mean()),
        in_set_frac=float((place < n_set).mean()),
        n_in_set_mean=float(n_set.mean()),
        log_loss=float(-np.log(np.maximum(p_true, 1e-300)).mean()),
    )


def expected_calibration_error(p: FloatArray, is_right: np.ndarray) -> float:
    """
    Return the mean gap between stated probability and hit rate, over ten bins.

    Parameters
    ----------
    p : ndarray of float, shape (n,)
    is_right : ndarray of bool, shape (n,)

    Returns
    -------
    float
        Bins weighed by how many fall in.

    Examples
    --------
    >>> expected_calibration_error(np.array([0.9, 0.9]), np.array([True, False])).__round__(3)
    0.4
    """
    bins = np.minimum((p * N_BINS).astype(int), N_BINS - 1)
    n = np.bincount(bins, minlength=N_BINS)
    gap = np.abs(np.bincount(bins, p, N_BINS) - np.bincount(bins, is_right.astype(float), N_BINS))
    return float(gap.sum() / max(n.sum(), 1))


def fit_temperature(log_lik: FloatArray, truth: Sequence[str], model: Model) -> float:
    """
    Fit the power of the likelihood under which the truth is most probable.

    Parameters
    ----------
    log_lik : ndarray of float, shape (n, n_profiles)
    truth : sequence of str
    model : Model

    Returns
    -------
    float
        From 0.2 to 1: evidence is never counted more than once.

    References
    ----------
    .. [1] Guo, C., Pleiss, G., Sun, Y. & Weinberger, K. Q. (2017). On calibration of modern neural
       networks. ICML 34, 1321-1330 (temperature by the logarithmic score).
    """

    def loss(temperature: float) -> float:
        return measure_calibration(log_lik, truth, model, temperature).log_loss

    found = minimize_scalar(loss, bounds=(0.2, 1.0), method="bounded", options={"xatol": 0.005})
    return float(found.x)


def fit_error_rates(
    evidences: Sequence[Evidence],
    truth: Sequence[str],
    model: Model,
    prior: Mapping[str, float] | None = None,
) -> ErrorRates:
    r"""
    Fit each character's error rate to records whose genus is known.

    Parameters
    ----------
    evidences : sequence of Evidence
        Only characters of which one state was seen are used.
    truth : sequence of str
    model : Model
        Its slip, weights and temperature stay as they are.
    prior : Mapping of str to float or None
        By character, where the fit begins; None: the rates of the classes.

    Returns
    -------
    ErrorRates

    Notes
    -----
    Expectation-maximisation: a written state :math:`o` of a genus is a slip with probability
    :math:`(1-\varepsilon) e\,(qK)_o / P(o)` with :math:`P(o) = (1-\varepsilon) [(1-e)\,q_o +
    e\,(qK)_o] + \varepsilon / n`; the new rate is the mean, with the prior
    worth 30 looks. What the data get wrong counts as slips of observers: the two cannot be told
    apart without a specimen.
    """
    error: dict[str, float] = {}
    kept = 1.0 - model.rates.slip
    for name, character in model.taxa.characters.items():
        plain, slipped = _two_ways(name, evidences, truth, model)
        start = (prior or {}).get(name, CLASS_ERROR[character.seen_with, character.is_hard])
        tail = model.rates.slip / len(character.states)
        e = start
        for _ in range(200):
            share = kept * e * slipped
            share /= np.maximum(kept * ((1 - e) * plain + e * slipped) + tail, 1e-300)
            new = (share.sum() + start * PRIOR_LOOKS) / (len(share) + PRIOR_LOOKS)
            if abs(new - e) < 1e-6:
                break
            e = float(new)
        error[name] = e
    return replace(model.rates, error=error)


def _two_ways(
    name: str, evidences: Sequence[Evidence], truth: Sequence[str], model: Model
) -> tuple[FloatArray, FloatArray]:
    """Chance of each written state without and with a slip, by its true genus."""
    table = model.tables[name]
    nearness = nearness_of(table.character, model.taxa)
    share_of: dict[str, FloatArray] = {}
    plain, slipped = [], []
    for e, genus in zip(evidences, truth, strict=True):
        states = e.seen.get(name, frozenset())
        if len(states) != 1:
            continue
        if genus not in share_of:
            share_of[genus] = _genus_shares(genus, name, model)
        shares = share_of[genus]
        if shares.sum() > 0:
            j = table.states.index(next(iter(states)))
            plain.append(shares[j])
            slipped.append(shares @ nearness[:, j])
    return np.array(plain), np.array(slipped)


def _genus_shares(genus: str, name: str, model: Model) -> FloatArray:
    """How often a genus shows each state; all zero where it is not scored."""
    table, rows = model.tables[name], model.rows_of(model.genera.index(genus))
    known = np.flatnonzero(table.is_known[rows]) + rows.start
    weights = model.prior[known]
    if not len(known):
        return np.zeros(len(table.states))
    confusion = confusion_of(table.character, model.rates, nearness_of(table.character, model.taxa))
    written = (weights / weights.sum()) @ table.p_written[known]
    shares: FloatArray = np.maximum(np.linalg.solve(confusion.T, written), 0.0)
    shares /= shares.sum()
    return shares


def fit_weights(taxa: TaxaData) -> tuple[dict[Frequency, float], float, int]:
    """
    Fit what usual, sometimes and rare mean, from how many species have each growth form.

    Parameters
    ----------
    taxa : TaxaData
        Profiles with three kinds or more that state a growth form are used.

    Returns
    -------
    weights : dict of str to float
        Mean share of species that have a state of each frequency, over that of usual states.
    unlisted_frac : float
        Share of species whose growth form the genus is not known to have: how far two sources
        differ on this character.
    n : int
        Species used.
    """
    shares: dict[Frequency, list[float]] = {"usual": [], "sometimes": [], "rare": []}
    n_unlisted, n = 0.0, 0
    for profile in taxa.profiles:
        forms = [k.growth_forms for k in profile.kinds if k.growth_forms]
        rows = profile.states.get(GROWTH)
        if len(forms) < 3 or not rows:
            continue
        for state, row in rows.items():
            shares[row.frequency].append(_mean(state in f for f in forms))
        n_unlisted += sum(1.0 for f in forms if not set(f) & set(rows))
        n += len(forms)
    usual = _mean(shares["usual"]) or 1.0
    weights = {f: _mean(v) / usual for f, v in shares.items()}
    return weights, n_unlisted / max(n, 1), n


def _mean(values: Iterable[float]) -> float:
    """Mean; zero of nothing."""
    listed = list(values)
    return sum(listed) / len(listed) if listed else 0.0
