"""What the check proves of corals, names and change log: one fault each, in a copied database."""

from __future__ import annotations

import re
import shutil
import sqlite3
from pathlib import Path
from types import ModuleType

import pytest

from dryslate.app.check_records import check_records
from dryslate.base.problems import Problem
from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions

VERSIONS = ("2026.1", "2026.2")


class Sizes:
    """Every photo is 200 by 300 pixels."""

    def size_px(self, path: str) -> tuple[int, int]:
        return (200, 300)


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory, rows: ModuleType) -> Path:
    """A project with a row in every table: two looks that agree, and two settled by somebody."""
    folder = tmp_path_factory.mktemp("sound")
    with SqliteSurveyStore.create(folder, options=StoreOptions(who="Mara")) as store:
        rows.fill(store)
        for name, how, decided_by in (("r2", "third", None), ("r3", "together", "Tevi")):
            store.save_record(rows.record(name, colony=name, measurement_ids=()))
            said = {"record_id": name, "name": "Porites", "name_as_recorded": "Porites"}
            said |= {"current_names": ("Porites",), "rank": "genus"}
            first = rows.identification(f"{name}1", record_id=name)
            second = rows.identification(f"{name}2", role="second", observer="Tevi", **said)
            who = {"observer": rows.OBSERVER if decided_by else "Ioane"}
            third = rows.identification(
                f"{name}3", role="third", with_observer=decided_by, **who, **said
            )
            for row in (first, second, third):
                store.save_identification(row)
            store.save_review_draw(
                rows.draw(draw_id=f"d{name}"), [rows.chance(f"{name}1", record_id=name)]
            )
            looks = {"first_id": f"{name}1", "second_id": f"{name}2"}
            end = {"settled_name": "Porites", "settled_names": ("Porites",), "is_agreed": False}
            store.save_review_outcome(
                rows.outcome(
                    f"o{name}",
                    record_id=name,
                    third_id=f"{name}3",
                    settled_rank="genus",
                    settled_how=how,
                    relation="differs",
                    **looks,
                    **end,
                )
            )
    return folder


@pytest.fixture
def copied(sound: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(sound, tmp_path / "copied"))


def damage(project: Path, *statements: str, keeps_guards: bool = True) -> None:
    """Change a database as no program that says who it is could."""
    db = sqlite3.connect(project / "dryslate.sqlite", isolation_level=None)
    guards = db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in guards:
        db.execute(f'DROP TRIGGER "{name}"')
    for statement in statements:
        assert db.execute(statement).rowcount != 0, statement
    for _, sql in guards if keeps_guards else guards[1:]:
        db.execute(sql)
    db.close()


def found(project: Path) -> list[Problem]:
    with SqliteSurveyStore.open(project, write=False) as store:
        return check_records(store, Sizes(), VERSIONS)


def slugs(project: Path) -> set[str]:
    return {p.slug for p in found(project)}


def test_sound_records_have_no_fault(copied: Path) -> None:
    assert found(copied) == []
    damage(copied)  # to take the guards off and put them back is no fault
    assert found(copied) == []


IDENTIFIED = "UPDATE identifications SET"
OUTCOME = "UPDATE review_outcomes SET"


@pytest.mark.parametrize(
    ("statement", "slug", "words"),
    [
        (
            f"{IDENTIFIED} record_id = 'r9' WHERE role = 'third'",
            "name-without-coral",
            "r9",
        ),
        (
            "UPDATE records SET visit_id = 'no visit' WHERE record_id = 'r1'",
            "coral-without-place",
            "",
        ),
        (
            "UPDATE records SET measurement_ids = '[\"m9\"]' WHERE record_id = 'r1'",
            "coral-measurement-lost",
            "m9 is not on record",
        ),
        (
            "UPDATE measurements SET colony = 'C8'",
            "coral-measurement-lost",
            "m1 is of C8",
        ),
        (f"{IDENTIFIED} data_version = '1999.1'", "name-data-unknown", "1999.1"),
        (
            f"{IDENTIFIED} role = 'second' WHERE identification_id = 'i1'",
            "name-out-of-order",
            "no first look",
        ),
        (
            f"{IDENTIFIED} observer = 'Mara' WHERE identification_id = 'i2'",
            "name-out-of-order",
            "Mara looked first and second",
        ),
        (
            f"{IDENTIFIED} role = 'first' WHERE identification_id = 'r22'",
            "name-out-of-order",
            "Ioane decided before anybody had looked a second time",
        ),
        (
            f"{IDENTIFIED} observer = 'Tevi' WHERE identification_id = 'r23'",
            "name-out-of-order",
            "Tevi decided alone",
        ),
        (
            f"{IDENTIFIED} with_observer = 'Ioane' WHERE identification_id = 'r33'",
            "name-out-of-order",
            "together by somebody who had not looked",
        ),
        (
            f"{IDENTIFIED} photo_regions = replace(photo_regions, 'aaaa', 'bbbb')",
            "region-without-photo",
            "not on record",
        ),
        (
            f"{IDENTIFIED} photo_regions = replace(photo_regions, '10.0,20.0,110.5', '910,20,999')",
            "region-outside-photo",
            "200 by 300",
        ),
        ("DELETE FROM review_draws WHERE draw_id = 'd1'", "draw-without-name", ""),
        (
            "UPDATE review_chances SET record_id = 'r2' WHERE identification_id = 'i1'",
            "draw-without-name",
            "",
        ),
        (
            "DELETE FROM identifications WHERE identification_id = 'i2'",
            "settled-without-looks",
            "its second look",
        ),
        (
            f"{OUTCOME} settled_names = '[\"Porites\"]' WHERE outcome_id = 'o1'",
            "settled-without-looks",
            "not what both said",
        ),
        (
            f"{OUTCOME} settled_name = 'Favites' WHERE outcome_id = 'or2'",
            "settled-without-looks",
            "but Porites was decided",
        ),
        (
            f"{OUTCOME} third_id = NULL WHERE outcome_id = 'or2'",
            "settled-without-looks",
            "nobody decided it",
        ),
        (
            f"{OUTCOME} settled_how = 'third' WHERE outcome_id = 'or3'",
            "settled-without-looks",
            "one decided or two together",
        ),
        ("UPDATE records SET note = 'another' WHERE record_id = 'r1'", "log-row-differs", ""),
        ("DELETE FROM zones", "log-row-gone", "North wall"),
        ("DELETE FROM change_log WHERE table_name = 'zones'", "log-row-unknown", "zones"),
        ("DELETE FROM change_log WHERE change_no IN (3, 4)", "log-gap", "[3, 4]"),
        ("UPDATE photo_files SET photo_id = 'nothing'", "row-without-its-link", "photo_files"),
    ],
)
def test_each_fault_is_found(copied: Path, statement: str, slug: str, words: str) -> None:
    damage(copied, statement)
    told = [p for p in found(copied) if p.slug == slug]
    assert told
    assert any(words in f"{p.place} {p.message}" for p in told)


def test_part_of_a_photo_that_lies_half_outside_is_a_note(copied: Path) -> None:
    damage(copied, f"{IDENTIFIED} photo_regions = replace(photo_regions, '110.5', '999')")
    told = [p for p in found(copied) if p.slug == "region-outside-photo"]
    assert {p.severity for p in told} == {"note"}


def test_missing_guard_is_found(copied: Path) -> None:
    damage(copied, keeps_guards=False)
    assert slugs(copied) == {"database-guard-missing"}


def test_changed_row_with_a_changed_log_is_still_no_proof(copied: Path) -> None:
    """Who takes the last line of the log away with the row leaves a gap."""
    damage(
        copied,
        "UPDATE records SET note = 'another' WHERE record_id = 'r1'",
        "DELETE FROM change_log WHERE table_name = 'records' AND new LIKE '%\"r1\"%'",
    )
    assert {"log-gap", "log-row-unknown"} <= slugs(copied)


def test_database_of_every_released_schema_is_sound(tmp_path: Path) -> None:
    for path in sorted((Path(__file__).parent / "released").glob("*.sqlite")):
        project = tmp_path / re.sub(r"\W", "", path.stem)
        project.mkdir()
        shutil.copy(path, project / "dryslate.sqlite")
        assert found(project) == [], path.name
