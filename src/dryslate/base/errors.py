"""What stops the work: one family of exceptions, each with a slug that has a page."""

from __future__ import annotations


def one_line(message: str, fix: str, slug: str) -> str:
    """
    Put what is wrong, what helps and the slug together, each sentence with its stop.

    Parameters
    ----------
    message, fix, slug : str
        `fix` may be empty.

    Returns
    -------
    str

    Examples
    --------
    >>> one_line("a.jpg: it is empty", "Copy it again.", "photo-empty")
    'a.jpg: it is empty. Copy it again. [photo-empty]'
    """
    stop = "" if message.rstrip().endswith((".", "!", "?", "]", ":")) else "."
    return " ".join(part for part in (message + stop, fix, f"[{slug}]") if part)


def error_words(error: Exception) -> str:
    """
    Return what the system says of a fault, without its number and a path that is named already.

    Parameters
    ----------
    error : Exception

    Returns
    -------
    str

    Examples
    --------
    >>> error_words(FileNotFoundError(2, "No such file or directory", "a.csv"))
    'no such file or directory'
    >>> error_words(ValueError("line 3"))
    'line 3'
    """
    if isinstance(error, OSError) and error.strerror:
        return error.strerror[:1].lower() + error.strerror[1:]
    return str(error)


class DryslateError(Exception):
    """
    Base of everything dryslate raises on purpose.

    Parameters
    ----------
    slug : str
        Short stable name; ``docs/messages.md`` has a heading for each.
    message : str
        What is wrong and where, with what was expected and what was found.
    fix : str
        What the person can do about it; may be empty.
    """

    def __init__(self, slug: str, message: str, fix: str = "") -> None:
        super().__init__(slug, message, fix)
        self.slug = slug
        self.message = message
        self.fix = fix

    def __str__(self) -> str:
        return one_line(self.message, self.fix, self.slug)

    def __reduce__(self) -> tuple[type[DryslateError], tuple[str, str, str]]:
        return (type(self), (self.slug, self.message, self.fix))


class InputError(DryslateError, ValueError):
    """The material handed in cannot be used as it is."""


class SettingsError(DryslateError):
    """A setting or option does not make sense."""


class StoreError(DryslateError):
    """The project's store refuses or fails."""


class FormatError(DryslateError, ValueError):
    """A file does not follow the format it claims."""


class MissingPartError(DryslateError):
    """A part this work needs is not installed or not there."""
