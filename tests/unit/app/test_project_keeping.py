"""Clocks, control objects, visits and the check of a project, on a store in memory."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from dryslate.app.check import check_project
from dryslate.app.clock_offset import ClockRequest, set_clock
from dryslate.app.control_objects import compare_controls, control_words, make_control
from dryslate.app.new import make_project
from dryslate.app.project_records import ClockOffset
from dryslate.app.records import PhotoMetadata
from dryslate.app.shots import corrected_time
from dryslate.app.visits import find_visit, list_visits
from dryslate.base.errors import DryslateError, InputError, SettingsError

TESTS = Path(__file__).resolve().parents[2]


def load(path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"keeping_{path.stem}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


ROWS = load(TESTS / "stores" / "made_rows.py")
STORE = load(TESTS / "fakes" / "store.py")
INTAKE = load(TESTS / "fakes" / "intake.py")


@pytest.fixture
def store() -> Any:
    """A store with one visit, one photo of a clock and no clock set."""
    made = STORE.MemorySurveyStore(who="Mara")
    with made.write():
        made.save_visit(ROWS.visit())
        made.save_original(ROWS.original())
        made.save_card_file(ROWS.card_file())
        made.save_copy(ROWS.copy())
        made.save_photo(ROWS.photo())
    return made


def ask(**fields: Any) -> ClockRequest:
    return ClockRequest(site=ROWS.SITE, date=ROWS.DATE, **fields)


@pytest.mark.parametrize(
    ("shows", "offset_s", "utc_offset", "corrected"),
    [
        ("2026-03-14T09:28:30", -90.0, None, "2026-03-14T09:28:30"),
        ("09:28:30", -90.0, None, "2026-03-14T09:28:30"),
        ("9:28", -120.0, None, "2026-03-14T09:28:00"),
        ("2026-03-14T09:28:30+07:00", -90.0, "+07:00", "2026-03-14T09:28:30+07:00"),
        ("2026-03-14T02:28:30Z", -25290.0, "+00:00", "2026-03-14T02:28:30+00:00"),
        ("2026-03-14T09:28:30.5", -89.5, None, "2026-03-14T09:28:30.500"),
    ],
)
def test_photo_of_a_clock_sets_the_cameras_offset(
    store, shows, offset_s, utc_offset, corrected
) -> None:
    report = set_clock(store, ask(photo="img_0001.jpg", shows=shows))
    assert (report.offset.offset_s, report.offset.utc_offset) == (offset_s, utc_offset)
    assert report.offset.camera == "Benthos Five no. 0012"
    assert report.n_photos == 1
    photo = store.photos()[0]
    assert photo.taken_corrected == corrected
    assert photo.metadata.taken_local == "2026-03-14T09:30:00"
    assert "-90" in report.words() or offset_s != -90.0


def test_offset_may_be_given_as_a_number(store) -> None:
    report = set_clock(store, ask(offset_s=3600.0))
    assert report.as_dict()["offset_s"] == 3600.0
    assert store.visits()[0].clock_offset_s == {"Benthos Five no. 0012": 3600.0}


def test_clock_is_set_once_unless_the_earlier_was_wrong(store) -> None:
    set_clock(store, ask(offset_s=60.0))
    set_clock(store, ask(offset_s=60.0))
    with pytest.raises(InputError, match="clock-already-set"):
        set_clock(store, ask(offset_s=90.0))
    assert store.clock_offsets()[0].offset_s == 60.0
    set_clock(store, ask(offset_s=90.0, replace=True))
    assert store.clock_offsets()[0].offset_s == 90.0
    assert store.changes("clock_offsets")[-1].old["offset_s"] == 60.0


@pytest.mark.parametrize(
    ("fields", "slug"),
    [
        ({}, "clock-what"),
        ({"photo": "IMG_0001.JPG"}, "clock-what"),
        ({"photo": "IMG_0001.JPG", "shows": "09:00", "offset_s": 1.0}, "clock-what"),
        ({"photo": "IMG_0002.JPG", "shows": "09:00"}, "photo-unknown"),
        ({"photo": "IMG_0001.JPG", "shows": "nine o'clock"}, "clock-time"),
        ({"camera": "Another", "offset_s": 1.0}, "camera-unknown"),
        ({"camera": "Another", "photo": "IMG_0001.JPG", "shows": "09:00"}, "camera-unknown"),
        ({"offset_s": float("nan")}, "clock-time"),
        ({"offset_s": 1e13}, "clock-time"),
    ],
)
def test_clock_that_is_not_said_clearly_is_refused(store, fields, slug) -> None:
    with pytest.raises((InputError, SettingsError), match=slug):
        set_clock(store, ask(**fields))
    assert store.clock_offsets() == ()


def test_two_cameras_need_a_name_and_two_photos_of_one_name_a_hash(store) -> None:
    with store.write():
        store.save_original(ROWS.original("c"))
        store.save_photo(ROWS.photo("c", camera_serial="0099"))
    with pytest.raises(InputError, match=r"0012; .*0099.*camera-unknown"):
        set_clock(store, ask(offset_s=1.0))
    with pytest.raises(InputError, match="photo-ambiguous"):
        set_clock(store, ask(photo="IMG_0001.JPG", shows="09:00"))
    report = set_clock(store, ask(photo="cccccccc", shows="09:00"))
    assert report.offset.camera == "Benthos Five no. 0099"


def test_photo_without_time_cannot_set_a_clock(store) -> None:
    store.save_photo(ROWS.photo(taken_local=None))
    with pytest.raises(InputError, match="photo-without-time"):
        set_clock(store, ask(photo="IMG_0001.JPG", shows="09:00"))


def test_visit_that_is_not_there_is_told_with_those_that_are(store) -> None:
    with pytest.raises(InputError, match=r"North wall 2026-03-14.*visit-unknown"):
        find_visit(store, "Nowhere", "2026-03-14")


def test_visits_are_listed_with_their_counts(store) -> None:
    store.save_correction(ROWS.correction())
    (summary,) = list_visits(store)
    assert summary.as_row() == ("North wall 2026-03-14", "Mara", "1", "1")
    assert summary.as_dict()["n_photos"] == 1


# control objects


def length(name: str, value: float, u: float = 0.5) -> Any:
    return ROWS.measurement(name, colony="steel bar", values={"length_mm": value, "length_mm_u": u})


def test_bar_that_measures_right_raises_nothing(store) -> None:
    store.save_control_object(make_control("steel bar", length_mm=(200.0, 0.2), lab=None))
    store.save_measurements([length("m1", 200.4), length("m2", 199.8), ROWS.measurement("m3")])
    (control,) = compare_controls(store)
    assert (control.n, control.problems) == (2, ())
    value = control.values[0]
    assert value.mean == pytest.approx(200.1)
    # u of the mean 0.5 (errors shared), of the bar 0.2: z = 0.1 / 0.5385
    assert value.z == pytest.approx(0.1 / 0.29**0.5)
    assert value.z_each == pytest.approx((0.4 / 0.29**0.5, -0.2 / 0.29**0.5))


def test_bar_that_is_off_over_the_trip_is_named_and_so_is_one_bad_photo(store) -> None:
    store.save_control_object(make_control("steel bar", length_mm=(200.0, 0.2), lab=None))
    store.save_measurements([length("m1", 201.3), length("m2", 201.2), length("m3", 201.9)])
    (control,) = compare_controls(store)
    assert [p.slug for p in control.problems] == ["control-off", "control-one-off"]
    assert "IMG_0001.JPG" in control.problems[1].place


def test_grey_chip_is_compared_in_all_three_values(store) -> None:
    store.save_control_object(make_control("chip", length_mm=None, lab=(50.0, 0.0, 0.0, 0.5)))
    row = ROWS.measurement(
        "g1", colony="chip", kind="colour", values={"lab": [51.0, 0.5, 9.0], "lab_u": [2, 1, 1.5]}
    )
    store.save_measurements([row])
    (control,) = compare_controls(store)
    assert [v.name for v in control.values] == ["l", "a", "b"]
    assert control.values[2].z == pytest.approx(9.0 / 2.5**0.5)
    assert control.photos == ("IMG_0001.JPG",)
    assert control.de00_median == control.de00_each[0] > 0.0
    assert {p.slug for p in control.problems} == {"control-off", "control-one-off"}


def test_neutral_chip_is_held_to_the_doubt_of_a_flat_grey_and_a_coloured_one_is_not(store) -> None:
    values = {"lab": [50, 0, 1.5], "lab_u": [2, 3, 3], "lab_u_if_flat_grey": [2, 0.4, 0.3]}
    for name, b in (("grey", 0.0), ("blue", -20.0)):
        store.save_control_object(make_control(name, length_mm=None, lab=(50.0, 0.0, b, 0.4)))
    measured = [
        ROWS.measurement(name, colony=name, kind="colour", values=values)
        for name in ("grey", "blue")
    ]
    store.save_measurements(measured)
    found = {c.name: c for c in compare_controls(store)}
    assert found["grey"].values[2].z == pytest.approx(1.5 / 0.5)
    assert found["blue"].values[2].z == pytest.approx(21.5 / np.hypot(3.0, 0.4))


def test_control_object_without_measurement_is_only_noted(store) -> None:
    store.save_control_object(ROWS.bar())
    store.save_measurements([ROWS.measurement("m9", colony="steel bar", values={"area_cm2": 3.0})])
    (control,) = compare_controls(store)
    assert (control.n, control.values[0].z) == (0, None)
    assert [p.slug for p in control.problems] == ["control-not-measured"]
    assert control.as_dict()["values"][0]["mean"] is None


@pytest.mark.parametrize(
    ("length_mm", "lab", "slug"),
    [
        (None, None, "control-what"),
        ((200.0, 0.2), (50.0, 0.0, 0.0, 1.0), "control-what"),
        ((0.0, 0.2), None, "control-value"),
        ((200.0, 0.0), None, "control-value"),
        ((float("nan"), 0.2), None, "control-value"),
        (None, (101.0, 0.0, 0.0, 1.0), "control-value"),
    ],
)
def test_control_object_that_cannot_be_is_refused(length_mm, lab, slug) -> None:
    with pytest.raises(InputError, match=slug):
        make_control("bar", length_mm=length_mm, lab=lab)


def test_control_object_says_what_is_known() -> None:
    assert control_words(ROWS.bar()) == "steel bar: length 200 mm ± 0.2"


# the check


@dataclass
class FakeFiles:
    """Implements `dryslate.app.check.ProjectFiles` without a disk."""

    hashes: dict[str, str] = field(default_factory=dict)
    writable: set[str] = field(default_factory=set)
    unreadable: set[str] = field(default_factory=set)

    def originals(self) -> tuple[str, ...]:
        return tuple(p for p in self.hashes if p.startswith("originals/"))

    def derived(self) -> tuple[str, ...]:
        return tuple(p for p in self.hashes if p.startswith("derived/"))

    def exists(self, path: str) -> bool:
        return path in self.hashes

    def sha256_of(self, path: str) -> str:
        if path in self.unreadable:
            raise OSError(5, "Input/output error")
        return self.hashes[path]

    def is_writable(self, path: str) -> bool:
        return path in self.writable

    def size_px(self, path: str) -> tuple[int, int] | None:
        return None


@pytest.fixture
def files() -> FakeFiles:
    return FakeFiles(hashes={ROWS.original().kept_path: ROWS.sha("a")})


def check(store: Any, files: FakeFiles) -> list[tuple[str, str]]:
    report = check_project(store, files, INTAKE.Steps())
    return [(p.slug, p.severity) for p in report.problems]


def test_sound_project_has_no_problems(store, files) -> None:
    report = check_project(store, files, INTAKE.Steps())
    assert report.problems == ()
    assert (report.n_originals, report.n_sound, report.n_photos) == (1, 1, 1)
    assert report.as_dict()["problems"] == []


def test_every_fault_of_originals_is_found_in_one_go(store, files) -> None:
    with store.write():
        for letter in "bcde":
            store.save_original(ROWS.original(letter, "other"))
            store.save_card_file(ROWS.card_file(sha256=ROWS.sha(letter)))
            store.save_copy(ROWS.copy(sha256=ROWS.sha(letter), is_proved=letter != "e"))
        store.save_original(ROWS.original("f", "other"))
    paths = {letter: ROWS.original(letter).kept_path for letter in "abcdef"}
    files.hashes = {paths[letter]: ROWS.sha(letter) for letter in "acdef"}
    files.hashes[paths["c"]] = ROWS.sha("0")
    files.hashes["originals/zz/stray.jpg"] = ROWS.sha("9")
    files.writable = {paths["a"]}
    files.unreadable = {paths["d"]}
    assert check(store, files) == [
        ("original-writable", "warning"),
        ("original-missing", "error"),
        ("original-changed", "error"),
        ("original-unreadable", "error"),
        ("original-unknown", "warning"),
        ("original-not-proved", "note"),
        ("original-without-origin", "warning"),
    ]
    assert check_project(store, files, INTAKE.Steps()).n_sound == 3


def test_derived_files_are_compared_with_what_is_on_record(store, files) -> None:
    store.save_derived_file(ROWS.derived())
    store.save_derived_file(ROWS.derived(path="derived/y.jpg"))
    files.hashes |= {"derived/y.jpg": ROWS.sha("0"), "derived/z.jpg": ROWS.sha("1")}
    assert check(store, files) == [
        ("derived-missing", "note"),
        ("derived-changed", "warning"),
        ("derived-unknown", "note"),
    ]


def test_photo_without_any_file_is_found(store, files) -> None:
    store.save_photo(replace(ROWS.photo(), files=()))
    assert ("photo-without-file", "error") in check(store, files)


def test_worn_patch_is_named_by_the_check(store, files) -> None:
    with store.write():
        for i in range(12):
            letter = f"{i:x}"
            store.save_original(ROWS.original(letter))
            store.save_photo(ROWS.photo(letter))
            store.save_patch_residuals(
                ROWS.residual(p, photo_id=ROWS.sha(letter), residual_de00=de00)
                for p, de00 in (("g1", 1.0), ("g2", 1.5), ("r1", 14.0))
            )
    report = check_project(store, FakeFiles(), INTAKE.Steps())
    assert [p.place for p in report.problems if p.slug == "card-patch-worn"] == [
        "card field, patch r1"
    ]


# new projects


@dataclass
class FakeFolders:
    """Implements `dryslate.app.new.ProjectFolders` without a disk."""

    has_project: bool = False
    has_other: bool = False
    laid_out: list[Path] = field(default_factory=list)

    def is_project(self, folder: Path) -> bool:
        return self.has_project

    def is_free(self, folder: Path) -> bool:
        return not self.has_other

    def lay_out(self, folder: Path) -> None:
        self.laid_out.append(folder)


@pytest.mark.parametrize("has_project", [False, True])
def test_project_is_made_or_found(has_project: bool) -> None:
    folders = FakeFolders(has_project=has_project, has_other=has_project)
    report, _ = make_project(Path("trip"), folders, lambda folder: STORE.MemorySurveyStore())
    assert report.is_new is not has_project
    assert report.as_dict()["project"] == "trip"
    assert folders.laid_out == [Path("trip")]


def test_folder_with_other_files_is_not_made_a_project() -> None:
    folders = FakeFolders(has_other=True)
    with pytest.raises(DryslateError, match="project-folder-taken"):
        make_project(Path("home"), folders, lambda folder: STORE.MemorySurveyStore())
    assert folders.laid_out == []


def test_project_with_a_clock_that_cannot_be_is_read_all_the_same() -> None:
    wild = ClockOffset(visit_id="v", camera="c", offset_s=1e13)
    assert corrected_time(PhotoMetadata(taken_local="2026-11-25T09:01:00"), wild) is None
