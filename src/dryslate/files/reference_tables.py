"""Cards and reference tables: the built-in ones and those a project adds."""

from __future__ import annotations

import csv
import difflib
import hashlib
from functools import cache, lru_cache
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import FormatError, InputError, error_words
from dryslate.base.problems import Problem, has_error
from dryslate.core.card.checks import check_card
from dryslate.core.card.definition import CardDefinition
from dryslate.core.identify.observer import ErrorRates
from dryslate.core.identify.taxa import TaxaData
from dryslate.files.taxa_files import built_in_tables, project_tables
from dryslate.formats.card_toml import format_card, parse_card
from dryslate.formats.error_rates_csv import parse_error_rates
from dryslate.formats.taxa_csv import parse_taxa

CARD_ORDER = ("field", "large", "stick", "target24", "target24-2005")


class FileReferenceTables:
    """
    Reference tables that ship with the program, and the cards of one project.

    A project's own cards are the files ``cards/*.toml`` in its folder. A project card with the
    name of a built-in one takes its place: that is how measured values of one printed card
    replace the nominal ones of the design.

    Parameters
    ----------
    project : Path or None
        The project's folder; None for the built-in tables alone.
    """

    def __init__(self, project: Path | None = None) -> None:
        self._project = project
        self._cards: dict[str, CardDefinition] | None = None
        self._folder_of: dict[str, Path] = {}
        self._taxa: tuple[TaxaData, list[Problem]] | None = None

    @property
    def project(self) -> Path | None:
        """The project's folder, or None."""
        return self._project

    def cards(self) -> tuple[CardDefinition, ...]:
        """
        Return every known card: the project's own first, then the built-in ones.

        A built-in card whose markers a project card carries too is left out: the print that
        somebody owns and knows comes before its design.

        Raises
        ------
        FormatError
            With the slug of the fault if a card file cannot be used.
        """
        known = self._all()
        own = {_marks(c) for n, c in known.items() if n in self._folder_of}
        return tuple(
            c
            for n, c in known.items()
            if n in self._folder_of or not c.markers or _marks(c) not in own
        )

    def card(self, name: str) -> CardDefinition:
        """
        Return one card by name, or by the path of its definition file.

        Raises
        ------
        InputError
            ``card-unknown`` if no card has that name; the message gives the nearest names.
        """
        if name.endswith(".toml"):
            return self._card_from_file(Path(name))
        known = self._all()
        if name in known:
            return known[name]
        near = difflib.get_close_matches(name, known, n=3, cutoff=0.4)
        hint = f"Did you mean {' or '.join(near)}? " if near else ""
        raise InputError(
            "card-unknown",
            f"There is no card called {name!r}.",
            f"{hint}Known cards: {', '.join(known)}. See them with: dryslate card list",
        )

    def design(self, name: str) -> CardDefinition:
        """
        Return the built-in card of that name, else what `card` returns.

        Raises
        ------
        InputError
            ``card-unknown``.
        """
        for card in _built_in_cards():
            if card.name == name:
                return card
        return self.card(name)

    def picture(self, card: CardDefinition) -> NDArray[np.uint8] | None:
        """
        Return the stored picture of a card without markers.

        Parameters
        ----------
        card : CardDefinition

        Returns
        -------
        ndarray of uint8, shape (height, width, 3), or None
            The card edge to edge, sRGB; None where the card has no picture.

        Raises
        ------
        InputError
            ``card-picture-missing`` if the definition names a picture that cannot be read.
        """
        if not card.picture:
            return None
        folder = self._folder_of.get(card.name, Path())
        path = folder / card.picture
        from PIL import Image

        try:
            with Image.open(path) as image:
                pixels = np.array(image.convert("RGB"), dtype=np.uint8)
        except OSError as error:
            raise InputError(
                "card-picture-missing",
                f"{path}: the picture of card {card.name!r} cannot be read ({error}).",
                "Put the picture back beside the card's definition, or make both again with: "
                "dryslate card from-photo",
            ) from error
        return pixels

    def table(self, name: str) -> list[dict[str, str]]:
        """
        Return the rows of a built-in CSV table; lines that start with ``#`` are its sources.

        Raises
        ------
        InputError
            ``table-unknown`` if there is no such table.
        """
        folder = resources.files("dryslate") / "data" / "tables"
        entry = folder / (name if name.endswith(".csv") else f"{name}.csv")
        if not entry.is_file():
            known = sorted(e.name[:-4] for e in folder.iterdir() if e.name.endswith(".csv"))
            raise InputError(
                "table-unknown",
                f"There is no built-in table called {name!r}.",
                f"Known tables: {', '.join(known)}.",
            )
        lines = entry.read_text(encoding="utf-8").splitlines()
        return list(csv.DictReader(line for line in lines if line and not line.startswith("#")))

    def taxa(self) -> tuple[TaxaData, list[Problem]]:
        """
        Return all that is known of the genera, and what is wrong with the tables.

        Returns
        -------
        data : TaxaData
            Built-in tables with the project's own ``taxa/*.csv`` over them; read once.
        problems : list of Problem
            As `parse_taxa`, with ``taxa-not-utf8`` and ``taxa-file-unreadable``.
        """
        if self._taxa is None:
            added, found = project_tables(self._project) if self._project else ({}, [])
            data, problems = (
                parse_taxa({**built_in_tables(), **added}) if added else _built_in_taxa()
            )
            self._taxa = data, [*found, *problems]
        data, problems = self._taxa
        return data, list(problems)

    def error_rates(self) -> ErrorRates:
        """
        Return how observers err, as shipped.

        Raises
        ------
        FormatError
            ``error-rates-broken`` with the line and the column.
        """
        entry = resources.files("dryslate") / "data" / "taxa" / "error_rates.csv"
        return parse_error_rates(entry.read_text(encoding="utf-8"))

    def read_text(self, path: Path) -> str:
        """
        Read a small text file: readings of patches, or what defines a card.

        Raises
        ------
        InputError
            ``text-file-unreadable`` if it is not there or is no UTF-8 text.
        """
        try:
            return path.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(
                "text-file-unreadable",
                f"{path}: the file cannot be read as text ({error_words(error)}).",
                "Check the path; the file must be UTF-8 text.",
            ) from error

    def place_for(self, name: str) -> Path:
        """Return where a card of that name belongs: in the project, else the current folder."""
        folder = self._project / "cards" if self._project is not None else Path()
        return folder / f"{name}.toml"

    def save_card(self, card: CardDefinition, path: Path, picture: bytes = b"") -> Path | None:
        """
        Write a card definition, and its picture beside it.

        An older definition of the same name in the project's own folder of cards is moved to
        ``cards/older`` first; anywhere else nothing is written over.

        Returns
        -------
        Path or None
            Where the older definition went.

        Raises
        ------
        InputError
            ``card-file-exists`` if a file of that name is there already;
            ``card-not-written`` if the folder or disk refuses.
        """
        kept = self._keep_older(path)
        targets = [path] + ([path.parent / card.picture] if picture else [])
        for target in targets:
            if target.exists():
                raise InputError(
                    "card-file-exists",
                    f"{target}: there is a file of that name already; it was not changed.",
                    "Give another name with -o, or move the old file away.",
                )
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            if picture:
                (path.parent / card.picture).write_bytes(picture)
            path.write_text(format_card(card), encoding="utf-8")
        except OSError as error:
            raise InputError(
                "card-not-written",
                f"{path}: the card definition cannot be written ({error.strerror or error}).",
                "Choose another place with -o, or make room on the disk.",
            ) from error
        self._cards = None
        return kept

    def put_away(self, name: str) -> bool:
        """
        Move a project's own card and its picture to ``cards/older``; nothing is deleted.

        Returns
        -------
        bool
            False where the project has no card of that name.

        Raises
        ------
        InputError
            ``card-not-written`` if the folder or disk refuses.
        """
        path = self.place_for(name)
        if self._project is None or not path.is_file():
            return False
        picture = path.with_suffix(".png")
        try:
            older = self._keep_older(path)
            if older is not None and picture.is_file():
                picture.replace(older.with_suffix(".png"))
        except OSError as error:
            raise InputError(
                "card-not-written",
                f"{path.name}: the card cannot be put away ({error.strerror or error}).",
                "Look at the drive and the permissions.",
            ) from error
        self._cards = None
        return True

    def _keep_older(self, path: Path) -> Path | None:
        """Move a project card of that name aside, under the hash of its content."""
        if self._project is None or path.parent != self._project / "cards" or not path.exists():
            return None
        mark = hashlib.sha256(path.read_bytes()).hexdigest()[:12]
        older = path.parent / "older" / f"{path.stem}-{mark}.toml"
        older.parent.mkdir(exist_ok=True)
        path.replace(older)
        return older

    def card_key(self, card: CardDefinition) -> str:
        """Hash everything a card states (serial, medium and values too), for provenance."""
        return _key_of(card)

    def _all(self) -> dict[str, CardDefinition]:
        """Read every card once, the project's own first."""
        if self._cards is None:
            found: dict[str, CardDefinition] = {}
            if self._project is not None:
                for path in sorted((self._project / "cards").glob("*.toml")):
                    card = self._card_from_file(path)
                    if card.name in found:
                        other = self._folder_of[card.name]
                        raise FormatError(
                            "card-name-twice",
                            f"{path}: another file in {other} also calls its card {card.name!r}.",
                            "Give one of the two cards another name.",
                        )
                    found[card.name] = card
                    self._folder_of[card.name] = path.parent
            for card in _built_in_cards():
                found.setdefault(card.name, card)
            self._cards = found
        return self._cards

    def _card_from_file(self, path: Path) -> CardDefinition:
        """Read, parse and check one definition file."""
        try:
            text = path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(
                "card-file-unreadable",
                f"{path}: the card definition cannot be read ({error_words(error)}).",
                "Check the path; a definition is a UTF-8 text file.",
            ) from error
        card = _checked_card(text, str(path))
        self._folder_of.setdefault(card.name, path.parent)
        return card


@lru_cache(maxsize=64)
def _checked_card(text: str, place: str) -> CardDefinition:
    """Parse and check a definition; the same text is read once, however often it is asked for."""
    card = parse_card(text, place)
    problems = check_card(card)
    if has_error(problems):
        errors = [p for p in problems if p.severity == "error"]
        more = f" (and {len(errors) - 1} more)" if len(errors) > 1 else ""
        raise FormatError(
            errors[0].slug,
            f"{place}: {errors[0].place}: {errors[0].message}{more}",
            errors[0].fix,
        )
    return card


@lru_cache(maxsize=64)
def _key_of(card: CardDefinition) -> str:
    """Hash all that a card states."""
    return hashlib.sha256(format_card(card).encode("utf-8")).hexdigest()


def _marks(card: CardDefinition) -> frozenset[tuple[str, int]]:
    """Return what a card's markers read as."""
    return frozenset((m.dictionary, m.marker_id) for m in card.markers)


@cache
def _built_in_taxa() -> tuple[TaxaData, list[Problem]]:
    """Read the tables of genera that ship with the program."""
    return parse_taxa(built_in_tables())


@cache
def _built_in_cards() -> tuple[CardDefinition, ...]:
    """Read the cards that ship with the program, ours first."""
    folder = resources.files("dryslate") / "data" / "cards"
    entries = sorted(
        (e for e in folder.iterdir() if e.name.endswith(".toml")), key=lambda e: e.name
    )
    cards = [parse_card(e.read_text(encoding="utf-8"), e.name) for e in entries]
    rank = {name: i for i, name in enumerate(CARD_ORDER)}
    return tuple(sorted(cards, key=lambda c: (rank.get(c.name, len(rank)), c.name)))
