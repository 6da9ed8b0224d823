"""Tables of records from CSV and workbooks: what is read, and what is refused."""

from __future__ import annotations

import io
import zipfile

import pytest
from openpyxl import Workbook

from dryslate.app.import_mapping import ImportMapping, read_cell
from dryslate.app.import_reading import ImportSource
from dryslate.app.import_rows import plan_import
from dryslate.app.records import Photo, PhotoFile, PhotoMetadata
from dryslate.base.errors import InputError
from dryslate.formats import table_xlsx
from dryslate.formats.table_csv import read_table_csv, write_table_csv
from dryslate.formats.table_xlsx import read_table_xlsx, write_table_xlsx


def workbook(*sheets: str) -> bytes:
    book = Workbook()
    book.active.title = sheets[0]
    for title in sheets[1:]:
        book.create_sheet(title)
    for page in book:
        page.append(["site", "n"])
        page.append(["Ledge", 3.0])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@pytest.mark.parametrize("divider", [",", ";", "\t"])
def test_divider_is_found(divider: str) -> None:
    text = f"site{divider}n\r\nLedge{divider}3\r\n\r\n"
    table = read_table_csv(b"\xef\xbb\xbf" + text.encode(), "t")
    assert table.columns == ("site", "n")
    assert table.rows == ((2, ("Ledge", "3")),)


def test_row_with_too_many_cells_is_a_problem_and_the_rest_is_read() -> None:
    table = read_table_csv(b"site,n\nLedge,3,4\nWall,5\n", "t")
    assert [p.slug for p in table.problems] == ["table-row-long"]
    assert table.rows == ((3, ("Wall", "5")),)


def test_numbers_and_days_of_a_workbook_are_plain_text() -> None:
    assert read_table_xlsx(workbook("units"), "t").rows == ((2, ("Ledge", "3")),)


def test_sheet_that_is_not_there_is_refused() -> None:
    with pytest.raises(InputError, match="table-no-sheet"):
        read_table_xlsx(workbook("units"), "t", "rows")


def test_workbook_that_unpacks_to_too_much_is_refused(monkeypatch) -> None:
    monkeypatch.setattr(table_xlsx, "LARGEST_BYTES", 1000)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("xl/workbook.xml", "0" * 5000)
    with pytest.raises(InputError, match="table-too-large"):
        read_table_xlsx(out.getvalue(), "t")


def test_text_is_never_a_formula() -> None:
    told = write_table_csv(("a",), [["=1+1"], ["-3.5"], ["@x"], [None], [-2]])
    assert told.decode("utf-8-sig").split("\r\n")[1:6] == ["'=1+1", "-3.5", "'@x", '""', "-2"]
    sheet = write_table_xlsx({"rows": (("a",), [["=1+1"]])})
    assert not read_table_xlsx(sheet, "t").problems
    assert read_table_xlsx(sheet, "t").rows == ((2, ("=1+1",)),)


@pytest.mark.parametrize(
    ("name", "text", "value", "slug"),
    [
        ("is_permanent", "yes", True, ""),
        ("is_permanent", "perhaps", None, "cell-not-yes-or-no"),
        ("searched", "Acropora; Porites", ("Acropora", "Porites"), ""),
        ("longest_cm", "", None, ""),
        ("longest_cm", "1e1", 10.0, ""),
        ("n", "0", 0, ""),
        ("date", "19.5.2024", None, "cell-not-a-date"),
        ("date", "2024-05-19", "2024-05-19", ""),
        ("date", "3/4/24", None, "cell-not-a-date"),
    ],
)
def test_cells_are_read_as_they_stand(name, text, value, slug) -> None:
    got, problem = read_cell(name, text, ImportMapping(), "t")
    assert got == value
    assert (problem.slug if problem else "") == slug


POINTS = "site,date,unit,design,n_points,point_rule,kind,category,photo,x_px,y_px\n"
POINT = "Ledge,2024-05-19,P1,photo_points,1,random,point,sand,IMG_1.JPG,{},{}\n"


@pytest.fixture
def plan_of(read_taxa):
    """Plan the import of one point on a photo of a visit."""

    def make(visit_id: str | None, at: tuple[object, object] = (3, 4), size=(300, 200), extra=""):
        photos = {}
        if visit_id is not None:
            file = PhotoFile(sha256="ab", original_name="IMG_1.JPG", size_bytes=1, kind="jpeg")
            photos["IMG_1.JPG"] = Photo(
                photo_id="ab", visit_id=visit_id, files=(file,), metadata=PhotoMetadata()
            )
        source = ImportSource(
            observer="Ana",
            at="",
            taxa=read_taxa,
            region=None,
            photos=photos,
            size_of=lambda photo: size,
        )
        text = (POINTS + POINT.format(*at)).replace("kind,category", f"kind{extra},category")
        text = text.replace("point,sand", f"point{',' if extra else ''},sand")
        return plan_import([read_table_csv(text.encode(), "t")], ImportMapping(), source, None)

    return make


def test_point_lies_on_a_photo_of_its_visit(plan_of) -> None:
    plan = plan_of("Ledge 2024-05-19")
    assert not plan.problems
    assert plan.units[0].rows[0].row.photo_id == "ab"


@pytest.mark.parametrize(
    ("visit_id", "at", "slug"),
    [
        (None, (3, 4), "row-photo-unknown"),
        ("Ledge 2024-05-20", (3, 4), "row-photo-other-visit"),
        ("Ledge 2024-05-19", (299.6, 4), "row-point-outside-photo"),
        ("Ledge 2024-05-19", (3, -1), "row-point-outside-photo"),
    ],
)
def test_point_that_cannot_be_there_is_told(plan_of, visit_id, at, slug) -> None:
    plan = plan_of(visit_id, at)
    assert [p.slug for p in plan.problems] == [slug]
    assert not plan.is_sound


def test_photo_whose_head_tells_no_size_is_taken_as_it_is(plan_of) -> None:
    assert not plan_of("Ledge 2024-05-19", (9e5, 4), size=None).problems


def test_column_that_nothing_reads_is_told(plan_of) -> None:
    (problem,) = plan_of("Ledge 2024-05-19", extra=",longest_cmm").problems
    assert (problem.slug, problem.severity) == ("table-column-not-read", "warning")
    assert "longest_cmm" in problem.message


def test_order_of_days_and_months_is_the_tables() -> None:
    for order in ("day month year", "month day year"):
        mapping = ImportMapping(date_order=order)
        got, _ = read_cell("date", "3/4/2024", mapping, "t")
        assert got == ("2024-04-03" if order == "day month year" else "2024-03-04")


@pytest.fixture(scope="module")
def read_taxa():
    from dryslate import wiring

    return wiring.reference_tables().taxa()[0]
