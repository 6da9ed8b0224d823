"""Control objects: what the project knows, compared with what it measured over the trip."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean, median
from typing import Any, Literal

import numpy as np

from dryslate.app.ports import SurveyStore
from dryslate.app.records import ControlObject, MeasurementRow
from dryslate.app.visits import require_name
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.colour.difference import ciede2000

Z_TRIP = 2.0
"""A trip is off where the mean differs by more than this many standard uncertainties."""

Z_ONE = 3.0
"""One measurement is named where it differs by more than this many."""

FLAT_CHROMA = 3.0
"""A chip of less known chroma is taken as a spectrally flat grey: it has hardly any mismatch."""

_NAMES: Mapping[str, tuple[str, ...]] = {"length": ("length_mm",), "grey": ("l", "a", "b")}
_WORDS: Mapping[str, str] = {"length_mm": "length in mm", "l": "L*", "a": "a*", "b": "b*"}
_LOOK: Mapping[str, str] = {
    "length": "Look at this photo: points, tilt, and whether it lay in the card's plane.",
    "grey": "Look at this photo: the outline, glare or silt on the chip, and whether card and chip "
    "lay in the same light, side by side and facing the same way.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ValueComparison:
    """
    One value of a control object over the trip.

    Parameters
    ----------
    name : str
        ``length_mm``, or ``l``, ``a``, ``b`` of CIELAB.
    known, known_u : float
    mean, mean_u : float or None
        Mean over the photos. Its standard uncertainty takes the errors of the photos as fully
        shared (one card, one lens), so more photos do not make it smaller.
    z : float or None
        Difference of mean and known, over the uncertainty of the difference.
    z_each : tuple of float
        The same for each measurement.
    """

    name: str
    known: float
    known_u: float
    mean: float | None
    mean_u: float | None
    z: float | None
    z_each: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlComparison:
    """
    A control object, its values, the photos it was measured in, and what is wrong.

    Parameters
    ----------
    name : str
    kind : {"length", "grey"}
    n : int
        Measurements compared.
    values : tuple of ValueComparison
    problems : tuple of Problem
    de00_each : tuple of float
        CIEDE2000 between each measured colour and the known one; empty for a length.
    photos : tuple of str
        File name of each measurement's photo, in the order of `de00_each` and of ``z_each``.
    """

    name: str
    kind: Literal["length", "grey"]
    n: int
    values: tuple[ValueComparison, ...]
    problems: tuple[Problem, ...]
    de00_each: tuple[float, ...] = ()
    photos: tuple[str, ...] = ()

    @property
    def de00_median(self) -> float | None:
        """The median of `de00_each`; None where there is none."""
        return median(self.de00_each) if self.de00_each else None

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            "name": self.name,
            "kind": self.kind,
            "n": self.n,
            "values": [
                {
                    "name": v.name,
                    "known": v.known,
                    "known_u": v.known_u,
                    "mean": v.mean,
                    "mean_u": v.mean_u,
                    "z": v.z,
                    "z_each": list(v.z_each),
                }
                for v in self.values
            ],
            "photos": list(self.photos),
            "de00_each": list(self.de00_each),
            "de00_median": self.de00_median,
        }


def make_control(
    name: str, *, length_mm: Sequence[float] | None, lab: Sequence[float] | None
) -> ControlObject:
    """
    Make a control object from what is known of it.

    Parameters
    ----------
    name : str
    length_mm : (length, standard uncertainty) or None
    lab : (L*, a*, b*, standard uncertainty of each) or None
        D65, 2 degrees.

    Returns
    -------
    ControlObject

    Raises
    ------
    InputError
        ``control-what``, ``control-value``, ``name-empty``.
    """
    name = require_name(name, "control object")
    if (length_mm is None) == (lab is None):
        raise InputError(
            "control-what",
            f"{name}: a control object is a bar of known length or a grey chip, one of the two.",
            "Give --length-mm LENGTH U, or --lab L A B U.",
        )
    known = [float(v) for v in (length_mm if length_mm is not None else lab or ())]
    *value, u = known
    is_fine = all(math.isfinite(v) for v in known) and u > 0
    if length_mm is not None:
        is_fine = is_fine and value[0] > 0
    else:
        is_fine = is_fine and 0 <= value[0] <= 100
    if not is_fine:
        raise InputError(
            "control-value",
            f"{name}: {known} cannot be (a length above 0 mm or L* from 0 to 100, and a standard "
            "uncertainty above 0, are expected).",
            "Say what is known and how well; half the smallest division of the rule is a start.",
        )
    kind: Literal["length", "grey"] = "length" if length_mm is not None else "grey"
    return ControlObject(name=name, kind=kind, value=tuple(value), value_u=(u,) * len(value))


def compare_controls(store: SurveyStore) -> tuple[ControlComparison, ...]:
    """
    Compare every control object with its measurements over the trip.

    Parameters
    ----------
    store : SurveyStore

    Returns
    -------
    tuple of ControlComparison
        Measurements belong to a control object when their colony is its name; those in photos
        that are set aside do not count.
    """
    aside = {one.photo_id for one in store.photos_set_aside()}
    rows = [row for row in store.measurements() if row.photo_id not in aside]
    names = {f.sha256: f.original_name for photo in store.photos() for f in photo.files}
    return tuple(
        _compare(control, [r for r in rows if r.colony == control.name], names)
        for control in store.control_objects()
    )


def _compare(
    control: ControlObject, rows: Sequence[MeasurementRow], names: Mapping[str, str]
) -> ControlComparison:
    """Compare one control object with its measurements."""
    seen = [(row, _measured(control, row)) for row in rows]
    used = [(row, found) for row, found in seen if found is not None]
    values = tuple(
        _compare_value(name, control.value[i], control.value_u[i], [found[i] for _, found in used])
        for i, name in enumerate(_NAMES[control.kind])
    )
    return ControlComparison(
        name=control.name,
        kind=control.kind,
        n=len(used),
        values=values,
        problems=tuple(_problems(control, values, [row for row, _ in used], names)),
        de00_each=tuple(_de00(control, found) for _, found in used if control.kind == "grey"),
        photos=tuple(names.get(row.photo_id, row.photo_id[:12]) for row, _ in used),
    )


def _de00(control: ControlObject, found: Sequence[tuple[float, float]]) -> float:
    """CIEDE2000 between a measured colour and the known one."""
    return float(ciede2000(np.array([v for v, _ in found]), np.array(control.value)))


def _measured(control: ControlObject, row: MeasurementRow) -> list[tuple[float, float]] | None:
    """Return the measured values with their uncertainties; None for another kind of row."""
    values = row.values
    if control.kind == "length":
        pairs = [(values.get("length_mm"), values.get("length_mm_u"))]
    else:
        lab, lab_u = values.get("lab"), values.get("lab_u")
        if math.hypot(control.value[1], control.value[2]) <= FLAT_CHROMA:
            lab_u = values.get("lab_u_if_flat_grey", lab_u)
        if not isinstance(lab, Sequence) or not isinstance(lab_u, Sequence):
            return None
        pairs = list(zip(lab, lab_u, strict=False))
        if len(pairs) != 3:
            return None
    if any(not isinstance(v, int | float) or not isinstance(u, int | float) for v, u in pairs):
        return None
    return [(float(v), float(u)) for v, u in pairs]  # type: ignore[arg-type]  # checked above


def _compare_value(
    name: str, known: float, known_u: float, found: Sequence[tuple[float, float]]
) -> ValueComparison:
    """Compare one value: each measurement, and the mean with errors taken as shared."""
    if not found:
        return ValueComparison(
            name=name, known=known, known_u=known_u, mean=None, mean_u=None, z=None, z_each=()
        )
    mean = fmean(v for v, _ in found)
    mean_u = math.sqrt(fmean(u * u for _, u in found))
    return ValueComparison(
        name=name,
        known=known,
        known_u=known_u,
        mean=mean,
        mean_u=mean_u,
        z=(mean - known) / math.hypot(mean_u, known_u),
        z_each=tuple((v - known) / math.hypot(u, known_u) for v, u in found),
    )


def _problems(
    control: ControlObject,
    values: Sequence[ValueComparison],
    rows: Sequence[MeasurementRow],
    names: Mapping[str, str],
) -> list[Problem]:
    """Say what does not agree."""
    if not rows:
        return [
            Problem(
                slug="control-not-measured",
                severity="note",
                place=control.name,
                message="this control object was named and never measured",
                fix=f"Photograph it beside the card and measure it as colony {control.name!r}.",
            )
        ]
    problems = []
    for value in values:
        if value.z is not None and value.mean is not None and abs(value.z) > Z_TRIP:
            problems.append(
                Problem(
                    slug="control-off",
                    severity="warning",
                    place=control.name,
                    message=f"{_WORDS[value.name]} is {value.mean:.2f} in the mean of {len(rows)} "
                    f"measurements, known is {value.known:.2f} ± {value.known_u:.2f} "
                    f"(z {value.z:+.1f}, expected within ±{Z_TRIP:g})",
                    fix="Check the card's print scale or colours, the lens file and the object; "
                    "results of this trip may be off by as much.",
                )
            )
        for row, z in zip(rows, value.z_each, strict=True):
            if abs(z) > Z_ONE:
                problems.append(
                    Problem(
                        slug="control-one-off",
                        severity="warning",
                        place=f"{control.name} in {names.get(row.photo_id, row.photo_id[:12])}",
                        message=f"{_WORDS[value.name]} is off by z {z:+.1f} (expected "
                        f"within ±{Z_ONE:g})",
                        fix=_LOOK[control.kind],
                    )
                )
    return problems


def control_as_dict(control: ControlObject) -> dict[str, Any]:
    """Return a control object as plain values, for JSON."""
    return {
        "name": control.name,
        "kind": control.kind,
        "value": list(control.value),
        "value_u": list(control.value_u),
    }


def control_words(control: ControlObject) -> str:
    """Say what is known of a control object."""
    value = ", ".join(f"{v:g}" for v in control.value)
    unit = "mm" if control.kind == "length" else "(L*, a*, b*)"
    return f"{control.name}: {control.kind} {value} {unit} ± {control.value_u[0]:g}"
