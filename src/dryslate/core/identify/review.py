"""The second observer: what is looked at again, and whether two names agree."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dryslate.core.identify.confidence import P_STATED
from dryslate.core.identify.kinds import LIKE_MEASURE
from dryslate.core.identify.name_book import Rank, is_family, is_in_region
from dryslate.core.identify.taxa import Profile, SizeRange, TaxaData

SIZE_MARGIN = 2.0  # standard uncertainties that a size may lie beyond the full range
RANKS: tuple[Rank, ...] = ("genus", "family", "order")


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """
    An identification that could be looked at again.

    Parameters
    ----------
    identification_id : str
    probability : float or None
        The model's for that name; None where no evidence was weighed.
    confidence : int or None
        Key 1 to 5; None where not stated.
    conflicts : tuple of str
        ``size``, ``region``: what speaks against the name.
    """

    identification_id: str
    probability: float | None = None
    confidence: int | None = None
    conflicts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawSettings:
    """
    Which identifications are looked at again.

    Parameters
    ----------
    random_frac : float
        Share of those without a reason that is drawn at random, 0 to 1.
    least_probability : float
        A probability below it is low; a stated confidence is low where it stands for less.
    """

    random_frac: float = 0.10
    least_probability: float = 0.80


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """
    The chance an identification had of being drawn, and what came out.

    Parameters
    ----------
    identification_id : str
    p_drawn : float
    is_drawn : bool
    reasons : tuple of str
        ``probability``, ``confidence``, ``size``, ``region``, ``not_stated`` (neither weighed nor
        stated); ``random`` for the random share; empty where not drawn.
    """

    identification_id: str
    p_drawn: float
    is_drawn: bool
    reasons: tuple[str, ...]


def find_reasons(candidate: Candidate, settings: DrawSettings) -> tuple[str, ...]:
    """
    Say why an identification must be looked at again.

    Parameters
    ----------
    candidate : Candidate
    settings : DrawSettings

    Returns
    -------
    tuple of str
        Empty: it takes part in the random share only.

    Examples
    --------
    >>> find_reasons(Candidate(identification_id="a", confidence=2), DrawSettings())
    ('confidence',)
    """
    found = []
    p, key, least = candidate.probability, candidate.confidence, settings.least_probability
    if p is not None and p < least:
        found.append("probability")
    if key is not None and P_STATED[key] < least:
        found.append("confidence")
    if p is None and key is None:
        found.append("not_stated")
    return (*found, *candidate.conflicts)


def find_review(
    candidates: Sequence[Candidate], settings: DrawSettings, generator: np.random.Generator
) -> tuple[Chance, ...]:
    r"""
    Draw what a second observer looks at.

    Parameters
    ----------
    candidates : sequence of Candidate
        In any order; the same ones with the same generator give the same draw.
    settings : DrawSettings
    generator : numpy.random.Generator

    Returns
    -------
    tuple of Chance
        For every candidate, by id: those with a reason are drawn for certain; of the `N` others a
        simple random sample without replacement.

    Notes
    -----
    The sample has :math:`n = \lceil f N \rceil` members, so each of the others had the chance
    :math:`n / N` (a little over `f` where `N` is small). Every candidate has a chance above
    zero unless `f` is 0, as weighting by its inverse asks for [1]_.

    References
    ----------
    .. [1] Horvitz, D.G. & Thompson, D.J. (1952). A generalization of sampling without
       replacement from a finite universe. J. Am. Stat. Assoc. 47, 663-685.

    Examples
    --------
    >>> sure = [Candidate(identification_id=f"i{n:02}", confidence=5) for n in range(20)]
    >>> drawn = find_review(sure, DrawSettings(), np.random.default_rng(1))
    >>> sum(c.is_drawn for c in drawn), drawn[0].p_drawn
    (2, 0.1)
    """
    ordered = sorted(candidates, key=lambda c: c.identification_id)
    reasons = {c.identification_id: find_reasons(c, settings) for c in ordered}
    others = [c.identification_id for c in ordered if not reasons[c.identification_id]]
    n_drawn = math.ceil(settings.random_frac * len(others) - 1e-9)
    picked = set(generator.choice(len(others), n_drawn, replace=False).tolist()) if others else ()
    at_random = {others[i] for i in picked}
    share = n_drawn / len(others) if others else 0.0
    found = []
    for candidate in ordered:
        name = candidate.identification_id
        why = reasons[name]
        found.append(
            Chance(
                identification_id=name,
                p_drawn=1.0 if why else share,
                is_drawn=bool(why) or name in at_random,
                reasons=why or (("random",) if name in at_random else ()),
            )
        )
    return tuple(found)


def find_name_conflicts(
    genera: Sequence[str],
    sizes: Mapping[str, tuple[float, float]],
    region: str | None,
    taxa: TaxaData,
) -> tuple[str, ...]:
    """
    Find what was measured or is known of the region and speaks against a name.

    Parameters
    ----------
    genera : sequence of str
        Current genera that the name can stand for; empty: nothing is checked.
    sizes : Mapping of str to (float, float)
        Value and standard uncertainty in millimetres, by measure; sizes of adults only.
    region : str or None
    taxa : TaxaData

    Returns
    -------
    tuple of str
        ``size`` where no genus of the name reaches a size within two standard uncertainties of
        its full range; ``region`` where none lives there. A look of a genus of which only the
        calices are known says nothing of a valley, and the other way: that is no conflict.

    Examples
    --------
    >>> taxa = TaxaData(
    ...     version="1", characters={}, genera={}, profiles=(), lookalikes=(), regions={}
    ... )
    >>> find_name_conflicts((), {}, None, taxa)
    ()
    """
    known = [taxa.genera[g] for g in genera if g in taxa.genera]
    if not known:
        return ()
    found = []
    if any(
        not any(_can_have(g.genus, measure, size, taxa) for g in known)
        for measure, size in sizes.items()
    ):
        found.append("size")
    if not any(is_in_region(g, taxa, region) for g in known):
        found.append("region")
    return tuple(found)


def _can_have(genus: str, measure: str, size: tuple[float, float], taxa: TaxaData) -> bool:
    """Whether a size lies in, or near enough to, what is known of any look of the genus."""
    value, margin = size[0], SIZE_MARGIN * size[1]
    looks = [p for p in taxa.profiles if p.genus == genus]
    return not looks or any(
        not _is_measured(p, measure)
        or any(s.low_mm - margin <= value <= s.high_mm + margin for s in _stated(p, measure))
        for p in looks
    )


def _stated(profile: Profile, measure: str) -> list[SizeRange]:
    """All ranges of a measure that are known of a profile and its kinds."""
    parts = (profile.sizes, *(k.sizes for k in profile.kinds))
    return [sizes[measure] for sizes in parts if measure in sizes]


def _is_measured(profile: Profile, measure: str) -> bool:
    """Whether the whole of a profile is known by a measure: by its own, or by all its kinds'."""
    if measure in profile.sizes:
        return True
    other = LIKE_MEASURE.get(measure, "")
    known = [k for k in profile.kinds if measure in k.sizes or other in k.sizes]
    return bool(known) and all(measure in k.sizes for k in known)


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """
    Whether two names agree.

    Parameters
    ----------
    rank_shared : str
        Lowest rank at which both are one taxon: ``genus``, ``family`` or ``order`` (or another
        group); empty where there is none.
    is_agreed : bool or None
        At that rank; None where no rank is shared.
    agreed_at : str
        Lowest rank at which they are the same; empty: at none.
    """

    rank_shared: str
    is_agreed: bool | None
    agreed_at: str


def compare_names(
    first: tuple[str, Sequence[str]], second: tuple[str, Sequence[str]], taxa: TaxaData
) -> Agreement:
    """
    Compare two names as they are called today, at the rank both share.

    Parameters
    ----------
    first, second : (str, sequence of str)
        Rank, and current genera that the name can stand for.
    taxa : TaxaData

    Returns
    -------
    Agreement
        A genus against its own family agrees at family; against another family it does not;
        "cannot tell" shares no rank with anything.

    Examples
    --------
    >>> taxa = TaxaData(
    ...     version="1", characters={}, genera={}, profiles=(), lookalikes=(), regions={}
    ... )
    >>> compare_names(("none", ()), ("genus", ("Aa",)), taxa).is_agreed is None
    True
    """
    one, other = _line_of(first, taxa), _line_of(second, taxa)
    shared = [r for r in RANKS if one.get(r) and other.get(r)]
    same = [r for r in shared if one[r] == other[r]]
    if not shared:
        return Agreement(rank_shared="", is_agreed=None, agreed_at="")
    return Agreement(
        rank_shared=shared[0],
        is_agreed=one[shared[0]] == other[shared[0]],
        agreed_at=same[0] if same else "",
    )


def _line_of(name: tuple[str, Sequence[str]], taxa: TaxaData) -> dict[str, str]:
    """Taxon at each rank from genus up, where the name is one taxon there."""
    rank, genera = name
    rows = [taxa.genera[g] for g in genera if g in taxa.genera]
    if rank == "none" or not rows:
        return {}
    line = {}
    if rank in ("genus", "informal group") and len(rows) == 1:
        line["genus"] = rows[0].genus
    if rank in ("genus", "family") or len(rows) == 1:
        families = {g.family for g in rows}
        if len(families) == 1 and all(map(is_family, families)):
            line["family"] = families.pop()
    groups = {g.group for g in rows}
    if len(groups) == 1:
        line["order"] = str(groups.pop())
    return line
