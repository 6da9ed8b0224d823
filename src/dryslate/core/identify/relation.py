"""How a second name stands to a first: the same, coarser, finer, or another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:  # neither is needed to compare, and both are slow to import
    from dryslate.core.identify.name_book import Rank
    from dryslate.core.identify.review import Agreement

Relation = Literal["same", "coarser", "finer", "differs"]
VAGUE = frozenset({"cannot tell", "coral"})
"""Names that fit every coral."""
DEPTH: dict[Rank, int] = {"genus": 0, "family": 1, "order": 2, "informal group": 2, "none": 3}


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidName:
    """
    A name as one observer gave it.

    Parameters
    ----------
    name : str
        The current name; as recorded where the data do not list it.
    rank : Rank
        ``genus``, ``family``, ``order``, ``informal group`` or ``none``.
    genera : tuple of str
        Current genera that it can stand for.
    """

    name: str
    rank: Rank
    genera: tuple[str, ...] = ()

    @property
    def is_vague(self) -> bool:
        """Tell whether the name fits every coral."""
        return not self.genera and self.name in VAGUE


def relate_names(first: SaidName, second: SaidName, agreement: Agreement) -> Relation:
    """
    Say how a second name stands to a first.

    Parameters
    ----------
    first, second : SaidName
    agreement : Agreement
        As of `dryslate.core.identify.review.compare_names`.

    Returns
    -------
    {"same", "coarser", "finer", "differs"}
        ``coarser``: the second is wider and the first lies within it, so that it neither confirms
        nor contradicts; ``finer``: the other way; ``differs``: at most one can be right, or they
        overlap in part.

    Notes
    -----
    Names are compared by the genera they can stand for. A name of one region and a family listed
    for another share no genus; there the rank decides at which both are the same taxon.

    Examples
    --------
    >>> from dryslate.core.identify.review import Agreement
    >>> favites = SaidName(name="Favites", rank="genus", genera=("Favites",))
    >>> family = SaidName(name="Merulinidae", rank="family", genera=("Favites", "Goniastrea"))
    >>> at_family = Agreement(rank_shared="family", is_agreed=True, agreed_at="family")
    >>> relate_names(favites, family, at_family), relate_names(family, favites, at_family)
    ('coarser', 'finer')
    """
    if _is_same(first, second):
        return "same"
    if second.is_vague or first.is_vague:
        return "coarser" if second.is_vague else "finer"
    one, other = set(first.genera), set(second.genera)
    if not one or not other:
        return "differs"
    if one < other or other < one:
        return "coarser" if one < other else "finer"
    by_rank = DEPTH[second.rank] - DEPTH[first.rank]
    if by_rank and (one == other or (agreement.is_agreed and not one & other)):
        return "coarser" if by_rank > 0 else "finer"
    return "differs"


def _is_same(first: SaidName, second: SaidName) -> bool:
    """Whether two names say the same."""
    if first.rank != second.rank:
        return False
    if not first.genera and not second.genera:
        return first.name.casefold() == second.name.casefold()
    return set(first.genera) == set(second.genera)
