"""The survey document: a survey as one JSON value, and back.

Described in ``docs/conventions/interchange.md`` and by the JSON Schema beside
this module, ``survey.schema.json``. Every reader and writer of single things
is in `corromap.io.survey_codec`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields
from typing import Any, TypeVar

from corromap import __version__
from corromap.errors import InterchangeError, InvalidValueError
from corromap.io import survey_codec as codec
from corromap.io.document_fields import MAX_ID, Document, Fields, checked_sha256, parse_object
from corromap.io.json_text import canonical
from corromap.io.survey_bundle import LoggedChange, SurveyBundle
from corromap.io.survey_kinds import KINDS, Kind, earlier_document, parse_earlier
from corromap.io.survey_record import SurveyHead, new_id, utc_now
from corromap.io.survey_rows import Change, LogEntry, Row
from corromap.survey import Photo, Survey

__all__ = ["FORMAT", "VERSION", "PhotoFile", "SurveyDocument", "document_text", "parse_document"]

FORMAT = "corromap survey"
VERSION = 2
"""Written; earlier ones are read."""

MAX_ITEMS = 200_000
"""Most items one list of the document may have. Ours."""

_Value = TypeVar("_Value")


@dataclass(frozen=True, slots=True)
class PhotoFile:
    """A photo of the document and the file that holds its bytes.

    Parameters
    ----------
    photo : Photo
        As recorded.
    file : str
        Name in the folder ``photos``.
    """

    photo: Photo
    file: str


@dataclass(frozen=True, eq=False)
class SurveyDocument:
    """What a survey document says, read and checked as far as it goes alone.

    Parameters
    ----------
    head : SurveyHead
        Id and birth.
    survey : Survey
        What is recorded.
    template, rules : object
        As given: a document, the id of a packaged template, or None.
    rates : dict
        Rates of the repair plan that differ from the usual ones.
    files : tuple of PhotoFile
        Photos with their files.
    removed : mapping of str to str
        SHA-256 of removed photos to their files.
    log : tuple of LoggedChange
        May be empty.
    """

    head: SurveyHead
    survey: Survey
    template: object
    rules: object
    rates: Document
    files: tuple[PhotoFile, ...]
    removed: Mapping[str, str]
    log: tuple[LoggedChange, ...]


def document_text(bundle: SurveyBundle, files: Mapping[str, str]) -> str:
    """Write a bundle as the text of ``survey.json``.

    One line a thing, so that two versions can be compared line by line;
    numbers are the shortest text that reads back to the same bits.

    Parameters
    ----------
    bundle : SurveyBundle
        What to write.
    files : mapping of str to str
        SHA-256 to file name in ``photos``.

    Returns
    -------
    str
        JSON.
    """
    survey = bundle.record.survey
    single: dict[str, object] = {
        "format": FORMAT,
        "version": VERSION,
        "id": survey.id,
        "created_at": bundle.head.created_at,
        "program": bundle.head.program,
        "car": codec.car_document(survey.car),
        "settings": codec.settings_document(survey.settings),
        "template": bundle.record.template_document,
        "rules": bundle.record.rules_document,
        "rates": bundle.record.rates_document,
        "earlier": earlier_document(survey.earlier_record),
    }
    several: dict[str, Iterable[object]] = {
        "photos": ({"file": files[p.sha256]} | codec.photo_document(p) for p in survey.photos),
        "marks": map(codec.mark_document, survey.marks),
        "sightings": map(codec.sighting_document, survey.sightings),
        "notes": map(codec.note_document, survey.notes),
        **{kind.key: map(kind.write, getattr(survey, kind.key)) for kind in KINDS.values()},
        "removed_photos": ({"file": files[sha256], "sha256": sha256} for sha256 in bundle.removed),
        "log": map(_logged_document, bundle.log),
    }
    parts = [f"{canonical(key)}: {canonical(value)}" for key, value in single.items()]
    parts += [f"{canonical(key)}: {_lines(values)}" for key, values in several.items()]
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _lines(values: Iterable[object]) -> str:
    lines = ",\n  ".join(map(canonical, values))
    return f"[\n  {lines}\n]" if lines else "[]"


def _logged_document(logged: LoggedChange) -> Document:
    change = {field.name: getattr(logged.change, field.name) for field in fields(Change)}
    return change | {"entries": [_entry_document(step) for step in logged.entries]}


def _entry_document(step: LogEntry) -> Document:
    return {"kind": step.kind, "thing": step.thing, "before": _row(step.before), "after": _row(step.after)}


def _row(row: Row | None) -> Document | None:
    if row is None:
        return None
    return {"document": codec.stored(row.document), "parent": row.parent, "position": row.position}


def parse_document(value: object, fill: Callable[[Document, str, int], PhotoFile]) -> SurveyDocument:
    """Read a survey document.

    Parameters
    ----------
    value : object
        What `corromap.io.json_text.parse` returned.
    fill : callable
        (photo's object, path to it, number from 0) to `PhotoFile`: looks into
        the file for what the object leaves out.

    Returns
    -------
    SurveyDocument
        Template and rule set still as given.

    Raises
    ------
    InterchangeError
        With the path to the fault.
    """
    given = Fields(value, "survey")
    _check_format(given)
    head = _head(given)
    car = codec.parse_car(given.take("car"), "survey.car") if given.has("car") else codec.parse_car({}, "")
    settings = codec.parse_settings(given.take("settings") if given.has("settings") else {}, "survey.settings")
    template, rules = given.take("template"), given.take("rules") if given.has("rules") else None
    files = _all(given, "photos", lambda item, where, i: fill(parse_object(item, where), where, i))
    marks = _all(given, "marks", lambda item, where, i: codec.parse_mark(_named(item, where, f"mark-{i + 1}"), where))
    sightings = _all(given, "sightings", lambda item, where, _: codec.parse_sighting(item, where))
    notes = _all(given, "notes", lambda item, where, i: codec.parse_note(_named(item, where, f"note-{i + 1}"), where))
    later = {kind.key: _all(given, kind.key, _reader(kind)) for kind in KINDS.values()}
    earlier = parse_earlier(given.take("earlier") if given.has("earlier") else {}, "survey.earlier")
    rates = parse_object(given.take("rates") if given.has("rates") else {}, "survey.rates")
    removed = dict(_all(given, "removed_photos", lambda item, where, _: _parse_removed(item, where)))
    log = _all(given, "log", lambda item, where, _: _parse_logged(item, where))
    given.drop("rules", "car", "settings", "rates", "earlier")
    given.done()
    photos = tuple(file.photo for file in files)
    try:
        survey = Survey(head.id, car, photos, marks, sightings, notes, settings, **later, earlier_record=earlier)
    except InvalidValueError as error:
        raise InterchangeError(f"survey: {error}") from error
    return SurveyDocument(head, survey, template, rules, rates, files, removed, log)


def _reader(kind: Kind) -> Callable[[object, str, int], Any]:
    return lambda item, where, i: kind.read(_named(item, where, f"{kind.name.replace('_', '-')}-{i + 1}"), where)


def _check_format(given: Fields) -> None:
    given.drop("$schema")
    if given.take("format") != FORMAT:
        raise InterchangeError(f"survey.format: expected '{FORMAT}'; this is another kind of document")
    version = given.integer("version")
    if not 1 <= version <= VERSION:
        raise InterchangeError(
            f"survey.version: {version}; this program reads versions 1 to {VERSION}"
            + ("; update corromap" if version > VERSION else "")
        )


def _head(given: Fields) -> SurveyHead:
    survey_id = given.id("id") if given.has("id") else new_id("survey")
    created = given.text("created_at", "", longest=100) or utc_now()
    program = given.text("program", "", longest=100) or __version__
    given.drop("id")
    return SurveyHead(survey_id, created, program)


def _all(given: Fields, key: str, read: Callable[[object, str, int], _Value]) -> tuple[_Value, ...]:
    items = given.items(key)
    if len(items) > MAX_ITEMS:
        raise InterchangeError(f"survey.{key}: {len(items)} items; at most {MAX_ITEMS} are taken")
    return tuple(read(item, f"survey.{key}[{i}]", i) for i, item in enumerate(items))


def _named(item: object, where: str, name: str) -> Document:
    """Object with an id; people who write by hand may leave it out."""
    return {"id": name} | parse_object(item, where)


def _parse_removed(item: object, where: str) -> tuple[str, str]:
    given = Fields(item, where)
    pair = checked_sha256(given.text("sha256"), f"{where}.sha256"), given.text("file", longest=MAX_ID)
    given.done()
    return pair


def _parse_logged(item: object, where: str) -> LoggedChange:
    given = Fields(item, where)
    change = Change(
        given.integer("id"),
        given.text("at", longest=100),
        given.text("author", longest=1000),
        given.text("action", longest=20),
        given.text("label", longest=2000),
        given.integer("reverses") if given.has("reverses") else None,
    )
    steps = tuple(_parse_step(step, f"{where}.entries[{i}]") for i, step in enumerate(given.items("entries")))
    given.drop("reverses")
    given.done()
    return LoggedChange(change, steps)


def _parse_step(item: object, where: str) -> LogEntry:
    given = Fields(item, where)
    step = LogEntry(
        given.text("kind", longest=20),
        given.text("thing", longest=2 * MAX_ID + 1),
        _parse_row(given.take("before"), f"{where}.before"),
        _parse_row(given.take("after"), f"{where}.after"),
    )
    given.done()
    return step


def _parse_row(value: object, where: str) -> Row | None:
    if value is None:
        return None
    given = Fields(value, where)
    document = canonical(parse_object(given.take("document"), f"{where}.document"))
    row = Row(document, given.integer("position"), given.text("parent", longest=MAX_ID))
    given.done()
    return row
