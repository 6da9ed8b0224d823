"""Accounts in a file beside the project's records, and Argon2 for their passwords."""

from __future__ import annotations

import json
from pathlib import Path

from dryslate.app.accounts import Account, require_role
from dryslate.base.errors import FormatError
from dryslate.files.safe_write import save_whole

ACCOUNTS_NAME = "accounts.json"


class FileAccountBook:
    """
    Implements `dryslate.app.accounts.AccountBook`.

    Parameters
    ----------
    project : Path
        The file lies in this folder; only its owner may read it.
    """

    def __init__(self, project: Path) -> None:
        self._path = project / ACCOUNTS_NAME

    def accounts(self) -> tuple[Account, ...]:
        """Return every account by name."""
        try:
            rows = json.loads(self._path.read_text("utf-8"))
            return tuple(
                Account(
                    observer=str(row["observer"]),
                    role=require_role(row["role"]),
                    password_hash=str(row["password_hash"]),
                )
                for row in rows
            )
        except FileNotFoundError:
            return ()
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise FormatError(
                "accounts-broken",
                f"{self._path}: the accounts cannot be read.",
                "Remove the file and make the accounts anew with `dryslate account`.",
            ) from error

    def save(self, accounts: tuple[Account, ...]) -> None:
        """Replace the accounts, whole or not at all."""
        rows = [
            {"observer": a.observer, "role": a.role, "password_hash": a.password_hash}
            for a in accounts
        ]
        text = json.dumps(rows, ensure_ascii=False, indent=1)
        save_whole(self._path, [text.encode("utf-8")], mode=0o600)


class Argon2Hasher:
    """Implements `dryslate.app.accounts.PasswordHasher` with Argon2id (RFC 9106)."""

    def __init__(self) -> None:
        from argon2 import PasswordHasher

        self._hasher = PasswordHasher()

    def hash(self, password: str) -> str:
        """Return a hash with its settings and salt."""
        return self._hasher.hash(password)

    def fits(self, password_hash: str, password: str) -> bool:
        """Tell whether a password belongs to a hash."""
        from argon2.exceptions import InvalidHashError, VerificationError

        try:
            return self._hasher.verify(password_hash, password)
        except (VerificationError, InvalidHashError):
            return False
