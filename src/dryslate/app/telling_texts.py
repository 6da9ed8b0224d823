"""Texts that leave a project and tell where a sensitive site lies: found, withheld or refused."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, cast, get_args

from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.publication_records import SitePlace

Texts = Literal["refuse", "withhold", "as-written"]
"""Texts that tell: nothing is written; others stand in their place; they leave as they are."""
FEWEST_SIGNS = 5
"""A name of fewer letters and digits is looked for as a word of its own."""
MOST_TOLD = 20
TEXTS = frozenset(
    """
    fieldNumber habitat eventRemarks samplingEffort samplingProtocol occurrenceRemarks
    identificationRemarks recordNumber measurementValue measurementMethod measurementRemarks title
    note place lesion unreadable tag label colony file_name warmest_source logger zone reason source
    definition from_what what tide weather sea methods summary permit rights_holder growth_form
    about
    """.split()  # noqa: SIM905  a list of words reads better so
)
"""Columns of tables, and words of what stands as JSON, in which people write freely."""
_ALSO = frozenset({("units", "name")})
_FILES = frozenset({"Multimedia, title", "photos, file_name", "loggers, file_name"})
"""Where the names of files stand."""
_JSON = frozenset({"dynamicProperties", "neighbours"})
_PLAIN = frozenset(
    """
    zone area reef crest slope flat fore back front lagoon channel pass wall terrace edge base
    deep shallow upper lower middle inner outer north south east west northern southern eastern
    western patch ridge spur groove bank shelf site transect line plot plots seagrass sand sandy
    rubble mangrove bommie pinnacle plateau face gully pool tidal subtidal intertidal offshore
    inshore nearshore seaward landward leeward windward exposed sheltered control impact rock
    rocky algae coral corals pente crete platier lagon passe recif tombant externe interne
    barriere frangeant haut nord ouest profond profonde stated with from near
    """.split()  # noqa: SIM905  a list of words reads better so
)
"""Words of a zone's name that tell no place."""
_ASCII = {k: None for k in range(128) if not chr(k).isalnum()}
_DEGREES = re.compile(r"(\d{1,3})\s*°\s*(\d{1,2}(?:[.,]\d+)?)?\s*['′’]?\s*(\d{1,2}(?:[.,]\d+)?)?")
_DECIMAL = re.compile(r"\d{1,3}[.,]\d{2,}")


def squashed(text: str) -> str:
    """
    Return letters and digits only, small and without accents.

    Examples
    --------
    >>> squashed("Récif-du_Large 2")
    'recifdularge2'
    """
    if not text.isascii():
        text = "".join(c for c in unicodedata.normalize("NFKD", text) if c.isascii())
    return text.lower().translate(_ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Secret:
    """What of one site is not to leave."""

    names: tuple[str, ...]
    words: frozenset[str]
    zones: tuple[str, ...]
    at: tuple[float, float, float] | None
    parts: tuple[str, ...] = ()

    def told_by(self, text: str, *, is_file: bool = False) -> str:
        """Say what a text tells of it; empty: nothing. A file may be named by a part of a name."""
        flat = squashed(text)
        if is_file and any(part in flat for part in self.parts):
            return "part of the name of a sensitive site"
        if any(name in flat for name in self.names):
            return "the name or place of a sensitive site"
        if self.words and self.words & {squashed(w) for w in re.split(r"\W+", text)}:
            return "the name of a sensitive site"
        if any(zone in flat for zone in self.zones):
            return "a zone of a sensitive site"
        if self.at is not None and _tells_position(text, *self.at):
            return "the position of a sensitive site"
        return ""


def _tells_position(text: str, lat: float, lon: float, grid: float) -> bool:
    """Tell whether a text has a position within a site's cell, or beside it."""
    if not any(sign.isdigit() for sign in text):
        return False
    for found in _DEGREES.finditer(text):
        parts = [float((part or "0").replace(",", ".")) for part in found.groups()]
        value = parts[0] + parts[1] / 60 + parts[2] / 3600
        if found[2] and min(abs(value - lat), abs(value - lon)) <= grid:
            return True
    values = [float(one.replace(",", ".")) for one in _DECIMAL.findall(text)]
    return any(abs(a - lat) <= grid for a in values) and any(abs(b - lon) <= grid for b in values)


@dataclass(kw_only=True)
class TextGate:
    """
    Looks through what leaves.

    Parameters
    ----------
    secrets : tuple
    choice : {"refuse", "withhold", "as-written"}
    address : callable
        Text to what tells one withheld text from another.
    found : dict
        Text to where it stands and what it tells, for people: the first of them.
    n : int
        How many texts tell.
    """

    secrets: tuple[_Secret, ...]
    choice: Texts
    address: Callable[[str], str]
    found: dict[str, str] = field(default_factory=dict)
    n: int = 0

    @property
    def is_open(self) -> bool:
        """Tell whether there is nothing to look for."""
        return not self.secrets or self.choice == "as-written"

    def row(self, table: str, columns: Sequence[str], cells: Sequence[Any]) -> Sequence[Any]:
        """Return the cells of a row as they may leave."""
        if self.is_open or not self._may_tell("\t".join(map(str, cells))):
            return cells
        return [
            self._cell(f"{table}, {name}", name, cell)
            for name, cell in zip(columns, cells, strict=True)
        ]

    def _may_tell(self, line: str) -> bool:
        """Tell whether one looks closer: quick, and true too often rather than too seldom."""
        flat = squashed(line)
        return any(
            any(name in flat for name in (*one.names, *one.words, *one.zones, *one.parts))
            or (one.at is not None and all(str(int(v)) in flat for v in one.at[:1]))
            or (one.at is not None and str(int(one.at[1])) in flat)
            for one in self.secrets
        )

    def _cell(self, where: str, name: str, cell: Any) -> Any:
        if not isinstance(cell, str) or not cell:
            return cell
        if name in _JSON and cell[0] in "{[":
            said = json.loads(cell)
            told = self.value(where, said)
            if told == said:
                return cell
            return json.dumps(told, ensure_ascii=False, separators=(",", ":"))
        table = where.partition(",")[0]
        return self.text(where, cell) if name in TEXTS or (table, name) in _ALSO else cell

    def value(self, where: str, value: Any) -> Any:
        """Return plain values as they may leave: texts below the words of `TEXTS`."""
        if self.is_open:
            return value
        if isinstance(value, Mapping):
            return {
                k: self.text(f"{where}, {k}", v)
                if isinstance(v, str) and k in TEXTS
                else self.value(where, v)
                for k, v in value.items()
            }
        return [self.value(where, one) for one in value] if isinstance(value, list) else value

    def text(self, where: str, text: str) -> str:
        """Return a text as it may leave."""
        if self.is_open or not text:
            return text
        is_file = where in _FILES
        told = (one.told_by(text, is_file=is_file) for one in self.secrets)
        what = next(filter(None, told), "")
        if not what:
            return text
        self.n += 1
        if len(self.found) < MOST_TOLD:
            self.found.setdefault(text[:80], f"{where}: “{text[:80]}” tells {what}")
        return f"withheld {self.address(text)[-6:]}" if self.choice == "withhold" else text

    def close(self) -> int:
        """
        Say that everything was looked through; returns how many texts were withheld.

        Raises
        ------
        InputError
            ``archive-texts-tell``, where nobody decided yet.
        """
        if not self.n or self.choice != "refuse":
            return self.n
        told = "; ".join(self.found.values())
        raise InputError(
            "archive-texts-tell",
            f"{self.n} texts tell where a sensitive site lies, and nothing was written. {told}.",
            "Change them in the project, or decide: --texts withhold puts other words in their "
            "place, --texts as-written lets them leave.",
        )


def text_gate(
    store: SurveyStore, withheld: Iterable[str], choice: Texts, address: Callable[[str], str]
) -> TextGate:
    """
    Return what looks through the texts of a project.

    Parameters
    ----------
    store : SurveyStore
    withheld : iterable of str
        Sites whose names stay in the project.
    choice : {"refuse", "withhold", "as-written"}
    address : callable
        Text to a stable identifier.
    """
    places = {one.site: one for one in store.site_places()}
    zones: dict[str, list[str]] = {site: [] for site in withheld}
    for site in zones:
        zones[site] += [one.zone for one in store.zones() if one.site == site]
    for visit in store.visits():
        if visit.site in zones:
            zones[visit.site] += [u.zone for u in store.units(visit.visit_id) if u.zone]
    return TextGate(
        secrets=tuple(_secret(site, places.get(site), found) for site, found in zones.items()),
        choice=choice,
        address=address,
    )


def _secret(site: str, place: SitePlace | None, zones: Iterable[str]) -> _Secret:
    """Say what of a site is not to leave."""
    said = [site, "" if place is None else place.locality]
    public = "" if place is None else squashed(place.published_locality)
    if public:
        said = [one for one in said if squashed(one) not in public]
    names = [one for text in said if (one := squashed(text)) and not one.isdigit()]
    at = None
    if place is not None and place.latitude_deg is not None and place.longitude_deg is not None:
        at = abs(place.latitude_deg), abs(place.longitude_deg), place.grid_deg or 0.1
    return _Secret(
        names=tuple(one for one in names if len(one) >= FEWEST_SIGNS),
        words=frozenset(one for one in names if 3 <= len(one) < FEWEST_SIGNS),
        zones=tuple(dict.fromkeys(squashed(zone) for zone in zones if _is_telling(zone))),
        at=at,
        parts=tuple(word for word in _telling_words(site) if word not in public),
    )


def _is_telling(zone: str) -> bool:
    """
    Tell whether the name of a zone may tell a place: it has a word that is none of habitat.

    Examples
    --------
    >>> _is_telling("outer slope 2"), _is_telling("Jetty corner")
    (False, True)
    """
    return bool(_telling_words(zone))


def _telling_words(name: str) -> list[str]:
    """Return the words of four letters and more of a name that are none of habitat."""
    words = [squashed(word) for word in re.split(r"[\W\d_]+", name)]
    return [word for word in words if len(word) >= 4 and word not in _PLAIN]


def require_texts(text: str) -> Texts:
    """
    Return what is to be done with texts that tell.

    Raises
    ------
    InputError
        ``archive-texts``.
    """
    if text in get_args(Texts):
        return cast("Texts", text)
    raise InputError(
        "archive-texts", f"{text!r}: no such way.", "Give refuse, withhold or as-written."
    )
