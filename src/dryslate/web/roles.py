"""Pages that are there for some roles only."""

from __future__ import annotations

from fastapi import Depends, Request

from dryslate.web.reach import require_role


def _surveyor(request: Request) -> None:
    """Refuse who may only look."""
    require_role(request, "surveyor")


WORK = [Depends(_surveyor)]
"""Dependencies of a page that is there to change something; nothing leads who only looks there."""
