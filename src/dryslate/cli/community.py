"""``dryslate community``: how alike units are in what they hold, and whether groups differ."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryslate import wiring
from dryslate.cli.render import WITH_PROBLEMS, counted, print_json, print_problem, print_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dryslate.app.community import Community
    from dryslate.app.community_rows import CommunityRow

MOST_THINGS = 5

By = Annotated[str, typer.Option("--by", help="site, zone, visit, or group (with --group).")]
Groups = Annotated[
    list[str] | None,
    typer.Option("--group", help="SITE=GROUP, for each site; whole sites go along. Repeatable."),
]
Of = Annotated[str | None, typer.Option("--of", help="Compare by category or by name.")]
Measure = Annotated[
    str,
    typer.Option("--measure", help="bray_curtis, jaccard, chord, canberra or euclidean."),
]
Root = Annotated[
    str, typer.Option("--transform", help="none, square_root, fourth_root or presence.")
]
Middle = Annotated[str, typer.Option("--middle", help="Of groups: centroid or median.")]
Seed = Annotated[int, typer.Option("--seed", help="Same seed, same figures.")]
Csv = Annotated[Path | None, typer.Option("--csv", help="Write the table to a file.")]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("community")(community)


def community(  # noqa: PLR0913, PLR0917  one option each for what is fixed beforehand
    folder: Annotated[Path, typer.Argument(help="Project folder.")],
    by: By = "site",
    group: Groups = None,
    of: Of = None,
    measure: Measure = "bray_curtis",
    transform: Root = "none",
    middle: Middle = "centroid",
    seed: Seed = 1,
    csv: Csv = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    How alike units are in what they hold, and whether sites, zones, visits or groups of sites
    differ, with the number of ways to exchange units and the smallest p they can give.
    """
    from dryslate.app.community_request import compare_as_asked

    words: dict[str, Any] = {"by": by, "kind": of, "measure": measure, "transform": transform}
    words |= {"middle": middle, "seed": seed}
    with wiring.survey_store(folder, write=False) as store:
        found = compare_as_asked(store, words, group or [], wiring.result_settings().usual)
    _give(found, csv, as_json=as_json)


def _give(found: Community, csv: Path | None, *, as_json: bool) -> None:
    """Write, print as JSON or print for people; say what could not be compared."""
    from dryslate.app.community_rows import community_csv

    if csv is not None:
        wiring.save_file(csv, community_csv(found.rows))
        print_text(f"{csv}: {len(found.rows)} figures.")
    if as_json:
        print_json(
            {
                "rows": [row.as_dict() for row in found.rows],
                "problems": [problem.as_dict() for problem in found.problems],
            }
        )
    else:
        if csv is None:
            _show(found.rows)
        for problem in found.problems:
            print_problem(problem)
    if found.problems:
        raise typer.Exit(WITH_PROBLEMS)


def _show(rows: Sequence[CommunityRow]) -> None:
    """Print what matters, a design after the other."""
    from dryslate.app.survey_words import SURVEY_FLAGS

    if not rows:
        print_text("No units can be compared yet; take records in with `dryslate records import`.")
    things = 0
    for row in rows:
        flags = "".join(f"; {SURVEY_FLAGS.get(flag, flag)}" for flag in row.flags)
        value = "" if row.estimate is None else f"{row.estimate:.3g}"
        if row.figure == "stress":
            n_units = counted(row.n_units, "unit")
            print_text(f"{row.design}, {n_units}, by {row.kind_of_thing}; {row.method}")
            print_text(f"  picture by ranks: stress {value}{flags}")
        elif row.p is not None:
            is_place = row.figure == "permanova_f"
            asked = "do groups differ" if is_place else "does the spread of groups differ"
            print_text(f"  {asked} ({row.term})? F {value}, p {row.p:.4f}{flags}")
            ways = f"{row.n_distinct} distinct ways to exchange {row.exchanged.replace('_', ' ')}"
            taken = f"{row.n_permutations} taken; smallest possible p {row.p_smallest:.2g}"
            print_text(f"    {ways}, {taken}")
        elif row.figure == "permanova_r2_frac":
            print_text(f"    share of the differences with {row.term}: {value}")
        elif row.figure == "dissimilarity_frac":
            things = 0
            print_text(f"  {row.first} and {row.second}: mean dissimilarity {value}; most by")
        elif row.figure == "contribution_frac" and things < MOST_THINGS:
            things += 1
            print_text(f"    {row.thing} {value}")
