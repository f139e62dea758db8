"""What each edit does to the rows: lists of log entries, made inside the transaction."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import replace

from corromap.errors import SurveyFileError
from corromap.frames import DatumId, MarkId, PhotoId
from corromap.io import survey_codec as codec
from corromap.io import survey_rows as rows
from corromap.io.document_fields import Document, Fields
from corromap.io.survey_kinds import KINDS, photos_of
from corromap.io.survey_record import checked_text, read_record, reference_faults
from corromap.io.survey_rows import LogEntry, Row
from corromap.survey import Mark, Photo

__all__ = [
    "entry",
    "free_photo_id",
    "mark_label",
    "marks_replaced",
    "photo_changed",
    "photo_removed",
    "removal",
    "removed_label",
    "sighting_label",
    "template_changed",
]


def entry(conn: sqlite3.Connection, kind: str, thing: str, document: Document, parent: str = "") -> LogEntry:
    """Log entry that adds a thing, or changes it where it stands.

    Raises
    ------
    SurveyFileError
        If its photo is not there, or it could not be read back.
    """
    before = rows.read_row(conn, kind, thing)
    if kind in {"mark", "sighting"}:
        required(conn, "photo", parent)
    if kind in KINDS:
        _require_named(conn, KINDS[kind].read(document, kind))
    position = before.position if before else _last_place(conn, kind)
    return LogEntry(kind, thing, before, Row(checked_text(kind, document), position, parent))


def _require_named(conn: sqlite3.Connection, value: object) -> None:
    illustrated = getattr(value, "photo", None)
    for photo in dict.fromkeys((*photos_of(value), *([illustrated] if illustrated else []))):
        required(conn, "photo", photo)
    if (mark := getattr(value, "mark", None)) is not None:
        required(conn, "mark", mark)


def _last_place(conn: sqlite3.Connection, kind: str) -> int:
    return 0 if kind in rows.SINGLES else rows.next_position(conn, kind)


def placed_in_order(entries: Sequence[LogEntry]) -> list[LogEntry]:
    """Give things that are new to one table one position after the other."""
    placed: list[LogEntry] = []
    fresh = 0
    for made in entries:
        if made.before is None and made.after is not None:
            placed.append(replace(made, after=replace(made.after, position=made.after.position + fresh)))
            fresh += 1
        else:
            placed.append(made)
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


def free_photo_id(conn: sqlite3.Connection) -> PhotoId:
    """Next of photo-1, photo-2, ... that was never used, also not by a photo removed since."""
    number = 1
    while conn.execute("SELECT 1 FROM log WHERE kind = 'photo' AND thing = ? LIMIT 1", (f"photo-{number}",)).fetchone():
        number += 1
    return PhotoId(f"photo-{number}")


def photo_changed(conn: sqlite3.Connection, photo: Photo) -> list[LogEntry]:
    """Change what is recorded of a photo, never its picture."""
    if required(conn, "photo", photo.id).parent != photo.sha256:
        raise SurveyFileError(f"photo '{photo.name}': its picture cannot be exchanged; add it as a new photo")
    return [entry(conn, "photo", photo.id, codec.photo_document(photo), photo.sha256)]


def photo_removed(conn: sqlite3.Connection, photo: PhotoId) -> list[LogEntry]:
    """Take out a photo and what was recorded on it."""
    gone = [removal(conn, "photo", photo)]
    for kind in ("mark", "sighting"):
        gone += [removal(conn, kind, thing) for thing in rows.ids_on_photo(conn, kind, photo)]
    marks = {step.thing for step in gone if step.kind == "mark"}
    return gone + _hanging(conn, photo, marks)


def _hanging(conn: sqlite3.Connection, photo: PhotoId | None, marks: set[str]) -> list[LogEntry]:
    """Take out what goes with a photo and with marks; findings only lose their photo."""
    steps = []
    for kind in KINDS.values():
        for thing, row in rows.all_rows(conn, kind.name):
            value = kind.read(codec.stored(row.document), thing)
            named = photos_of(value)
            if (photo is not None and photo in named) or getattr(value, "mark", None) in marks:
                steps.append(removal(conn, kind.name, thing))
            elif photo is not None and not named and getattr(value, "photo", None) == photo:
                steps.append(entry(conn, kind.name, thing, kind.write(replace(value, photo=None))))
    return steps


def removed_label(entries: Sequence[LogEntry]) -> str:
    """Words for the log: which photo was taken out, by its name, and what went with it."""
    photo, *others = entries
    name = codec.parse_photo(codec.stored(photo.before.document), "photo").name if photo.before else photo.thing
    drawn = sum(step.kind in {"mark", "sighting"} for step in others)
    hanging = sum(step.after is None for step in others) - drawn
    also = f" with {drawn} marks and datum points on it" if drawn else ""
    ties = f" and {hanging} ties, scales and settled disagreements" if hanging else ""
    return f"photo '{name:.200}' removed{also}{ties}"


def sighting_label(conn: sqlite3.Connection, photo: PhotoId, datum: DatumId, done: str) -> str:
    """Words for the log: which datum point, by its name, and what was done with it on which photo."""
    on = codec.parse_photo(codec.stored(required(conn, "photo", photo).document), "photo").name
    body = Fields(codec.stored(required(conn, "template", "template").document), "template")
    panels = (Fields(panel, "panel") for panel in body.items("panels"))
    points = (Fields(point, "datum point") for panel in panels for point in panel.items("datum_points"))
    name = next((point.text("name") for point in points if point.text("id") == datum), datum)
    return f"datum point '{name:.200}' {done} '{on:.200}'"


def marks_replaced(conn: sqlite3.Connection, removed: Sequence[MarkId], put: Sequence[Mark]) -> list[LogEntry]:
    """Take marks out and put others in; a mark in both lists is changed."""
    latest = {mark.id: mark for mark in put}
    gone = [removal(conn, "mark", mark) for mark in dict.fromkeys(removed) if mark not in latest]
    gone += _hanging(conn, None, {step.thing for step in gone})
    made = [entry(conn, "mark", mark.id, codec.mark_document(mark), mark.photo) for mark in latest.values()]
    return gone + placed_in_order(made)


def template_changed(conn: sqlite3.Connection, document: Document) -> list[LogEntry]:
    """Exchange the template, unless something recorded hangs on the old one.

    Raises
    ------
    SurveyFileError
        If something does: the same word on another body is another place.
    """
    old = read_record(conn)
    survey = old.survey
    named = [
        *survey.sightings,
        *(m for m in survey.marks if m.panels),
        *(n for n in survey.notes if n.zone),
        *survey.hand_findings,
        *survey.lengths,
        *survey.scales,
        *(t for t in survey.ties if t.panel),
    ]
    if named and document.get("id") != old.template_document.get("id"):
        raise SurveyFileError(
            f"the template cannot be exchanged: {len(survey.sightings)} placed datum points and "
            f"{len(named) - len(survey.sightings)} marks, notes, findings, lengths, scales or ties belong to "
            f"'{old.template_document.get('id')}'; "
            "remove them first, or start another survey"
        )
    faults = reference_faults(replace(old, template_document=document))
    if faults:
        raise SurveyFileError(f"the template cannot be exchanged: {faults[0]}")
    return [entry(conn, "template", "template", document)]


def mark_label(removed: Sequence[MarkId], put: Sequence[Mark]) -> str:
    """Words for the log: what was done to marks."""
    kinds = ", ".join(sorted({mark.kind.value for mark in put}))
    if not put:
        return "mark removed" if len(removed) == 1 else f"{len(removed)} marks removed"
    if not removed:
        return f"{kinds} mark drawn" if len(put) == 1 else f"{len(put)} marks drawn ({kinds})"
    if len(removed) == 1:
        return f"{kinds} mark split into {len(put)}"
    return f"{len(removed)} marks {'joined' if len(put) == 1 else 'replaced'} ({kinds})"
