"""What every survey store does; run on SQLite and on the store in memory."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dryslate.app.project_records import Observer, Site, Zone
from dryslate.app.records import PhotoFile
from dryslate.base.errors import StoreError

ROOMS = [
    "sites",
    "zones",
    "observers",
    "visits",
    "clock_offsets",
    "originals",
    "card_files",
    "copies",
    "photos",
    "corrections",
    "measurements",
    "patch_residuals",
    "control_objects",
    "derived_files",
    "records",
    "identifications",
    "review_draws",
    "review_chances",
    "review_outcomes",
    "coral_health",
    "units",
    "unit_photos",
    "photos_set_aside",
]


def save_then_fail(store, row) -> None:
    with store.write():
        with store.write():
            store.save_visit(row)
        raise RuntimeError("pulled the plug")


@pytest.mark.parametrize("name", ROOMS)
def test_new_store_is_empty(store, name: str) -> None:
    assert getattr(store, name)() == ()
    assert store.problems() == ()


def test_everything_comes_back_as_it_was_stored(store, rows) -> None:
    rows.fill(store)
    taken = "2026-03-14T09:28:30+07:00"
    assert store.sites() == (Site(site=rows.SITE, note="buoyed"),)
    crest = Zone(site=rows.SITE, zone="crest", depth_min_m=2.0, depth_max_m=5.0)
    assert store.zones() == (crest, Zone(site=rows.SITE, zone="slope"))
    assert [o.observer for o in store.observers()] == ["Mara", "Tevi"]
    camera = "Benthos Five no. 0012"
    assert store.visits() == (rows.visit(clock_offset_s={camera: -90.0}),)
    assert store.originals() == (rows.original(), rows.original("b", "other"))
    assert store.card_files() == (rows.card_file(),)
    assert store.copies() == (rows.copy(),)
    assert store.photos() == (replace(rows.photo(), taken_corrected=taken),)
    assert store.clock_offsets(rows.VISIT_ID) == (rows.clock(),)
    assert store.correction(rows.sha("a")) == rows.correction()
    assert store.measurements() == (rows.measurement(),)
    assert store.patch_residuals("k1")[0] == rows.residual()
    assert store.patch_residuals()[1].dropped == "glare"
    assert store.patch_residuals()[1].residual_lab is None
    assert store.control_objects() == (rows.bar(),)
    assert store.derived_files() == (rows.derived(),)


def test_one_photo_tells_all_that_was_said_of_it_in_order(store, rows) -> None:
    rows.fill(store)
    later = rows.correction(key="second")
    store.save_correction(later)
    store.save_correction(rows.correction())
    keys = [row.key for row in store.photo_corrections(rows.sha("a"))]
    assert keys == ["first", "second", "first"]
    assert store.correction(rows.sha("a")) == rows.correction()
    better = rows.measurement(values={"length_mm": 50.0}, correction_key="second")
    store.save_measurements([better])
    assert store.photo_measurements(rows.sha("a")) == (rows.measurement(), better)
    store.save_patch_residuals([rows.residual(correction_key="second", residual_de00=9.0)])
    found = store.photo_residuals(rows.sha("a"), "second")
    assert [r.residual_de00 for r in found] == [9.0]
    assert rows.residual() in store.photo_residuals(rows.sha("a"), "first")
    for tell in (store.photo_corrections, store.photo_measurements):
        assert tell(rows.sha("b")) == ()


def test_unknown_stays_unknown_and_truth_stays_truth(store, rows) -> None:
    rows.fill(store)
    metadata = store.photos()[0].metadata
    assert metadata.flash_fired is True
    assert metadata.white_balance_fixed is False
    assert metadata.iso is None
    assert metadata.utc_offset is None
    assert metadata.water_depth_m is None


def test_the_same_again_changes_nothing_and_logs_nothing(store, rows) -> None:
    rows.fill(store)
    before = len(store.changes())
    rows.fill(store)
    assert len(store.changes()) == before


def test_half_done_work_is_undone_with_all_that_joined_it(store, rows) -> None:
    with pytest.raises(RuntimeError, match="pulled the plug"):
        save_then_fail(store, rows.visit())
    assert store.visits() == ()
    assert store.changes("visits") == ()


def test_reader_cannot_store(reading_store, rows) -> None:
    with pytest.raises(StoreError, match="store-read-only"):
        reading_store.save_visit(rows.visit())


def test_row_that_refers_to_nothing_is_refused(store, rows) -> None:
    with pytest.raises(StoreError, match="store-refused"):
        store.save_correction(rows.correction())
    with pytest.raises(StoreError, match="store-refused"):
        store.save_photo(rows.photo())
    assert store.photos() == ()


def test_later_correction_holds_and_an_earlier_key_can_hold_again(store, rows) -> None:
    rows.fill(store)
    store.save_correction(rows.correction(key="second", outcome="refused"))
    assert store.correction(rows.sha("a")).key == "second"
    store.save_correction(rows.correction(key="first"))
    assert store.correction(rows.sha("a")).key == "first"
    assert [c.what for c in store.changes("corrections")] == ["insert"] * 3


def test_photo_without_correction_has_none(store, rows) -> None:
    assert store.correction(rows.sha("z")) is None


def test_corrections_come_in_the_order_of_the_photos(store, rows) -> None:
    rows.fill(store)
    with store.write():
        store.save_original(rows.original("c"))
        store.save_photo(rows.photo("c", "IMG_0000.JPG", taken_local="2026-03-14T08:00:00"))
        store.save_correction(rows.correction("c"))
    assert [c.photo_id[0] for c in store.corrections()] == ["c", "a"]
    assert [c.photo_id[0] for c in store.corrections(rows.VISIT_ID)] == ["c", "a"]
    assert store.corrections("another") == ()


def test_photo_ids_come_in_the_order_of_the_photos_by_corrected_clocks_too(store, rows) -> None:
    rows.fill(store)
    with store.write():
        for letter, name, taken in (("c", "IMG_0003.JPG", "2026-03-14T09:29:00"), ("d", "Z", None)):
            store.save_original(rows.original(letter))
            store.save_photo(rows.photo(letter, name, taken_local=taken, camera_model="Other"))
    assert [i[0] for i in store.photo_ids()] == ["a", "c", "d"]  # a's clock is 90 s ahead
    assert store.photo_ids(rows.VISIT_ID) == tuple(p.photo_id for p in store.photos())
    assert store.photo_ids("another") == ()


def test_visits_count_their_photos_and_those_whose_latest_correction_holds(store, rows) -> None:
    rows.fill(store)
    store.save_original(rows.original("c"))
    store.save_photo(rows.photo("c", "IMG_0003.JPG"))
    assert store.visit_counts() == {rows.VISIT_ID: (2, 1)}
    assert store.correction_keys() == {rows.sha("a"): "first"}
    store.save_correction(rows.correction(key="second", outcome="refused"))
    assert store.visit_counts() == {rows.VISIT_ID: (2, 0)}
    assert store.correction_keys() == {rows.sha("a"): "second"}


def test_correction_of_a_list_reads_like_one_asked_for_by_its_photo(store, rows) -> None:
    rows.fill(store)
    (listed,) = store.corrections()
    assert listed == store.correction(rows.sha("a"))
    assert dict(listed.result) == rows.correction().result
    assert "points" in repr(listed.geometry)
    store.save_correction(replace(listed, key="again"))
    assert store.corrections()[0].colour == rows.correction().colour


def test_some_measurements_are_asked_for_by_their_ids(store, rows) -> None:
    rows.fill(store)
    store.save_measurements([rows.measurement("m2"), rows.measurement("m3")])
    store.save_measurements([rows.measurement("m3", values={"taken_back": {"why": "undone"}})])
    better = rows.measurement(values={"length_mm": 50.0})
    store.save_measurements([better])
    assert store.measurements_of(["m2", "m1", "m3", "m9"]) == (better, rows.measurement("m2"))
    (elsewhere,) = store.archived_measurements()
    asked = [elsewhere.measurement_id, "m2"]
    assert store.measurements_of(asked) == (rows.measurement("m2"), elsewhere)
    assert store.measurements_of([]) == ()
    assert store.measurements(rows.sha("a")) == (better, rows.measurement("m2"))
    assert store.measurements(rows.sha("b")) == ()


def test_measurement_made_anew_follows_the_earlier_one(store, rows) -> None:
    rows.fill(store)
    store.save_measurements([rows.measurement("m2", colony="C8")])
    later = rows.measurement(correction_key="second", values={"length_mm": 53.0})
    store.save_measurements([later])
    assert store.measurements() == (later, rows.measurement("m2", colony="C8"))
    assert len(store.changes("measurements")) == 3


def test_times_are_corrected_by_the_clock_of_that_visit_and_camera_only(store, rows) -> None:
    rows.fill(store)
    with store.write():
        store.save_original(rows.original("c"))
        store.save_photo(rows.photo("c", "OTHER.JPG", camera_serial="0099"))
    taken = {p.files[0].original_name: p for p in store.photos()}
    assert taken["IMG_0001.JPG"].taken_corrected == "2026-03-14T09:28:30+07:00"
    assert taken["IMG_0001.JPG"].metadata.taken_local == "2026-03-14T09:30:00"
    assert taken["OTHER.JPG"].taken_corrected is None


def test_photos_without_time_come_last_by_name(store, rows) -> None:
    with store.write():
        store.save_visit(rows.visit())
        for letter, name, taken in (
            ("c", "B.JPG", None),
            ("d", "A.JPG", None),
            ("e", "Z.JPG", "2026-03-14T10:00:00"),
        ):
            store.save_original(rows.original(letter))
            store.save_photo(rows.photo(letter, name, taken_local=taken))
    assert [p.files[0].original_name for p in store.photos()] == ["Z.JPG", "A.JPG", "B.JPG"]


def test_photo_is_found_by_the_hash_of_any_of_its_files(store, rows) -> None:
    rows.fill(store)
    raw = PhotoFile(
        sha256=rows.sha("b"), original_name="IMG_0001.NEF", size_bytes=1000, kind="other"
    )
    store.save_photo(replace(rows.photo(), files=(*rows.photo().files, raw)))
    assert store.photo(rows.sha("b")).photo_id == rows.sha("a")
    assert [f.original_name for f in store.photo(rows.sha("a")).files] == [
        "IMG_0001.JPG",
        "IMG_0001.NEF",
    ]
    assert store.photo(rows.sha("z")) is None


def test_photo_that_results_rest_on_is_not_deleted(store, rows) -> None:
    rows.fill(store)
    with store.write():
        store.save_original(rows.original("c"))
        store.save_photo(rows.photo("c", "LONE.JPG"))
    assert store.delete_photo(rows.sha("a")) is False
    assert store.delete_photo(rows.sha("c")) is True
    assert [p.photo_id for p in store.photos()] == [rows.sha("a")]
    assert len(store.originals()) == 3
    assert store.changes("photos")[-1].what == "delete"


def test_changed_note_is_logged_with_old_and_new(store) -> None:
    store.save_observer(Observer(observer="Tevi"))
    store.save_observer(Observer(observer="Tevi", note="left"))
    last = store.changes("observers")[-1]
    assert (last.who, last.what, last.row_key) == ("Mara", "update", '["Tevi"]')
    assert last.old == {"observer": "Tevi", "note": ""}
    assert last.new == {"observer": "Tevi", "note": "left"}
    assert last.changed_utc.endswith("Z")


def test_clock_set_with_the_visit_is_kept(store, rows) -> None:
    store.save_visit(rows.visit(clock_offset_s={"Benthos Five": 3600.0}))
    assert store.visits()[0].clock_offset_s == {"Benthos Five": 3600.0}
    store.save_visit(rows.visit())
    assert store.visits()[0].clock_offset_s == {"Benthos Five": 3600.0}


def test_visits_come_oldest_first(store, rows) -> None:
    for date in ("2026-03-15", "2025-12-01"):
        store.save_visit(rows.visit(visit_id=f"{rows.SITE} {date}", date=date))
    assert [v.date for v in store.visits()] == ["2025-12-01", "2026-03-15"]
