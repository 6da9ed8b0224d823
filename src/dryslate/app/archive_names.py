"""What a recorded name is called in an archive: the lowest rank that is certain."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dryslate.core.identify.name_book import is_family
from dryslate.core.identify.names import find_names

if TYPE_CHECKING:
    from dryslate.app.publication_records import NameId
    from dryslate.core.identify.taxa import TaxaData

Said = tuple[str, str, str, tuple[str, ...], str]
"""Category, name as recorded, current name, current genera, rank."""
_QUALIFIER = re.compile(r"^(cf|aff)\.?\s+", re.I)
_ABOVE: Mapping[str, tuple[str, str]] = {
    "stony": ("Scleractinia", "order"),
    "hydrocoral": ("Hydrozoa", "class"),
    "octocoral": ("Octocorallia", ""),
}
_PLAIN: Mapping[str, tuple[str, str, str]] = {
    "hydrocoral": ("Hydrozoa", "class", "Animalia"),
    "octocoral": ("Octocorallia", "", "Animalia"),
    "coral": ("Cnidaria", "phylum", "Animalia"),
    "not a stony coral": ("Biota", "", ""),
    "cannot tell": ("Biota", "", ""),
}
"""Plain words of the records; what nobody could tell is a living thing and no more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchiveName:
    """
    A name as an archive carries it.

    Parameters
    ----------
    name : str
        Scientific name of the lowest rank that is certain, without qualifier or author.
    rank, kingdom, genus, name_id : str
        Empty where not known.
    qualifier : str
        Such as ``cf.``.
    verbatim : str
        As written.
    remarks : str
        What else it may stand for.
    """

    name: str
    rank: str = ""
    kingdom: str = ""
    genus: str = ""
    name_id: str = ""
    qualifier: str = ""
    verbatim: str = ""
    remarks: str = ""


@dataclass(kw_only=True)
class NameRoom:
    """
    Names that were looked up, each once.

    Parameters
    ----------
    taxa : TaxaData
    region : str or None
    categories : Mapping
        Category to name, rank and kingdom, for rows that name a category only.
    own : Mapping
        What the project supplied, by name.
    without_id : set of str
        Names that were exported without an identifier.
    no_taxon : set of str
        Categories that stand for no one taxon.
    """

    taxa: TaxaData
    region: str | None
    categories: Mapping[str, tuple[str, str, str]]
    own: Mapping[str, NameId]
    without_id: set[str] = field(default_factory=set)
    no_taxon: set[str] = field(default_factory=set)
    _known: dict[Said, ArchiveName | None] = field(default_factory=dict)

    def of(self, said: Said) -> ArchiveName | None:
        """Return how a row's name is exported; None where it names no living thing."""
        try:
            return self._known[said]
        except KeyError:
            return self._known.setdefault(said, self._made(said))

    def exported(self) -> set[tuple[str, str]]:
        """Return rank and name of every taxon that was exported."""
        return {(one.rank or "unranked", one.name) for one in self._known.values() if one}

    def typed(self, name: str) -> tuple[ArchiveName, frozenset[str]]:
        """Return how a name somebody typed is exported, and the genera it stands for."""
        match = find_names(name, self.taxa, self.region)
        said = ("", match.text or name, match.name, match.genera, match.rank)
        found = self.of(said) or ArchiveName(name=name, verbatim=name)
        return found, frozenset(match.genera) or frozenset({name})

    def _made(self, said: Said) -> ArchiveName | None:
        category, recorded, name, genera, rank = said
        if not recorded:
            return self._of_category(category)
        qualifier = _QUALIFIER.match(recorded)
        mark = f"{qualifier[1].lower()}." if qualifier else "cf." if recorded.endswith("?") else ""
        found, taxon_rank, kingdom = self._certain(recorded, name, genera, rank)
        remarks = (
            f"one of: {', '.join(genera)}" if 1 < len(genera) <= 6 and rank != "family" else ""
        )
        return self._with_id(
            (name, recorded, found),
            ArchiveName(
                name=found,
                rank=taxon_rank,
                kingdom=kingdom,
                genus=found if taxon_rank == "genus" else "",
                qualifier=mark,
                verbatim=recorded,
                remarks=remarks,
            ),
        )

    def _certain(
        self, recorded: str, name: str, genera: tuple[str, ...], rank: str
    ) -> tuple[str, str, str]:
        """Return name, rank and kingdom of what is certain."""
        if rank in ("family", "order") and name and " or " not in name:
            return name, rank, "Animalia"
        if name in _PLAIN and rank != "genus":
            return _PLAIN[name]
        if rank == "genus" and len(genera) == 1:
            return genera[0], "genus", "Animalia"
        rows = [self.taxa.genera[g] for g in genera if g in self.taxa.genera]
        if not rows:
            bare = _QUALIFIER.sub("", recorded).rstrip("?").strip()
            return bare, "", ""
        families = {one.family for one in rows}
        if len(families) == 1 and is_family(rows[0].family):
            return rows[0].family, "family", "Animalia"
        groups = {one.group for one in rows}
        if len(groups) == 1 and rows[0].group in _ABOVE:
            return (*_ABOVE[rows[0].group], "Animalia")
        return "Cnidaria", "phylum", "Animalia"

    def _of_category(self, category: str) -> ArchiveName | None:
        """Return the taxon that a category stands for; None where it stands for no one taxon."""
        own = self.own.get(category)
        if own is None and category not in self.categories:
            self.no_taxon.add(category)
            return None
        name, rank, kingdom = self.categories.get(category, ("", "", ""))
        made = ArchiveName(name=name, rank=rank, kingdom=kingdom, verbatim=category)
        return self._with_id((category, name), made)

    def _with_id(self, keys: Iterable[str], made: ArchiveName) -> ArchiveName:
        """Put what the project supplied in its place."""
        own = next((self.own[key] for key in keys if key in self.own), None)
        if own is None:
            self.without_id.add(made.name)
            return made
        if not own.name_id:
            self.without_id.add(own.scientific_name)
        rank = own.rank or made.rank
        return ArchiveName(
            name=own.scientific_name,
            rank=rank,
            kingdom=own.kingdom or made.kingdom,
            genus=own.scientific_name if rank == "genus" else made.genus,
            name_id=own.name_id,
            qualifier=made.qualifier,
            verbatim=made.verbatim,
            remarks=made.remarks,
        )
