"""An identification in words, for a terminal of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

WIDTH = 80
LIST_INDENT = 13
N_EXPLAINED = 3
N_NEXT = 3
MOST_NAMED = 12
LOOK = {"eye": "by eye", "lens": "with a lens", "scale": "with a ruler or a card in the photo"}
LIKELIHOODS = ("most likely", "possible", "unlikely")


def words_of(answer: Mapping[str, Any], region_words: str, *, has_why: bool = False) -> str:
    """Return an answer in words: the verdict first, then what it rests on."""
    lines = _wrapped(verdict_words(answer), 0)
    lines += _wrapped(_publication(answer), 0)
    lines += _wrapped(f"Region: {answer['region']} ({region_words}).", 0)
    lines += [f"Caution: {told}. Touch nothing." for told in answer.get("cautions", ())]
    lines += ["", *_candidates(answer, has_why)]
    shown = answer["ranked"] if has_why else answer["ranked"][:N_EXPLAINED]
    for one in shown:
        lines += ["", *_reasons(one, has_why)]
    lines += _next(answer)
    lines += _split(answer.get("splits"))
    if answer["also_fit"]:
        told = _list(answer["also_fit"], has_why)
        lines += ["", *_wrapped(f"All that was seen is usual in: {told}.", 0)]
    lines += ["", *_wrapped(str(answer["prior"]), 0)]
    if has_why:
        lines += _wrapped(
            f"{100 * answer['memory_share']:.0f} % of the evidence on the first name rests on "
            f"memory, no source opened. Genus data {answer['data_version']}.",
            0,
        )
    if has_why and "team_words" in answer:
        lines += _wrapped(str(answer["team_words"]), 0)
    return "\n".join(lines)


def verdict_words(answer: Mapping[str, Any]) -> str:
    """Return the verdict as a sentence."""
    verdict = str(answer["verdict"])
    if answer["rank"] == "genus" or answer["verdict"] in _names(answer):
        doubt = "." if answer["qualifier"] == "" else ", not certain."
        return f"Most likely {verdict}{doubt}"
    if verdict == "cannot tell":
        return "Cannot tell from this."
    return f"{verdict[0].upper()}{verdict[1:]}."


def _names(answer: Mapping[str, Any]) -> list[str]:
    """Names of the candidates."""
    return [one["genus"] for one in answer["ranked"]]


def _publication(answer: Mapping[str, Any]) -> str:
    """Say how it is published."""
    qualifier = answer["qualifier"] or "none needed"
    return f"For publication: rank {answer['rank']}, identification qualifier {qualifier}"


def _list(names: Sequence[str], is_whole: bool, n_more: int = 0) -> str:
    """Join names; a long list is cut short."""
    shown = names if is_whole else names[:MOST_NAMED]
    n_more += len(names) - len(shown)
    return ", ".join(shown) + (f" and {n_more} more" if n_more else "")


def _candidates(answer: Mapping[str, Any], is_whole: bool) -> list[str]:
    """List the candidates by how likely they are."""
    lines = []
    listed = {one["genus"] for one in answer["ranked"]}
    n_more = len([g for g in answer["set95"] if g not in listed])
    for word in LIKELIHOODS:
        named = [one["genus"] for one in answer["ranked"] if one["likelihood"] == word]
        if named:
            head = f"{word[0].upper()}{word[1:]}".ljust(LIST_INDENT)
            told = head + _list(named, is_whole, n_more if word == "possible" else 0)
            lines += _filled(told, LIST_INDENT)
    return lines


def _reasons(one: Mapping[str, Any], has_why: bool) -> list[str]:
    """Say what speaks for and against one candidate."""
    family = f" ({one['family']})" if one["family"] else ""
    probability = f", probability {one['probability']:.3f}" if has_why else ""
    lines = _wrapped(f"{one['genus']}{family}{probability}", 0)
    for key in ("for", "against"):
        for reason in one[key]:
            told = reason["text"]
            if has_why:
                memory = ", from memory" if reason["memory"] else ""
                told += f" [log-odds {reason['log_odds']:+.2f}{memory}]"
            lines += _filled(f"  {key:<8} {told}", 11)
    if not one["for"] and not one["against"]:
        lines.append("  nothing speaks clearly for or against it")
    return lines


def _next(answer: Mapping[str, Any]) -> list[str]:
    """Say what to look at next."""
    if not answer["next"]:
        return ["", "Nothing more that can be looked at would tell."]
    lines = ["", "Look next at:"]
    for i, one in enumerate(answer["next"][:N_NEXT], 1):
        look = LOOK.get(one["seen_with"], one["seen_with"])
        lines += _filled(f"  {i}  {one['question']} ({look}; {one['character']})", 5)
    return lines


def _split(split: Mapping[str, Any] | None) -> list[str]:
    """Say what tells the first two apart."""
    if not split:
        return []
    a, b = split["genus_a"], split["genus_b"]
    lines = ["", f"{a} or {b}?"]
    if split["character"]:
        look = LOOK.get(split["seen_with"], split["seen_with"])
        lines += _wrapped(f"{split['question']} ({look})", 2)
        lines += _wrapped(f"{a}: {split['shown_by_a']}", 4)
        lines += _wrapped(f"{b}: {split['shown_by_b']}", 4)
    if split["how_to_tell"]:
        lines += _wrapped(split["how_to_tell"], 2)
    if not split["character"] and not split["how_to_tell"]:
        lines.append("  Nothing in the data that can still be looked at tells them apart.")
    return lines


def _wrapped(text: str, indent: int) -> list[str]:
    """Break a text into lines."""
    return _filled(" " * indent + text, indent)


def _filled(text: str, indent: int) -> list[str]:
    """Break a text into lines, those after the first set in."""
    return textwrap.wrap(text, WIDTH, subsequent_indent=" " * indent, break_on_hyphens=False)
