"""Looking a name up, and the region that a project works in."""

from __future__ import annotations

from typing import Any

from dryslate.app.ports import SurveyStore
from dryslate.base.errors import InputError
from dryslate.core.identify.name_book import NameBook, NameMatch, is_family
from dryslate.core.identify.names import GROUP_NAMES, find_names
from dryslate.core.identify.taxa import TaxaData


def look_up(
    store: SurveyStore | None,
    taxa: TaxaData,
    text: str,
    region: str | None = None,
    is_old_sense: bool = False,
) -> NameMatch:
    """Find what a name stands for in a region, or in the project's; nothing is stored."""
    where = region or (store.region() if store is not None else None)
    return find_names(text, taxa, where, is_old_sense)


def names_to_type(taxa: TaxaData, region: str | None) -> tuple[str, ...]:
    """List the names that can be typed for a coral in a region, current and earlier ones."""
    book = NameBook(taxa, region, is_old_sense=False)
    families = {g.family for g in taxa.genera.values() if is_family(g.family)}
    words = [word for word in GROUP_NAMES if word not in ("scleractinia", "unknown")]
    return (*sorted({*book.written_out().values(), *families}, key=str.lower), *words)


def name_groups(taxa: TaxaData, region: str | None) -> tuple[tuple[str, str], ...]:
    """List the names that can be typed, each with the group of animals that its genera are of."""
    found = []
    for name in names_to_type(taxa, region):
        match = find_names(name, taxa, region)
        groups = {taxa.genera[genus].group for genus in match.genera if genus in taxa.genera}
        found.append((name, groups.pop() if len(groups) == 1 else ""))
    return tuple(found)


def match_as_dict(match: NameMatch) -> dict[str, Any]:
    """Return a match for JSON."""
    return {
        "text": match.text,
        "kind": match.kind,
        "name": match.name,
        "rank": match.rank,
        "genera": list(match.genera),
        "qualifier": match.qualifier,
        "question": match.question,
        "problems": [p.as_dict() for p in match.problems],
    }


def match_words(match: NameMatch) -> str:
    """Say what a name stands for."""
    if not match.is_usable:
        return match.question or f"{match.text}: not known."
    said = match.text if match.text == match.name else f"{match.text}: today {match.name}"
    return f"{said} ({match.rank}). {match.question}".rstrip()


def set_region(store: SurveyStore, taxa: TaxaData, region: str) -> None:
    """
    Set the region a project works in.

    Raises
    ------
    InputError
        ``name-region-unknown``.
    """
    if region not in taxa.regions:
        raise InputError(
            "name-region-unknown",
            f"The region {region!r} is not known.",
            f"Known: {', '.join(taxa.regions)}.",
        )
    store.save_region(region)
