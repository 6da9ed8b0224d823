"""
Write the reference pages made from the code: commands, Python, flags, database, intervals.

Run it after changing a command, a flag or the schema; ``tests/docs`` fails when a page is stale.
"""

from __future__ import annotations

import ast
import csv
import importlib
import inspect
import sys
from pathlib import Path
from typing import Any

import typer

ROOT = Path(__file__).resolve().parents[1]
DOCS = ROOT / "docs"


def commands_page() -> str:
    """Return the page of commands and options."""
    from dryslate.cli.main import build_app

    lines = [
        "# Commands",
        "",
        "Made from the code by `tools/docs_pages.py`. Every command ends with 0 (done), 1 (error),",
        "2 (wrong usage) or 3 (done with problems); 130 when Ctrl+C stopped it.",
    ]
    root = typer.main.get_command(build_app())
    for path, command in walk(root, "dryslate"):
        lines += ["", f"## {path}", "", (command.help or "").strip() or "—"]
        rows = [option_row(p) for p in command.params if not getattr(p, "hidden", False)]
        rows = [r for r in rows if r]
        if rows:
            lines += ["", "| option | what it does |", "| --- | --- |", *rows]
    return "\n".join(lines) + "\n"


def walk(command: Any, path: str) -> list[tuple[str, Any]]:
    """Return each command with its full name, groups first."""
    found = [(path, command)]
    for name, sub in sorted(getattr(command, "commands", {}).items()):
        found += walk(sub, f"{path} {name}")
    return found


def option_row(param: Any) -> str:
    """Return one table row, or nothing for ``--help``."""
    names = ", ".join(f"`{o}`" for o in (*param.opts, *param.secondary_opts))
    if "--help" in names:
        return ""
    if param.param_type_name == "argument":
        names = f"`{param.name.upper()}`"
    text = (getattr(param, "help", "") or "").replace("\n", " ").replace("|", "\\|")
    return f"| {names} | {text}{default_words(param)} |"


def default_words(param: Any) -> str:
    """Say what holds where the option is not given, unless its own words do."""
    default = param.default
    if param.param_type_name == "argument" or callable(default):
        return ""
    if param.required:
        return " Always needed."
    if param.secondary_opts and default is not None:
        return f" Without either: `{(param.opts if default else param.secondary_opts)[0]}`."
    if default is None or isinstance(default, bool) or default in ("", 0.0, (), []):
        return ""
    shown = (
        " ".join(map(str, default))
        if isinstance(default, tuple)
        else f"{default:g}"
        if isinstance(default, float)
        else str(default)
    )
    return f" Without it: {shown}."


PYTHON_HEAD = """\
# From Python

`import dryslate`: numpy in, records out. Nothing is written and nothing is kept. Made from the
code by `tools/docs_pages.py`. What is wrong with the material is a `DryslateError` with a `slug`
([messages.md](messages.md)), or stands in the `problems` of what is returned; a call that makes no
sense (an array of another shape, a word that is none of those named) is a `ValueError`.

```python
import dryslate

photo = dryslate.read_photo("photo.jpg")
ours = dryslate.cards("trip")  # the built-in cards, and those measured in a project
card = dryslate.find_cards(photo, ours).cards[0]
plane = dryslate.fit_plane(photo, card, lens=dryslate.read_lens("lens.toml"))
level = dryslate.MeasureSettings(off_plane=dryslate.OffPlane(kind="edge"))
length = dryslate.measure_length(plane, [[1204, 880], [1577, 902]], level)
print(length.values["length_mm_lo95"], length.values["length_mm_hi95"])
```"""

RETURNED = (
    "core.card.found.CardSearch",
    "core.card.found.FoundCard",
    "core.colour.outcome.ColourFit",
    "core.measure.result.Measurement",
    "core.identify.answer.Answer",
    "app.result_rows.ResultRow",
    "base.problems.Problem",
)
"""What the functions hand back."""


def python_page() -> str:
    """Return the page of the Python face, from its docstrings."""
    import dryslate

    lines = [PYTHON_HEAD]
    for name in sorted(set(dryslate.__all__) - {"__version__"}, key=str.lower):
        lines += python_entry(f"dryslate.{name}", getattr(dryslate, name))
    lines += ["", "# What they hand back"]
    for path in RETURNED:
        module, _, name = path.rpartition(".")
        lines += python_entry(name, getattr(importlib.import_module(f"dryslate.{module}"), name))
    return "\n".join(lines) + "\n"


def python_entry(title: str, thing: Any) -> list[str]:
    """Return the heading, call and docstring of one function or class."""
    call = inspect.signature(thing)
    bare = [p.replace(annotation=p.empty) for p in call.parameters.values()]
    shown = call.replace(parameters=bare, return_annotation=call.empty)
    words = inspect.getdoc(thing) or ""
    return [
        "",
        f"## {title.rpartition('.')[2]}",
        "",
        "```text",
        f"{title}{shown}",
        "",
        words,
        "```",
    ]


def flags_page() -> str:
    """Return the page of quality flags, from their docstrings in the enumeration."""
    tree = ast.parse((ROOT / "src/dryslate/base/quality.py").read_text("utf-8"))
    lines = [
        "# Flags",
        "",
        "Reservations that travel with a value, where the doubt is not a number. Made from the",
        "code by `tools/docs_pages.py`.",
    ]
    enumeration = next(n for n in tree.body if isinstance(n, ast.ClassDef) and n.name == "Flag")
    for node, after in zip(enumeration.body, enumeration.body[1:], strict=False):
        if isinstance(node, ast.Assign) and isinstance(after, ast.Expr):
            lines += ["", f"## {ast.literal_eval(node.value)}", "", ast.literal_eval(after.value)]
    return "\n".join(lines) + "\n"


def database_page() -> str:
    """Return the page of tables and columns."""
    from dryslate.store.schema_page import database_page as page

    return page()


INTERVALS_HEAD = """\
# Which interval goes with which figure

Fixed before any data are seen, and never chosen by looking at them. Made from the code by
`tools/docs_pages.py` (`core/survey/methods.py`). Units are replicates: transects, quadrats,
photo stations, swims; never points, photos of one station, or colonies.

| figure | interval | fewest units | only if asked for beforehand | all units zero | page |
| --- | --- | --- | --- | --- | --- |"""

INTERVALS_FOOT = """
One unit: the figure, flagged `one_unit`, and no interval. Under the fewest units: no interval.
Permanent plots: the same interval, flagged `of_these_plots`, for it speaks of these plots.

- `t_logit`, `t_log`: t with one degree of freedom fewer than units, on the logit or the logarithm
  of the arithmetic mean of units ([cover.md](cover.md), [density.md](density.md)).
- `jackknife_t_logit`, `jackknife_t_log`: the same for a ratio of sums, its doubt from leaving out
  one unit at a time ([prevalence.md](prevalence.md), [sizes.md](sizes.md)).
- `zones_t_logit`, `zones_t_log`: the same for a weighted mean of zones, with Satterthwaite's
  degrees of freedom ([zones.md](zones.md)).
- `two_groups_t_log`: the same for a ratio of two groups of units ([sizes.md](sizes.md)).
- `parts_paired`, `parts_anew`: a change put together from its parts, each with the interval that is
  proper to it: what all units lose alike and what each changes of its own, or the means of both
  visits ([change.md](change.md)).
- `t_paired`, `t_welch`, `t_mixed`, `t_trend`: t on differences of units, on two groups each with
  its own spread, on a contrast of a mixed model with Satterthwaite's degrees of freedom, and on a
  slope ([change.md](change.md)).
- `bootstrap_mixed`: t of a contrast of a mixed model that is drawn and fitted again, with a seed
  ([change.md](change.md)).
- `twice_named_t`: t on the logit or the logarithm of an amount corrected for misnaming by second
  looks ([misnaming.md](misnaming.md)).
- `outside_table_draws`: quantiles of draws of the means of units and of the rows of a table of
  confusions from outside, through its inverse ([misnaming.md](misnaming.md)).
- `bca`: bias-corrected accelerated bootstrap of units, with a seed and ends widened for few units
  ([sizes.md](sizes.md)).
- `bootstrap_t_log`: spread of units drawn again whole, beside genera likely unseen, and t on the
  logarithm ([diversity.md](diversity.md)).
- `woodruff_t_logit`: the interval of the share of colonies up to the quantile, read back as sizes
  ([sizes.md](sizes.md)).
- `beta_binomial`: profile likelihood of the mean of a beta-binomial distribution.
- `wilson`, `poisson_gamma`: of one reading, flagged `reading_only` ([readings.md](readings.md)).
- `limit_fraction`, `limit_count`: a one-sided 95 % limit, with a stated assumption on clumping.
"""

COVERAGE_HEAD = """\
# How often the intervals held the truth

Coverage of 95 % intervals in simulated surveys, in percent, 10,000 surveys a cell. The Monte Carlo
error (one standard uncertainty) is at most {most:.2f}. Made by `bench/survey_coverage.py` (with
`--write`) and `tools/docs_pages.py`. A limit counts as holding the truth when the truth is within
it. Bold: too low (under 93 %; under 90 % with fewer than five units). Italic: the interval is wider
than it need be (over 97 %; over 98 %). Results carry `coverage_low` or `coverage_high` when the
nearest cell is such a one, and `coverage_not_simulated` outside the table. The nearest cell is
found by the survey's own spread, which at few units is a rough one: the flag is a hint."""


def intervals_page() -> str:
    """Return the page that says which interval goes with which figure."""
    from dryslate.core.survey.methods import RULES

    lines = [INTERVALS_HEAD]
    for rule in RULES:
        asked = ", ".join(f"`{m.value}` from {n} units" for m, n in rule.on_request) or "none"
        zero = "no limit" if rule.all_zero.value == "none" else f"`{rule.all_zero.value}`"
        cells = (rule.words, f"`{rule.method.value}`", str(rule.fewest_units), asked, zero)
        lines.append(f"| {' | '.join(cells)} | [{rule.page}]({rule.page}) |")
    return "\n".join(lines) + "\n" + INTERVALS_FOOT


def coverage_page() -> str:
    """Return the page of simulated coverage, from the stored table."""
    rows: list[dict[str, str]] = []
    for name in ("survey_coverage.csv", "other_coverage.csv"):
        with (ROOT / "src/dryslate/data/tables" / name).open(encoding="utf-8") as file:
            rows += csv.DictReader(file)
    lines = [COVERAGE_HEAD.format(most=max(float(r["coverage_u_pct"]) for r in rows))]
    words = {
        "cover": ("Cover", "cover", "points a unit", "intra-unit correlation"),
        "density": ("Density", "colonies expected in a unit:", "", "clumping 1/k"),
        "prevalence": ("Prevalence", "prevalence", "colonies a unit", "intra-unit correlation"),
        "line_density": (
            "Density from lines",
            "colonies met by a line:",
            "hundredths SD of log width",
            "clumping 1/k",
        ),
        "geometric_mean": (
            "Geometric mean size",
            "colonies measured in a unit:",
            "",
            "share of the variance of log size between units",
        ),
        "line_geometric_mean": (
            "Geometric mean size from lines, weighed by one over the width",
            "colonies met by a line:",
            "hundredths SD of log size",
            "share of the variance of log size between lines",
        ),
        "site_fraction": (
            "Cover of a site of three zones, units of all zones",
            "cover",
            "",
            "intra-unit correlation",
        ),
        "site_density": (
            "Density of a site of three zones, units of all zones",
            "10 colonies expected in a unit, times",
            "",
            "clumping 1/k",
        ),
    }
    for figure, (title, level_words, size_words, rho_words) in words.items():
        for size in dict.fromkeys(r["size"] for r in rows if r["figure"] == figure):
            some = [r for r in rows if r["figure"] == figure and r["size"] == size]
            levels = list(dict.fromkeys(r["level"] for r in some))
            heads = " | ".join(f"{level_words} {v}" for v in levels)
            lines += [
                "",
                f"## {title}" + (f", {size} {size_words}" if size_words else ""),
                "",
                f"| {rho_words} | units | {heads} |",
                "| --- | --- |" + " --- |" * len(levels),
            ]
            cells = {(r["rho"], r["n_units"], r["level"]): r for r in some}
            for rho in dict.fromkeys(r["rho"] for r in some):
                for n in dict.fromkeys(r["n_units"] for r in some):
                    values = " | ".join(coverage_cell(cells[rho, n, v]) for v in levels)
                    lines.append(f"| {rho} | {n} | {values} |")
    return "\n".join(lines) + "\n"


def coverage_cell(row: dict[str, str]) -> str:
    """Return one coverage, marked where it is outside what is aimed at."""
    from dryslate.core.survey.coverage import target_pct

    lo, hi = target_pct(int(row["n_units"]))
    pct = float(row["coverage_pct"])
    return f"**{pct}**" if pct < lo else f"*{pct}*" if pct > hi else f"{pct}"


PAGES = {
    "commands.md": commands_page,
    "flags.md": flags_page,
    "python.md": python_page,
    "database.md": database_page,
    "estimators/intervals.md": intervals_page,
    "estimators/coverage.md": coverage_page,
}


def main() -> int:
    """Write every page; say which changed."""
    for name, make in PAGES.items():
        path, text = DOCS / name, make()
        if not path.exists() or path.read_text("utf-8") != text:
            path.write_text(text, "utf-8")
            print(f"wrote {path.relative_to(ROOT)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
