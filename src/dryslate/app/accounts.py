"""Accounts of a team's server: who may sign in, in which role; passwords are never kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, get_args

from dryslate.app.visits import require_name
from dryslate.base.errors import InputError

Role = Literal["viewer", "surveyor", "lead"]
ROLES: tuple[Role, ...] = get_args(Role)
SHORTEST_PASSWORD = 10
LONGEST_PASSWORD = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """
    Somebody who may sign in.

    Parameters
    ----------
    observer : str
        Name under which everything is saved.
    role : {"viewer", "surveyor", "lead"}
    password_hash : str
        What the hasher made of the password, with its own settings and salt in it.
    """

    observer: str
    role: Role
    password_hash: str


class AccountBook(Protocol):
    """Keeps accounts beside a project, readable by its owner only."""

    def accounts(self) -> tuple[Account, ...]:
        """Return every account by name."""

    def save(self, accounts: tuple[Account, ...]) -> None:
        """Replace the accounts, whole or not at all."""


class PasswordHasher(Protocol):
    """Makes slow salted hashes of passwords."""

    def hash(self, password: str) -> str:
        """Return a hash with its settings and salt."""

    def fits(self, password_hash: str, password: str) -> bool:
        """Tell whether a password belongs to a hash; as slow where it does not."""


def require_role(role: str) -> Role:
    """
    Return a role that there is.

    Raises
    ------
    InputError
        ``account-role``.
    """
    for known in ROLES:
        if role == known:
            return known
    raise InputError(
        "account-role",
        f"{role!r} is no role (there are {', '.join(ROLES)}).",
        "A viewer looks, a surveyor saves, a lead also manages people, draws and settings.",
    )


def set_account(
    book: AccountBook, hasher: PasswordHasher, observer: str, role: str, password: str
) -> Account:
    """
    Add an account, or give one another role and password.

    Parameters
    ----------
    book : AccountBook
    hasher : PasswordHasher
    observer, role, password : str

    Returns
    -------
    Account

    Raises
    ------
    InputError
        ``account-role``, ``account-password``; ``name-empty`` or ``name-odd``.
    """
    name = require_name(observer, "observer")
    checked = require_role(role)
    if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        raise InputError(
            "account-password",
            f"The password is too short or too long ({SHORTEST_PASSWORD} to {LONGEST_PASSWORD} "
            "signs are expected).",
            "Take a few plain words that nobody else would put together.",
        )
    made = Account(observer=name, role=checked, password_hash=hasher.hash(password))
    others = tuple(a for a in book.accounts() if a.observer != name)
    book.save(tuple(sorted((*others, made), key=lambda a: a.observer)))
    return made


def remove_account(book: AccountBook, observer: str) -> None:
    """
    Take an account away; what its observer saved stays.

    Raises
    ------
    InputError
        ``account-unknown``.
    """
    rest = tuple(a for a in book.accounts() if a.observer != observer)
    if len(rest) == len(book.accounts()):
        raise InputError(
            "account-unknown", f"Nobody called {observer!r} has an account.", "Check the name."
        )
    book.save(rest)


def sign_in(
    book: AccountBook, hasher: PasswordHasher, observer: str, password: str
) -> Account | None:
    """
    Return the account that name and password open, or None; the same time is taken either way.

    Parameters
    ----------
    book : AccountBook
    hasher : PasswordHasher
    observer, password : str

    Returns
    -------
    Account or None
    """
    found = next((a for a in book.accounts() if a.observer == observer.strip()), None)
    if len(password) > LONGEST_PASSWORD:
        return None
    if found is None:
        hasher.fits(hasher.hash("nobody has this account"), password)
        return None
    return found if hasher.fits(found.password_hash, password) else None
