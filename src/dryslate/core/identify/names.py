"""Names of corals: as recorded, and what they are called today in a region."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from rapidfuzz.distance import OSA

from dryslate.base.problems import Problem
from dryslate.core.identify.name_book import (
    NameBook,
    NameMatch,
    Rank,
    is_family,
    is_in_region,
    listed,
    not_in_region,
    unknown_name,
    with_qualifier,
)
from dryslate.core.identify.taxa import TaxaData

GROUP_NAMES: Mapping[str, tuple[str, Rank, str]] = {
    "stony coral": ("Scleractinia", "order", "stony"),
    "hard coral": ("Scleractinia", "order", "stony"),
    "scleractinia": ("Scleractinia", "order", "stony"),
    "hydrocoral": ("hydrocoral", "informal group", "hydrocoral"),
    "octocoral": ("octocoral", "informal group", "octocoral"),
    "not a stony coral": ("not a stony coral", "informal group", "not_coral"),
    "coral": ("coral", "none", ""),
    "cannot tell": ("cannot tell", "none", ""),
    "unknown": ("cannot tell", "none", ""),
}
"""Plain words for what is known above family: current name, rank, group in the data."""
NOT_KNOWN = re.compile(
    r"[,;]?\s*(?:genus|family)?\s*(?:not (?:known|told)|unknown|indet\.?)$", re.I
)
QUALIFIER = re.compile(r"^(?P<word>cf|aff)\.?\s+", re.I)
SPECIES_END = re.compile(r"\s+(?:spp?\.?|species)$", re.I)
EITHER = re.compile(r"\s+or\s+|\s*/\s*", re.I)
FEWEST_LETTERS = 2
SLIPS_PER_LETTERS = 4  # one slip for each four letters, and at least one
MOST_SUGGESTIONS = 5


def find_names(
    text: str, taxa: TaxaData, region: str | None, is_old_sense: bool = False
) -> NameMatch:
    """
    Find what a written name stands for today.

    Parameters
    ----------
    text : str
        A genus (a species epithet, *sp.*, *cf.* and *aff.* may stand with it), the first letters
        of one, a family, or plain words ("stony coral, not known"); two genera joined by "or".
    taxa : TaxaData
    region : str or None
        Where the coral lives (see `TaxaData.regions`); None: anywhere.
    is_old_sense : bool
        The name is used as it was before the revisions: a name that is still current stands also
        for the genera that were split from it.

    Returns
    -------
    NameMatch
        Problems: ``name-empty``, ``name-region-unknown``, ``name-unknown`` (errors);
        ``name-not-in-region``, ``name-former`` (warnings); ``name-sense``,
        ``name-species-kept`` (notes).

    Notes
    -----
    A name that is current in the region is taken in today's sense, and what it covered before is
    asked about. A name that is not current there maps to every genus of the region that was once
    called so. First letters complete to whole names, current or former; they are never kept.
    Spelling slips are counted as insertions, deletions, substitutions and swaps of neighbours
    (optimal string alignment); a likely name is suggested and never taken.

    Examples
    --------
    >>> from dryslate.core.identify.taxa import Genus
    >>> genus = Genus(
    ...     genus="Dipsastraea", family="Merulinidae", authority="", group="stony",
    ...     regions=frozenset({"indian_ocean"}), former_names=("Favia",),
    ... )
    >>> taxa = TaxaData(
    ...     version="1", characters={}, genera={"Dipsastraea": genus}, profiles=(),
    ...     lookalikes=(), regions={"indian_ocean": frozenset({"indian_ocean"})},
    ... )
    >>> match = find_names("Favia pallida", taxa, "indian_ocean")
    >>> match.text, match.kind, match.name, match.genera
    ('Favia pallida', 'former', 'Dipsastraea', ('Dipsastraea',))
    >>> find_names("dips", taxa, "indian_ocean").text
    'Dipsastraea'
    """
    written = " ".join(text.split())
    bare = bare_name(written)
    if not bare:
        return unknown_name(written, "name-empty", "there is no name", "Give a name.")
    if region is not None and region not in taxa.regions:
        return unknown_name(
            written,
            "name-region-unknown",
            f"the region {region!r} is not known",
            f"Known: {', '.join(taxa.regions)}.",
        )
    qualified = QUALIFIER.match(written)
    qualifier = f"{qualified['word'].lower()}." if qualified else ""
    if not qualifier and written.endswith("?"):
        qualifier = "cf."
    book = NameBook(taxa, region, is_old_sense)
    match = _above_genus(written, bare, book) or _either(written, bare, book)
    match = match or _one(written, bare, book)
    return with_qualifier(match, qualifier) if qualifier else match


def bare_name(text: str) -> str:
    """
    Return a name as written, without its qualifier.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> bare_name("cf. Favites"), bare_name("Porites?"), bare_name("Favites")
    ('Favites', 'Porites', 'Favites')
    """
    return QUALIFIER.sub("", " ".join(text.split())).rstrip("?").strip()


def _above_genus(written: str, bare: str, book: NameBook) -> NameMatch | None:
    """Match a family or plain words for what is above it."""
    low = NOT_KNOWN.sub("", SPECIES_END.sub("", bare)).strip().lower() or "unknown"
    here = [g for g in book.taxa.genera.values() if is_in_region(g, book.taxa, book.region)]
    families = {
        g.family.lower(): g.family for g in book.taxa.genera.values() if is_family(g.family)
    }
    if low in families:
        family = families[low]
        genera = tuple(g.genus for g in here if g.family == family)
        problems = () if genera else (not_in_region(family, book),)
        return NameMatch(
            text=written, kind="rank", name=family, rank="family", genera=genera, problems=problems
        )
    if low not in GROUP_NAMES or low in book.here:
        return None
    name, rank, group = GROUP_NAMES[low]
    return NameMatch(
        text=written,
        kind="rank",
        name=name,
        rank=rank,
        genera=tuple(g.genus for g in here if g.group == group),
    )


def _either(written: str, bare: str, book: NameBook) -> NameMatch | None:
    """Match two or more genera joined by "or"."""
    parts = [p.strip() for p in EITHER.split(bare)]
    if len(parts) < 2 or not all(parts):
        return None
    found = [_one(p, p, book) for p in parts]
    problems = tuple(p for f in found for p in f.problems)
    bad = next((f for f in found if not f.is_usable), None)
    if bad is not None:
        return NameMatch(text=written, kind=bad.kind, question=bad.question, problems=problems)
    genera = tuple(dict.fromkeys(g for f in found for g in f.genera))
    question = " ".join(f.question for f in found if f.question)
    return NameMatch(
        text=" or ".join(f.text for f in found),
        kind="former" if any(f.kind == "former" for f in found) else "exact",
        name=" or ".join(genera),
        rank=_shared_rank(genera, book.taxa),
        genera=genera,
        question=question,
        problems=problems,
    )


def _shared_rank(genera: Iterable[str], taxa: TaxaData) -> Rank:
    """The lowest rank that holds all genera."""
    rows = [taxa.genera[g] for g in genera]
    if len(rows) == 1:
        return "genus"
    if len({g.family for g in rows}) == 1 and is_family(rows[0].family):
        return "family"
    return "order" if {g.group for g in rows} == {"stony"} else "informal group"


def _one(written: str, bare: str, book: NameBook) -> NameMatch:
    """Match one genus name, with or without an epithet."""
    whole = SPECIES_END.sub("", bare)
    for low in dict.fromkeys((whole.lower(), whole.split(maxsplit=1)[0].lower())):
        match = _current_or_former(written, low, book)
        if match is not None:
            return _note_species(match, whole, low)
    return _letters(whole, book) or _slips(written, whole, book)


def _note_species(match: NameMatch, whole: str, low: str) -> NameMatch:
    """Note that an epithet is kept as written and not checked."""
    if whole.lower() == low:
        return match
    note = Problem(
        slug="name-species-kept",
        severity="note",
        place=whole,
        message="only the genus is looked up; the rest of the name is kept as written",
        fix="Nothing needs doing.",
    )
    return NameMatch(
        text=match.text,
        kind=match.kind,
        name=match.name,
        rank=match.rank,
        genera=match.genera,
        question=match.question,
        problems=(*match.problems, note),
    )


def _current_or_former(written: str, low: str, book: NameBook) -> NameMatch | None:
    """Match a whole name, current or former."""
    name = book.here.get(low)
    earlier = book.former.get(low)
    if name is not None:
        split = tuple(g for g in earlier[1] if g != name) if earlier else ()
        return _current(written, name, split, book)
    if earlier is not None:
        return _former(written, earlier, (), book)
    if low in book.elsewhere:
        name = book.elsewhere[low]
        if low in book.former_elsewhere:  # by its old sense it may be an animal of nearer by
            others = book.former_elsewhere[low][1]
            return _former(written, (name, [name, *others]), (not_in_region(name, book),), book)
        return NameMatch(
            text=written,
            kind="exact",
            name=name,
            rank=book.rank_of(name),
            genera=(name,),
            problems=(not_in_region(name, book),),
        )
    if low in book.former_elsewhere:
        earlier = book.former_elsewhere[low]
        return _former(written, earlier, (not_in_region(earlier[0], book),), book)
    return None


def _current(written: str, name: str, split: tuple[str, ...], book: NameBook) -> NameMatch:
    """A current genus, asking about what it covered before."""
    if not split:
        return NameMatch(
            text=written, kind="exact", name=name, rank=book.rank_of(name), genera=(name,)
        )
    others = listed(split, "and")
    if book.is_old_sense:
        return _former(written, (name, [name, *split]), (), book)
    note = Problem(
        slug="name-sense",
        severity="note",
        place=name,
        message=f"taken in today's sense; it once covered {others} too",
        fix="If the name follows an older sheet or book, say that it is in the old sense.",
    )
    return NameMatch(
        text=written,
        kind="exact",
        name=name,
        rank=book.rank_of(name),
        genera=(name,),
        question=f"Is {name} meant in today's sense? It once covered {others} too.",
        problems=(note,),
    )


def _former(
    written: str, earlier: tuple[str, list[str]], before: tuple[Problem, ...], book: NameBook
) -> NameMatch:
    """A former name: to one current genus, or to the set of them with a question."""
    old, genera = earlier[0], tuple(dict.fromkeys(earlier[1]))
    where = f" in {book.region}" if book.region and not before else ""  # none of them lives there
    is_open = len(genera) > 1
    said = Problem(
        slug="name-former",
        severity="warning" if is_open else "note",
        place=old,
        message=f"a name of earlier years; today{where} it is {listed(genera)}",
        fix=(
            "The name is kept as recorded; name one of them when a character tells which."
            if is_open
            else "The name is kept as recorded, with the current one beside it."
        ),
    )
    return NameMatch(
        text=written,
        kind="former",
        name=genera[0] if not is_open else " or ".join(genera),
        rank=_shared_rank(genera, book.taxa),
        genera=genera,
        question=f"{old}{where} is today {listed(genera)}: which?" if is_open else "",
        problems=(*before, said),
    )


def _letters(whole: str, book: NameBook) -> NameMatch | None:
    """Complete first letters within the region."""
    low = whole.lower()
    if len(low) < FEWEST_LETTERS or " " in low:
        return None
    names = book.written_out()
    starts = sorted(n for n in names if n.startswith(low))
    if not starts:
        return None
    if len(starts) == 1:
        full = _current_or_former(names[starts[0]], starts[0], book)
        if full is None or (full.kind == "former" and len(full.genera) > 1):
            return full
        return NameMatch(
            text=full.text,
            kind="prefix",
            name=full.name,
            rank=full.rank,
            genera=full.genera,
            problems=full.problems,
        )
    found = [names[s] for s in starts]
    genera = [g for s in starts for g in _genera_of(s, book)]
    return NameMatch(
        text=whole,
        kind="prefix",
        genera=tuple(dict.fromkeys(genera)),
        question=f"Which is meant: {listed(found)}?",
    )


def _genera_of(low: str, book: NameBook) -> list[str]:
    """Current genera of a name of the region."""
    return [book.here[low]] if low in book.here else book.former[low][1]


def _slips(written: str, whole: str, book: NameBook) -> NameMatch:
    """Suggest names of the region that differ by slips of spelling."""
    low = whole.split(maxsplit=1)[0].lower()
    most = max(1, len(low) // SLIPS_PER_LETTERS)
    names = book.written_out() | {
        g.family.lower(): g.family
        for g in book.taxa.genera.values()
        if is_family(g.family) and is_in_region(g, book.taxa, book.region)
    }
    near = sorted(
        (OSA.distance(low, name, score_cutoff=most), name not in book.here, name)
        for name in names
        if len(low) > FEWEST_LETTERS
    )
    likely = [name for slips, _, name in near if slips <= most][:MOST_SUGGESTIONS]
    if not likely:
        return unknown_name(
            written,
            "name-unknown",
            f"no genus, family or group of {book.region} is called so"
            if book.region
            else "no genus, family or group is called so",
            "Check the spelling and the region; `dryslate taxa check` shows a project's own names.",
        )
    found = [names[n] for n in likely]
    known = [n for n in likely if n in book.here or n in book.former]
    problem = Problem(
        slug="name-unknown",
        severity="error",
        place=written,
        message=f"no such name; nearest: {listed(found)}",
        fix="Give the name that is meant.",
    )
    return NameMatch(
        text=written,
        kind="suggestion",
        genera=tuple(dict.fromkeys(g for n in known for g in _genera_of(n, book))),
        question=f"Is {listed(found)} meant?",
        problems=(problem,),
    )
