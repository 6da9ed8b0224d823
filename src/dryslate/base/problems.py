"""Faults in the surveyor's material, as values: a check returns all of them at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dryslate.base.errors import DryslateError, one_line

Severity = Literal["note", "warning", "error"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """
    One fault, with its place.

    Parameters
    ----------
    slug : str
        Short stable name; ``docs/messages.md`` has a heading for each.
    severity : {"note", "warning", "error"}
        An error means that the thing asked for was not done.
    place : str
        File, sheet row and column, patch, or box in pixels.
    message : str
        What is wrong, with expected and found.
    fix : str
        What would help; may be empty.
    """

    slug: str
    severity: Severity
    place: str
    message: str
    fix: str = ""

    def as_dict(self) -> dict[str, str]:
        """Return the fields as a plain dictionary, for JSON."""
        return {
            "slug": self.slug,
            "severity": self.severity,
            "place": self.place,
            "message": self.message,
            "fix": self.fix,
        }

    def __str__(self) -> str:
        said = f"{self.place}: {self.message}" if self.place else self.message
        return one_line(said, self.fix, self.slug)


def problem_of(error: DryslateError, place: str, severity: Severity = "error") -> Problem:
    """
    Turn what stopped one piece of work into a problem that is listed with the rest.

    Parameters
    ----------
    error : DryslateError
    place : str
        The file or thing; where the message begins with its name, the name is not said twice.
    severity : {"note", "warning", "error"}

    Returns
    -------
    Problem

    Examples
    --------
    >>> from dryslate.base.errors import InputError
    >>> print(problem_of(InputError("made-up", "a.jpg: it is empty."), "trip/a.jpg"))
    trip/a.jpg: it is empty. [made-up]
    """
    name = place.replace("\\", "/").rsplit("/", 1)[-1]
    message = error.message
    for start in (f"{place}: ", f"{name}: "):
        message = message.removeprefix(start)
    return Problem(slug=error.slug, severity=severity, place=place, message=message, fix=error.fix)


def named(error: DryslateError, kept_as: str, name: str) -> DryslateError:
    """
    Return an error about a kept file under the name that people know it by.

    Examples
    --------
    >>> from dryslate.base.errors import InputError
    >>> named(InputError("made-up", "0a1b.jpg: it is empty."), "0a1b.jpg", "a.jpg")
    InputError('made-up', 'a.jpg: it is empty.', '')
    """
    return type(error)(error.slug, error.message.replace(kept_as, name, 1), error.fix)


def has_error(problems: tuple[Problem, ...] | list[Problem]) -> bool:
    """Tell whether any of the problems is an error."""
    return any(p.severity == "error" for p in problems)
