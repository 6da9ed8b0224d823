"""The computer's clock."""

from __future__ import annotations

from datetime import UTC, datetime


class SystemClock:
    """Tells the time by the computer's clock (implements `Clock`)."""

    def now_utc(self) -> str:
        """Return the time now, ISO 8601 with ``Z``, to the second."""
        return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
