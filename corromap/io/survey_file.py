"""The survey file: one car's survey in one file, saved as it is made.

Every method that changes something is one logged transaction: when it returns,
the change is on the disk, and it can be undone tomorrow. A window that has not
seen another window's change is told so instead of writing over it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from corromap.io import migrations
from corromap.io import survey_codec as codec
from corromap.io import survey_rows as rows
from corromap.io.document_fields import Document
from corromap.io.json_text import parse
from corromap.io.survey_db import new_database, stored_version, with_suffix, writing
from corromap.io.survey_editor import (
    MAX_PHOTO_BYTES,
    require_revision,
    rules_as_document,
    template_as_document,
)
from corromap.io.survey_record import (
    SurveyHead,
    SurveyRecord,
    checked_text,
    new_id,
    printable_line,
    utc_now,
    write_head,
)
from corromap.io.survey_record_editor import RecordEditor
from corromap.io.survey_rows import Change, LogEntry, Row
from corromap.survey import Car, Settings

if TYPE_CHECKING:
    from corromap.assessment import RuleSet
    from corromap.template import BodyTemplate

__all__ = ["MAX_PHOTO_BYTES", "SurveyFile", "SurveyRecord", "new_id"]


class SurveyFile(RecordEditor):
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
        template_document, rules_document = template_as_document(template), rules_as_document(rules)
        name = str(template_document.get("name", template_document.get("id", "")))
        singles: dict[str, Document] = {
            "car": codec.car_document(car or Car()),
            "settings": codec.settings_document(Settings()),
            "template": template_document,
            "rules": rules_document,
        }
        entries = [LogEntry(kind, kind, None, Row(checked_text(kind, doc))) for kind, doc in singles.items()]
        start = Change(1, utc_now(), printable_line(author, 200), "start", f"survey started on template '{name}'")
        with new_database(where) as conn:
            write_head(conn, SurveyHead(new_id("survey"), start.at))
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
        if stored_version(opened.path) != migrations.CURRENT_VERSION:
            with writing(opened.path):
                pass  # migrates
        opened.known_revision = opened.revision
        return opened

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
            latest = require_revision(conn, expected)
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
