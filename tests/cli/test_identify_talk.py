"""Question by question to a name, with answers fed in as a person would type them."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.identify import Identifier
from dryslate.app.identify_talk import Asked, Conversation
from dryslate.cli.main import build_app
from dryslate.core.identify.evidence import Evidence, Size


def run(said: str, *words: str) -> tuple[int, str, str]:
    done = CliRunner().invoke(build_app(), ["identify", *words], input=said)
    return done.exit_code, done.stdout, done.stderr


@pytest.fixture(scope="module")
def identifier() -> Identifier:
    return Identifier(wiring.reference_tables())


@pytest.fixture
def talk(identifier: Identifier) -> Conversation:
    return Conversation(identifier, Evidence())


def first(talk: Conversation) -> Asked:
    asked = talk.question()
    assert asked is not None
    return asked


def test_a_terminal_without_evidence_is_asked_and_answered_at_the_end_of_input() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "dryslate.cli.main", "identify", "--region", "western_atlantic"],
        input="1\n?\n",
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env={**os.environ, "OMP_NUM_THREADS": "1", "PYTHONIOENCODING": "utf-8"},
    )
    assert done.returncode in (0, 3), done.stderr
    assert "Traceback" not in done.stderr
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert [n for n in range(1, 5) if f"\n{n}. " in done.stdout] == [1, 2, 3]
    assert "\n> 1\n" in done.stdout
    assert "Region: western_atlantic (as given)." in done.stdout
    assert "For publication:" in done.stdout


def test_nothing_typed_at_all_still_gives_an_answer() -> None:
    code, out, err = run("")
    assert (code, err) == (0, "")
    assert "Cannot tell" in out
    assert run("\n")[0] == 0


def test_a_broken_terminal_gives_words_and_no_traceback() -> None:
    done = CliRunner().invoke(build_app(), ["identify"], input=b"\xff\xfe\n99\nb\n\n")
    assert done.exit_code == 0
    assert done.stdout.count("\n1. ") == 4
    assert "This is the first question." in done.stdout
    assert "expected numbers from 1 to" in done.stdout


def test_most_telling_question_comes_first_with_its_states_in_words(
    talk: Conversation, identifier: Identifier
) -> None:
    answer, _ = identifier.answer(Evidence())
    assert answer is not None
    asked = first(talk)
    assert asked.character == answer.next[0].character
    assert asked.states == tuple(identifier.taxa.characters[asked.character].states.items())


def test_several_states_and_a_denied_one_are_taken(talk: Conversation) -> None:
    asked = first(talk)
    assert talk.tell(asked, "1 2 -3\n").turn == "taken"
    states = [s for s, _ in asked.states]
    assert talk.evidence.seen == {asked.character: set(states[:2])}
    assert talk.evidence.not_seen == {asked.character: {states[2]}}
    assert first(talk).character != asked.character


def test_could_not_tell_is_no_evidence_and_not_asked_again(talk: Conversation) -> None:
    asked = first(talk)
    assert talk.tell(asked, "?").turn == "taken"
    assert talk.evidence.seen == {}
    assert talk.evidence.unclear == {asked.character}
    assert first(talk).character != asked.character


def test_back_takes_the_last_answer_back(talk: Conversation) -> None:
    asked = first(talk)
    assert talk.tell(asked, "b").turn == "unclear"
    talk.tell(asked, "1")
    assert talk.tell(first(talk), "B").turn == "back"
    assert first(talk) == asked
    assert talk.evidence.seen == {}


@pytest.mark.parametrize("line", ["0", "99", "1 99", "one", "-", "--1", "1.5", ",", "±", "1 -1"])
def test_what_is_no_answer_is_asked_again(talk: Conversation, line: str) -> None:
    reply = talk.tell(first(talk), line)
    assert reply.turn == "unclear"
    assert reply.words or reply.problems
    assert talk.evidence.seen == talk.evidence.not_seen == {}


def test_sizes_are_asked_in_millimetres(talk: Conversation) -> None:
    asked = Asked(character="corallite_diameter", question="?", seen_with="scale", states=())
    assert talk.tell(asked, "wide").problems[0].slug == "identify-size-unclear"
    assert talk.tell(asked, "-3").turn == "unclear"
    assert talk.tell(asked, "0").problems[0].slug == "identify-size-not-positive"
    assert talk.tell(asked, "7.5+-0.4").turn == "taken"
    assert talk.evidence.sizes == {"corallite_diameter": Size(value_mm=7.5, u_mm=0.4)}
    assert talk.tell(asked, "b").turn == "back"
    assert talk.tell(asked, "?").turn == "taken"
    assert first(talk).character not in ("corallite_diameter", "valley_width")


def test_always_the_first_number_ends_by_itself(talk: Conversation) -> None:
    for _ in range(60):
        asked = talk.question()
        if asked is None:
            break
        assert talk.tell(asked, "5" if asked.is_size else "1").turn == "taken"
        assert talk.standing()
    assert talk.question() is None


def test_given_evidence_can_be_asked_on_and_the_answer_alone_is_json() -> None:
    code, out, err = run("1\n\n", "--seen", "growth_form=massive", "--ask", "--json")
    answer = json.loads(out)
    assert code in (0, 3)
    assert "1. " in err
    assert "growth_form" not in {n["character"] for n in answer["next"]}


def test_faults_in_what_was_given_are_told_before_anything_is_asked() -> None:
    code, out, err = run("1\n", "--seen", "growth_form=masive", "--ask")
    assert code == 1
    assert "identify-state-unknown" in err
    assert "1. " not in out
    assert run("1\n", "--region", "nowhere")[0] == 1


def test_as_many_more_are_said_to_be_possible_as_there_are(identifier: Identifier) -> None:
    talk = Conversation(identifier, Evidence())
    talk.tell(first(talk), "?")
    answer, _ = identifier.answer(talk.evidence)
    assert answer is not None
    assert len(answer.set95) > len(answer.ranked)
    assert f" and {len(answer.set95) - 5} more." in talk.standing()[0]
