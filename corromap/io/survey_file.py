"""The survey file: one car's survey in one file, saved as it is made.

Every method that changes something is one logged transaction: when it returns,
the change is on the disk, and it can be undone tomorrow. A window that has not
seen another window's change is told so instead of writing over it.
"""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from corromap.errors import StaleSurveyError, SurveyFileError
from corromap.frames import DatumId, MarkId, NoteId, PhotoId
from corromap.io import survey_codec as codec
from corromap.io import survey_edits as edits
from corromap.io import survey_rows as rows
from corromap.io.json_text import parse
from corromap.io.migrations import CURRENT_VERSION
from corromap.io.survey_db import new_database, stored_version, with_suffix, writing
from corromap.io.survey_reader import SurveyReader
from corromap.io.survey_record import (
    SurveyHead,
    SurveyRecord,
    checked_text,
    sighting_key,
    utc_now,
    write_blob,
    write_head,
)
from corromap.io.survey_rows import Change, LogEntry, Row
from corromap.survey import Car, Mark, Note, Photo, Settings, Sighting

if TYPE_CHECKING:
    from corromap.assessment import RuleSet
    from corromap.io.photo_header import PhotoHeader
    from corromap.template import BodyTemplate

__all__ = ["MAX_PHOTO_BYTES", "SurveyFile", "SurveyRecord", "new_id"]

MAX_PHOTO_BYTES = 256 * 1024 * 1024
"""Largest photo file taken. Ours: four times a 100-megapixel TIFF's JPEG."""

Document = dict[str, object]


def new_id(prefix: str) -> str:
    """Make an id that no other window will make.

    Parameters
    ----------
    prefix : str
        ``mark`` or ``note``.

    Returns
    -------
    str
        For example ``mark-5f3a09c1d2e4``.
    """
    return f"{prefix}-{secrets.token_hex(6)}"


class SurveyFile(SurveyReader):
    """One survey file, opened by one window, with everything that changes it.

    Make it with `create` or `open`. Parameters and attributes are those of
    `SurveyReader`.
    """

    @classmethod
    def create(
        cls,
        path: Path | str,
        template: BodyTemplate | Mapping[str, object],
        rules: RuleSet | Mapping[str, object],
        car: Car | None = None,
        *,
        author: str = "",
    ) -> SurveyFile:
        """Make a new survey file; it appears whole or not at all.

        Parameters
        ----------
        path : Path or str
            Where; ``.corromap`` is added when it is missing.
        template : BodyTemplate or mapping
            Copied into the file.
        rules : RuleSet or mapping
            Copied into the file.
        car : Car, optional
            The car and the occasion.
        author : str
            Who.

        Returns
        -------
        SurveyFile
            Ready for photos.

        Raises
        ------
        SurveyFileError
            If the file is already there, or its folder cannot be written.
        """
        where = with_suffix(path)
        template_document, rules_document = _template_document(template), _rules_document(rules)
        name = str(template_document.get("name", template_document.get("id", "")))
        singles = {
            "car": codec.car_document(car or Car()),
            "settings": codec.settings_document(Settings()),
            "rules": rules_document,
        }
        entries = [LogEntry(kind, kind, None, Row(checked_text(kind, doc))) for kind, doc in singles.items()]
        start = Change(1, utc_now(), author, "start", f"survey started on template '{name}'")
        with new_database(where) as conn:
            write_head(conn, SurveyHead(new_id("survey"), start.at), template_document)
            rows.append_change(conn, start, entries)
        return cls.open(where, author=author)

    @classmethod
    def open(cls, path: Path | str, *, author: str = "") -> SurveyFile:
        """Open a survey file, bringing an older one up to date.

        Parameters
        ----------
        path : Path or str
            The file.
        author : str
            Who, as the log will show it.

        Returns
        -------
        SurveyFile
            With `known_revision` set.

        Raises
        ------
        SurveyFileError
            If it is not there, damaged, not a survey file, or holds anything
            corromap did not put there.
        NewerSchemaError
            If a later version wrote it.
        """
        opened = cls(Path(path), author)
        if stored_version(opened.path) != CURRENT_VERSION:
            with writing(opened.path):
                pass  # migrates
        opened.known_revision = opened.revision
        return opened

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
            f"photo '{photo}' removed", lambda conn: edits.photo_removed(conn, photo), expected_revision
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
            f"datum point '{sighting.datum}' placed on '{sighting.photo}'",
            lambda conn: [edits.entry(conn, "sighting", thing, document, sighting.photo)],
            expected_revision,
        )

    def remove_sighting(self, photo: PhotoId, datum: DatumId, *, expected_revision: int | None = None) -> int:
        """Take a sighting out. Returns the new revision."""
        return self._change(
            f"datum point '{datum}' taken off '{photo}'",
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

    def set_rules(self, rules: RuleSet | Mapping[str, object], *, expected_revision: int | None = None) -> int:
        """Change the rule set in force. Returns the new revision."""
        return self._set("rules", _rules_document(rules), "rule set changed", expected_revision)

    def _set(self, kind: str, document: Document, label: str, expected: int | None) -> int:
        return self._change(label, lambda conn: [edits.entry(conn, kind, kind, document)], expected)

    # Undo

    def undo(self, *, expected_revision: int | None = None) -> str | None:
        """Take the last change back, also after a restart.

        Returns
        -------
        str or None
            What was undone; None when there was nothing.

        Raises
        ------
        SurveyFileError, StaleSurveyError
            If it could not be saved; nothing was changed.
        """
        return self._reverse("undo", rows.undo_target, expected_revision)

    def redo(self, *, expected_revision: int | None = None) -> str | None:
        """Bring back what was undone last, unless something changed since.

        Returns
        -------
        str or None
            What was brought back; None when there was nothing.

        Raises
        ------
        SurveyFileError, StaleSurveyError
            If it could not be saved; nothing was changed.
        """
        return self._reverse("redo", rows.redo_target, expected_revision)

    def _reverse(
        self,
        action: str,
        find: Callable[[sqlite3.Connection, int], Change | None],
        expected: int | None,
    ) -> str | None:
        with writing(self.path) as conn:
            latest = _require_revision(conn, expected)
            target = find(conn, latest)
            if target is None:
                return None
            entries = [done.reversed() for done in reversed(rows.entries_of(conn, target.id))]
            for step in entries:
                if step.after is not None:
                    checked_text(step.kind, parse(step.after.document, step.thing))
            change = Change(latest + 1, utc_now(), self.author, action, target.label, target.id)
            rows.append_change(conn, change, entries)
        self.known_revision = change.id
        return target.label

    def _change(
        self, label: str, make: Callable[[sqlite3.Connection], Sequence[LogEntry]], expected: int | None
    ) -> int:
        with writing(self.path) as conn:
            latest = _require_revision(conn, expected)
            entries = [step for step in make(conn) if step.before != step.after]
            if entries:  # saying the same again is no change
                latest += 1
                rows.append_change(conn, Change(latest, utc_now(), self.author, "change", label), entries)
        self.known_revision = latest
        return latest


def _require_revision(conn: sqlite3.Connection, expected: int | None) -> int:
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


def _template_document(template: BodyTemplate | Mapping[str, object]) -> dict[str, object]:
    if isinstance(template, Mapping):
        return dict(template)
    from corromap.io.templates import template_document  # noqa: PLC0415  # the file opens without it

    return template_document(template)


def _rules_document(rules: RuleSet | Mapping[str, object]) -> dict[str, object]:
    return dict(rules) if isinstance(rules, Mapping) else dict(rules.to_document())
