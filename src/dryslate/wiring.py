"""Picks the store, files, documents and runner that stand behind the ports."""

from __future__ import annotations

import os
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from contextlib import AbstractContextManager

    from dryslate.app.accounts import AccountBook, PasswordHasher
    from dryslate.app.adjusted_results import NameFacts
    from dryslate.app.archive_copies import TakeCopies
    from dryslate.app.archive_make import ArchiveTools
    from dryslate.app.archive_others import NameFinder
    from dryslate.app.backup import BackupFiles, BackupTools
    from dryslate.app.check import ProjectFiles
    from dryslate.app.import_run import ImportTools
    from dryslate.app.intake import How, IntakeFiles
    from dryslate.app.measure_project import Bench as MeasureBench
    from dryslate.app.new import ProjectFolders
    from dryslate.app.plan import PowerCurve
    from dryslate.app.ports import (
        Clock,
        DocumentWriter,
        PhotoReader,
        PhotoVault,
        Progress,
        ReferenceTables,
        Runner,
        SurveyStore,
    )
    from dryslate.app.records import Visit
    from dryslate.app.report import ReportBench
    from dryslate.app.restore import RestoreTools
    from dryslate.app.result_rows import ResultRow
    from dryslate.app.result_settings import ResultSettings
    from dryslate.app.sending import SentBox
    from dryslate.app.sheet_joining import SheetDesk
    from dryslate.app.sheets import SheetBench
    from dryslate.app.tiles import TileBench
    from dryslate.base.problems import Problem
    from dryslate.core.survey.coverage import CoverageTable
    from dryslate.files.zip_reader import ZipBox
    from dryslate.files.zip_writer import ZipMaker
    from dryslate.formats.table_csv import Table
    from dryslate.store.memory import ReadMemory
    from dryslate.store.sqlite import SqliteSurveyStore


def photo_reader(largest_mp: float = 100.0) -> PhotoReader:
    """Return the reader and writer of photo files; larger frames, in megapixels, are refused."""
    from dryslate.files.photos import FilePhotoReader

    return FilePhotoReader(max_megapixels=largest_mp)


def reference_tables(project: Path | None = None) -> ReferenceTables:
    """Return the built-in cards and tables, with the project's own cards when there is one."""
    from dryslate.files.reference_tables import FileReferenceTables

    return FileReferenceTables(project)


def vault(project: Path) -> PhotoVault:
    """Return the project's originals."""
    from dryslate.files.originals import FolderVault

    return FolderVault(project)


def survey_store(
    project: Path,
    *,
    write: bool,
    who: str | None = None,
    by_turns: bool = False,
    memory: ReadMemory | None = None,
) -> SqliteSurveyStore:
    """
    Open the project's records; use it as a context manager. `who` goes into the log.

    Long work beside people who save writes `by_turns`: others get in between its transactions.
    Readers of a server share a `memory`.
    """
    from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions

    options = StoreOptions(who=who, by_turns=by_turns, memory=memory)
    return SqliteSurveyStore.open(project, write=write, options=options)


def read_memory() -> ReadMemory:
    """Return what the readers of one project share in a running server."""
    from dryslate.store.memory import ReadMemory

    return ReadMemory()


def new_store(project: Path, *, who: str | None = None) -> SqliteSurveyStore:
    """Make a project's records, or open them for writing; use it as a context manager."""
    from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions

    return SqliteSurveyStore.create(project, options=StoreOptions(who=who))


def genus_tables(project: Path | None) -> ReferenceTables:
    """Return the genus data, those of a project over them; refuse a folder that is no project."""
    from dryslate.app.data_folder import require_data_folder

    if project is not None:
        require_data_folder(project, project_folders())
    return reference_tables(project)


def project_folders() -> ProjectFolders:
    """Return what lays out project folders."""
    from dryslate.files.project_folder import DiskProjectFolders

    return DiskProjectFolders()


def intake_files() -> IntakeFiles:
    """Return what lists, copies and proves the files of a memory card."""
    from dryslate.files.disk_intake import DiskIntake

    return DiskIntake()


def read_back(path: Path) -> tuple[str, How]:
    """Return the hash of a file as it lies on its drive, and how it was read."""
    from dryslate.files.reread import reread_sha256

    return reread_sha256(path)


def sent_box(project: Path) -> SentBox:
    """Return what holds the files that browsers send until they are taken in."""
    from dryslate.files.sent_files import FolderSentBox

    return FolderSentBox(project)


def project_files(project: Path) -> ProjectFiles:
    """Return what looks at the files of a project."""
    from dryslate.files.project_files import DiskProjectFiles

    return DiskProjectFiles(project)


def backup_files() -> BackupFiles:
    """Return what lays out backups on a disk."""
    from dryslate.files.backups import DiskBackupFiles

    return DiskBackupFiles()


def backup_tools(store: SurveyStore, progress: Progress) -> BackupTools:
    """Return the ports that making a backup works through."""
    from dryslate.app.backup import BackupTools

    return BackupTools(
        store=store,
        files=backup_files(),
        intake=intake_files(),
        clock=clock(),
        progress=progress,
    )


def restore_tools(progress: Progress) -> RestoreTools:
    """Return the ports that restoring a project works through."""
    from dryslate.app.restore import RestoreTools

    return RestoreTools(
        folders=project_folders(),
        files=backup_files(),
        intake=intake_files(),
        open_store=new_store,
        vault_of=vault,
        clock=clock(),
        progress=progress,
    )


def read_table(path: Path, sheet: str | None = None) -> Table:
    """Read a table of records from CSV or a workbook."""
    from dryslate.files.table_files import read_table as read

    return read(path, sheet)


def read_file(path: Path, most_bytes: int = 100 << 20) -> bytes:
    """Read a file that the user brings, whole."""
    from dryslate.files.table_files import read_bytes

    return read_bytes(path, most_bytes)


def save_file(path: Path, data: bytes) -> None:
    """Write a file so that it is whole or not there."""
    from dryslate.files.safe_write import save_whole

    save_whole(path, [data])


def save_parts(path: Path, parts: Iterable[bytes]) -> None:
    """Write a large file part by part, so that it is whole or not there."""
    from dryslate.files.safe_write import save_whole

    save_whole(path, parts)


def results_parquet(rows: Iterable[ResultRow]) -> Iterable[bytes]:
    """Write the tidy table of results as Parquet."""
    from dryslate.documents.results_parquet import results_parquet as write

    return write(rows)


def usual_categories() -> Table:
    """Return the benthic categories for a project that has no list of its own."""
    from importlib.resources import files

    import dryslate.data
    from dryslate.formats.table_csv import read_table_csv

    return read_table_csv((files(dryslate.data) / "categories.csv").read_bytes(), "categories")


def name_facts() -> NameFacts:
    """Return what the genus data know of names that are taken for each other."""
    from dryslate.app.adjusted_results import name_facts as facts_of

    return facts_of(reference_tables().taxa()[0])


@cache
def _coverage_table() -> CoverageTable:
    """Read how often intervals held in simulated surveys; nobody may write in it."""
    import csv
    from importlib.resources import files

    import dryslate.data
    from dryslate.core.survey.coverage import parse_coverage_table

    figures, others, changes = (
        csv.DictReader((files(dryslate.data) / "tables" / name).read_text("utf-8").splitlines())
        for name in ("survey_coverage.csv", "other_coverage.csv", "change_coverage.csv")
    )
    return parse_coverage_table([*figures, *others], changes)


def result_settings(**typed: Any) -> ResultSettings:
    """Return what results are made with beside the records, and what the user typed (not None)."""
    from dryslate.app.category_list import read_categories
    from dryslate.app.result_settings import ResultSettings

    return ResultSettings(
        usual=read_categories(usual_categories()),
        coverage=_coverage_table(),
        names=name_facts,
        **{name: value for name, value in typed.items() if value is not None},
    )


def import_tools(project: Path) -> ImportTools:
    """Return what importing tables of records works with."""
    from dryslate.app.category_list import read_categories
    from dryslate.app.import_run import ImportTools, upright_size_of
    from dryslate.files.table_files import read_sheets, read_text, sheets_of

    return ImportTools(
        read_table=read_table,
        read_sheets=read_sheets,
        read_text=read_text,
        sheets_of=sheets_of,
        size_of=lambda photo: upright_size_of(photo, photo_reader(), vault(project)),
        taxa=reference_tables(project).taxa()[0],
        usual=read_categories(usual_categories()),
        clock=clock(),
    )


def archive_tools(project: Path, store: SurveyStore) -> ArchiveTools:
    """Return what making an archive works with."""
    import csv
    from importlib.resources import files

    import dryslate.data
    from dryslate.app.archive_make import ArchiveTools
    from dryslate.app.archive_pictures import picture_for_archive
    from dryslate.app.category_list import read_categories

    text = (files(dryslate.data) / "tables" / "category_names.csv").read_text("utf-8")

    def corrected_of(photo_id: str) -> str | None:
        row = store.correction(photo_id)
        return row.corrected_path if row is not None else None

    return ArchiveTools(
        taxa=reference_tables(project).taxa()[0],
        usual=read_categories(usual_categories()),
        category_names={
            row["category"]: (row["scientific_name"], row["rank"], row["kingdom"])
            for row in csv.DictReader(text.splitlines())
        },
        picture=picture_for_archive(corrected_of, project, vault(project)),
    )


def zip_maker(path: Path) -> AbstractContextManager[ZipMaker]:
    """Make a zip that is whole or not there."""
    from dryslate.files.zip_writer import zip_maker as make

    return make(path)


def zip_box(path: Path) -> AbstractContextManager[ZipBox]:
    """Open a zip that somebody else made."""
    from dryslate.files.zip_reader import zip_box as box

    return box(path)


def is_package(path: Path) -> bool:
    """Tell whether a file is a data package, and no workbook or table."""
    from dryslate.app.package_make import DESCRIPTOR
    from dryslate.files.zip_reader import has_member

    return has_member(path, DESCRIPTOR)


def is_archive(path: Path) -> bool:
    """Tell whether a file is a Darwin Core archive, or called a zip and so meant to be one."""
    from dryslate.files.zip_reader import has_member

    return path.suffix.lower() == ".zip" or has_member(path, "meta.xml")


def name_finder(project: Path, who: str) -> NameFinder:
    """Return what names of somebody else's archive are looked up in."""
    from dryslate.app.archive_others import NameFinder as Finder

    with survey_store(project, write=False) as store:
        region = store.region()
    taxa = reference_tables(project).taxa()[0]
    return Finder(taxa=taxa, region=region, who=who, at=clock().now_utc())


def document_writer() -> DocumentWriter:
    """Return the writer of cards and reports."""
    from dryslate.documents.writer import DocumentFiles

    return DocumentFiles(save_file)


def power_chart(curve: PowerCurve, power: float, words: tuple[str, str, str, str, str]) -> str:
    """
    Draw power curves as SVG.

    Words: units, power, units drawn anew, the same units again, and the wished power.
    """
    from dryslate.documents.plan_chart import ChartWords, PowerLine, power_chart

    lines = [
        PowerLine(name=words[2], power=curve.anew, least=curve.anew_least, most=curve.anew_most)
    ]
    if curve.same:
        lines.append(
            PowerLine(name=words[3], power=curve.same, least=curve.same_least, most=curve.same_most)
        )
    said = ChartWords(x_title=words[0], y_title=words[1], wished=words[4])
    return power_chart(curve.units, lines, power, said)


def sheet_bench(
    project: Path | None, store: SurveyStore | None, words: Callable[[str], str], observer: str = ""
) -> SheetBench:
    """Return what printing sheets works with; `words` puts English into the sheets' language."""
    from dryslate.app.sheets import SheetBench

    return SheetBench(
        tables=reference_tables(project),
        documents=document_writer(),
        words=words,
        store=store,
        observer=observer,
        now=clock().now_utc(),
    )


def sheet_desk(folder: Path, store: SurveyStore, observer: str) -> SheetDesk:
    """Return what joining photos of sheets to units works with."""
    from dryslate.app.sheet_joining import SheetDesk

    return SheetDesk(
        store=store,
        reader=photo_reader(),
        vault=vault(folder),
        observer=observer,
        now=clock().now_utc(),
    )


def report_bench(
    folder: Path, store: SurveyStore, progress: Progress, largest_mp: float = 100.0
) -> ReportBench:
    """Return what making a project's report works with."""
    from dryslate.app.report import ReportBench

    return ReportBench(
        folder=folder,
        store=store,
        vault=vault(folder),
        reader=photo_reader(largest_mp),
        tables=reference_tables(folder),
        documents=document_writer(),
        runner=runner(),
        progress=progress,
    )


def tile_bench(project: Path, largest_mp: float = 100.0) -> TileBench:
    """Return what makes and keeps the pictures of the pages; one for each open project."""
    from dryslate.app.tiles import TileBench
    from dryslate.files.tiles import FolderTiles

    return TileBench(
        folder=project,
        vault=vault(project),
        reader=photo_reader(largest_mp),
        tiles=FolderTiles(project),
    )


def runner(workers: int | None = None) -> Runner:
    """Return a runner on this machine; as many workers as cores unless told otherwise."""
    from dryslate.batch.local_runner import LocalRunner

    return LocalRunner(workers or len(os.sched_getaffinity(0)))


def message_pages(language: str = "en") -> str:
    """Return the catalogue of messages in a language, as its page has it."""
    from dryslate.files.help_pages import read_messages

    return read_messages(language)


def account_book(project: Path) -> AccountBook:
    """Return who may sign in to a project's pages; refuses a folder that is no project."""
    from dryslate.files.accounts import FileAccountBook

    with survey_store(project, write=False):
        return FileAccountBook(project)


def password_hasher() -> PasswordHasher:
    """Return what hashes passwords."""
    from dryslate.files.accounts import Argon2Hasher

    return Argon2Hasher()


def measure_bench(
    project: Path, store: SqliteSurveyStore, largest_mp: float = 100.0
) -> MeasureBench:
    """Return what measuring in a project works with."""
    from dryslate.app.measure_project import Bench as MeasureBench

    return MeasureBench(
        store=store,
        vault=vault(project),
        reader=photo_reader(largest_mp),
        tables=reference_tables(project),
    )


def new_identity() -> str:
    """Return an identity that no other thing has; made once, stored for life."""
    import uuid

    return str(uuid.uuid4())


def clock() -> Clock:
    """Return the system's clock."""
    from dryslate.files.clock import SystemClock

    return SystemClock()


def archive_taker(store: SurveyStore, project: Path, box: ZipBox, progress: Progress) -> TakeCopies:
    """Return what takes in the photos that an archive holds, each copy proved like any other."""
    from tempfile import TemporaryDirectory

    from dryslate.app.take import plan_take, run_take
    from dryslate.app.take_records import TakeRequest, TakeTools

    tools = TakeTools(
        store=store, files=intake_files(), reader=photo_reader(), clock=clock(), progress=progress
    )

    def take(visit: Visit, observer: str, copies: Mapping[str, str]) -> tuple[Problem, ...]:
        with TemporaryDirectory(prefix="dryslate-") as folder:
            for name, at in copies.items():
                box.unpack(at, Path(folder) / name)
            request = TakeRequest(
                sources=(Path(folder),),
                project=project,
                second=None,
                site=visit.site,
                date=visit.date,
                observer=observer,
                is_sent=True,
            )
            return run_take(plan_take(request, tools), tools).problems

    return take
