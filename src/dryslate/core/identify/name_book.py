"""The names of a region, and what a written one can be matched with."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from dryslate.base.problems import Problem
from dryslate.core.identify.taxa import Genus, TaxaData

NameKind = Literal["exact", "former", "prefix", "suggestion", "rank", "unknown"]
Rank = Literal["genus", "family", "order", "informal group", "none"]


@dataclass(frozen=True, slots=True, kw_only=True)
class NameMatch:
    """
    What a written name stands for.

    Parameters
    ----------
    text : str
        The name as it is to be recorded: what was typed, first letters written out in full.
    kind : str
        ``exact`` (a current genus), ``former`` (a name of earlier years), ``prefix`` (first
        letters), ``suggestion`` (most like a slip of spelling), ``rank`` (a name above genus)
        or ``unknown``.
    name : str
        The current name; empty where it is open.
    rank : str
        ``genus``, ``family``, ``order``, ``informal group`` or ``none``.
    genera : tuple of str
        Current genera it can stand for.
    qualifier : str
        ``cf.`` or ``aff.`` where it was written.
    question : str
        What is to be asked before the name may be used, or about its sense; empty: nothing.
    problems : tuple of Problem
    """

    text: str
    kind: NameKind
    name: str = ""
    rank: Rank = "none"
    genera: tuple[str, ...] = ()
    qualifier: str = ""
    question: str = ""
    problems: tuple[Problem, ...] = ()

    @property
    def is_usable(self) -> bool:
        """Whether it can be recorded as it stands, without asking which word was meant."""
        return self.kind in ("exact", "former", "rank") or bool(
            self.kind == "prefix" and self.genera and not self.question
        )


def is_in_region(genus: Genus, taxa: TaxaData, region: str | None) -> bool:
    """
    Tell whether a genus lives in a region.

    Parameters
    ----------
    genus : Genus
    taxa : TaxaData
    region : str or None
        None: anywhere.

    Returns
    -------
    bool

    Examples
    --------
    >>> genus = Genus(
    ...     genus="Aa", family="", authority="", group="stony", regions=frozenset({"west"})
    ... )
    >>> taxa = TaxaData(
    ...     version="1", characters={}, genera={}, profiles=(), lookalikes=(),
    ...     regions={"east": frozenset({"east"})},
    ... )
    >>> is_in_region(genus, taxa, "east"), is_in_region(genus, taxa, None)
    (False, True)
    """
    return region is None or bool(genus.regions & taxa.regions.get(region, frozenset({region})))


def is_family(name: str) -> bool:
    """
    Tell whether the family given for a genus is one.

    Parameters
    ----------
    name : str

    Returns
    -------
    bool
        False for genera of uncertain place and for what is no stony coral.

    Examples
    --------
    >>> is_family("Merulinidae"), is_family("Scleractinia incertae sedis"), is_family("")
    (True, False, False)
    """
    return name.endswith("idae")


class NameBook:
    """Names by their small letters: current and former, in the region and elsewhere."""

    def __init__(self, taxa: TaxaData, region: str | None, is_old_sense: bool) -> None:
        self.taxa, self.region, self.is_old_sense = taxa, region, is_old_sense
        self.here: dict[str, str] = {}
        self.elsewhere: dict[str, str] = {}
        self.former: dict[str, tuple[str, list[str]]] = {}
        self.former_elsewhere: dict[str, tuple[str, list[str]]] = {}
        for genus in taxa.genera.values():
            is_here = is_in_region(genus, taxa, region)
            (self.here if is_here else self.elsewhere)[genus.genus.lower()] = genus.genus
            earlier = self.former if is_here else self.former_elsewhere
            for name in genus.former_names:
                earlier.setdefault(name.lower(), (name, []))[1].append(genus.genus)

    def written_out(self) -> dict[str, str]:
        """Every name of the region by its small letters."""
        return {low: name for low, (name, _) in self.former.items()} | self.here

    def rank_of(self, genus: str) -> Rank:
        """The rank of an answer: genus, or an informal group that stands among the genera."""
        is_group = self.taxa.genera[genus].group in ("not_coral", "juvenile")
        return "informal group" if is_group else "genus"


def unknown_name(text: str, slug: str, message: str, fix: str) -> NameMatch:
    """Say that a name stands for nothing."""
    problem = Problem(slug=slug, severity="error", place=text or "name", message=message, fix=fix)
    return NameMatch(text=text, kind="unknown", problems=(problem,))


def with_qualifier(match: NameMatch, qualifier: str) -> NameMatch:
    """Add a qualifier."""
    return NameMatch(
        text=match.text,
        kind=match.kind,
        name=match.name,
        rank=match.rank,
        genera=match.genera,
        qualifier=qualifier,
        question=match.question,
        problems=match.problems,
    )


def not_in_region(name: str, book: NameBook) -> Problem:
    """Say that a name is not known from the region."""
    return Problem(
        slug="name-not-in-region",
        severity="warning",
        place=name,
        message=f"not known from {book.region}",
        fix="Look again, or add it to the checklist of the project's region.",
    )


def listed(names: Iterable[str], last: str = "or") -> str:
    """Names joined by commas and a last word."""
    rows = list(dict.fromkeys(names))
    return rows[0] if len(rows) == 1 else f"{', '.join(rows[:-1])} {last} {rows[-1]}"
