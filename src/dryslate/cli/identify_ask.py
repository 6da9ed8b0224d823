"""Questions about a coral in the terminal, and the answers to them."""

from __future__ import annotations

import sys
import textwrap
from typing import TYPE_CHECKING

from dryslate.cli.render import print_problem

if TYPE_CHECKING:
    from dryslate.app.identify import Identifier
    from dryslate.app.identify_talk import Asked
    from dryslate.core.identify.evidence import Evidence

WIDTH = 80
LOOK = {"eye": "by eye", "lens": "with a lens", "scale": "with a ruler or a card in the photo"}
HOW = (
    "Answer with the number of what you see, several as 1 3, a minus for what is surely not "
    "there (-2), ? where you cannot tell, b to go back. Enter alone ends with the answer."
)


def converse(identifier: Identifier, start: Evidence, *, to_stderr: bool) -> Evidence:
    """Ask until nothing more would tell, the surveyor stops, or the input ends."""
    from dryslate.app.identify_talk import Conversation

    talk = Conversation(identifier, start)
    _say(HOW, to_stderr)
    region = identifier.region_of(start)
    _say(f"Region: {region} ({identifier.choice.words}).", to_stderr)
    n = 1
    while (asked := talk.question()) is not None:
        _put(asked, n, to_stderr)
        line = _read(to_stderr)
        if line is None:
            break
        reply = talk.tell(asked, line)
        for problem in reply.problems:
            print_problem(problem)
        if reply.words:
            _say(reply.words, to_stderr)
        if reply.turn == "stop":
            break
        n += {"taken": 1, "back": -1}.get(reply.turn, 0)
        if reply.turn in ("taken", "back"):
            for told in talk.standing():
                _say(told, to_stderr)
    else:
        _say("Nothing more that can be looked at would tell.", to_stderr)
    _say("", to_stderr)
    return talk.evidence


def _put(asked: Asked, number: int, to_stderr: bool) -> None:
    """Put one question with its numbered states."""
    _say("", to_stderr)
    _say(f"{number}. {asked.question} ({LOOK.get(asked.seen_with, asked.seen_with)})", to_stderr)
    for i, (_, told) in enumerate(asked.states, 1):
        _say(told, to_stderr, head=f"  {i:>2}  ")
    if asked.is_size:
        _say("In millimetres, as 7.5 or 7.5±0.4.", to_stderr, head="      ")


def _say(text: str, to_stderr: bool, head: str = "") -> None:
    """Write a wrapped paragraph; with --json the answer alone goes to standard output."""
    space = " " * len(head)
    lines = textwrap.wrap(head + text, WIDTH, subsequent_indent=space, break_on_hyphens=False)
    stream = sys.stderr if to_stderr else sys.stdout
    stream.write("\n".join(lines or [""]) + "\n")


def _read(to_stderr: bool) -> str | None:
    """Read a line; None at the end of input."""
    stream = sys.stderr if to_stderr else sys.stdout
    stream.write("> ")
    stream.flush()
    line = sys.stdin.buffer.readline()
    if not line:
        stream.write("\n")
        return None
    said = line.decode("utf-8", errors="replace")
    if not sys.stdin.isatty():  # nobody typed it: without an echo the page could not be read
        stream.write(said.rstrip("\r\n")[: WIDTH - 2] + "\n")
    return said
