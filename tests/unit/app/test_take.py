"""Taking in a memory card, with everything around it made up."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from dryslate.app.intake import Drive
from dryslate.app.records import CorrectionRow, PhotoMetadata
from dryslate.app.take import plan_take, run_take
from dryslate.app.take_records import TakeReport, TakeRequest, TakeTools
from dryslate.base.errors import InputError, StoreError
from dryslate.base.problems import Problem

FAKES = Path(__file__).resolve().parents[2] / "fakes"
PROJECT, SECOND, CARD = Path("/trip"), Path("/second"), Path("/card")


def load(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"take_fake_{name}", FAKES / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


INTAKE, STORE = load("intake"), load("store")
JPEG, RAW = INTAKE.JPEG, INTAKE.RAW


def disk(*names: str) -> Drive:
    return Drive(disks=frozenset(names), label=", ".join(names))


class Desk:
    """A memory card, a project and a second folder, each on a disk of its own."""

    def __init__(self, card: dict[str, bytes]) -> None:
        self.files = INTAKE.FakeIntake(
            card=card,
            drives={"/card": disk("sdc"), "/trip": disk("sda"), "/second": disk("sdb")},
        )
        self.reader = INTAKE.FakeReader(self.files)
        self.store = STORE.MemorySurveyStore(who="Mara")
        self.progress = INTAKE.Steps()
        self.request = TakeRequest(
            sources=(CARD,),
            project=PROJECT,
            second=SECOND,
            site="North wall",
            date="2026-03-14",
            observer="Mara",
        )

    def tools(self) -> TakeTools:
        return TakeTools(
            store=self.store,
            files=self.files,
            reader=self.reader,
            clock=INTAKE.OneTime(),
            progress=self.progress,
        )

    def take(self, **changes: Any) -> TakeReport:
        request = replace(self.request, **changes)
        return run_take(plan_take(request, self.tools()), self.tools())


@pytest.fixture(autouse=True)
def folders_are_folders(monkeypatch) -> None:
    monkeypatch.setattr(Path, "is_dir", lambda self: str(self) in ("/card", "/trip", "/second"))


@pytest.fixture
def desk() -> Desk:
    return Desk(
        {
            "DCIM/100A/IMG_1.JPG": JPEG + b"one",
            "DCIM/100A/IMG_2.JPG": JPEG + b"two",
            "DCIM/100A/MOV_1.MP4": b"a video",
            "notes.txt": b"notes",
        }
    )


def slugs(report: TakeReport) -> list[str]:
    return [problem.slug for problem in report.problems]


def test_every_file_is_kept_and_photos_are_told_from_the_rest(desk) -> None:
    report = desk.take()
    assert (report.n_files, report.n_copied, report.n_had, report.n_failed) == (4, 4, 0, 0)
    assert report.n_photos == 2
    assert sorted(o.kind for o in desk.store.originals()) == ["jpeg", "jpeg", "other", "other"]
    assert {c.card_path for c in desk.store.card_files()} == set(desk.files.card)
    assert [p.observer for p in desk.store.photos()] == ["Mara", "Mara"]
    assert report.problems == ()


def test_card_may_be_wiped_when_two_drives_hold_proved_copies(desk) -> None:
    report = desk.take()
    assert report.verdict.words == "memory card may be wiped"
    assert report.verdict.may_wipe
    assert report.verdict.reasons == ()
    assert all(copy.is_proved for copy in desk.store.copies())
    assert len(desk.store.copies()) == 8


def test_card_may_still_be_wiped_when_all_was_there_before(desk) -> None:
    desk.take()
    again = desk.take()
    assert (again.n_copied, again.n_had) == (0, 4)
    assert again.verdict.may_wipe


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"second": None}, "no second copy"),
        ({"sources": (CARD / "x.jpg",)}, "single files"),
    ],
)
def test_card_may_not_be_wiped(desk, change: dict[str, Any], reason: str) -> None:
    desk.files.drives["/card/x.jpg"] = disk("sdc")
    verdict = desk.take(**change).verdict
    assert verdict.words == "one copy: do not wipe"
    assert not verdict.may_wipe
    assert any(reason in r for r in verdict.reasons)


@pytest.mark.parametrize(
    ("folder", "drive", "reason"),
    [
        ("/second", disk("sda"), "one drive (sda)"),
        ("/second", disk("sda", "sdb"), "one drive (sda)"),
        ("/second", disk("sdc"), "same drive as the memory card"),
        ("/trip", disk("sdc"), "same drive as the memory card"),
        (
            "/second",
            Drive(disks=frozenset(), label="memory", why_not="it lies in memory, not on a disk"),
            "it lies in memory",
        ),
    ],
)
def test_two_folders_that_are_not_two_drives_do_not_count(desk, folder, drive, reason) -> None:
    desk.files.drives[folder] = drive
    verdict = desk.take().verdict
    assert not verdict.may_wipe
    assert any(reason in r for r in verdict.reasons)


def test_copies_that_may_come_from_the_cache_do_not_count(desk) -> None:
    desk.files.how = "cached"
    report = desk.take()
    assert not report.verdict.may_wipe
    assert "4 of 4 copies in the project are not proved" in report.verdict.reasons
    assert not any(copy.is_proved for copy in desk.store.copies())


def test_copy_not_proved_once_is_read_back_again_the_next_time(desk) -> None:
    desk.files.how = "cached"
    desk.take()
    desk.files.how = "direct"
    assert desk.take().verdict.may_wipe
    assert all(copy.is_proved for copy in desk.store.copies())


def test_copy_that_cannot_be_proved_is_noted_once_whenever_it_is_tried(desk, monkeypatch) -> None:
    desk.files.how = "cached"
    desk.take()
    before = desk.store.copies()
    monkeypatch.setattr(INTAKE.OneTime, "now_utc", lambda self: "2031-01-01T00:00:00Z")
    desk.take()
    assert desk.store.copies() == before
    desk.files.how = "direct"
    desk.take()
    assert {copy.proved_utc for copy in desk.store.copies()} == {"2031-01-01T00:00:00Z"}


def test_link_that_leads_out_of_the_card_stands_against_wiping(desk) -> None:
    desk.files.problems = (
        Problem(slug="source-link-skipped", severity="warning", place="x", message="a link"),
    )
    assert not desk.take().verdict.may_wipe


def test_empty_card_is_not_called_safe_to_wipe(desk) -> None:
    desk.files.card = {}
    report = desk.take()
    assert not report.verdict.may_wipe
    assert desk.store.visits() == ()


def test_file_that_cannot_be_read_is_listed_and_the_rest_goes_on(desk) -> None:
    desk.files.faults["DCIM/100A/IMG_1.JPG"] = InputError(
        "source-unreadable", "IMG_1.JPG: cannot be read.", "Try another reader."
    )
    report = desk.take()
    assert (report.n_copied, report.n_failed) == (3, 1)
    assert slugs(report) == ["source-unreadable"]
    assert report.problems[0].place == "DCIM/100A/IMG_1.JPG"
    assert not report.verdict.may_wipe
    assert desk.progress.n == 4


def test_full_disk_stops_the_work_with_what_is_safe_written_down(desk) -> None:
    desk.files.faults["DCIM/100A/MOV_1.MP4"] = StoreError("disk-full", "/trip: full.")
    with pytest.raises(StoreError, match="disk-full"):
        desk.take()
    assert len(desk.store.photos()) == 2
    assert desk.progress.is_done
    desk.files.faults.clear()
    report = desk.take()
    assert (report.n_copied, report.n_had) == (2, 2)


def test_second_folder_that_fails_is_left_alone_for_the_rest(desk) -> None:
    desk.files.second_faults = {"DCIM/100A/IMG_1.JPG"}
    report = desk.take()
    assert slugs(report) == ["second-copy-failed"]
    assert report.n_copied == 4
    assert not report.verdict.may_wipe
    assert {c.folder for c in desk.store.copies()} == {"."}


def test_too_small_a_disk_is_refused_before_anything_is_copied(desk) -> None:
    desk.files.free = 30
    with pytest.raises(InputError, match="disk-too-small"):
        desk.take()
    assert desk.files.kept == {}


def test_room_is_summed_where_both_folders_share_it(desk) -> None:
    desk.files.one_volume = True
    plan = plan_take(desk.request, desk.tools())
    assert plan.bytes_needed == 2 * sum(len(data) for data in desk.files.card.values())
    assert "4 files for North wall 2026-03-14; needs up to" in plan.words()
    desk.take()
    assert plan_take(desk.request, desk.tools()).bytes_needed == 0


def test_second_folder_must_be_another_one(desk) -> None:
    with pytest.raises(InputError, match="take-second-same"):
        desk.take(second=PROJECT)


def test_same_file_twice_is_one_photo_with_two_places(desk) -> None:
    desk.files.card["DCIM/101A/COPY.JPG"] = JPEG + b"one"
    report = desk.take()
    assert (report.n_copied, report.n_had, report.n_photos) == (4, 1, 2)
    assert len(desk.store.card_files()) == 5


def test_two_files_with_one_name_are_two_photos(desk) -> None:
    desk.files.card["DCIM/101A/IMG_1.JPG"] = JPEG + b"another shot"
    assert desk.take().n_photos == 3


def test_photo_of_an_earlier_visit_stays_with_it(desk) -> None:
    desk.take()
    later = desk.take(site="South wall")
    assert later.n_photos == 0
    assert slugs(later) == ["photo-of-other-visit"]
    assert "2 photos" in later.problems[0].message
    assert len(desk.store.photos()) == 2


def test_file_called_a_photo_without_one_inside_is_kept_and_named(desk) -> None:
    desk.files.card = {"IMG_9.JPG": b"", "IMG_8.JPG": b"hello", "x.txt": b""}
    report = desk.take()
    assert slugs(report) == ["photo-not-inside"] * 2
    assert "is empty" in report.problems[0].message
    assert (report.n_copied, report.n_had, report.n_photos) == (2, 1, 0)


def test_photo_whose_words_cannot_be_read_is_kept_with_all_of_it_unknown(desk) -> None:
    desk.files.card = {"IMG_9.JPG": JPEG + b"broken"}
    report = desk.take()
    assert slugs(report) == ["photo-metadata-unreadable"]
    assert desk.store.photos()[0].metadata == PhotoMetadata()


def test_photo_that_breaks_off_is_kept_and_told_while_the_card_is_there(desk) -> None:
    desk.files.card = {"DCIM/IMG_9.JPG": JPEG + b"cut off", "DCIM/IMG_8.JPG": JPEG}
    report = desk.take()
    assert slugs(report) == ["photo-truncated"]
    (told,) = report.problems
    assert (told.severity, told.place) == ("warning", "DCIM/IMG_9.JPG")
    assert told.message == "kept, but the file breaks off."
    assert report.n_photos == 2


def test_camera_with_a_date_far_from_the_visit_is_named(desk) -> None:
    far = PhotoMetadata(taken_local="2021-01-01T00:00:10", camera_model="Five")
    near = PhotoMetadata(taken_local="2026-03-15T00:30:00", camera_model="Six")
    desk.reader.metadata = {JPEG + b"one": far, JPEG + b"two": near}
    report = desk.take()
    assert slugs(report) == ["photo-date-far"]
    assert report.problems[0].place == "Five"


def shot(second: int, **words: Any) -> PhotoMetadata:
    values = {"taken_local": f"2026-03-14T09:30:{second:02d}", "camera_model": "Five"} | words
    return PhotoMetadata(**values)


def raw_desk(raw: PhotoMetadata, jpeg: PhotoMetadata) -> Desk:
    desk = Desk({"DCIM/IMG_1.NEF": RAW + b"raw", "DCIM/img_1.jpg": JPEG + b"one"})
    desk.reader.metadata = {RAW + b"raw": raw, JPEG + b"one": jpeg}
    return desk


def test_raw_and_jpeg_of_one_shot_are_one_photo_named_by_the_jpeg() -> None:
    desk = raw_desk(shot(1), shot(1))
    assert desk.take().n_photos == 1
    (photo,) = desk.store.photos()
    assert [f.kind for f in photo.files] == ["jpeg", "raw"]
    assert photo.photo_id == photo.files[0].sha256


@pytest.mark.parametrize(
    ("raw", "jpeg"),
    [
        (shot(1), shot(9)),
        (shot(1), shot(1, camera_model="Six")),
        (shot(1, camera_serial="1"), shot(1, camera_serial="2")),
    ],
)
def test_raw_and_jpeg_of_two_shots_stay_two_photos(raw, jpeg) -> None:
    assert raw_desk(raw, jpeg).take().n_photos == 2


def test_raw_without_a_time_joins_the_jpeg_written_at_the_same_time() -> None:
    assert raw_desk(PhotoMetadata(), shot(1)).take().n_photos == 1
    desk = raw_desk(PhotoMetadata(), shot(1))
    desk.files.modified_s = {"DCIM/IMG_1.NEF": 1000.0, "DCIM/img_1.jpg": 1011.0}
    assert desk.take().n_photos == 2


def test_jpeg_that_comes_after_its_raw_takes_over_the_name() -> None:
    desk = raw_desk(shot(1), shot(1))
    desk.files.faults["DCIM/img_1.jpg"] = InputError("source-unreadable", "no", "")
    desk.take()
    assert desk.store.photos()[0].files[0].kind == "raw"
    desk.files.faults.clear()
    desk.take()
    (photo,) = desk.store.photos()
    assert photo.files[0].kind == "jpeg"
    assert photo.photo_id == photo.files[0].sha256
    straight = raw_desk(shot(1), shot(1))
    straight.take()
    assert desk.store.photos() == straight.store.photos()


def test_photo_that_results_rest_on_keeps_its_name_when_its_jpeg_comes() -> None:
    desk = raw_desk(shot(1), shot(1))
    desk.files.faults["DCIM/img_1.jpg"] = InputError("source-unreadable", "no", "")
    desk.take()
    raw_id = desk.store.photos()[0].photo_id
    desk.store.save_correction(
        CorrectionRow(
            photo_id=raw_id, key="k", outcome="no_card", result={}, geometry={}, colour={}
        )
    )
    desk.files.faults.clear()
    desk.take()
    (photo,) = desk.store.photos()
    assert photo.photo_id == raw_id
    assert [f.kind for f in photo.files] == ["jpeg", "raw"]


def test_copy_of_the_jpeg_elsewhere_does_not_keep_its_raw_away() -> None:
    desk = raw_desk(shot(1), shot(1))
    desk.files.card = {"COPY.JPG": JPEG + b"one", **desk.files.card}
    assert desk.take().n_photos == 1
    (photo,) = desk.store.photos()
    assert [f.kind for f in photo.files] == ["jpeg", "raw"]
    assert desk.take().n_photos == 1


def test_photos_that_are_known_are_not_read_again(desk) -> None:
    desk.take()
    desk.take()
    assert desk.reader.n_read == 2


def test_second_observer_brings_own_photos_to_the_same_visit(desk) -> None:
    desk.take()
    desk.files.card = {"DCIM/T_1.JPG": JPEG + b"three"}
    desk.take(observer="Tevi")
    assert [p.observer for p in desk.store.photos()] == ["Mara", "Mara", "Tevi"]
    assert desk.store.visits()[0].observer == "Mara"
    assert [o.observer for o in desk.store.observers()] == ["Mara", "Tevi"]


@pytest.mark.parametrize(
    ("change", "slug"),
    [
        ({"date": "14.3.2026"}, "visit-date"),
        ({"date": "2026-02-30"}, "visit-date"),
        ({"date": "20260314"}, "visit-date"),
        ({"site": "  "}, "name-empty"),
        ({"observer": ""}, "name-empty"),
        ({"site": "a\x07b"}, "name-odd"),
        ({"site": "x" * 201}, "name-odd"),
    ],
)
def test_visit_that_is_not_said_clearly_is_refused(desk, change, slug: str) -> None:
    with pytest.raises(InputError, match=slug):
        desk.take(**change)
    assert desk.files.kept == {}


@pytest.mark.parametrize("change", [{"site": "NORTH wall"}, {"observer": "mara"}])
def test_second_spelling_of_a_known_name_is_refused(desk, change) -> None:
    desk.take()
    with pytest.raises(InputError, match="name-nearly"):
        desk.take(**change)


def test_names_are_kept_in_one_written_form(desk) -> None:
    desk.take(site=" Re\u0301cif   nord ")
    assert desk.store.sites()[0].site == "R\u00e9cif nord"


def test_report_is_plain_for_scripts(desk) -> None:
    document = desk.take().as_dict()
    assert document["may_wipe"] is True
    assert document["verdict"] == "memory card may be wiped"
    assert document["drives"] == ["sda", "sdb"]
    assert document["n_files"] == 4
