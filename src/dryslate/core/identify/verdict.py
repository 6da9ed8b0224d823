"""The verdict in plain words, with the rank and the qualifier for publication."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dryslate.core.identify.model import Model
from dryslate.core.identify.tables import FloatArray

P_CERTAIN = 0.95
"""From here a genus is published without a qualifier."""
P_GENUS = 0.80
"""From here the verdict is one genus."""
P_PAIR = 0.85
"""From here, for the two together, it is one or the other."""
P_FAMILY = 0.80
P_GROUP = 0.90
GROUP_GAIN = 3.0
"""So many times its odds before must a group have gained: most candidates are stony corals from
the start, and that alone is no finding."""
GROUP_WORD = {
    "stony": "stony coral",
    "hydrocoral": "hydrocoral",
    "octocoral": "octocoral",
    "not_coral": "not a stony coral",
}
Rank = Literal["family", "group"]
INDET = "gen. et sp. indet."
CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """
    What can be said.

    Parameters
    ----------
    verdict : str
        A genus, "X or Y", a family or group, or "cannot tell".
    rank : str
        ``genus``, ``family``, ``order``, ``informal group`` or ``none``.
    qualifier : str
        For Darwin Core ``identificationQualifier``; empty: none is needed.
    """

    verdict: str
    rank: str
    qualifier: str


def find_verdict(
    p_genus: FloatArray,
    is_juvenile: bool,
    is_contradictory: bool,
    model: Model,
    top: tuple[int, int] | None = None,
) -> Verdict:
    """
    Say what the probabilities carry, and no more.

    Parameters
    ----------
    p_genus : ndarray of float, shape (n_genera,)
    is_juvenile : bool
        Then no genus is stated.
    is_contradictory : bool
        No genus shows all that was given: the name keeps its "cf." however probable.
    model : Model
    top : (int, int) or None
        The two likeliest genera, where they are known already.

    Returns
    -------
    Verdict

    Notes
    -----
    One genus from 0.80; two from 0.85 together; a family from 0.80; a group from 0.90 where the
    evidence raised its odds at least threefold. A genus under 0.95 is published with *cf.*
    (identification likely, not certain), everything above genus with *gen. et sp. indet.* [1]_.
    *aff.* is never given: it claims that the coral is another, related taxon, which no
    probability shows; a person may. Names stay free of qualifiers, which have their own term
    [2]_.

    References
    ----------
    .. [1] Sigovini, M., Keppel, E. & Tagliapietra, D. (2016). Open Nomenclature in the
       biodiversity era. Methods in Ecology and Evolution 7, 1217-1225.
    .. [2] Darwin Core, term identificationQualifier, TDWG, http://rs.tdwg.org/dwc/terms/.
    """
    if is_juvenile:
        return _juvenile(p_genus, model)
    first, second = top or _top_two(p_genus)
    p1, p2 = float(p_genus[first]), float(p_genus[second])
    if p1 >= P_GENUS:
        return _one(first, p1 >= P_CERTAIN and not is_contradictory, model)
    if p1 + p2 >= P_PAIR and first != second:
        names = f"{model.genera[first]} or {model.genera[second]}"
        same = model.families[first] == model.families[second]
        rank = "family" if same else _rank_of_groups(first, second, model)
        qualifier = f"cf. {model.genera[first]}, {model.genera[second]}"
        return Verdict(verdict=names, rank=rank, qualifier=qualifier)
    return (
        _family(p_genus, model)
        or _group(p_genus, model)
        or Verdict(verdict=CANNOT_TELL, rank="none", qualifier=INDET)
    )


def _top_two(p_genus: FloatArray) -> tuple[int, int]:
    """The two most probable genera; the same twice where there is one only."""
    order = np.argsort(-p_genus, kind="stable")
    return int(order[0]), int(order[min(1, len(order) - 1)])


def _one(genus: int, is_certain: bool, model: Model) -> Verdict:
    """One genus, or a group that stands for itself."""
    name = model.genera[genus]
    if model.groups[genus] == "not_coral":
        return Verdict(verdict=name, rank="informal group", qualifier="" if is_certain else "cf.")
    return Verdict(verdict=name, rank="genus", qualifier="" if is_certain else "cf.")


def _rank_of_groups(first: int, second: int, model: Model) -> str:
    """The rank that holds two genera of two families."""
    groups = {model.groups[first], model.groups[second]}
    return "order" if groups == {"stony"} else "informal group"


def _largest(p_genus: FloatArray, model: Model, rank: Rank) -> tuple[str, float]:
    """The family or group with the largest probability, and that."""
    known, index = _numbered(model, rank)
    sums = np.bincount(index, weights=p_genus, minlength=len(known))
    best = int(sums.argmax())
    return known[best], float(sums[best])


@lru_cache(maxsize=32)
def _numbered(model: Model, rank: Rank) -> tuple[tuple[str, ...], NDArray[np.intp]]:
    """Distinct families or groups, and the place of each genus in them."""
    names = model.families if rank == "family" else model.groups
    known = tuple(dict.fromkeys(names))
    return known, np.array([known.index(n) for n in names], np.intp)


def _family(p_genus: FloatArray, model: Model) -> Verdict | None:
    """The family, where it is told."""
    name, p = _largest(p_genus, model, "family")
    if p < P_FAMILY or not name:
        return None
    return Verdict(verdict=f"{name}, genus not told", rank="family", qualifier=INDET)


def _group(p_genus: FloatArray, model: Model) -> Verdict | None:
    """The group, where the evidence (not the number of candidates) tells it."""
    name, p = _largest(p_genus, model, "group")
    if p < P_GROUP:
        return None
    before, p = _groups_before(model)[name], min(p, 1.0 - 1e-12)
    if before >= 1.0 - 1e-12:
        return None
    if p / (1.0 - p) < GROUP_GAIN * before / (1.0 - before):
        return None
    rank = "order" if name == "stony" else "informal group"
    word = GROUP_WORD.get(name, name)
    return Verdict(verdict=f"{word}, genus not told", rank=rank, qualifier=INDET)


@lru_cache(maxsize=8)
def _groups_before(model: Model) -> dict[str, float]:
    """Probability of each group before anything was seen."""
    known, index = _numbered(model, "group")
    prior = np.bincount(index, weights=model.sum_by_genus(model.prior))
    return dict(zip(known, prior.tolist(), strict=True))


def _juvenile(p_genus: FloatArray, model: Model) -> Verdict:
    """A juvenile: its family at most."""
    family = _family(p_genus, model)
    start = "juvenile under 5 cm: genus not safe"
    if family is None:
        return Verdict(verdict=start, rank="none", qualifier=INDET)
    name = family.verdict.split(",")[0]
    return Verdict(verdict=f"{start}; most likely {name}", rank="family", qualifier=INDET)
