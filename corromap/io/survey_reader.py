"""Reading a survey file: what it holds, its log, and a copy to hand out."""

from __future__ import annotations

from pathlib import Path

from corromap.frames import PhotoId
from corromap.io import survey_rows as rows
from corromap.io.survey_bundle import opened_bundle, write_bundle
from corromap.io.survey_check import file_faults
from corromap.io.survey_db import reading, vacuum_into, with_suffix
from corromap.io.survey_record import Known, SurveyRecord, printable_line, read_blob, read_record
from corromap.io.survey_rows import Change

__all__ = ["SurveyReader"]


class SurveyReader:
    """One survey file, opened by one window, to look at.

    It holds no connection: each call opens the file, does one thing and closes
    it again.

    Parameters
    ----------
    path : Path
        The file.
    author : str
        Who makes the changes, as the log shows it.

    Attributes
    ----------
    known_revision : int
        Revision after this window's last `load` or change. Pass it as
        `expected_revision` so that a change made in another window is noticed.
    """

    def __init__(self, path: Path, author: str) -> None:
        self.path = path
        self.author = printable_line(author, 200)
        self.known_revision = 0
        self._latest: SurveyRecord | None = None
        self._known: Known = {}

    @property
    def revision(self) -> int:
        """Revision of the file now: the number of changes ever made."""
        with reading(self.path) as conn:
            return rows.revision(conn)

    def load(self) -> SurveyRecord:
        """Read the survey, its template and its rule set.

        Returns
        -------
        SurveyRecord
            One consistent state.

        Raises
        ------
        SurveyFileError
            If anything in the file is not valid.
        """
        with reading(self.path) as conn:
            record = read_record(conn, self._known).sharing(self._latest)
        self._latest = record
        self.known_revision = record.revision
        return record

    def photo_bytes(self, photo: PhotoId) -> bytes:
        """Read a photo's original bytes, checked against their SHA-256.

        Parameters
        ----------
        photo : PhotoId
            Which photo.

        Returns
        -------
        bytes
            Exactly as they were given.

        Raises
        ------
        SurveyFileError
            If there is no such photo or its bytes have changed.
        """
        with reading(self.path) as conn:
            return read_blob(conn, photo)

    def history(self, limit: int = 100) -> list[Change]:
        """Read the log, latest first.

        Parameters
        ----------
        limit : int
            Most lines to read.

        Returns
        -------
        list of Change
            Who changed what when.
        """
        with reading(self.path) as conn:
            found = conn.execute("SELECT * FROM changes ORDER BY id DESC LIMIT ?", (limit,))
            return [Change(*row) for row in found]

    def next_undo(self) -> str | None:
        """Name what `undo` would take back, in words; None when there is nothing."""
        with reading(self.path) as conn:
            found = rows.undo_target(conn, rows.revision(conn))
            return found.label if found else None

    def next_redo(self) -> str | None:
        """Name what `redo` would bring back, in words; None when there is nothing."""
        with reading(self.path) as conn:
            found = rows.redo_target(conn, rows.revision(conn))
            return found.label if found else None

    def check(self) -> tuple[str, ...]:
        """Look for damage everywhere: pages, rows, the log, each photo's bytes.

        Returns
        -------
        tuple of str
            One sentence for each fault; empty when the file is sound.

        Raises
        ------
        SurveyFileError
            If it cannot be opened at all.
        """
        return file_faults(self.path)

    def save_copy(self, path: Path | str, *, history: bool = True) -> Path:
        """Write a copy to hand out; the live file is never handed out itself.

        Parameters
        ----------
        path : Path or str
            Where; must not be there yet.
        history : bool
            False leaves out the log and the photos that were removed.

        Returns
        -------
        Path
            The copy, with its suffix.

        Raises
        ------
        SurveyFileError
            If it is there already or cannot be written.
        """
        where = with_suffix(path)
        if history:
            vacuum_into(self.path, where)
        else:
            with opened_bundle(self.path, history=False) as bundle:
                write_bundle(where, bundle, self.author, "survey copied without its history")
        return where
