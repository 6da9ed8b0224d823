"""``dryslate lookalikes``: what a genus is taken for, and two genera side by side."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import print_json, print_problem, print_text

if TYPE_CHECKING:
    from dryslate.core.identify.comparison import CharacterPair, Comparison, Likeness, StateShown
    from dryslate.core.identify.taxa import Genus, SizeRange

WIDTH = 80
COLUMN = 37

Genera = Annotated[
    list[str], typer.Argument(help="One genus: what it is taken for; two: side by side.")
]
Scale = Annotated[
    float | None,
    typer.Option("--px-per-mm", help="Scale of the photo at hand: which of it could it show?"),
]
Region = Annotated[str | None, typer.Option("--region", help="Where the coral was seen.")]
Project = Annotated[
    Path | None, typer.Option("--project", help="Project folder, for its own genus data.")
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("lookalikes")(lookalikes)


def lookalikes(
    genera: Genera,
    px_per_mm: Scale = None,
    region: Region = None,
    project: Project = None,
    as_json: Json = False,
) -> None:
    """Show what a genus is taken for, or two genera side by side with what differs first."""
    if len(genera) > 2:
        raise typer.BadParameter("give one genus or two")
    if len(genera) == 1:
        if px_per_mm is not None:
            raise typer.BadParameter("--px-per-mm belongs to two genera")
        _one(genera[0], region, project, as_json)
    else:
        _two((genera[0], genera[1]), (px_per_mm, region), project, as_json)


def _one(genus: str, region: str | None, project: Path | None, as_json: bool) -> None:
    """What one genus is taken for."""
    from dryslate.app.lookalikes import likenesses_as_dict, list_lookalikes

    asked, found, problems = list_lookalikes(wiring.genus_tables(project), genus, region)
    for problem in problems:
        print_problem(problem)
    if as_json:
        print_json(likenesses_as_dict(asked, found, problems))
    else:
        print_text(words_of_list(asked, found))


def _two(
    genera: tuple[str, str],
    asked: tuple[float | None, str | None],
    project: Path | None,
    as_json: bool,
) -> None:
    """Two genera side by side."""
    from dryslate.app.lookalikes import compare, comparison_as_dict

    found, problems = compare(wiring.genus_tables(project), genera, *asked)
    for problem in problems:
        print_problem(problem)
    if as_json:
        print_json(comparison_as_dict(found, problems))
    else:
        print_text(words_of_comparison(found, asked[0]))


def words_of_list(asked: Genus, found: list[Likeness]) -> str:
    """Return what a genus is taken for, the hardest first; what it does to bare skin before."""
    genus = asked.genus
    lines = [f"Caution: {genus} {asked.caution}. Touch nothing."] if asked.caution else []
    if not found:
        lines += [f"{genus} is not known to be taken for another genus there."]
        return "\n".join(lines)
    lines += [f"{genus} is taken for, the hardest first:"]
    for one in found:
        stings = f" ({one.caution})" if one.caution else ""
        tells = ", ".join(one.tells[:4]) or "little that is usual"
        hard = "; some looks of the two cannot be told apart" if one.is_unseparated else ""
        lines += ["", f"{one.genus}{stings}", *_wrapped(f"differs in: {tells}{hard}", 2)]
        lines += _wrapped(one.how_to_tell, 2)
    lines += ["", *_wrapped(f"Side by side: dryslate lookalikes {genus} {found[0].genus}", 0)]
    return "\n".join(lines)


def words_of_comparison(found: Comparison, px_per_mm: float | None) -> str:
    """Return two genera side by side, in 80 columns."""
    lines = [f"{found.genus_a} or {found.genus_b}?"]
    lines += [f"Caution: {words}. Touch nothing." for words in found.cautions]
    if found.how_to_tell:
        lines += ["", *_wrapped(found.how_to_tell, 0), *_wrapped(f"Source: {found.source}.", 0)]
    lines += ["", *_columns(found.genus_a, found.genus_b), *_columns("-" * 30, "-" * 30)]
    if found.looks_a or found.looks_b:
        looks = [", ".join(names) or "one look" for names in (found.looks_a, found.looks_b)]
        lines += ["looks, each a kind of its own", *_columns(looks[0], looks[1])]
    for size in found.sizes:
        lines += [size.measure.replace("_", " ") + ", mm"]
        lines += _columns(_size_words(size.size_a), _size_words(size.size_b))
    for pair in found.differing:
        lines += ["", *_wrapped(_head(pair, px_per_mm), 0)]
        lines += _columns(_states_words(pair.states_a), _states_words(pair.states_b))
    if not found.differing:
        lines += ["", "No character is scored differently."]
    alike = [c.character for c in found.alike]
    unscored = [c.character for c in found.unscored]
    lines += ["", *_wrapped(f"Much alike: {', '.join(alike) or 'nothing'}.", 0)]
    if unscored:
        lines += _wrapped(f"Scored for one of them only: {', '.join(unscored)}.", 0)
    return "\n".join(lines)


def _head(pair: CharacterPair, px_per_mm: float | None) -> str:
    """The question, how to look, and whether a photo shows it."""
    notes = {"eye": "by eye", "lens": "with a lens", "broken": "on broken or dead surfaces only"}
    said = [notes[pair.seen_with]]
    if pair.needs_px_per_mm:
        needs = f"{pair.needs_px_per_mm:.{0 if pair.needs_px_per_mm >= 10 else 1}f} px/mm"
        if px_per_mm is None:
            said.append(f"a photo needs {needs}")
        elif pair.in_photo == "yes":
            said.append("this photo can show it")
        else:
            said.append(f"not in this photo: needs {needs}")
    elif pair.in_photo == "yes":
        said.append("any photo of the whole coral")
    if pair.is_memory:
        said.append("from memory")
    return f"{pair.question} [{'; '.join(said)}]"


def _states_words(states: tuple[StateShown, ...]) -> str:
    """States in plain words: the usual ones, then what is seen less often."""
    if not states:
        return "not scored"
    usual = [s.words for s in states if s.frequency == "usual"]
    rest = [f"{s.frequency} {s.words}" for s in states if s.frequency != "usual"]
    return "; ".join([*([" or ".join(usual)] if usual else []), *rest])


def _size_words(size: SizeRange | None) -> str:
    """The usual range, and the full one."""
    if size is None:
        return "not measured in this genus"
    return (
        f"{size.usual_low_mm:g} to {size.usual_high_mm:g} "
        f"(at most {size.low_mm:g} to {size.high_mm:g})"
    )


def _wrapped(text: str, indent: int) -> list[str]:
    """Text in lines of 80."""
    pad = " " * indent
    return textwrap.wrap(text, WIDTH, initial_indent=pad, subsequent_indent=pad)


def _columns(left: str, right: str) -> list[str]:
    """Two texts beside each other."""
    a, b = textwrap.wrap(left, COLUMN) or [""], textwrap.wrap(right, COLUMN) or [""]
    height = max(len(a), len(b))
    a += [""] * (height - len(a))
    b += [""] * (height - len(b))
    return [f"  {x:<{COLUMN}}  {y}".rstrip() for x, y in zip(a, b, strict=True)]
