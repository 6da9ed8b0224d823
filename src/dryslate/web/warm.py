"""Loading what is slow to import beside the first answers, so that no page has to wait for it."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dryslate.web.front import Front

LOG = logging.getLogger("dryslate.web")


def warm(front: Front) -> None:
    """
    Make the whole application and load what its first pages would wait for.

    Parameters
    ----------
    front : Front
        What goes wrong is left to the page that needs it, which says so.
    """
    try:
        front.load()
        _load_parts(front)
    except Exception:
        LOG.info("loading beside the first answers failed", exc_info=True)


def _load_parts(front: Front) -> None:
    """Load the genus data, and fetch the machine code of the pixel loops."""
    from dryslate.web.routes.naming import identifier_of

    identifier = identifier_of(front.reach)
    identifier.model(identifier.choice.region)
