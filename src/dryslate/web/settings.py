"""What a server is told when it starts."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from pathlib import Path

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
LARGEST_UPLOAD_BYTES = 2_000_000_000
LARGEST_BODY_BYTES = 2_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class ServeSettings:
    """
    What a server is told when it starts; nothing of it changes while it runs.

    Parameters
    ----------
    project : Path
        The project folder.
    port : int
        Port it listens on.
    host : str
        Address it listens on; anything but loopback makes it a team's server.
    names : tuple of str
        Names under which it may be asked beside the loopback ones (Host header, without port).
    token : str
        Start-up token; whoever opens the printed address carries it.
    """

    project: Path
    port: int = 8321
    host: str = "127.0.0.1"
    names: tuple[str, ...] = ()
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))

    @property
    def is_team(self) -> bool:
        """Tell whether others can reach it, so that everyone has to sign in."""
        return self.host not in ("127.0.0.1", "localhost", "::1")

    @property
    def allowed_hosts(self) -> frozenset[str]:
        """Return the Host headers that are answered, in lower case."""
        names = (*LOOPBACK, *self.names, *((self.host,) if self.is_team else ()))
        return frozenset(f"{name.lower()}:{self.port}" for name in names)

    @property
    def address(self) -> str:
        """Return the address to open, with the token where one person works alone."""
        name = next(iter(self.names), self.host) if self.is_team else "127.0.0.1"
        return f"http://{name}:{self.port}/" + ("" if self.is_team else f"?key={self.token}")

    @property
    def cookie(self) -> str:
        """Return the session cookie's name; ports of one machine share their cookies."""
        return f"dryslate_{self.port}"
