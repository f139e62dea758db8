"""Everything that changes a survey file, each edit one logged transaction."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from corromap.errors import StaleSurveyError, SurveyFileError
from corromap.frames import DatumId, MarkId, NoteId, PhotoId
from corromap.io import survey_codec as codec
from corromap.io import survey_edits as edits
from corromap.io import survey_rows as rows
from corromap.io.document_fields import Document
from corromap.io.survey_db import writing
from corromap.io.survey_reader import SurveyReader
from corromap.io.survey_record import printable_line, sighting_key, utc_now, write_blob
from corromap.io.survey_rows import Change, LogEntry
from corromap.survey import Car, Mark, Note, Photo, Settings, Sighting

if TYPE_CHECKING:
    from corromap.assessment import RuleSet
    from corromap.io.photo_header import PhotoHeader
    from corromap.template import BodyTemplate

__all__ = [
    "MAX_PHOTO_BYTES",
    "SurveyEditor",
    "photo_from",
    "require_revision",
    "rules_as_document",
    "template_as_document",
]

MAX_PHOTO_BYTES = 256 * 1024 * 1024
"""Largest photo file taken. Ours."""

MAX_LABEL = 500
"""Longest line of the log, in characters. Ours."""


class SurveyEditor(SurveyReader):
    """A survey file to read and to change; see `SurveyFile`.

    Every method saves before it returns. Each takes `expected_revision`, the
    revision this window has seen; when another window has changed the survey
    since, it raises `StaleSurveyError` and changes nothing. Without it the
    change is made on whatever is there.
    """

    # Photos

    def add_photo(self, data: bytes, name: str, source: str = "", *, expected_revision: int | None = None) -> PhotoId:
        """Keep a photo: its bytes untouched, its size and camera from its header.

        The same bytes given again are not kept twice: the photo already there
        is returned.

        Parameters
        ----------
        data : bytes
            The file's bytes.
        name : str
            Its file name.
        source : str
            Whose photo it is.
        expected_revision : int, optional
            Revision this window has seen.

        Returns
        -------
        PhotoId
            ``photo-1``, ``photo-2``, ...; never used again after removal.

        Raises
        ------
        PhotoError
            If it is not a photo, or too large.
        SurveyFileError, StaleSurveyError
            If it could not be saved; nothing was changed.
        """
        from corromap.io.photos import check_photo  # noqa: PLC0415  # Pillow loads only when a photo comes

        photo = photo_from(check_photo(data, name), name, source)
        return self.put_photo(photo, data, expected_revision=expected_revision)

    def put_photo(self, photo: Photo, data: bytes, *, expected_revision: int | None = None) -> PhotoId:
        """Keep a photo whose header was read already; see `add_photo`.

        Parameters
        ----------
        photo : Photo
            Its `id` and `order` are given anew.
        data : bytes
            The file's bytes.
        expected_revision : int, optional
            Revision this window has seen.

        Returns
        -------
        PhotoId
            Its id.

        Raises
        ------
        SurveyFileError, StaleSurveyError
            If it could not be saved; nothing was changed.
        """
        if len(data) > MAX_PHOTO_BYTES:
            raise SurveyFileError(f"photo '{photo.name}': {len(data)} bytes; at most {MAX_PHOTO_BYTES} are taken")
        kept = photo.id

        def entries(conn: sqlite3.Connection) -> list[LogEntry]:
            nonlocal kept
            same = conn.execute("SELECT id FROM photos WHERE sha256 = ?", (photo.sha256,)).fetchone()
            if same:
                kept = PhotoId(same[0])
                return []
            kept = edits.free_photo_id(conn)
            new = replace(photo, id=kept, order=rows.next_position(conn, "photo"))
            write_blob(conn, photo.sha256, data)
            return [edits.entry(conn, "photo", kept, codec.photo_document(new), photo.sha256)]

        self._change(f"photo '{photo.name}' added", entries, expected_revision)
        return kept

    def update_photo(self, photo: Photo, *, expected_revision: int | None = None) -> int:
        """Change what is recorded of a photo; its bytes and size stay.

        Parameters
        ----------
        photo : Photo
            With the id of one that is there.
        expected_revision : int, optional
            Revision this window has seen.

        Returns
        -------
        int
            The new revision.

        Raises
        ------
        SurveyFileError, StaleSurveyError
            If it could not be saved; nothing was changed.
        """
        return self._change(
            f"photo '{photo.name}' changed", lambda conn: edits.photo_changed(conn, photo), expected_revision
        )

    def update_photos(
        self, photos: Iterable[Photo], *, label: str = "photos changed", expected_revision: int | None = None
    ) -> int:
        """Change what is recorded of several photos as one change: a new order, a new source.

        Parameters
        ----------
        photos : iterable of Photo
            Each with the id of one that is there.
        label : str
            What was done, for the log.
        expected_revision : int, optional
            Revision this window has seen.

        Returns
        -------
        int
            The new revision.

        Raises
        ------
        SurveyFileError, StaleSurveyError
            If it could not be saved; nothing was changed.
        """
        changed = list(photos)
        return self._change(
            label, lambda conn: [step for p in changed for step in edits.photo_changed(conn, p)], expected_revision
        )

    def remove_photo(self, photo: PhotoId, *, expected_revision: int | None = None) -> int:
        """Take a photo out, with its marks and sightings; undo brings all back.

        Parameters
        ----------
        photo : PhotoId
            Which photo.
        expected_revision : int, optional
            Revision this window has seen.

        Returns
        -------
        int
            The new revision.

        Raises
        ------
        SurveyFileError, StaleSurveyError
            If it could not be saved; nothing was changed.
        """
        return self._change(
            lambda _, entries: edits.removed_label(entries),
            lambda conn: edits.photo_removed(conn, photo),
            expected_revision,
        )

    # Marks

    def put_mark(self, mark: Mark, *, expected_revision: int | None = None) -> int:
        """Add a mark, or change the one with its id. Returns the new revision."""
        return self.put_marks([mark], expected_revision=expected_revision)

    def put_marks(self, marks: Iterable[Mark], *, expected_revision: int | None = None) -> int:
        """Add or change several marks as one change. Returns the new revision."""
        return self.replace_marks([], marks, expected_revision=expected_revision)

    def remove_mark(self, mark: MarkId, *, expected_revision: int | None = None) -> int:
        """Take a mark out. Returns the new revision."""
        return self.replace_marks([mark], [], expected_revision=expected_revision)

    def replace_marks(
        self, removed: Iterable[MarkId], added: Iterable[Mark], *, expected_revision: int | None = None
    ) -> int:
        """Take marks out and put others in as one change: split, join.

        Parameters
        ----------
        removed : iterable of MarkId
            Marks to take out; must be there.
        added : iterable of Mark
            Marks to add, or to change when their id is there.
        expected_revision : int, optional
            Revision this window has seen.

        Returns
        -------
        int
            The new revision.

        Raises
        ------
        SurveyFileError, StaleSurveyError
            If it could not be saved; nothing was changed.
        """
        out, put = list(removed), list(added)
        return self._change(
            edits.mark_label(out, put), lambda conn: edits.marks_replaced(conn, out, put), expected_revision
        )

    # Sightings, notes, the car, settings, rules

    def put_sighting(self, sighting: Sighting, *, expected_revision: int | None = None) -> int:
        """Add a sighting, or move the one of that photo and datum point. Returns the new revision."""
        thing = sighting_key(sighting.photo, sighting.datum)
        document = codec.sighting_document(sighting)
        return self._change(
            lambda conn, _: edits.sighting_label(conn, sighting.photo, sighting.datum, "placed on"),
            lambda conn: [edits.entry(conn, "sighting", thing, document, sighting.photo)],
            expected_revision,
        )

    def remove_sighting(self, photo: PhotoId, datum: DatumId, *, expected_revision: int | None = None) -> int:
        """Take a sighting out. Returns the new revision."""
        return self._change(
            lambda conn, _: edits.sighting_label(conn, photo, datum, "taken off"),
            lambda conn: [edits.removal(conn, "sighting", sighting_key(photo, datum))],
            expected_revision,
        )

    def put_note(self, note: Note, *, expected_revision: int | None = None) -> int:
        """Add a note, or change the one with its id. Returns the new revision."""
        document = codec.note_document(note)
        return self._change(
            "note written", lambda conn: [edits.entry(conn, "note", note.id, document)], expected_revision
        )

    def remove_note(self, note: NoteId, *, expected_revision: int | None = None) -> int:
        """Take a note out. Returns the new revision."""
        return self._change("note removed", lambda conn: [edits.removal(conn, "note", note)], expected_revision)

    def set_car(self, car: Car, *, expected_revision: int | None = None) -> int:
        """Change what is recorded of the car. Returns the new revision."""
        return self._set("car", codec.car_document(car), "car details changed", expected_revision)

    def set_settings(self, settings: Settings, *, expected_revision: int | None = None) -> int:
        """Change the error sizes. Returns the new revision."""
        return self._set("settings", codec.settings_document(settings), "settings changed", expected_revision)

    def set_template(
        self, template: BodyTemplate | Mapping[str, object], *, expected_revision: int | None = None
    ) -> int:
        """Choose another body template, as long as nothing hangs on the old one.

        Parameters
        ----------
        template : BodyTemplate or mapping
            Copied into the file. Another revision of the same template is
            taken whenever it still has everything the survey names.
        expected_revision : int, optional
            Revision this window has seen.

        Returns
        -------
        int
            The new revision.

        Raises
        ------
        TemplateError
            If it is not a template.
        SurveyFileError, StaleSurveyError
            If sightings, marks or notes hang on the old one; nothing was
            changed.
        """
        document = template_as_document(template)
        return self._change(
            f"template '{document['id']}' chosen",
            lambda conn: edits.template_changed(conn, document),
            expected_revision,
        )

    def set_rules(self, rules: RuleSet | Mapping[str, object], *, expected_revision: int | None = None) -> int:
        """Change the rule set in force. Returns the new revision."""
        return self._set("rules", rules_as_document(rules), "rule set changed", expected_revision)

    def _set(self, kind: str, document: Document, label: str, expected: int | None) -> int:
        return self._change(label, lambda conn: [edits.entry(conn, kind, kind, document)], expected)

    def _change(
        self,
        label: str | Callable[[sqlite3.Connection, Sequence[LogEntry]], str],
        make: Callable[[sqlite3.Connection], Sequence[LogEntry]],
        expected: int | None,
    ) -> int:
        with writing(self.path) as conn:
            latest = require_revision(conn, expected)
            entries = [step for step in make(conn) if step.before != step.after]
            if entries:  # saying the same again is no change
                latest += 1
                line = printable_line(label if isinstance(label, str) else label(conn, entries), MAX_LABEL)
                rows.append_change(conn, Change(latest, utc_now(), self.author, "change", line), entries)
        self.known_revision = latest
        return latest


def require_revision(conn: sqlite3.Connection, expected: int | None) -> int:
    """Revision of the file, which must be the one this window has seen.

    Raises
    ------
    StaleSurveyError
        If another window changed the survey since.
    """
    latest = rows.revision(conn)
    if expected is not None and expected != latest:
        last = rows.read_change(conn, latest)
        what = f"'{last.label}' by '{last.author}' at {last.at}" if last else "something"
        raise StaleSurveyError(
            f"the survey was changed in another window since it was read here ({what}); "
            "nothing was written over it: look at the new state, then make the change again"
        )
    return latest


def photo_from(header: PhotoHeader, name: str, source: str = "") -> Photo:
    """Photo as its header describes it; the id is given when it is kept."""
    size = int(header.width_px), int(header.height_px)
    return Photo(PhotoId("new"), name, header.sha256, *size, header.camera, header.focal_px, header.taken_at, source)


def template_as_document(template: BodyTemplate | Mapping[str, object]) -> Document:
    """Write a template as a document; one given as a document is checked first."""
    from corromap.io.templates import parse_template, template_document  # noqa: PLC0415  # opening goes without

    if not isinstance(template, Mapping):
        return template_document(template)
    parse_template(template)  # refuses what is not a template
    return dict(template)


def rules_as_document(rules: RuleSet | Mapping[str, object]) -> Document:
    """Write a rule set as a document; one given as a document is checked first."""
    from corromap.assessment import RuleSet  # noqa: PLC0415  # opening goes without

    return (RuleSet.from_document(rules) if isinstance(rules, Mapping) else rules).to_document()
