"""The genera of a region as arrays: what an observer would write down of each profile."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.identify.evidence import MEASURES, nearest_words
from dryslate.core.identify.kinds import GROWTH, KindTable, Looks, full_range, kind_table
from dryslate.core.identify.observer import ErrorRates
from dryslate.core.identify.tables import (
    AskTable,
    CharacterTable,
    FloatArray,
    ask_table,
    character_table,
    growth_table,
)
from dryslate.core.identify.taxa import Lookalike, Met, Profile, TaxaData

PriorKind = Literal["local", "met", "equal"]
SHARE_POWER = 0.7  # of the shares of looks, which rest on memory: draws them together
LOCAL_FLOOR = 0.02  # of the prior stays as it was where local frequencies are given
MET_WEIGHT: Mapping[Met, float] = {"always": 8.0, "often": 4.0, "at_times": 2.0, "seldom": 1.0}
"""Of a genus in the prior, by how often it is met. Real reefs differ by far more; what people name
with questions is more often the rare one than a transect has it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Model:
    """
    All that an identification in one region needs, as arrays.

    Parameters
    ----------
    taxa : TaxaData
    rates : ErrorRates
    region : str or None
    genera, families, groups : tuple of str
        Candidates in order, with the family and group of each.
    profiles : tuple of Profile
        In the order of the genera.
    genus_of : ndarray of int, shape (n_profiles,)
    starts : ndarray of int, shape (n_genera,)
        First profile of each genus.
    looks : ndarray of int, shape (n_genera, n_most)
        Profiles of each genus; a genus of fewer has its first one again.
    is_look : ndarray of bool, shape (n_genera, n_most)
        False where `looks` has it again.
    prior : ndarray of float, shape (n_profiles,)
        Sums to one.
    prior_kind : str
        ``local`` (frequencies of a project), ``met`` (how often genera are met) or ``equal``.
    tables : Mapping of str to CharacterTable
    kinds : KindTable
    ask : AskTable
        Everything that can be asked next.
    pairs : Mapping of frozenset of str to Lookalike
        Genera that are taken for each other.
    ranges : Mapping of str to ndarray of float, shape (n_profiles, 2)
        Full range of each measure in millimetres; not a number where it is not known.
    elsewhere : tuple of Profile
        Profiles of genera that do not live in the region.
    """

    taxa: TaxaData
    rates: ErrorRates
    region: str | None
    genera: tuple[str, ...]
    families: tuple[str, ...]
    groups: tuple[str, ...]
    profiles: tuple[Profile, ...]
    genus_of: NDArray[np.intp]
    starts: NDArray[np.intp]
    looks: NDArray[np.intp]
    is_look: NDArray[np.bool_]
    prior: FloatArray
    prior_kind: PriorKind
    tables: Mapping[str, CharacterTable]
    kinds: KindTable
    ask: AskTable
    pairs: Mapping[frozenset[str], Lookalike]
    ranges: Mapping[str, FloatArray]
    elsewhere: tuple[Profile, ...]

    def sum_by_genus(self, values: FloatArray) -> FloatArray:
        """Sum the last axis over the profiles of each genus."""
        return np.add.reduceat(values, self.starts, axis=-1)

    def rows_of(self, genus: int) -> slice:
        """Return the profiles of a genus, by its place."""
        last = genus + 1 == len(self.starts)
        stop = len(self.profiles) if last else int(self.starts[genus + 1])
        return slice(int(self.starts[genus]), stop)


def build_model(
    taxa: TaxaData,
    error_rates: ErrorRates,
    region: str | None = None,
    *,
    all_equal: bool = False,
) -> Model:
    r"""
    Lay the genera of a region out as arrays.

    Parameters
    ----------
    taxa : TaxaData
    error_rates : ErrorRates
    region : str or None
        None: all regions together.
    all_equal : bool
        Every genus counts as equally common, whatever is known of how often it is met.

    Returns
    -------
    Model
        The work of some tens of milliseconds; keep it for all answers of the region.

    Raises
    ------
    InputError
        ``identify-region-unknown``; ``identify-region-empty`` if no genus lives there.

    Notes
    -----
    Of a character with states :math:`s`, a profile :math:`p` writes
    :math:`P(o \mid p) = \sum_s q_p(s)\, C(s, o)` with the shares :math:`q_p` from the weights of
    usual, sometimes and rare states and the observers' confusion :math:`C`; a tenth of
    :math:`q_p` is what the genus as a whole shows, since looks go over into each other. A
    character that is not scored for a profile is no evidence: its row is half what the profile's
    family and half what the region shows, so that it neither gains nor loses against the average.
    Prior: 8 to 4 to 2 to 1 for genera met nearly always, often, at times and seldom, in the part of
    the region where each is met most; or local frequencies, of which 2 % stay so; times the
    profile's share to the power of 0.7.
    """
    profiles = _profiles_of(taxa, region)
    genera = tuple(dict.fromkeys(p.genus for p in profiles))
    genus_of = np.array([genera.index(p.genus) for p in profiles], np.intp)
    families = tuple(taxa.genera[g].family for g in genera)
    family_of = np.array([families[g] for g in genus_of])
    looks = Looks(genus_of=genus_of, share=_shares_of(profiles, genus_of))
    tables = {
        name: character_table(character, taxa, profiles, family_of, error_rates, looks)
        for name, character in taxa.characters.items()
    }
    local = {} if all_equal else taxa.frequencies.get(region or "", {})
    met = {} if all_equal else _met_in(taxa, genera, finest_regions(taxa, region))
    kinds = kind_table(taxa, profiles, finest_regions(taxa, region), error_rates, looks)
    starts = np.searchsorted(genus_of, np.arange(len(genera)))
    n_looks = np.bincount(genus_of)
    is_look = np.arange(n_looks.max()) < n_looks[:, None]
    if GROWTH in tables:
        tables[GROWTH] = growth_table(tables[GROWTH], kinds)
    return Model(
        taxa=taxa,
        rates=error_rates,
        region=region,
        genera=genera,
        families=families,
        groups=tuple(taxa.genera[g].group for g in genera),
        profiles=profiles,
        genus_of=genus_of,
        starts=starts,
        looks=starts[:, None] + np.arange(n_looks.max()) * is_look,
        is_look=is_look,
        prior=_prior_of(looks, genera, met, local),
        prior_kind="local" if local else "met" if len(set(met.values())) > 1 else "equal",
        tables=tables,
        kinds=kinds,
        ask=ask_table(tables, kinds, profiles),
        pairs={frozenset((a.genus_a, a.genus_b)): a for a in taxa.lookalikes},
        ranges={m: np.array([full_range(p, m) for p in profiles]) for m in MEASURES},
        elsewhere=tuple(
            p for p in taxa.profiles if p.genus not in genera and _is_candidate(p, taxa)
        ),
    )


def finest_regions(taxa: TaxaData, region: str | None) -> frozenset[str]:
    """
    Return the finest regions that a region name is made of.

    Parameters
    ----------
    taxa : TaxaData
    region : str or None
        None: all of them.

    Returns
    -------
    frozenset of str

    Raises
    ------
    InputError
        ``identify-region-unknown``.
    """
    if region is None:
        return frozenset().union(*taxa.regions.values(), *(p.regions for p in taxa.profiles))
    if region not in taxa.regions:
        raise InputError(
            "identify-region-unknown",
            f"there is no region {region!r}",
            nearest_words(region, taxa.regions),
        )
    return taxa.regions[region]


def _profiles_of(taxa: TaxaData, region: str | None) -> tuple[Profile, ...]:
    """Profiles of the genera that live in the region, in the order of the genera."""
    finest = finest_regions(taxa, region)
    kept = [
        p
        for p in taxa.profiles
        if p.regions & finest
        and _is_candidate(p, taxa)
        and (taxa.genera[p.genus].regions & finest or not taxa.genera[p.genus].regions)
    ]
    if not kept:
        raise InputError("identify-region-empty", f"no genus is known from {region or 'anywhere'}")
    return tuple(sorted(kept, key=lambda p: p.genus))


def _is_candidate(profile: Profile, taxa: TaxaData) -> bool:
    """Whether a profile belongs to an answer other than "juvenile", which is no likelihood."""
    return profile.genus in taxa.genera and taxa.genera[profile.genus].group != "juvenile"


def _met_in(taxa: TaxaData, genera: tuple[str, ...], finest: frozenset[str]) -> dict[str, Met]:
    """How often each genus is met, where it is met most; empty where nothing is known of any."""
    known = [taxa.met[r] for r in sorted(finest) if r in taxa.met]
    found: dict[str, Met] = {}
    for genus in genera if known else ():
        lives = taxa.genera[genus].regions
        words = [taxa.met.get(r, {}).get(genus, "at_times") for r in sorted(finest & lives)]
        found[genus] = max(words, key=lambda w: MET_WEIGHT[w], default="at_times")
    return found


def _shares_of(profiles: tuple[Profile, ...], genus_of: NDArray[np.intp]) -> FloatArray:
    """Share of each look within its genus, drawn together."""
    share = np.array([max(p.share, 1e-6) ** SHARE_POWER for p in profiles])
    within: FloatArray = share / np.bincount(genus_of, weights=share)[genus_of]
    return within


def _prior_of(
    looks: Looks,
    genera: tuple[str, ...],
    met: Mapping[str, Met],
    local: Mapping[str, float],
) -> FloatArray:
    """Prior of each profile: of its genus, times its share within."""
    of_genus = np.array([MET_WEIGHT[met[g]] if g in met else 1.0 for g in genera])
    of_genus /= of_genus.sum()
    given = np.array([max(local.get(g, 0.0), 0.0) for g in genera])
    if given.sum() > 0:
        of_genus = LOCAL_FLOOR * of_genus + (1.0 - LOCAL_FLOOR) * given / given.sum()
    prior: FloatArray = of_genus[looks.genus_of] * looks.share
    return prior
