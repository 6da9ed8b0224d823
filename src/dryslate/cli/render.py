"""How the command line shows answers: JSON lines on stdout, words and bars on stderr."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # what draws is slow to import, and many commands draw nothing
    from rich.console import Console
    from rich.progress import Progress as RichBars

    from dryslate.base.problems import Problem

DONE, ERROR, USAGE, WITH_PROBLEMS = 0, 1, 2, 3

_COLOURS = {"note": "dim", "warning": "yellow", "error": "bold red"}


def words() -> Console:
    """Return the console for people (stderr)."""
    from rich.console import Console

    return Console(stderr=True, highlight=False, soft_wrap=True)


def print_json(document: Mapping[str, Any]) -> None:
    """Print one JSON document on its own line on stdout; not-a-number becomes null."""
    sys.stdout.write(json.dumps(_plain(document), ensure_ascii=False) + "\n")
    sys.stdout.flush()


def print_json_rows(key: str, rows: Iterable[Mapping[str, Any]], more: Mapping[str, Any]) -> None:
    """Print one JSON document as `print_json` does, its long list written row by row."""
    out = sys.stdout
    out.write("{" + json.dumps(key, ensure_ascii=False) + ": [")
    for k, row in enumerate(rows):
        out.write((", " if k else "") + json.dumps(_plain(row), ensure_ascii=False))
    rest = json.dumps(_plain(more), ensure_ascii=False)
    out.write("]" + (", " + rest[1:] if more else "}") + "\n")
    out.flush()


def _plain(value: Any) -> Any:
    """Reduce numpy scalars, tuples and NaN to what JSON knows."""
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if hasattr(value, "tolist"):
        return _plain(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if value is None or isinstance(value, str | int | float | bool):
        return value
    return str(value)


def counted(n: int, one: str, many: str = "") -> str:
    """
    Say how many of a thing there are.

    Examples
    --------
    >>> counted(1, "page"), counted(2, "page"), counted(0, "copy", "copies")
    ('1 page', '2 pages', '0 copies')
    """
    return f"{n} {one if n == 1 else many or one + 's'}"


def print_text(text: str) -> None:
    """Print a line for people on stdout."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def print_problem(problem: Problem | Mapping[str, str]) -> None:
    """Print one problem on stderr, coloured by severity."""
    if isinstance(problem, Mapping):
        from dryslate.base.problems import Problem as Fault

        problem = Fault(**problem)  # type: ignore[arg-type]  # the mapping has just these keys
    style = _COLOURS[problem.severity]
    words().print(f"{problem.severity}: {problem}", style=style, markup=False)


def print_problems(problems: Iterable[Problem]) -> None:
    """Print problems on stderr; one that stands in several places once, with every place."""
    alike: dict[tuple[str, str, str, str], list[Problem]] = {}
    for one in problems:
        alike.setdefault((one.severity, one.slug, one.message, one.fix), []).append(one)
    for same in alike.values():
        print_problem(replace(same[0], place=f"{len(same)} places") if len(same) > 1 else same[0])
        if len(same) > 1:
            words().print("    " + "; ".join(one.place for one in same), markup=False)


def print_table(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a small table on stdout; every column after the first is set flush right."""
    from rich.console import Console
    from rich.table import Table

    table = Table(title=title, title_justify="left", show_edge=False, pad_edge=False)
    for i, column in enumerate(columns):
        table.add_column(column, justify="left" if i == 0 else "right", overflow="fold")
    for row in rows:
        table.add_row(*row)
    Console(highlight=False, markup=False).print(table)


class BarProgress:
    """Progress port with a bar and the remaining time on stderr."""

    def __init__(self, *, quiet: bool = False) -> None:
        self._quiet = quiet
        self._bars: RichBars | None = None
        self._task: Any = None

    def start(self, what: str, total: int | None) -> None:
        """Begin a stretch of work of `total` steps."""
        self.done()
        if self._quiet:
            return
        from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
        from rich.progress import Progress as RichBars

        self._bars = RichBars(
            TextColumn("{task.description}"),
            BarColumn(),
            MofNCompleteColumn(),
            TimeRemainingColumn(),
            TextColumn("{task.fields[note]}"),
            console=words(),
        )
        self._bars.start()
        self._task = self._bars.add_task(what, total=total, note="")

    def step(self, n: int = 1, note: str = "") -> None:
        """Count `n` steps done."""
        if self._bars is not None:
            self._bars.update(self._task, advance=n, note=note)

    def done(self) -> None:
        """End the stretch."""
        if self._bars is not None:
            self._bars.stop()
            self._bars = None


def progress(*, quiet: bool = False) -> BarProgress:
    """Return a progress bar; a quiet one shows nothing."""
    return BarProgress(quiet=quiet)
