"""What stops the work: one family of exceptions, each with a slug that has a page."""

from __future__ import annotations


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
        parts = [self.message]
        if self.fix:
            parts.append(self.fix)
        parts.append(f"[{self.slug}]")
        return " ".join(parts)

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
