"""A whole survey read from, or written to, an open survey file."""

from __future__ import annotations

import hashlib
import secrets
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any, cast

from corromap import __version__
from corromap.errors import InterchangeError, InvalidValueError, SurveyFileError
from corromap.frames import DatumId, PanelId, PhotoId
from corromap.io import survey_codec as codec
from corromap.io import survey_rows as rows
from corromap.io.document_fields import Document, checked_id, parse_object
from corromap.io.json_text import canonical, parse
from corromap.io.survey_kinds import KINDS, parse_earlier
from corromap.io.survey_rows import Row
from corromap.survey import Survey

if TYPE_CHECKING:
    from corromap.assessment import RuleSet
    from corromap.repair import Rates
    from corromap.template import BodyTemplate

__all__ = [
    "SurveyHead",
    "SurveyRecord",
    "checked_blob",
    "checked_row",
    "checked_text",
    "new_id",
    "printable_line",
    "read_blob",
    "read_head",
    "read_record",
    "reference_faults",
    "sighting_key",
    "utc_now",
    "write_blob",
    "write_head",
]


@dataclass(frozen=True, slots=True)
class SurveyHead:
    """What a survey is given once.

    Parameters
    ----------
    id : str
        Unique.
    created_at : str
        UTC, ISO 8601.
    program : str
        Version of corromap that made it.
    """

    id: str
    created_at: str
    program: str = __version__


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
    rates_document : dict
        Rates of the repair plan that differ from the usual ones; empty for none.
    """

    survey: Survey
    template_document: Document
    rules_document: Document
    revision: int
    rates_document: Document = field(default_factory=dict)

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

    @cached_property
    def rates(self) -> Rates:
        """Rates of the repair plan: the survey's own, or the usual ones."""
        from corromap.io.rates import rates_from  # noqa: PLC0415  # the file opens without it

        return rates_from(self.rates_document)

    def sharing(self, earlier: SurveyRecord | None) -> SurveyRecord:
        """Take over what an earlier record has parsed already, where nothing changed.

        A template takes longer to check than all the rest to read, and hardly
        ever changes.
        """
        parsed = {} if earlier is None else vars(earlier)
        for name, same in (
            ("template", earlier and earlier.template_document == self.template_document),
            ("rules", earlier and earlier.rules_document == self.rules_document),
        ):
            if same and name in parsed:
                vars(self)[name] = parsed[name]  # where cached_property looks
        return self


_PARSERS: Mapping[str, Callable[[object, str], Any]] = {
    "photo": codec.parse_photo,
    "mark": codec.parse_mark,
    "sighting": codec.parse_sighting,
    "note": codec.parse_note,
    "car": codec.parse_car,
    "settings": codec.parse_settings,
    "rules": parse_object,
    "template": parse_object,
    "rates": parse_object,
    "earlier": parse_earlier,
    **{kind.name: kind.read for kind in KINDS.values()},
}


def new_id(prefix: str) -> str:
    """Make an id that no other window will make.

    Parameters
    ----------
    prefix : str
        ``mark``, ``note``, ``tie`` and the like.

    Returns
    -------
    str
        For example ``mark-5f3a09c1d2e4``.
    """
    return f"{prefix}-{secrets.token_hex(6)}"


def utc_now() -> str:
    """Now, UTC, ISO 8601 to the millisecond."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def printable_line(text: str, longest: int) -> str:
    """Text as the log takes it: whole characters, one line, not too long."""
    whole = text.encode("utf-8", "backslashreplace").decode()
    return " ".join(whole.split())[:longest]


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
        _PARSERS[kind](parse(text, kind), kind)  # what cannot be read back is not written
    except InterchangeError as error:
        raise SurveyFileError(f"{error}; nothing was changed") from error
    return text


def read_head(conn: sqlite3.Connection) -> SurveyHead:
    """Read the survey's id and birth.

    Raises
    ------
    SurveyFileError, InterchangeError
        If they are not there or not valid.
    """
    found = conn.execute("SELECT id, created_at, program FROM survey").fetchone()
    if found is None:
        raise SurveyFileError("holds no survey; the file is damaged")
    return SurveyHead(checked_id(found[0], "survey.id"), *found[1:])


Known = dict[tuple[str, str], tuple[Row, Any]]
"""Rows as they were read last, each with the value it stands for."""


def read_record(conn: sqlite3.Connection, known: Known | None = None) -> SurveyRecord:
    """Read and check everything but photo bytes.

    Parameters
    ----------
    conn : sqlite3.Connection
        In a transaction on a file whose schema was checked.
    known : dict, optional
        Rows read before: those that are the same are not parsed again. Brought
        up to date. An edit of one mark of a thousand then costs one.

    Returns
    -------
    SurveyRecord
        The survey.

    Raises
    ------
    SurveyFileError, InterchangeError
        If anything is not valid.
    """
    head = read_head(conn)
    known = {} if known is None else known
    single = {kind: _single(conn, kind, known) for kind in rows.SINGLES}
    photos = sorted(_things(conn, "photo", known), key=lambda photo: photo.order)  # stable: then by position
    try:
        survey = Survey(
            head.id,
            single["car"],
            tuple(photos),
            tuple(_things(conn, "mark", known)),
            tuple(_things(conn, "sighting", known)),
            tuple(_things(conn, "note", known)),
            single["settings"],
            **{kind.key: tuple(_things(conn, kind.name, known)) for kind in KINDS.values()},
            earlier_record=single["earlier"],
        )
    except InvalidValueError as error:
        raise SurveyFileError(f"is damaged: {error}") from error
    return SurveyRecord(survey, single["template"], single["rules"], rows.revision(conn), single["rates"])


def _single(conn: sqlite3.Connection, kind: str, known: Known) -> Any:  # noqa: ANN401  # by kind
    row = rows.read_row(conn, kind, kind)
    if row is None and kind in rows.UNSAID:
        row = Row(rows.UNSAID[kind])
    if row is None:
        raise SurveyFileError(f"lacks its {kind}; the file is damaged")
    return _value(kind, kind, row, known)


def _things(conn: sqlite3.Connection, kind: str, known: Known) -> list[Any]:
    return [_value(kind, thing, row, known) for thing, row in rows.all_rows(conn, kind)]


def _value(kind: str, thing: str, row: Row, known: Known) -> Any:  # noqa: ANN401  # by kind
    held = known.get((kind, thing))
    if held is None or held[0] != row:
        held = known[kind, thing] = row, checked_row(kind, thing, row)
    return held[1]


def checked_row(kind: str, thing: str, row: Row) -> Any:  # noqa: ANN401  # by kind
    """Value of a row, after checking that its columns say what it says.

    Raises
    ------
    SurveyFileError, InterchangeError
        If they do not, or the document is not valid.
    """
    if kind in rows.SINGLES:
        return _PARSERS[kind](parse(row.document, kind), kind)
    where = f"{kind} '{thing:.80}'"
    value = _PARSERS[kind](parse(row.document, where), where)
    key = sighting_key(value.photo, value.datum) if kind == "sighting" else value.id
    parent = {"photo": "sha256", "mark": "photo", "sighting": "photo"}.get(kind)
    if key != thing or (parent and getattr(value, parent) != row.parent):
        raise SurveyFileError(f"{where}: the row says one thing and its document another; the file is damaged")
    return value


def reference_faults(record: SurveyRecord) -> list[str]:
    """Find what a survey says about panels, zones and datum points its template does not have.

    Parameters
    ----------
    record : SurveyRecord
        Survey and template.

    Returns
    -------
    list of str
        One sentence for each, starting with the path.

    Raises
    ------
    TemplateError
        If the template itself is not valid.
    """
    survey, template = record.survey, record.template
    panels = {panel.id for panel in template.panels}
    faults = [
        f"sightings[{i}].datum: template '{template.id}' has no datum point '{sighting.datum}'"
        for i, sighting in enumerate(survey.sightings)
        if sighting.datum not in template.datum_points
    ]
    faults += [
        f"marks[{i}].panels: template '{template.id}' has no panel '{panel}'"
        for i, mark in enumerate(survey.marks)
        for panel in mark.panels
        if panel not in panels
    ]
    faults += [
        f"notes[{i}].zone: template '{template.id}' has no zone '{note.zone}'"
        for i, note in enumerate(survey.notes)
        if note.zone is not None and note.zone not in template.zone_by_id
    ]
    return faults + _later_faults(survey, template, panels)


def _later_faults(survey: Survey, template: BodyTemplate, panels: set[PanelId]) -> list[str]:
    placed = [
        *((f"hand_findings[{i}]", finding.panel) for i, finding in enumerate(survey.hand_findings)),
        *((f"scales[{i}]", scale.panel) for i, scale in enumerate(survey.scales)),
        *((f"ties[{i}]", tie.panel) for i, tie in enumerate(survey.ties)),
    ]
    faults = [
        f"{where}.panel: template '{template.id}' has no panel '{panel}'"
        for where, panel in placed
        if panel is not None and panel not in panels
    ]
    return faults + [
        f"lengths[{i}]: template '{template.id}' has no datum point '{datum}'"
        for i, length in enumerate(survey.lengths)
        for datum in (length.first, length.second)
        if datum not in template.datum_points
    ]


def write_head(conn: sqlite3.Connection, head: SurveyHead) -> None:
    """Write what a survey has once and for life: its id and its birth."""
    conn.execute("INSERT INTO survey VALUES (1, ?, ?, ?)", (head.id, head.created_at, head.program))


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
    row = rows.read_row(conn, "photo", photo)
    if row is None:
        raise SurveyFileError(f"there is no photo '{photo:.80}' in this survey; it may have been removed meanwhile")
    return checked_blob(conn, row.parent, f"photo '{photo}'")


def checked_blob(conn: sqlite3.Connection, sha256: str, what: str) -> bytes:
    """Read bytes by their digest and check them.

    Raises
    ------
    SurveyFileError
        If they are not there, or not what was kept.
    """
    found = conn.execute("SELECT content FROM blobs WHERE sha256 = ?", (sha256,)).fetchone()
    if found is None or hashlib.sha256(found[0]).hexdigest() != sha256:
        raise SurveyFileError(f"{what}: its bytes have changed on the disk; go back to a copy of the file")
    return cast("bytes", found[0])
