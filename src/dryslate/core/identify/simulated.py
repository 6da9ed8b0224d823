"""Corals as simulated observers would write them down: drawn from species profiles, with slips."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from dryslate.core.identify.evidence import MEASURES, Evidence, Size
from dryslate.core.identify.kinds import GROWTH, OWN_GROWTH
from dryslate.core.identify.model import Model
from dryslate.core.identify.observer import (
    ErrorRates,
    error_of,
    nearness_of,
    state_shares,
    unclear_of,
)
from dryslate.core.identify.tables import FloatArray
from dryslate.core.identify.taxa import Character, Frequency, Profile

EYE_WEIGHT = 3.0  # a character by eye is looked at so many times as often as one with a lens


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedTeam:
    """
    How simulated observers differ from the model that is to read them.

    Parameters
    ----------
    error_factor : float
        Times the stated error rates.
    dive_spread : float
        Standard deviation of the log of the error rate between dives (a murky dive spoils every
        character at once); the mean stays.
    atypical : float
        Share of colonies of which the rarer states are as common as the usual ones, in every
        character at once.
    data_fault : float
        Chance, by character, that the data are wrong on the colony: it shows any state.
    n_least, n_most : int
        Characters that are looked at.
    p_size : float
        Chance that a size that is known for the genus is measured.
    p_not : float
        Chance that a finding is written as "not this other state".
    """

    error_factor: float = 1.0
    dive_spread: float = 0.5
    atypical: float = 0.15
    data_fault: float = 0.02
    n_least: int = 4
    n_most: int = 14
    p_size: float = 0.6
    p_not: float = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedCoral:
    """
    One coral and what its observer would write of every character.

    Parameters
    ----------
    genus : str
    shown : Mapping of str to str
        True state by character, where it is scored for the genus.
    written : Mapping of str to str
        State as written down; empty: could not tell.
    sizes : Mapping of str to Size
    """

    genus: str
    shown: Mapping[str, str]
    written: Mapping[str, str]
    sizes: Mapping[str, Size]


class CoralDraw:
    """
    Draws corals of a model's region.

    Parameters
    ----------
    model : Model
        For the genera, profiles and kinds; prior as in the model.
    rates : ErrorRates
        The stated rates of the observers that are simulated.
    team : SimulatedTeam
    """

    def __init__(self, model: Model, rates: ErrorRates, team: SimulatedTeam) -> None:
        self.model, self.rates, self.team = model, rates, team
        self._nearness = {n: nearness_of(c, model.taxa) for n, c in model.taxa.characters.items()}
        stops = [*model.kinds.starts[1:].tolist(), len(model.kinds.share)]
        self._kinds = list(zip(model.kinds.starts.tolist(), stops, strict=True))

    def coral(self, rng: np.random.Generator) -> SimulatedCoral:
        """Draw a coral, and what its observer writes of it."""
        place = int(rng.choice(len(self.model.profiles), p=self.model.prior))
        profile = self.model.profiles[place]
        first, stop = self._kinds[place]
        kind = first + int(rng.choice(stop - first, p=self.model.kinds.share[first:stop]))
        spread = self.team.dive_spread
        murk = self.team.error_factor * math.exp(rng.normal(-0.5 * spread**2, spread))
        is_atypical = rng.random() < self.team.atypical
        shown: dict[str, str] = {}
        written: dict[str, str] = {}
        for name, character in self.model.taxa.characters.items():
            if name not in profile.states:
                continue
            shares = self._shares(profile, name, kind, is_atypical)
            shown[name] = _pick(character, shares, rng)
            written[name] = self._written(character, shown[name], murk, rng)
        return SimulatedCoral(
            genus=profile.genus, shown=shown, written=written, sizes=self._sizes(profile, kind, rng)
        )

    def _shares(self, profile: Profile, name: str, kind: int, is_atypical: bool) -> FloatArray:
        """How often the colony's kind shows each state."""
        states = tuple(self.model.taxa.characters[name].states)
        listed: dict[str, Frequency] = {s: r.frequency for s, r in profile.states[name].items()}
        if is_atypical:
            listed = dict.fromkeys(listed, "usual")
        whole = state_shares(listed, states, self.rates)
        if name != GROWTH:
            return whole
        own = self._own_growth(kind, states)
        return whole if own is None else OWN_GROWTH * own + (1.0 - OWN_GROWTH) * whole

    def _own_growth(self, kind: int, states: tuple[str, ...]) -> FloatArray | None:
        """Growth forms of a kind; None for the profile as a whole."""
        made = self.model.kinds.made_of[kind]
        if made is None or not made.growth_forms:
            return None
        return state_shares(made.growth_forms, states, self.rates)

    def _written(
        self, character: Character, state: str, murk: float, rng: np.random.Generator
    ) -> str:
        """What is written of a state that the coral shows."""
        states = list(character.states)
        if rng.random() < self.team.data_fault:
            state = states[int(rng.integers(len(states)))]
        if rng.random() < unclear_of(character, self.rates):
            return ""
        if len(states) > 1 and rng.random() < min(murk * error_of(character, self.rates), 0.9):
            to = self._nearness[character.character][states.index(state)]
            return states[int(rng.choice(len(states), p=to / to.sum()))]
        return state

    def _sizes(self, profile: Profile, kind: int, rng: np.random.Generator) -> dict[str, Size]:
        """Sizes of the colony as measured."""
        sizes: dict[str, Size] = {}
        for measure in MEASURES:
            made = self.model.kinds.made_of[kind]
            if measure not in profile.sizes and (made is None or measure not in made.sizes):
                continue
            mean = float(self.model.kinds.log_mean[measure][kind])
            sd = float(self.model.kinds.log_sd[measure][kind])
            true = math.exp(rng.normal(mean, sd))
            relative = rng.uniform(0.02, 0.08)
            value = true * max(1.0 + relative * rng.normal(), 0.2)
            sizes[measure] = Size(value_mm=value, u_mm=relative * value)
        return sizes

    def evidence(self, coral: SimulatedCoral, rng: np.random.Generator) -> Evidence:
        """Choose what was looked at, mostly by eye, and hand in the sheet."""
        characters = self.model.taxa.characters
        names = [n for n in coral.written if characters[n].seen_with != "broken"]
        weight = np.array([EYE_WEIGHT if characters[n].seen_with == "eye" else 1.0 for n in names])
        n = int(rng.integers(self.team.n_least, self.team.n_most + 1))
        chosen = rng.choice(
            len(names), size=min(n, len(names)), replace=False, p=weight / weight.sum()
        )
        seen: dict[str, frozenset[str]] = {}
        not_seen: dict[str, frozenset[str]] = {}
        unclear = set()
        for name in (names[int(i)] for i in chosen):
            state = coral.written[name]
            if not state:
                unclear.add(name)
            elif rng.random() < self.team.p_not:
                others = [s for s in characters[name].states if s != state]
                not_seen[name] = frozenset({others[int(rng.integers(len(others)))]})
            else:
                seen[name] = frozenset({state})
        return Evidence(
            region=self.model.region,
            seen=seen,
            not_seen=not_seen,
            unclear=frozenset(unclear),
            sizes=coral.sizes if rng.random() < self.team.p_size else {},
        )


def _pick(character: Character, shares: FloatArray, rng: np.random.Generator) -> str:
    """Draw a state."""
    return list(character.states)[int(rng.choice(len(shares), p=shares))]


def draw_corals(
    model: Model, rates: ErrorRates, team: SimulatedTeam, n: int, rng: np.random.Generator
) -> tuple[list[str], list[Evidence]]:
    """
    Draw corals and the evidence that simulated observers hand in.

    Parameters
    ----------
    model : Model
    rates : ErrorRates
        Stated rates.
    team : SimulatedTeam
    n : int
    rng : numpy.random.Generator

    Returns
    -------
    genera : list of str
        The truth.
    evidences : list of Evidence
    """
    draw = CoralDraw(model, rates, team)
    genera, evidences = [], []
    for _ in range(n):
        coral = draw.coral(rng)
        genera.append(coral.genus)
        evidences.append(draw.evidence(coral, rng))
    return genera, evidences
