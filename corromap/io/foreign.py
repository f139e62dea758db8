"""Opening a survey file from a stranger: looked at, never trusted, never used itself.

A database can carry a view or a trigger that runs when it is read, pages that
contradict each other, or a value that takes hours. The file is therefore
opened read-only with everything off that can be; its schema is compared word
by word before anything is read; every row is parsed; the log is replayed; and
what stands the test is written into a fresh file. The stranger's own file is
never opened for writing.
"""

from __future__ import annotations

import sqlite3
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from corromap.errors import CorromapError, PhotoError, SurveyFileError
from corromap.io import migrations
from corromap.io import survey_rows as rows
from corromap.io.migrations import migrate
from corromap.io.photos import read_header
from corromap.io.survey_bundle import Progress, SurveyBundle, bundle_of, check_bundle, write_bundle
from corromap.io.survey_db import check_header, checked_version, connect, plain_errors, with_suffix
from corromap.io.survey_editor import MAX_PHOTO_BYTES
from corromap.io.survey_file import SurveyFile
from corromap.io.survey_record import reference_faults

__all__ = ["MAX_FILE_BYTES", "open_foreign"]

MAX_FILE_BYTES = 8 * 1024**3
"""Largest file taken. Ours: forty photos of 100 megapixels, with their history."""

DEADLINE_SECONDS = 120.0
"""Longest that reading the database may take."""

_MAX_ROWS = 200_000
_STEPS_BETWEEN_LOOKS = 10_000

_LIMITS = {
    sqlite3.SQLITE_LIMIT_LENGTH: MAX_PHOTO_BYTES + 1_000_000,
    sqlite3.SQLITE_LIMIT_SQL_LENGTH: 100_000,
    sqlite3.SQLITE_LIMIT_COLUMN: 100,
    sqlite3.SQLITE_LIMIT_EXPR_DEPTH: 50,
    sqlite3.SQLITE_LIMIT_COMPOUND_SELECT: 5,
    sqlite3.SQLITE_LIMIT_VDBE_OP: 25_000,
    sqlite3.SQLITE_LIMIT_FUNCTION_ARG: 8,
    sqlite3.SQLITE_LIMIT_ATTACHED: 0,
    sqlite3.SQLITE_LIMIT_LIKE_PATTERN_LENGTH: 50,
    sqlite3.SQLITE_LIMIT_VARIABLE_NUMBER: 20,
    sqlite3.SQLITE_LIMIT_TRIGGER_DEPTH: 1,
}
"""As in "Defense Against The Dark Arts", sqlite.org/security.html, with our sizes."""


def open_foreign(
    path: Path | str, into: Path | str, *, author: str = "", progress: Progress | None = None
) -> SurveyFile:
    """Copy what a stranger's survey file holds into a fresh one of our own.

    Parameters
    ----------
    path : Path or str
        The file that was received; it is only read.
    into : Path or str
        The file to be; must not be there yet.
    author : str
        Who opens it.
    progress : callable, optional
        Called with (photos done, photos in all).

    Returns
    -------
    SurveyFile
        Open on the fresh file.

    Raises
    ------
    SurveyFileError
        If the file is too large, damaged, not a survey file, or holds
        anything that a survey file does not. Nothing is written then.
    NewerSchemaError
        If a later version wrote it.
    """
    given, target = Path(path), with_suffix(into)
    with plain_errors(given):
        _check_file(given)
        with _guarded(given) as conn:
            _check_pages(conn)
            version = checked_version(conn, given)
            if version == migrations.CURRENT_VERSION:
                _copy(conn, target, author, progress)
        if version != migrations.CURRENT_VERSION:
            with _brought_up(given, version) as conn:
                _copy(conn, target, author, progress)
    return SurveyFile.open(target, author=author)


def _check_file(path: Path) -> None:
    check_header(path)
    size = path.stat().st_size
    if size > MAX_FILE_BYTES:
        raise SurveyFileError(f"has {size} bytes; at most {MAX_FILE_BYTES} are taken")
    for end in ("-journal", "-wal"):
        beside = path.with_name(path.name + end)
        if beside.exists() and beside.stat().st_size:
            raise SurveyFileError(
                f"was copied while it was being written ('{beside.name}' lies beside it); "
                "open it where it comes from, then copy it again"
            )


@contextmanager
def _guarded(path: Path) -> Iterator[sqlite3.Connection]:
    """Connect read-only, with limits, a deadline and nothing allowed but reading."""
    uri = f"{path.absolute().as_uri()}?mode=ro&immutable=1"
    with closing(sqlite3.connect(uri, uri=True, isolation_level=None)) as conn:
        for limit, value in _LIMITS.items():
            conn.setlimit(limit, value)
        for pragma in ("trusted_schema = OFF", "cell_size_check = ON", "query_only = ON", "mmap_size = 0"):
            conn.execute(f"PRAGMA {pragma}")
        end = time.monotonic() + DEADLINE_SECONDS
        conn.set_progress_handler(lambda: time.monotonic() > end, _STEPS_BETWEEN_LOOKS)
        yield conn


def _check_pages(conn: sqlite3.Connection) -> None:
    problem = conn.execute("PRAGMA quick_check(1)").fetchone()[0]
    if problem != "ok":
        raise SurveyFileError(f"is damaged ({problem:.120})")


@contextmanager
def _brought_up(path: Path, version: int) -> Iterator[sqlite3.Connection]:
    """Migrate a private copy of an older file, whose schema was checked."""
    with tempfile.TemporaryDirectory(prefix="corromap-") as folder:
        copy = Path(folder) / "older.corromap"
        with _guarded(path) as given, closing(sqlite3.connect(copy)) as fresh:
            given.backup(fresh)
        with closing(connect(copy)) as conn:
            conn.execute("BEGIN IMMEDIATE")
            migrate(conn, version)
            conn.execute("COMMIT")
        with _guarded(copy) as conn:
            checked_version(conn, copy)
            yield conn


def _copy(conn: sqlite3.Connection, target: Path, author: str, progress: Progress | None) -> None:
    for table in (*rows.TABLES.values(), "changes", "log", "blobs"):
        count = conn.execute(f"SELECT count(*) FROM {table}").fetchone()[0]  # noqa: S608  # table name is ours
        if count > _MAX_ROWS:
            raise SurveyFileError(f"holds {count} rows of {table}; at most {_MAX_ROWS} are taken")
    bundle = bundle_of(conn)
    _check_content(bundle)
    check_bundle(bundle)
    write_bundle(target, bundle, author, "a stranger's file whose log did not lead to what it holds", progress)


def _check_content(bundle: SurveyBundle) -> None:
    try:
        faults = reference_faults(bundle.record)
        bundle.record.rules, bundle.record.rates  # noqa: B018  # reads and checks them
    except CorromapError as error:
        raise SurveyFileError(str(error)) from error
    if faults:
        raise SurveyFileError(faults[0])
    for photo in bundle.record.survey.photos:
        try:
            header = read_header(bundle.photo_bytes(photo.id), photo.name)
        except PhotoError as error:
            raise SurveyFileError(str(error)) from error
        if (photo.width_px, photo.height_px) != (header.width_px, header.height_px):
            raise SurveyFileError(f"photo '{photo.id}' is not of the size the survey says, {photo.width_px} px wide")
