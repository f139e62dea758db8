"""What is recorded, as JSON-like documents and back, without loss of a bit.

The survey file's rows, its log and the interchange document all hold these
same documents, so there is one place to read and one to write each thing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, fields
from typing import Any, TypeVar

import numpy as np

from corromap.errors import InterchangeError, InvalidValueError
from corromap.frames import CameraId, DatumId, FloatArray, MarkId, NoteId, PanelId, PhotoId, PhotoOutline, ZoneId
from corromap.io.document_fields import Document, Fields, checked_id, checked_sha256, found, number
from corromap.io.json_text import parse
from corromap.survey import Car, Mark, MarkKind, Note, PatchFixing, Photo, RustStage, Settings, Sighting

__all__ = [
    "car_document",
    "mark_document",
    "note_document",
    "parse_car",
    "parse_mark",
    "parse_note",
    "parse_photo",
    "parse_settings",
    "parse_sighting",
    "photo_document",
    "settings_document",
    "sighting_document",
    "stored",
]

_Value = TypeVar("_Value")


def _ring(value: object, where: str) -> FloatArray:
    if not isinstance(value, list):
        raise InterchangeError(f"{where}: expected a list of points [x, y], found {found(value)}")
    if not all(type(p) is list and len(p) == 2 and type(p[0]) is type(p[1]) is float for p in value):
        value = [_point(point, f"{where}[{i}]") for i, point in enumerate(value)]  # slower, but knows the path
    return np.array(value, dtype=np.float64)


def _point(value: object, where: str) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise InterchangeError(f"{where}: expected a point [x, y], found {found(value)}")
    return number(value[0], f"{where}[0]"), number(value[1], f"{where}[1]")


def _made(where: str, make: Callable[[], _Value]) -> _Value:
    """Make a value; a broken invariant becomes a fault of the document."""
    try:
        return make()
    except InvalidValueError as error:
        raise InterchangeError(f"{where}: {error}") from error


def photo_document(photo: Photo) -> Document:
    """Photo as a document."""
    return asdict(photo)


def parse_photo(value: object, where: str) -> Photo:
    """Read a photo.

    Raises
    ------
    InterchangeError
        With the path to the fault.
    """
    given = Fields(value, where)
    name, sha256 = given.text("name", longest=1000), given.text("sha256")
    checked_sha256(sha256, f"{where}.sha256")
    photo_id, camera = PhotoId(given.id("id")), given.id_or_none("camera")
    size = given.integer("width_px"), given.integer("height_px")
    focal, taken = given.number_or_none("focal_px"), given.text_or_none("taken_at")
    source, order = given.text("source", ""), given.integer("order", 0)
    given.done()
    made = CameraId(camera) if camera else None
    return _made(where, lambda: Photo(photo_id, name, sha256, *size, made, focal, taken, source, order))


def outline_document(outline: PhotoOutline) -> Document:
    """Photo outline as a document, bit for bit."""
    return {
        "exterior_px": _ring_document(outline.exterior_px),
        "holes_px": [_ring_document(hole) for hole in outline.holes_px],
    }


def _ring_document(ring: FloatArray) -> list[list[float]]:
    points = [[float(x), float(y)] for x, y in ring]
    if points[0] == points[-1]:  # reading drops one closing point: keep a ring that still has one
        points.append(points[0])
    return points


def mark_document(mark: Mark) -> Document:
    """Mark as a document."""
    return {
        "id": mark.id,
        "photo": mark.photo,
        "kind": mark.kind.value,
        "outline": outline_document(mark.outline),
        "stage": mark.stage.value if mark.stage else None,
        "fixing": mark.fixing.value if mark.fixing else None,
        "panels": list(mark.panels),
        "note": mark.note,
    }


def parse_mark(value: object, where: str) -> Mark:
    """Read a mark.

    Raises
    ------
    InterchangeError
        With the path to the fault.
    """
    given = Fields(value, where)
    mark_id, photo, kind = MarkId(given.id("id")), PhotoId(given.id("photo")), given.choice("kind", MarkKind)
    outline = _parse_outline(given.fields("outline"))
    stage, fixing = given.choice_or_none("stage", RustStage), given.choice_or_none("fixing", PatchFixing)
    panels = tuple(PanelId(_panel(name, f"{where}.panels[{i}]")) for i, name in enumerate(given.items("panels")))
    note = given.text("note", "")
    given.done()
    return _made(where, lambda: Mark(mark_id, photo, kind, outline, stage, fixing, panels, note))


def _panel(value: object, where: str) -> str:
    if not isinstance(value, str):
        raise InterchangeError(f"{where}: expected a panel's id, found {found(value)}")
    return checked_id(value, where)


def _parse_outline(given: Fields) -> PhotoOutline:
    exterior = _ring(given.take("exterior_px"), f"{given.where}.exterior_px")
    holes = [_ring(ring, f"{given.where}.holes_px[{i}]") for i, ring in enumerate(given.items("holes_px"))]
    given.done()
    return _made(given.where, lambda: PhotoOutline(exterior, tuple(holes)))


def sighting_document(sighting: Sighting) -> Document:
    """Sighting as a document."""
    x, y = sighting.at_px
    return {"photo": sighting.photo, "datum": sighting.datum, "at_px": [float(x), float(y)]}


def parse_sighting(value: object, where: str) -> Sighting:
    """Read a sighting.

    Raises
    ------
    InterchangeError
        With the path to the fault.
    """
    given = Fields(value, where)
    photo, datum = PhotoId(given.id("photo")), DatumId(given.id("datum"))
    at = _point(given.take("at_px"), f"{where}.at_px")
    given.done()
    return _made(where, lambda: Sighting(photo, datum, np.array(at)))


def note_document(note: Note) -> Document:
    """Note as a document."""
    return asdict(note)


def parse_note(value: object, where: str) -> Note:
    """Read a note.

    Raises
    ------
    InterchangeError
        With the path to the fault.
    """
    given = Fields(value, where)
    note_id, text, zone = NoteId(given.id("id")), given.text("text"), given.id_or_none("zone")
    author, at = given.text("author", ""), given.text("at", "")
    given.done()
    return Note(note_id, text, ZoneId(zone) if zone else None, author, at)


def car_document(car: Car) -> Document:
    """Car as a document."""
    return asdict(car)


def parse_car(value: object, where: str) -> Car:
    """Read the car and the occasion.

    Raises
    ------
    InterchangeError
        With the path to the fault.
    """
    given = Fields(value, where)
    car = Car(**{field.name: given.text(field.name, "") for field in fields(Car)})
    given.done()
    return car


def settings_document(settings: Settings) -> Document:
    """Write the settings as a document."""
    return {name: value if isinstance(value, str) else float(value) for name, value in asdict(settings).items()}


def parse_settings(value: object, where: str) -> Settings:
    """Read the settings; absent ones take their default.

    Raises
    ------
    InterchangeError
        With the path to the fault.
    """
    given, usual = Fields(value, where), asdict(Settings())
    read: dict[str, Any] = {
        name: given.text(name, default, longest=40) if isinstance(default, str) else given.number(name, default)
        for name, default in usual.items()
    }
    given.done()
    return _made(where, lambda: Settings(**read))


def stored(text: str) -> object:
    """Value of a document's canonical text, as it lies in a file of ours."""
    return parse(text, "stored document")
