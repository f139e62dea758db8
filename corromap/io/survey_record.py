"""A whole survey read from, or written to, an open survey file."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, cast

from corromap import __version__
from corromap.errors import InterchangeError, InvalidValueError, SurveyFileError
from corromap.frames import DatumId, PhotoId
from corromap.io import survey_codec as codec
from corromap.io import survey_rows as rows
from corromap.io.strict_json import canonical, parse
from corromap.io.survey_rows import LogEntry, Row
from corromap.survey import Survey

if TYPE_CHECKING:
    from corromap.assessment import RuleSet
    from corromap.template import BodyTemplate

__all__ = ["SurveyRecord", "read_blob", "read_record", "sighting_key", "write_blob", "write_head"]

Document = dict[str, object]


@dataclass(frozen=True, eq=False)
class SurveyRecord:
    """What a survey file holds, photo bytes aside.

    Parameters
    ----------
    survey : Survey
        What was recorded.
    template_document, rules_document : dict
        The copies of the body template and of the rule set.
    revision : int
        Of the file when it was read; give it to the next change as
        `expected_revision`.
    """

    survey: Survey
    template_document: Document
    rules_document: Document
    revision: int

    @cached_property
    def template(self) -> BodyTemplate:
        """The survey's own copy of its body template."""
        from corromap.io.templates import parse_template  # noqa: PLC0415  # the file opens without it

        return parse_template(self.template_document)

    @cached_property
    def rules(self) -> RuleSet:
        """The survey's own copy of its rule set."""
        from corromap.assessment import RuleSet  # noqa: PLC0415  # the file opens without it

        return RuleSet.from_document(self.rules_document)


_PARSERS: Mapping[str, Callable[[object, str], Any]] = {
    "photo": codec.parse_photo,
    "mark": codec.parse_mark,
    "sighting": codec.parse_sighting,
    "note": codec.parse_note,
    "car": codec.parse_car,
    "settings": codec.parse_settings,
    "rules": codec.parse_object,
    "template": codec.parse_object,
}


def sighting_key(photo: PhotoId, datum: DatumId) -> str:
    """Id under which a sighting is kept: one for each photo and datum point."""
    return f"{photo}/{datum}"


def checked_text(kind: str, document: object) -> str:
    """Canonical JSON of a document that the reader of its kind accepts.

    Raises
    ------
    SurveyFileError
        If it could not be read back.
    """
    try:
        text = canonical(document)
        _PARSERS[kind](parse(text, kind), kind)
    except InterchangeError as error:
        raise SurveyFileError(f"{error}; nothing was changed") from error
    return text


def entry(conn: sqlite3.Connection, kind: str, thing: str, document: Document, parent: str = "") -> LogEntry:
    """Log entry that adds a thing, or changes it where it stands."""
    before = rows.read_row(conn, kind, thing)
    if kind in {"mark", "sighting"}:
        required(conn, "photo", parent)
    position = before.position if before else 0 if kind in rows.SINGLES else rows.next_position(conn, kind)
    return LogEntry(kind, thing, before, Row(checked_text(kind, document), position, parent))


def placed_in_order(entries: list[LogEntry]) -> list[LogEntry]:
    """Give things that are new to their table one position after the other."""
    placed: list[LogEntry] = []
    offset = 0
    for new in entries:
        if new.before is None and new.after is not None:
            placed.append(replace(new, after=replace(new.after, position=new.after.position + offset)))
            offset += 1
        else:
            placed.append(new)
    return placed


def removal(conn: sqlite3.Connection, kind: str, thing: str) -> LogEntry:
    """Log entry that takes a thing out; it must be there."""
    return LogEntry(kind, thing, required(conn, kind, thing), None)


def required(conn: sqlite3.Connection, kind: str, thing: str) -> Row:
    """Row of a thing that must be there.

    Raises
    ------
    SurveyFileError
        If it is not.
    """
    found = rows.read_row(conn, kind, thing)
    if found is None:
        raise SurveyFileError(f"there is no {kind} '{thing:.80}' in this survey; it may have been removed meanwhile")
    return found


def read_record(conn: sqlite3.Connection) -> SurveyRecord:
    """Read and check everything but photo bytes.

    Parameters
    ----------
    conn : sqlite3.Connection
        In a transaction on a file whose schema was checked.

    Returns
    -------
    SurveyRecord
        The survey.

    Raises
    ------
    SurveyFileError, InterchangeError
        If anything is not valid.
    """
    head = conn.execute("SELECT id FROM survey").fetchone()
    if head is None:
        raise SurveyFileError("holds no survey; the file is damaged")
    single = {kind: _single(conn, kind) for kind in ("car", "settings", "template", "rules")}
    photos = sorted(_things(conn, "photo"), key=lambda photo: photo.order)  # stable: then by position
    try:
        survey = Survey(
            codec.checked_id(head[0], "survey.id"),
            single["car"],
            tuple(photos),
            tuple(_things(conn, "mark")),
            tuple(_things(conn, "sighting")),
            tuple(_things(conn, "note")),
            single["settings"],
        )
    except InvalidValueError as error:
        raise SurveyFileError(f"is damaged: {error}") from error
    return SurveyRecord(survey, single["template"], single["rules"], rows.revision(conn))


def _single(conn: sqlite3.Connection, kind: str) -> Any:  # noqa: ANN401  # by kind
    found = conn.execute("SELECT document FROM documents WHERE name = ?", (kind,)).fetchone()
    if found is None:
        raise SurveyFileError(f"lacks its {kind}; the file is damaged")
    return _PARSERS[kind](parse(found[0], kind), kind)


def _things(conn: sqlite3.Connection, kind: str) -> list[Any]:
    return [checked_row(kind, thing, row) for thing, row in rows.all_rows(conn, kind)]


def checked_row(kind: str, thing: str, row: Row) -> Any:  # noqa: ANN401  # by kind
    """Value of a row, after checking that its columns say what it says.

    Raises
    ------
    SurveyFileError, InterchangeError
        If they do not, or the document is not valid.
    """
    where = f"{kind} '{thing:.80}'"
    value = _PARSERS[kind](parse(row.document, where), where)
    key = sighting_key(value.photo, value.datum) if kind == "sighting" else value.id
    parent = {"photo": "sha256", "mark": "photo", "sighting": "photo"}.get(kind)
    if key != thing or (parent and getattr(value, parent) != row.parent):
        raise SurveyFileError(f"{where}: the row says one thing and its document another; the file is damaged")
    return value


def write_head(conn: sqlite3.Connection, survey_id: str, created_at: str, template: Document) -> None:
    """Write what a survey has once and for life: its id and its template."""
    conn.execute("INSERT INTO survey VALUES (1, ?, ?, ?)", (survey_id, created_at, __version__))
    conn.execute("INSERT INTO documents VALUES ('template', ?)", (checked_text("template", template),))


def write_blob(conn: sqlite3.Connection, sha256: str, data: bytes) -> None:
    """Keep a photo's bytes, once; bytes of a removed photo stay, so that undo brings them back."""
    conn.execute("INSERT OR IGNORE INTO blobs VALUES (?, ?, ?)", (sha256, len(data), data))


def read_blob(conn: sqlite3.Connection, photo: str) -> bytes:
    """Read a photo's bytes and check them.

    Raises
    ------
    SurveyFileError
        If there is no such photo, or its bytes are not what was kept.
    """
    sha256 = required(conn, "photo", photo).parent
    found = conn.execute("SELECT content FROM blobs WHERE sha256 = ?", (sha256,)).fetchone()
    if found is None or hashlib.sha256(found[0]).hexdigest() != sha256:
        raise SurveyFileError(f"photo '{photo}': its bytes have changed on the disk; go back to a copy of the file")
    return cast("bytes", found[0])
