"""Templates as they are kept taken apart between two starts of the server."""

from __future__ import annotations

import contextlib

import jinja2
from jinja2.bccache import Bucket


class TemplatesTakenApart(jinja2.FileSystemBytecodeCache):
    """
    Machine-made forms of templates, in a folder of this account for temporary files.

    What is kept is compared with the template each time, so nobody has to clear it; a folder that
    goes away, or a full disk, costs some milliseconds and no page.
    """

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep one where that can be done."""
        with contextlib.suppress(OSError):
            super().dump_bytecode(bucket)


def templates_taken_apart() -> TemplatesTakenApart | None:
    """Return where they are kept, None where there is no place for this account alone."""
    try:
        return TemplatesTakenApart(pattern=f"dryslate-{jinja2.__version__}-%s.cache")
    except (OSError, RuntimeError):
        return None
