"""Rows of a survey file, its log, and what undo means.

Every change is one row of ``changes`` with one ``log`` row for each thing it
touched, each holding the thing before and after. Neither table is ever
updated or deleted from. Undo and redo are changes too, which write the
``before`` of an earlier one back. The id of the latest change is the file's
revision.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from corromap.errors import SurveyFileError
from corromap.io.document_fields import Fields
from corromap.io.json_text import canonical, parse

__all__ = ["ACTIONS", "SINGLES", "TABLES", "UNSAID", "Change", "LogEntry", "Row"]

TABLES = {
    "photo": "photos",
    "mark": "marks",
    "sighting": "sightings",
    "note": "notes",
    "hand_finding": "hand_findings",
    "shell_check": "shell_checks",
    "settlement": "settlements",
    "tie": "ties",
    "length": "lengths",
    "scale": "scales",
}
"""Table of each kind of thing."""

PARENTS = {"photo": "sha256", "mark": "photo", "sighting": "photo"}
"""Column beside the document by which a thing hangs on another."""

SINGLES = ("car", "settings", "template", "rules", "rates", "earlier")
"""Documents of which a survey has one, and which may change."""

UNSAID = {"rates": "{}", "earlier": '{"sha256":""}'}
"""Singles that a survey may lack, with what that stands for."""


ACTIONS = ("start", "change", "undo", "redo")
"""What a line of the log can be."""


@dataclass(frozen=True, slots=True)
class Row:
    """A thing as it lies in its table.

    Parameters
    ----------
    document : str
        Canonical JSON.
    position : int
        Order among its kind; kept for life. 0 for singles.
    parent : str
        Photo id, blob digest, or empty.
    """

    document: str
    position: int = 0
    parent: str = ""


@dataclass(frozen=True, slots=True)
class LogEntry:
    """What one change did to one thing.

    Parameters
    ----------
    kind : str
        Key of `TABLES`, or one of `SINGLES`.
    thing : str
        Its id; the kind again for singles.
    before, after : Row or None
        None when it was not there.
    """

    kind: str
    thing: str
    before: Row | None
    after: Row | None

    def reversed(self) -> LogEntry:
        """Return the entry that takes this one back."""
        return LogEntry(self.kind, self.thing, self.after, self.before)


@dataclass(frozen=True, slots=True)
class Change:
    """One line of the log: who changed what when.

    Parameters
    ----------
    id : int
        The revision it led to.
    at : str
        UTC, ISO 8601.
    author : str
        Who.
    action : str
        ``start``, ``change``, ``undo`` or ``redo``.
    label : str
        What, in words.
    reverses : int or None
        For undo and redo: the change it takes back.
    """

    id: int
    at: str
    author: str
    action: str
    label: str
    reverses: int | None = None


def read_row(conn: sqlite3.Connection, kind: str, thing: str) -> Row | None:
    """Read one thing; None when it is not there."""
    if kind in SINGLES:
        found = conn.execute("SELECT document, 0, '' FROM documents WHERE name = ?", (kind,)).fetchone()
    else:
        sql = f"SELECT document, position, {_parent(kind)} FROM {TABLES[kind]} WHERE id = ?"  # noqa: S608  # ours
        found = conn.execute(sql, (thing,)).fetchone()
    return Row(*found) if found else None


def _parent(kind: str) -> str:
    return PARENTS.get(kind, "''")


def all_rows(conn: sqlite3.Connection, kind: str) -> Iterator[tuple[str, Row]]:
    """Read every thing of a kind, in order."""
    sql = f"SELECT id, document, position, {_parent(kind)} FROM {TABLES[kind]} ORDER BY position, id"  # noqa: S608
    for thing, document, position, parent in conn.execute(sql):
        yield thing, Row(document, position, parent)


def ids_on_photo(conn: sqlite3.Connection, kind: str, photo: str) -> list[str]:
    """Ids of the marks or sightings of a photo, in order."""
    sql = f"SELECT id FROM {TABLES[kind]} WHERE photo = ? ORDER BY position"  # noqa: S608  # table name is ours
    return [row[0] for row in conn.execute(sql, (photo,))]


def next_position(conn: sqlite3.Connection, kind: str) -> int:
    """Position after the last of a kind."""
    return int(conn.execute(f"SELECT coalesce(max(position), 0) + 1 FROM {TABLES[kind]}").fetchone()[0])  # noqa: S608


def write_row(conn: sqlite3.Connection, kind: str, thing: str, row: Row | None) -> None:
    """Put a thing into its table, or take it out when the row is None."""
    if kind in SINGLES:
        if row is None and kind not in UNSAID:
            raise SurveyFileError(f"the log would leave the survey without '{kind}'; the file is damaged")
        if row is None:
            conn.execute("DELETE FROM documents WHERE name = ?", (kind,))
            return
        conn.execute("INSERT OR REPLACE INTO documents VALUES (?, ?)", (kind, row.document))
    elif row is None:
        conn.execute(f"DELETE FROM {TABLES[kind]} WHERE id = ?", (thing,))  # noqa: S608  # table name is ours
    else:
        _upsert(conn, kind, thing, row)


def _upsert(conn: sqlite3.Connection, kind: str, thing: str, row: Row) -> None:
    columns = ["id", "position", "document"] + ([PARENTS[kind]] if kind in PARENTS else [])
    values = [thing, row.position, row.document] + ([row.parent] if kind in PARENTS else [])
    changed = ", ".join(f"{name} = excluded.{name}" for name in columns[1:])
    conn.execute(
        f"INSERT INTO {TABLES[kind]} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"  # noqa: S608
        f" ON CONFLICT (id) DO UPDATE SET {changed}",
        values,
    )


def revision(conn: sqlite3.Connection) -> int:
    """Id of the latest change."""
    return int(conn.execute("SELECT coalesce(max(id), 0) FROM changes").fetchone()[0])


def append_change(conn: sqlite3.Connection, change: Change, entries: Sequence[LogEntry]) -> None:
    """Write a change to the log and carry it out.

    Parameters
    ----------
    conn : sqlite3.Connection
        Inside a transaction.
    change : Change
        Its id must be one more than the revision.
    entries : sequence of LogEntry
        What it does.

    Raises
    ------
    SurveyFileError
        If a thing is not as the entry's `before` says.
    """
    conn.execute(
        "INSERT INTO changes VALUES (?, ?, ?, ?, ?, ?)",
        (change.id, change.at, change.author, change.action, change.label, change.reverses),
    )
    for part, entry in enumerate(entries):
        if read_row(conn, entry.kind, entry.thing) != entry.before:
            raise SurveyFileError(f"{entry.kind} '{entry.thing}' is not as the log says; the file was changed by hand")
        conn.execute(
            "INSERT INTO log VALUES (?, ?, ?, ?, ?, ?)",
            (change.id, part, entry.kind, entry.thing, _packed(entry.before), _packed(entry.after)),
        )
        write_row(conn, entry.kind, entry.thing, entry.after)


def _packed(row: Row | None) -> str | None:
    """JSON of a row in the log; the document is already canonical JSON."""
    if row is None:
        return None
    return f'{{"document":{row.document},"parent":{canonical(row.parent)},"position":{row.position}}}'


def _unpacked(text: str | None) -> Row | None:
    if text is None:
        return None
    given = Fields(parse(text, "log"), "log")
    row = Row(canonical(given.take("document")), given.integer("position"), given.text("parent"))
    given.done()
    return row


def entries_of(conn: sqlite3.Connection, change: int) -> list[LogEntry]:
    """Read what a change did, in order."""
    rows = conn.execute("SELECT kind, thing, before, after FROM log WHERE change = ? ORDER BY part", (change,))
    return [LogEntry(kind, thing, _unpacked(before), _unpacked(after)) for kind, thing, before, after in rows]


def read_change(conn: sqlite3.Connection, change: int) -> Change | None:
    """Read one line of the log; None when there is none."""
    row = conn.execute("SELECT * FROM changes WHERE id = ?", (change,)).fetchone()
    return Change(*row) if row else None


def undo_target(conn: sqlite3.Connection, latest: int) -> Change | None:
    """Find the change that an undo takes back; None when there is none.

    Parameters
    ----------
    conn : sqlite3.Connection
        Open on the file.
    latest : int
        Undo as seen right after this change.

    Returns
    -------
    Change or None
        A ``change``, or a ``redo``, which an undo takes back just the same.

    Notes
    -----
    After an undo of change c, what can be undone is what could be undone just
    before c was made. A redo stands for the change it brought back.
    """
    change = read_change(conn, latest)
    while change is not None and change.action == "undo":
        undone = _reversed_by(conn, change)
        while undone.action == "redo":
            undone = _reversed_by(conn, _reversed_by(conn, undone))
        change = read_change(conn, undone.id - 1)
    return change if change is not None and change.action in {"change", "redo"} else None


def redo_target(conn: sqlite3.Connection, latest: int) -> Change | None:
    """Find the undo that a redo takes back; None when there is none.

    Parameters
    ----------
    conn : sqlite3.Connection
        Open on the file.
    latest : int
        Redo as seen right after this change.

    Returns
    -------
    Change or None
        An ``undo``. A change made anew clears what could be redone.
    """
    change = read_change(conn, latest)
    while change is not None and change.action == "redo":
        change = read_change(conn, _reversed_by(conn, change).id - 1)
    return change if change is not None and change.action == "undo" else None


def _reversed_by(conn: sqlite3.Connection, change: Change) -> Change:
    found = read_change(conn, change.reverses) if change.reverses is not None and change.reverses < change.id else None
    if found is None:
        raise SurveyFileError(f"change {change.id} in the log takes back a change that is not there")
    return found
