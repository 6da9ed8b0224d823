"""What was measured, and how the card's patches behaved over the trip."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from dryslate.app.ports import SurveyStore
from dryslate.app.project_records import PatchResidual
from dryslate.app.records import CorrectionRow, MeasurementRow, Photo, rests_on_earlier
from dryslate.app.report_records import MeasuredCoral, MeasuredValue, PatchOverTrip
from dryslate.app.report_words import CAUSES, COLOUR_CAUSES, VALUES, flag_words, value_words


def measured_corals(
    store: SurveyStore, photos: Sequence[Photo], rows: Mapping[str, CorrectionRow]
) -> tuple[MeasuredCoral, ...]:
    """
    Return every saved measurement with its values, doubt and budget.

    Parameters
    ----------
    store : SurveyStore
    photos : sequence of Photo
    rows : Mapping
        Latest correction by photo.

    Returns
    -------
    tuple of MeasuredCoral
        By colony, then in the order saved; those in other photos are left out. Control objects
        are left to their own table.
    """
    controls = {c.name for c in store.control_objects()}
    names = {f.sha256: f.original_name for p in photos for f in p.files}
    visits = {v.visit_id: f"{v.site}, {v.date}" for v in store.visits()}
    visit_of = {p.photo_id: visits.get(p.visit_id, "") for p in photos}
    found = [
        MeasuredCoral(
            colony=row.colony,
            kind=row.kind,
            photo_name=names.get(row.photo_id, row.photo_id[:12]),
            photo_id=row.photo_id,
            visit=visit_of.get(row.photo_id, ""),
            observer=row.observer,
            points_px=row.points_px,
            values=measured_values(row.values),
            notes=_notes(row),
            is_stale=rests_on_earlier(row, rows.get(row.photo_id)),
        )
        for row in store.measurements()
        if row.colony not in controls and row.photo_id in visit_of
    ]
    return tuple(sorted(found, key=lambda c: c.colony))


def measured_values(values: Mapping[str, Any]) -> tuple[MeasuredValue, ...]:
    """
    Take the values apart that a measurement states.

    Parameters
    ----------
    values : Mapping
        As stored: each value with its ``_u``, ``_lo95``, ``_hi95``, and ``budget``.

    Returns
    -------
    tuple of MeasuredValue
        Shares are of the variance and sum to one.
    """
    found = []
    budgets = values.get("budget") or {}
    rank = {name: k for k, name in enumerate(VALUES)}
    for name in sorted(values, key=lambda n: rank.get(n, len(rank))):
        value = values[name]
        if not isinstance(value, int | float) or values.get(f"{name}_u") is None:
            continue
        budget = budgets.get(name, budgets)
        parts = {
            cause: float(u)
            for cause in CAUSES
            for key, u in budget.items()
            if isinstance(u, int | float) and key.startswith(f"{cause}_")
        }
        total = sum(u * u for u in parts.values())
        words, unit = value_words(name)
        found.append(
            MeasuredValue(
                name=words,
                unit=unit,
                value=float(value),
                value_u=float(values[f"{name}_u"]),
                lo95=float(values[f"{name}_lo95"]),
                hi95=float(values[f"{name}_hi95"]),
                shares={c: u * u / total for c, u in parts.items()} if total > 0 else {},
                budget=parts,
            )
        )
    return (*found, *_lab_values(values))


def _lab_values(values: Mapping[str, Any]) -> tuple[MeasuredValue, ...]:
    """Take a measured colour apart: L*, a*, b* with their doubt, where it states one."""
    lab, lab_u = values.get("lab"), values.get("lab_u")
    if not isinstance(lab, Sequence) or not isinstance(lab_u, Sequence):
        return ()
    los = values.get("lab_lo95") or [v - 1.96 * u for v, u in zip(lab, lab_u, strict=True)]
    his = values.get("lab_hi95") or [v + 1.96 * u for v, u in zip(lab, lab_u, strict=True)]
    each = zip(("L*", "a*", "b*"), lab, lab_u, los, his, strict=True)
    found = []
    for k, (name, value, u, lo, hi) in enumerate(each):
        parts = _colour_parts(values.get("budget") or {}, k)
        total = sum(p * p for p in parts.values())
        found.append(
            MeasuredValue(
                name=name,
                unit="",
                value=float(value),
                value_u=float(u),
                lo95=float(lo),
                hi95=float(hi),
                shares={c: p * p / total for c, p in parts.items()} if total > 0 else {},
                budget=parts,
            )
        )
    return tuple(found)


def _colour_parts(budget: Mapping[str, Any], k: int) -> dict[str, float]:
    """Standard uncertainty by cause of L* (k 0), a* (1) or b* (2)."""
    return {
        cause: float(budget[cause][k])
        for cause in COLOUR_CAUSES
        if isinstance(budget.get(cause), Sequence)
    }


def patches_over_trip(
    residuals: Iterable[PatchResidual], rows: Mapping[str, CorrectionRow]
) -> tuple[PatchOverTrip, ...]:
    """
    Sum up how far each patch was off, over the photos' latest corrections.

    Parameters
    ----------
    residuals : iterable of PatchResidual
    rows : Mapping
        Latest correction by photo.

    Returns
    -------
    tuple of PatchOverTrip
        By card, the most wayward patch first.
    """
    seen: dict[tuple[str, str, str], list[PatchResidual]] = defaultdict(list)
    for r in residuals:
        row = rows.get(r.photo_id)
        if row is not None and row.key == r.correction_key:
            seen[r.card, r.card_key, r.patch_id].append(r)
    found = []
    for (card, _, patch_id), patch_rows in seen.items():
        used = [r for r in patch_rows if r.residual_de00 is not None]
        if not used:
            continue
        de00 = np.array([r.residual_de00 for r in used], dtype=np.float64)
        lab = np.array([r.residual_lab or (0.0, 0.0, 0.0) for r in used], dtype=np.float64)
        shift = lab.mean(axis=0)
        found.append(
            PatchOverTrip(
                card=card,
                patch_id=patch_id,
                n=len(used),
                n_dropped=len(patch_rows) - len(used),
                median_de00=float(np.median(de00)),
                p95_de00=float(np.quantile(de00, 0.95)),
                mean_lab=(float(shift[0]), float(shift[1]), float(shift[2])),
                each_de00=tuple(float(v) for v in de00),
            )
        )
    return tuple(sorted(found, key=lambda p: (p.card, -p.median_de00, p.patch_id)))


def _notes(row: MeasurementRow) -> tuple[str, ...]:
    """Flags and problems of a measurement in plain words."""
    flags = [flag_words(f) for f in row.values.get("flags", ())]
    problems = [p["message"] for p in row.values.get("problems", ()) if p["severity"] != "note"]
    return tuple(dict.fromkeys([*_spread(row.values), *flags, *problems]))


def _spread(values: Mapping[str, Any]) -> list[str]:
    """Say how many corallites a mean rests on, and how far they differ."""
    n, sd = values.get("n_corallites"), values.get("corallite_sd_mm")
    if n is None:
        return []
    spread = f", standard deviation {sd:.2f} mm between them" if sd is not None else ""
    return [f"{n} corallites{spread}"]
