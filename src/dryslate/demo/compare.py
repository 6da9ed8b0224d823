"""What was found in the made-up trip against what is true."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath
from statistics import median
from typing import Any

import numpy as np

from dryslate.app.ports import PhotoReader
from dryslate.app.records import CorrectionRow, MeasurementRow
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.spaces import linear_srgb_to_xyz, xyz_to_lab
from dryslate.core.measure.colour_area import sample_area
from dryslate.demo.trip_plan import GREY_CHIP

VALUES = {
    "length_mm": "length",
    "diameter_max_mm": "longest diameter",
    "diameter_across_mm": "widest across it",
    "area_cm2": "area",
    "perimeter_mm": "perimeter",
    "corallite_mm": "mean corallite",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One kind of value: how many, how far off, how often the 95 % interval holds the truth."""

    name: str
    n: int
    error_median_pct: float
    error_largest_pct: float
    half_width_median_pct: float
    n_holds_truth: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """
    Found against true.

    Parameters
    ----------
    n_cards, n_cards_found, n_cards_invented : int
        Photos with a card; with theirs found; without one where one was found.
    corner_median_px, corner_largest_px : float
        How far the found corners lie from the true ones.
    measured : tuple of Measured
    n_chips, n_chips_within : int
        Measured grey chips on no card; those within the photo's stated difference.
    n_chip_values_held : int
        Of the L*, a* and b* of all those, how many 95 % intervals hold the truth.
    chip_de00_median, chip_de00_before_median : float
        CIEDE2000 of the chip as measured, and in the original photo as it stands.
    """

    n_cards: int
    n_cards_found: int
    n_cards_invented: int
    corner_median_px: float
    corner_largest_px: float
    measured: tuple[Measured, ...]
    n_chips: int
    n_chips_within: int
    n_chip_values_held: int
    chip_de00_median: float
    chip_de00_before_median: float

    def rows(self) -> list[tuple[str, str, str]]:
        """Return the comparison as rows of a table: what, found, against the truth."""
        rows = [
            (
                "cards",
                f"{self.n_cards_found} of {self.n_cards} found",
                f"{self.n_cards_invented} invented; corners off by {self.corner_median_px:.2f} px "
                f"in the median, {self.corner_largest_px:.2f} at most",
            )
        ]
        for m in self.measured:
            rows.append(
                (
                    m.name,
                    f"{m.n} measured, ±{m.half_width_median_pct:.1f} % stated (95 %)",
                    f"off by {m.error_median_pct:.1f} % in the median, "
                    f"{m.error_largest_pct:.1f} % at most; "
                    f"interval holds the truth in {m.n_holds_truth} of {m.n}",
                )
            )
        if self.n_chips:
            rows.append(
                (
                    "grey chip (on no card)",
                    f"{self.n_chips} photos measured",
                    f"CIEDE2000 {self.chip_de00_before_median:.1f} before, "
                    f"{self.chip_de00_median:.1f} after in the median; within the stated "
                    f"difference in {self.n_chips_within} of {self.n_chips}; interval of L*, a* "
                    f"or b* holds the truth in {self.n_chip_values_held} of {3 * self.n_chips}",
                )
            )
        return rows


def compare_with_truth(
    truth: Sequence[Mapping[str, Any]],
    saved: tuple[Mapping[str, CorrectionRow], Mapping[str, MeasurementRow]],
    answers: Sequence[Mapping[str, Any]],
    reading: tuple[PhotoReader, Path],
) -> Comparison:
    """
    Compare corrections and measurements with the truth.

    Parameters
    ----------
    truth : sequence of Mapping
        One a photo, as the renderer wrote it.
    saved : (Mapping, Mapping)
        Correction, and colour measured of the grey chip, by photo name.
    answers : sequence of Mapping
        Measurements, in the order of the table.
    reading : (PhotoReader, Path)
        The reader, and the project's folder.

    Returns
    -------
    Comparison
    """
    gaps: list[float] = []
    n_cards = n_found = n_invented = 0
    rows, colours = saved
    chips = []
    for doc in truth:
        row = rows.get(doc["photo"])
        found = dict(row.result.get("card") or {}) if row is not None else {}
        is_found = bool(found.get("found"))
        if doc["card"] is None:
            n_invented += is_found
            continue
        n_cards += 1
        if is_found and row is not None:
            n_found += 1
            off = np.array(found["corners_px"]) - np.array(doc["card"]["corners_px"])
            gaps += [float(g) for g in np.hypot(off[:, 0], off[:, 1])]
            chips += _chip(doc, row, colours.get(doc["photo"]), reading)
    return Comparison(
        n_cards=n_cards,
        n_cards_found=n_found,
        n_cards_invented=n_invented,
        corner_median_px=median(gaps) if gaps else float("nan"),
        corner_largest_px=max(gaps, default=float("nan")),
        measured=_measured(truth, answers),
        n_chips=len(chips),
        n_chips_within=sum(c.after <= c.stated for c in chips),
        n_chip_values_held=sum(c.n_held for c in chips),
        chip_de00_median=median([c.after for c in chips]) if chips else float("nan"),
        chip_de00_before_median=median([c.before for c in chips]) if chips else float("nan"),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Chip:
    """CIEDE2000 before and after, the stated difference, and how many intervals hold."""

    before: float
    after: float
    stated: float
    n_held: int


def _chip(
    doc: Mapping[str, Any],
    row: CorrectionRow,
    measured: MeasurementRow | None,
    reading: tuple[PhotoReader, Path],
) -> list[_Chip]:
    """Compare the grey chip's saved measurement with the truth, where there is one."""
    chip = doc["controls"].get(GREY_CHIP)
    stated = (row.result.get("colour") or {}).get("off_card_de00_p95")
    if chip is None or measured is None or stated is None:
        return []
    true = np.array(chip["lab_d65"])
    found = np.array(measured.values["lab"])
    half = 1.96 * np.array(measured.values["lab_u_if_flat_grey"])
    original = _original(reading[1], row.photo_id)
    before = found if original is None else _lab_within(reading[0], original, measured.points_px)
    return [
        _Chip(
            before=float(ciede2000(before, true)),
            after=float(ciede2000(found, true)),
            stated=float(stated),
            n_held=int(np.sum(np.abs(found - true) <= half)),
        )
    ]


def _original(project: Path, sha256: str) -> Path | None:
    """The original with a hash, where the vault keeps it."""
    for path in (project / "originals").rglob(f"*{sha256[8:]}*"):
        if path.is_file():
            return path
    return None


def _lab_within(reader: PhotoReader, path: Path, outline_px: Any) -> Any:
    """Mean CIELAB inside an outline of a photo as it stands, the right way up."""
    photo = reader.read(path)
    upright = upright_view(photo.pixels, photo.metadata.orientation)
    area = sample_area(upright, photo.linear_lut, outline_px)
    return xyz_to_lab(linear_srgb_to_xyz(area.mean_linear))


def _measured(
    truth: Sequence[Mapping[str, Any]], answers: Sequence[Mapping[str, Any]]
) -> tuple[Measured, ...]:
    """Every value that has a truth, by kind."""
    wanted = [row for doc in truth for row in doc["to_measure"]]
    found: dict[str, list[tuple[float, float, bool]]] = {}
    for row, answer in zip(wanted, answers, strict=True):
        assert PurePath(str(answer["photo"])).name == row["photo"]
        for key, true in row["true"].items():
            if key == "lab":  # colours are compared by themselves
                continue
            value = answer.get(key)
            if value is None:
                continue
            low, high = answer[f"{key}_lo95"], answer[f"{key}_hi95"]
            name = "bar of known length" if row["colony"] == "bar" else VALUES[key]
            error = 100.0 * abs(value / true - 1.0)
            half = 50.0 * (high - low) / value
            found.setdefault(name, []).append((error, half, low <= true <= high))
    return tuple(
        Measured(
            name=name,
            n=len(each),
            error_median_pct=median(e for e, _, _ in each),
            error_largest_pct=max(e for e, _, _ in each),
            half_width_median_pct=median(h for _, h, _ in each),
            n_holds_truth=sum(ok for _, _, ok in each),
        )
        for name, each in found.items()
    )
