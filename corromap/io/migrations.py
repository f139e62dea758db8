"""The survey file's schema, version by version, and the steps between them.

A file says its version in ``PRAGMA user_version``. An older file is brought up
step by step inside one transaction, so a kill leaves it as it was. Each
version's schema text is kept for ever: it is compared word by word with what a
file holds, so that nothing else (a trigger, a view) can hide in one.

To add version n + 1: write its `SCHEMAS` entry, a step in `STEPS` whose key is
n, raise `CURRENT_VERSION`, and add a golden file of version n to the tests.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping

from corromap.errors import NewerSchemaError, SurveyFileError

__all__ = ["APPLICATION_ID", "CURRENT_VERSION", "SCHEMAS", "STEPS", "create_schema", "migrate", "schema_faults"]

APPLICATION_ID = 0x436F724D
"""``CorM`` in ASCII: what ``file`` sees at offset 68 of a survey file."""

CURRENT_VERSION = 2

_THING = "id TEXT PRIMARY KEY, position INTEGER NOT NULL"
_ON_PHOTO = "photo TEXT NOT NULL REFERENCES photos (id) DEFERRABLE INITIALLY DEFERRED"
_ON_BLOB = "sha256 TEXT NOT NULL REFERENCES blobs (sha256) DEFERRABLE INITIALLY DEFERRED"
_ONE = "singleton INTEGER PRIMARY KEY CHECK (singleton = 1), id TEXT NOT NULL"
_NAME = "name TEXT PRIMARY KEY CHECK (name IN ('car', 'settings', 'template', 'rules'))"
_ACTION = "action TEXT NOT NULL CHECK (action IN ('start', 'change', 'undo', 'redo'))"
_WHO = "id INTEGER PRIMARY KEY, at TEXT NOT NULL, author TEXT NOT NULL"
_PART = (
    "change INTEGER NOT NULL REFERENCES changes (id), part INTEGER NOT NULL, kind TEXT NOT NULL, thing TEXT NOT NULL"
)

_VERSION_1 = (
    f"CREATE TABLE survey ({_ONE}, created_at TEXT NOT NULL, program TEXT NOT NULL) STRICT",
    f"CREATE TABLE documents ({_NAME}, document TEXT NOT NULL) STRICT, WITHOUT ROWID",
    "CREATE TABLE blobs (sha256 TEXT PRIMARY KEY, size INTEGER NOT NULL, content BLOB NOT NULL) STRICT",
    f"CREATE TABLE photos ({_THING}, {_ON_BLOB}, document TEXT NOT NULL) STRICT",
    f"CREATE TABLE marks ({_THING}, {_ON_PHOTO}, document TEXT NOT NULL) STRICT",
    f"CREATE TABLE sightings ({_THING}, {_ON_PHOTO}, document TEXT NOT NULL) STRICT",
    f"CREATE TABLE notes ({_THING}, document TEXT NOT NULL) STRICT",
    f"CREATE TABLE changes ({_WHO}, {_ACTION}, label TEXT NOT NULL, reverses INTEGER REFERENCES changes (id)) STRICT",
    f"CREATE TABLE log ({_PART}, before TEXT, after TEXT, PRIMARY KEY (change, part)) STRICT, WITHOUT ROWID",
    "CREATE INDEX log_by_thing ON log (kind, thing)",
    "CREATE INDEX photos_in_order ON photos (position)",
    "CREATE INDEX marks_in_order ON marks (position)",
    "CREATE INDEX sightings_in_order ON sightings (position)",
    "CREATE INDEX notes_in_order ON notes (position)",
    "CREATE INDEX marks_by_photo ON marks (photo)",
    "CREATE INDEX sightings_by_photo ON sightings (photo)",
)

_NAME_2 = "name TEXT PRIMARY KEY CHECK (name IN ('car', 'settings', 'template', 'rules', 'rates', 'earlier'))"
_WORKED_OUT = "name TEXT NOT NULL, thing TEXT NOT NULL, document TEXT NOT NULL"
_THINGS_2 = ("hand_findings", "shell_checks", "settlements", "ties", "lengths", "scales")
_NEW_2 = (
    f"CREATE TABLE documents ({_NAME_2}, document TEXT NOT NULL) STRICT, WITHOUT ROWID",
    *(f"CREATE TABLE {name} ({_THING}, document TEXT NOT NULL) STRICT" for name in _THINGS_2),
    *(f"CREATE INDEX {name}_in_order ON {name} (position)" for name in _THINGS_2),
    # what was worked out from the photos' bytes and may be thrown away at any time; not logged
    f"CREATE TABLE worked_out ({_WORKED_OUT}, PRIMARY KEY (name, thing)) STRICT, WITHOUT ROWID",
)
_VERSION_2 = (*(text for text in _VERSION_1 if not text.startswith("CREATE TABLE documents ")), *_NEW_2)

SCHEMAS: Mapping[int, tuple[str, ...]] = {1: _VERSION_1, 2: _VERSION_2}
"""Every statement of every version, exactly as SQLite keeps it."""


def _to_version_2(conn: sqlite3.Connection) -> None:
    """Add findings by hand, shell checks, settlements, ties, lengths, scales, rates and the earlier record."""
    conn.execute("ALTER TABLE documents RENAME TO documents_1")
    for statement in _NEW_2:
        conn.execute(statement)
    conn.execute("INSERT INTO documents SELECT name, document FROM documents_1")
    conn.execute("DROP TABLE documents_1")


STEPS: Mapping[int, Callable[[sqlite3.Connection], None]] = {1: _to_version_2}
"""How to get from version n to n + 1."""


def create_schema(conn: sqlite3.Connection) -> None:
    """Write the tables of the current version into an empty database.

    Parameters
    ----------
    conn : sqlite3.Connection
        Inside a transaction, or in autocommit.
    """
    conn.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    conn.execute(f"PRAGMA user_version = {CURRENT_VERSION}")
    for statement in SCHEMAS[CURRENT_VERSION]:
        conn.execute(statement)


def file_version(conn: sqlite3.Connection) -> int:
    """Version the file says it has, after checking that it is ours.

    Parameters
    ----------
    conn : sqlite3.Connection
        Open on the file.

    Returns
    -------
    int
        1 to `CURRENT_VERSION`.

    Raises
    ------
    SurveyFileError
        If the file belongs to another program.
    NewerSchemaError
        If a later version of corromap wrote it.
    """
    application = conn.execute("PRAGMA application_id").fetchone()[0]
    version = conn.execute("PRAGMA user_version").fetchone()[0]
    if application != APPLICATION_ID:
        raise SurveyFileError("is a database of another program, not a survey file")
    if version > CURRENT_VERSION:
        raise NewerSchemaError(
            f"was written by a later version of corromap (file version {version}, this program reads up to "
            f"{CURRENT_VERSION}); update corromap, the file is untouched"
        )
    if version not in SCHEMAS:
        raise SurveyFileError(f"has the unknown file version {version}; it is damaged or not a survey file")
    return int(version)


def schema_faults(conn: sqlite3.Connection, version: int) -> tuple[str, ...]:
    """Compare what the file holds with the schema of its version, word by word.

    Parameters
    ----------
    conn : sqlite3.Connection
        Open on the file.
    version : int
        Its version.

    Returns
    -------
    tuple of str
        One sentence for each thing that should not be there, or is missing.
    """
    rows = conn.execute("SELECT type, name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite^_%' ESCAPE '^'")
    wanted = set(SCHEMAS[version])
    faults = []
    for kind, name, sql in rows:
        if sql in wanted:
            wanted.discard(sql)
        else:
            faults.append(f"holds a {kind} '{name!s:.60}' that corromap did not put there")
    return (*faults, *(f"lacks '{sql[:40]}...'" for sql in sorted(wanted)))


def migrate(conn: sqlite3.Connection, version: int) -> None:
    """Bring a file up to the current version, inside the caller's transaction.

    Parameters
    ----------
    conn : sqlite3.Connection
        Inside ``BEGIN IMMEDIATE``; the caller commits.
    version : int
        The file's version.

    Raises
    ------
    SurveyFileError
        If a step leaves another schema than the one it leads to.
    """
    for current in range(version, CURRENT_VERSION):
        STEPS[current](conn)
        conn.execute(f"PRAGMA user_version = {current + 1}")
        faults = schema_faults(conn, current + 1)
        if faults:
            raise SurveyFileError(f"cannot be brought to file version {current + 1}: it {faults[0]}")
