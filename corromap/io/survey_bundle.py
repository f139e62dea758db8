"""A whole survey on its way from one form to another: file, stranger's file, folder.

A bundle is everything a survey file holds. Writing one replays its log entry
by entry into a fresh file, so a log that does not fit together is found before
anything of it is used, and undo works in the copy as it did in the original.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from corromap.errors import SurveyFileError
from corromap.frames import PhotoId
from corromap.io import survey_codec as codec
from corromap.io import survey_edits as edits
from corromap.io import survey_rows as rows
from corromap.io.document_fields import Document
from corromap.io.json_text import canonical
from corromap.io.migrations import create_schema
from corromap.io.survey_db import new_database, reading
from corromap.io.survey_kinds import KINDS, earlier_document
from corromap.io.survey_record import (
    SurveyHead,
    SurveyRecord,
    checked_blob,
    checked_row,
    checked_text,
    printable_line,
    read_head,
    read_record,
    sighting_key,
    utc_now,
    write_blob,
    write_head,
)
from corromap.io.survey_rows import ACTIONS, Change, LogEntry
from corromap.survey import Survey

__all__ = ["LoggedChange", "SurveyBundle", "bundle_of", "check_bundle", "opened_bundle", "write_bundle"]

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class LoggedChange:
    """One change with what it did.

    Parameters
    ----------
    change : Change
        Who, when, what.
    entries : tuple of LogEntry
        Each thing before and after.
    """

    change: Change
    entries: tuple[LogEntry, ...]


@dataclass(frozen=True, eq=False)
class SurveyBundle:
    """Everything of a survey.

    Parameters
    ----------
    record : SurveyRecord
        What is recorded now.
    head : SurveyHead
        Its id and birth.
    log : tuple of LoggedChange
        How it came to be; empty when nobody kept a log.
    removed : tuple of str
        SHA-256 of the photos that were removed and can come back by undo.
    blob : callable
        SHA-256 to bytes, checked.
    """

    record: SurveyRecord
    head: SurveyHead
    log: tuple[LoggedChange, ...]
    removed: tuple[str, ...]
    blob: Callable[[str], bytes]

    def photo_bytes(self, photo: PhotoId) -> bytes:
        """Original bytes of a photo.

        Parameters
        ----------
        photo : PhotoId
            Which photo.

        Returns
        -------
        bytes
            Checked against its SHA-256.
        """
        return self.blob(self.record.survey.photo_by_id[photo].sha256)

    @property
    def digests(self) -> tuple[str, ...]:
        """SHA-256 of every photo, removed ones last, each once."""
        return tuple(dict.fromkeys([*(photo.sha256 for photo in self.record.survey.photos), *self.removed]))


@contextmanager
def opened_bundle(path: Path, *, history: bool = True) -> Iterator[SurveyBundle]:
    """Read a survey file as a bundle; bytes are read when asked for.

    Parameters
    ----------
    path : Path
        The survey file.
    history : bool
        False leaves out the log and the removed photos.

    Yields
    ------
    SurveyBundle
        Usable inside the ``with`` block.

    Raises
    ------
    SurveyFileError
        If anything in it is not valid.
    """
    with reading(path) as conn:
        yield bundle_of(conn, history=history)


def bundle_of(conn: sqlite3.Connection, *, history: bool = True) -> SurveyBundle:
    """Bundle of an open, checked file; see `opened_bundle`."""
    record = read_record(conn)
    kept = {photo.sha256 for photo in record.survey.photos}
    digests = [row[0] for row in conn.execute("SELECT sha256 FROM blobs ORDER BY sha256")]
    removed = tuple(digest for digest in digests if digest not in kept)
    log = tuple(
        LoggedChange(Change(*row), tuple(rows.entries_of(conn, row[0])))
        for row in conn.execute("SELECT * FROM changes ORDER BY id").fetchall()
    )
    return SurveyBundle(
        record,
        read_head(conn),
        log if history else (),
        removed if history else (),
        lambda sha256: checked_blob(conn, sha256, f"photo with SHA-256 {sha256[:12]}..."),
    )


def check_bundle(bundle: SurveyBundle) -> None:
    """Follow a bundle's log before anything is written anywhere.

    Parameters
    ----------
    bundle : SurveyBundle
        From a folder or a stranger.

    Raises
    ------
    SurveyFileError, InterchangeError
        If the log contradicts itself.
    """
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as conn:
        create_schema(conn)
        write_head(conn, bundle.head)
        for logged in bundle.log:
            _replay(conn, logged)


def write_bundle(path: Path, bundle: SurveyBundle, author: str, label: str, progress: Progress | None = None) -> None:
    """Write a bundle as a fresh survey file; it appears whole or not at all.

    Parameters
    ----------
    path : Path
        The file to be.
    bundle : SurveyBundle
        What goes in.
    author : str
        Who brings it in.
    label : str
        What the log says where the bundle's own log does not lead to what the
        bundle holds (somebody edited it), or where it has none.
    progress : callable, optional
        Called with (photos done, photos in all).

    Raises
    ------
    SurveyFileError
        If the bundle contradicts itself or the file cannot be written.
    """
    with new_database(path) as conn:
        write_head(conn, bundle.head)
        _write_blobs(conn, bundle, progress)
        for logged in bundle.log:
            _replay(conn, logged)
        _settle(conn, bundle.record, author, label)
        read_record(conn)


def _write_blobs(conn: sqlite3.Connection, bundle: SurveyBundle, progress: Progress | None) -> None:
    digests = bundle.digests
    for done, sha256 in enumerate(digests):
        data = bundle.blob(sha256)
        if hashlib.sha256(data).hexdigest() != sha256:
            raise SurveyFileError(f"photo with SHA-256 {sha256[:12]}...: its bytes are not what the survey says")
        write_blob(conn, sha256, data)
        if progress:
            progress(done + 1, len(digests))


def _replay(conn: sqlite3.Connection, logged: LoggedChange) -> None:
    change = logged.change
    latest = rows.revision(conn)
    if change.id != latest + 1 or (change.action == "start") != (latest == 0):
        raise SurveyFileError(f"the log has change {change.id} ({change.action}) after change {latest}")
    if change.action not in ACTIONS:
        raise SurveyFileError(f"the log's change {change.id} is '{change.action:.40}', not {', '.join(ACTIONS)}")
    if (change.reverses is not None) != (change.action in {"undo", "redo"}) or (change.reverses or 0) > latest:
        raise SurveyFileError(f"the log's change {change.id} ({change.action}) takes back change {change.reverses}")
    for step in logged.entries:
        if step.kind not in rows.TABLES and (step.kind not in rows.SINGLES or step.thing != step.kind):
            raise SurveyFileError(f"the log's change {change.id} is about '{step.kind:.40}', which has no log")
        for row in (step.before, step.after):
            if row is not None:
                checked_row(step.kind, step.thing, row)
    rows.append_change(conn, change, logged.entries)


def _settle(conn: sqlite3.Connection, record: SurveyRecord, author: str, label: str) -> None:
    """Bring the rows to what the record says, as one more change when they differ."""
    steps = [step for step in _differences(conn, record) if step.before != step.after]
    latest = rows.revision(conn)
    if steps or latest == 0:
        action = "change" if latest else "start"
        rows.append_change(conn, Change(latest + 1, utc_now(), printable_line(author, 200), action, label), steps)


def _differences(conn: sqlite3.Connection, record: SurveyRecord) -> Iterator[LogEntry]:
    survey = record.survey
    for kind, document in (
        ("car", codec.car_document(survey.car)),
        ("settings", codec.settings_document(survey.settings)),
        ("template", record.template_document),
        ("rules", record.rules_document),
        ("rates", record.rates_document),
        ("earlier", earlier_document(survey.earlier_record)),
    ):
        if not _says_the_same(conn, kind, document):
            yield edits.entry(conn, kind, kind, document)
    for kind, wanted in _wanted(survey):
        yield from _table_differences(conn, kind, wanted)


def _says_the_same(conn: sqlite3.Connection, kind: str, document: Document) -> bool:
    """Whether what is there stands for the same: an earlier version left out what it did not know."""
    row = rows.read_row(conn, kind, kind)
    text = row.document if row else rows.UNSAID.get(kind)
    return text is not None and checked_row(kind, kind, rows.Row(text)) == checked_row(
        kind, kind, rows.Row(canonical(document))
    )


def _wanted(survey: Survey) -> Iterable[tuple[str, dict[str, tuple[Document, str]]]]:
    yield "photo", {p.id: (codec.photo_document(p), p.sha256) for p in survey.photos}
    yield "mark", {m.id: (codec.mark_document(m), m.photo) for m in survey.marks}
    sightings = {sighting_key(s.photo, s.datum): (codec.sighting_document(s), s.photo) for s in survey.sightings}
    yield "sighting", dict(sightings)
    yield "note", {n.id: (codec.note_document(n), "") for n in survey.notes}
    for kind in KINDS.values():
        yield kind.name, {value.id: (kind.write(value), "") for value in getattr(survey, kind.key)}


def _table_differences(
    conn: sqlite3.Connection, kind: str, wanted: dict[str, tuple[Document, str]]
) -> Sequence[LogEntry]:
    have = dict(rows.all_rows(conn, kind))
    gone = [LogEntry(kind, thing, row, None) for thing, row in have.items() if thing not in wanted]
    place = rows.next_position(conn, kind)
    made = []
    for thing, (document, parent) in wanted.items():
        before = have.get(thing)
        position = before.position if before else place
        place += before is None
        if before != (same := rows.Row(canonical(document), position, parent)):
            made.append(LogEntry(kind, thing, before, replace(same, document=checked_text(kind, document))))
    return gone + made
