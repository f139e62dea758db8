"""Short, careful connections to a survey file, and its errors in plain words.

One connection per operation: nothing stays open between two clicks, so that
the file may be copied, synchronised or ejected at any moment in between. Every
write is one ``BEGIN IMMEDIATE`` transaction with a rollback journal; when it
returns, the change is on the disk.
"""

from __future__ import annotations

import os
import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from corromap.errors import InterchangeError, SurveyFileError
from corromap.io import migrations
from corromap.io.migrations import create_schema, file_version, migrate, schema_faults

__all__ = ["BUSY_SECONDS", "PAGE_BYTES", "SUFFIX", "new_database", "plain_errors", "reading", "with_suffix", "writing"]

SUFFIX = ".corromap"

PAGE_BYTES = 16384
"""Large pages: photos are read in fewer steps."""

BUSY_SECONDS = 5.0
"""How long to wait for another window before saying so."""

_HEADER_BYTES = 100
"""Length of the header of every SQLite file (sqlite.org/fileformat2.html, 1.3)."""

_PREDICATES = ("is ", "was ", "has ", "holds ", "lacks ", "cannot ")
"""How a message begins whose subject is the file itself."""

_SENTENCES = {
    sqlite3.SQLITE_BUSY: "is in use by another window or program; nothing was changed, try again in a moment",
    sqlite3.SQLITE_LOCKED: "is in use by another window or program; nothing was changed, try again in a moment",
    sqlite3.SQLITE_READONLY: "cannot be written: the file or its folder is read-only; nothing was changed, "
    "save a copy somewhere else and work on that",
    sqlite3.SQLITE_PERM: "may not be written by this user; nothing was changed",
    sqlite3.SQLITE_FULL: "could not be written: the disk is full; nothing was changed, make room and try again",
    sqlite3.SQLITE_IOERR: "could not be read or written: the disk gave an error (is it full, or was it unplugged?); "
    "what was saved before is kept",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened; check that the file is there and that its folder may be written to",
    sqlite3.SQLITE_CORRUPT: "is damaged or cut off; go back to a copy, or bring in its last export",
    sqlite3.SQLITE_NOTADB: "is not a survey file",
    sqlite3.SQLITE_TOOBIG: "holds a value that is too large",
    sqlite3.SQLITE_INTERRUPT: "took too long to read; it is damaged or made to be slow",
    sqlite3.SQLITE_CONSTRAINT: "would contradict itself after this change; nothing was changed",
}


@contextmanager
def plain_errors(path: Path) -> Iterator[None]:
    """Turn what SQLite and the codec raise into sentences that name the file.

    Parameters
    ----------
    path : Path
        The survey file.

    Raises
    ------
    SurveyFileError
        In place of ``sqlite3.Error``, ``OSError`` and `InterchangeError`.
    """
    try:
        yield
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", None)
        basic = code & 0xFF if code is not None else -1  # the low byte; the rest is detail
        sentence = _SENTENCES.get(basic, f"cannot be used ({error})")
        raise SurveyFileError(f"survey file '{path.name}' {sentence}") from error
    except InterchangeError as error:
        raise SurveyFileError(f"survey file '{path.name}' is damaged: {error}") from error
    except UnicodeDecodeError as error:
        raise SurveyFileError(f"survey file '{path.name}' is damaged: a text in it is not UTF-8") from error
    except OSError as error:
        raise SurveyFileError(
            f"survey file '{path.name}' cannot be used: {error.strerror}; nothing was changed"
        ) from error
    except SurveyFileError as error:
        if str(error).startswith("survey file '"):  # told where it happened
            raise
        joint = " " if str(error).startswith(_PREDICATES) else ": "
        raise type(error)(f"survey file '{path.name}'{joint}{error}") from error


def check_header(path: Path) -> None:
    """Look at what can be seen without opening the file.

    The file itself is left to SQLite: closing it here would drop the locks
    that other windows of this process hold on it ("How To Corrupt An SQLite
    Database File", 2.2, sqlite.org/howtocorrupt.html).

    Raises
    ------
    SurveyFileError
        If the file is missing, empty or too short.
    """
    if not path.is_file():
        raise SurveyFileError("is not a file" if path.exists() else "is not there")
    size = path.stat().st_size
    if size == 0:
        raise SurveyFileError("is empty (0 bytes); it was cut off when it was copied")
    if size < _HEADER_BYTES:
        raise SurveyFileError(f"is cut off or not a survey file: only {size} bytes are there; copy it again")


def connect(path: Path) -> sqlite3.Connection:
    """Open an existing file with the settings every connection has."""
    conn = sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True, isolation_level=None, timeout=BUSY_SECONDS)
    conn.execute("PRAGMA trusted_schema = OFF")
    conn.execute("PRAGMA cell_size_check = ON")
    conn.execute("PRAGMA foreign_keys = ON")
    # EXTRA is FULL plus a sync of the folder after the journal is removed: without
    # it a power cut right after a commit may bring the old state back.
    conn.execute("PRAGMA synchronous = EXTRA")
    return conn


def checked_version(conn: sqlite3.Connection, path: Path) -> int:
    """Version of the file, after looking at its length and comparing its schema word by word.

    Parameters
    ----------
    conn : sqlite3.Connection
        In a transaction, so that nobody else writes meanwhile.
    path : Path
        The file.

    Returns
    -------
    int
        The version.

    Raises
    ------
    SurveyFileError
        If the file is cut off, or holds what corromap did not put there.
    """
    pages, page = (conn.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "page_size"))
    size = path.stat().st_size
    if size < pages * page:  # SQLite itself counts a page that is there in part
        raise SurveyFileError(f"is cut off: {size} bytes are there, {pages * page} were written; copy it again")
    version = file_version(conn)
    faults = schema_faults(conn, version)
    if faults:
        raise SurveyFileError(f"{'; '.join(faults[:3])}; it was changed by another program and is not opened")
    return version


def stored_version(path: Path) -> int:
    """Version of the file as it lies on the disk, checked.

    Raises
    ------
    SurveyFileError
        In plain words; see `plain_errors`.
    """
    with plain_errors(path):
        check_header(path)
        with closing(connect(path)) as conn:
            if conn.execute("PRAGMA journal_mode").fetchone()[0] != "delete":
                conn.execute("PRAGMA journal_mode = DELETE")  # another program left it otherwise
            conn.execute("BEGIN")
            return checked_version(conn, path)


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """Connect for reading one consistent state.

    Parameters
    ----------
    path : Path
        The survey file.

    Yields
    ------
    sqlite3.Connection
        Inside a read transaction; closed afterwards.

    Raises
    ------
    SurveyFileError
        In plain words; see `plain_errors`.
    """
    with plain_errors(path):
        check_header(path)
        with closing(connect(path)) as conn:
            conn.execute("BEGIN")
            if checked_version(conn, path) != migrations.CURRENT_VERSION:
                raise SurveyFileError("is of an older version; open it once where it may be written")
            yield conn


@contextmanager
def writing(path: Path) -> Iterator[sqlite3.Connection]:
    """Connect for one transaction; all of it happens, or nothing.

    Parameters
    ----------
    path : Path
        The survey file.

    Yields
    ------
    sqlite3.Connection
        Inside ``BEGIN IMMEDIATE``. Committed on leaving, rolled back on error.

    Raises
    ------
    SurveyFileError
        In plain words; see `plain_errors`.
    """
    with plain_errors(path):
        check_header(path)
        with closing(connect(path)) as conn:
            conn.execute("BEGIN IMMEDIATE")
            # Leaving without COMMIT closes the connection, which rolls back.
            migrate(conn, checked_version(conn, path))
            yield conn
            conn.execute("COMMIT")


def with_suffix(path: Path | str) -> Path:
    """Path of a survey file; ``.corromap`` is added when it is missing."""
    given = Path(path)
    return given if given.suffix == SUFFIX else given.with_name(given.name + SUFFIX)


@contextmanager
def new_database(path: Path) -> Iterator[sqlite3.Connection]:
    """Make a file that appears whole or not at all, and replaces nothing.

    Parameters
    ----------
    path : Path
        The survey file to be.

    Yields
    ------
    sqlite3.Connection
        In a transaction, with the schema written, on a file beside `path`
        that takes its name at the end.

    Raises
    ------
    SurveyFileError
        If it is there already, or cannot be written.
    """
    with plain_errors(path):
        if path.exists():
            raise SurveyFileError("is there already; choose another name")
        if not path.parent.is_dir():
            raise SurveyFileError("cannot be made: its folder is not there")
        fresh = _fresh_beside(path)
        try:
            with closing(connect(fresh)) as conn:
                conn.execute(f"PRAGMA page_size = {PAGE_BYTES}")
                conn.execute("BEGIN IMMEDIATE")
                create_schema(conn)
                yield conn
                conn.execute("COMMIT")
            _take_name(fresh, path)
        finally:
            fresh.unlink(missing_ok=True)


def _fresh_beside(path: Path) -> Path:
    """Make an empty file beside a path, with the rights any new file gets."""
    fresh = path.with_name(f".{secrets.token_hex(6)}{SUFFIX}")
    os.close(os.open(fresh, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
    return fresh


def _take_name(fresh: Path, path: Path) -> None:
    try:
        os.link(fresh, path)  # fails when the name is taken, which a rename would not
    except FileExistsError:
        raise SurveyFileError("is there already; choose another name") from None
    except OSError:  # no hard links here, as on memory sticks
        if path.exists():
            raise SurveyFileError("is there already; choose another name") from None
        fresh.rename(path)


def vacuum_into(path: Path, target: Path) -> None:
    """Write a clean copy of a file, compact and in one piece.

    Raises
    ------
    SurveyFileError
        If the copy is there already or cannot be written.
    """
    with plain_errors(target):
        if target.exists():
            raise SurveyFileError("is there already; choose another name")
        fresh = _fresh_beside(target)
        try:
            with plain_errors(path), closing(connect(path)) as conn:
                checked_version(conn, path)
                conn.execute("VACUUM INTO ?", (str(fresh),))
            with fresh.open("rb+") as stream:  # VACUUM INTO does not sync what it wrote
                os.fsync(stream.fileno())
            _take_name(fresh, target)
        finally:
            fresh.unlink(missing_ok=True)
