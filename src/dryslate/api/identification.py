"""Identifying corals: numpy in, records out."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate import wiring
from dryslate.app.identify import Identifier, open_identifier, require_answer
from dryslate.app.identify_request import parse_record
from dryslate.core.identify.answer import Answer
from dryslate.core.identify.comparison import Comparison, Likeness
from dryslate.core.identify.evidence import Size
from dryslate.core.identify.lookalikes import compare_genera, find_lookalikes
from dryslate.core.identify.model import finest_regions
from dryslate.core.identify.taxa import Genus


def identify(  # noqa: PLR0913 - the parts of one coral's evidence, each by its name
    *,
    region: str | None = None,
    seen: Mapping[str, str | Collection[str]] | None = None,
    not_seen: Mapping[str, str | Collection[str]] | None = None,
    unclear: Collection[str] = (),
    sizes_mm: Mapping[str, float | Sequence[float] | NDArray[Any] | Size] | None = None,
    juvenile: bool = False,
    project: str | Path | None = None,
    all_equal: bool = False,
) -> Answer:
    """
    Name a coral from what was seen of it.

    Parameters
    ----------
    region : str, optional
        Where it was seen; else the project's own region, else ``indo_pacific``.
    seen, not_seen : mapping of str to str or collection of str, optional
        States by character that the colony shows, and that were looked for and are not there.
    unclear : collection of str
        Characters that were looked at and could not be told.
    sizes_mm : mapping of str to float or sequence of two floats, optional
        Sizes by measure, in millimetres, with their standard uncertainty.
    juvenile : bool
        The colony is under 5 cm: adult sizes are not applied.
    project : str or Path, optional
        Folder of a project with genus data of its own; read anew in each call.
    all_equal : bool
        Count every genus as equally common, whatever is known of how often it is met.

    Returns
    -------
    Answer
        Its `problems` say what is odd about the evidence.

    Raises
    ------
    InputError
        If the evidence cannot be used: the slug of the first fault, all of them in the message.

    Examples
    --------
    >>> import dryslate
    >>> answer = dryslate.identify(
    ...     region="western_atlantic",
    ...     seen={"growth_form": "massive", "corallite_arrangement": ["meandroid"]},
    ...     sizes_mm={"valley_width": (6.5, 0.5)},
    ... )
    >>> answer.region, "Pseudodiploria" in answer.set95
    ('western_atlantic', True)
    >>> dryslate.identify(seen={"growth_form": "masive"})
    Traceback (most recent call last):
    ...
    dryslate.base.errors.InputError: growth_form: there is no state 'masive'. ...
    """
    fields = {
        "region": region,
        "seen": seen,
        "not": not_seen,
        "unclear": unclear,
        "sizes_mm": _plain(sizes_mm),
        "juvenile": juvenile,
    }
    evidence, problems = parse_record(fields)
    return require_answer(_identifier(project, all_equal), evidence, problems)


def genera(region: str | None = None, *, project: str | Path | None = None) -> tuple[Genus, ...]:
    """
    List the coral genera that are known.

    Parameters
    ----------
    region : str, optional
        Only those that live there.
    project : str or Path, optional
        Folder of a project with genus data of its own.

    Returns
    -------
    tuple of Genus
        By name; without the answers that are no coral.

    Raises
    ------
    InputError
        ``identify-region-unknown``.

    Examples
    --------
    >>> import dryslate
    >>> "Porites" in [genus.genus for genus in dryslate.genera("atlantic")]
    True
    """
    taxa = _identifier(project).taxa
    finest = finest_regions(taxa, region)
    corals = [g for g in taxa.genera.values() if g.group not in ("not_coral", "juvenile")]
    return tuple(sorted((g for g in corals if g.regions & finest), key=lambda g: g.genus))


def lookalikes(
    genus: str,
    other: str | None = None,
    *,
    px_per_mm: float | None = None,
    region: str | None = None,
    project: str | Path | None = None,
) -> Comparison | list[Likeness]:
    """
    Show what a genus is taken for, or two genera side by side.

    Parameters
    ----------
    genus : str
    other : str, optional
        The genus to put beside it.
    px_per_mm : float, optional
        Scale of the photo at hand: what of the difference could it show?
    region : str, optional
    project : str or Path, optional
        Folder of a project with genus data of its own.

    Returns
    -------
    Comparison or list of Likeness
        Side by side where `other` is given; else what `genus` is taken for, the hardest first.

    Raises
    ------
    InputError
        As `compare_genera`, for a genus or region that is not known.

    Examples
    --------
    >>> import dryslate
    >>> pair = dryslate.lookalikes("Porites", "Montipora")
    >>> pair.genus_a, pair.genus_b
    ('Porites', 'Montipora')
    """
    taxa = _identifier(project).taxa
    if other is None:
        return find_lookalikes(taxa, genus, region)
    return compare_genera(taxa, genus, other, px_per_mm, region)


def _plain(value: Any) -> Any:
    """Return numpy's numbers and arrays as Python's own."""
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    if isinstance(value, Mapping):
        return {name: _plain(one) for name, one in value.items()}
    return value


def _identifier(project: str | Path | None, all_equal: bool = False) -> Identifier:
    """Open the genus data; the built-in ones once."""
    if project is None:
        return _built_in(all_equal)
    return open_identifier(
        Path(project),
        None,
        wiring.reference_tables,
        wiring.project_folders(),
        lambda folder: wiring.survey_store(folder, write=False),
        all_equal=all_equal,
    )


@lru_cache(maxsize=2)
def _built_in(all_equal: bool) -> Identifier:
    """Read the genus data that ship with the program."""
    return Identifier(wiring.reference_tables(), all_equal=all_equal)
