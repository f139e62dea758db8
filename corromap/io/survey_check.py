"""Looking for damage in a survey file, all of it, without changing anything."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

from corromap.errors import CorromapError
from corromap.io import survey_rows as rows
from corromap.io.survey_db import reading
from corromap.io.survey_record import SurveyRecord, checked_blob, read_record, reference_faults

__all__ = ["file_faults"]


def file_faults(path: Path) -> tuple[str, ...]:
    """Look for damage: pages, rows, template, rule set, log, each photo's bytes.

    Parameters
    ----------
    path : Path
        The survey file.

    Returns
    -------
    tuple of str
        One sentence for each fault.

    Raises
    ------
    SurveyFileError
        If the file cannot be opened at all.
    """
    with reading(path) as conn:
        pages = [row[0] for row in conn.execute("PRAGMA integrity_check(20)") if row[0] != "ok"]
        if pages:
            return tuple(f"damaged pages: {line}" for line in pages)
        return (*_record_faults(conn), *_log_faults(conn), *_blob_faults(conn))


def _record_faults(conn: sqlite3.Connection) -> list[str]:
    try:
        record = read_record(conn)
    except CorromapError as error:
        return [str(error)]
    return _told(lambda: reference_faults(record)) + _told(lambda: _rule_faults(record))


def _rule_faults(record: SurveyRecord) -> list[str]:
    record.rates  # noqa: B018  # reads and checks it
    return [] if record.rules.rules else ["rule set: holds no rule"]


def _told(look: Callable[[], list[str]]) -> list[str]:
    try:
        return look()
    except CorromapError as error:
        return [str(error)]


def _log_faults(conn: sqlite3.Connection) -> list[str]:
    """Follow the log from its start to what is there now."""
    state: dict[tuple[str, str], rows.Row] = {}
    faults = []
    for (change,) in conn.execute("SELECT id FROM changes ORDER BY id").fetchall():
        for step in rows.entries_of(conn, change):
            key = (step.kind, step.thing)
            if state.get(key) != step.before:
                faults.append(f"log, change {change}: {step.kind} '{step.thing:.60}' was not as it says")
            state.pop(key, None)
            if step.after is not None:
                state[key] = step.after
    now = {(kind, thing): row for kind in rows.TABLES for thing, row in rows.all_rows(conn, kind)}
    now |= {(kind, kind): row for kind in rows.SINGLES if (row := rows.read_row(conn, kind, kind))}
    different = sorted(key for key in now.keys() | state.keys() if now.get(key) != state.get(key))
    return faults + [f"{kind} '{thing:.60}' is not as the log left it" for kind, thing in different[:20]]


def _blob_faults(conn: sqlite3.Connection) -> list[str]:
    names = dict(conn.execute("SELECT sha256, id FROM photos"))
    faults = []
    for (sha256,) in conn.execute("SELECT sha256 FROM blobs ORDER BY sha256").fetchall():
        try:
            checked_blob(conn, sha256, f"photo '{names.get(sha256, 'removed')}'")
        except CorromapError as error:
            faults.append(str(error))
    return faults
