"""What is recorded, as JSON-like documents and back, without loss of a bit.

The survey file's rows, its log and the interchange document all hold these
same documents, so there is one place to read and one to write each thing.
Reading is strict: a key nobody knows is an error that names it, because a key
that is dropped in silence is evidence lost.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, fields
from enum import StrEnum
from typing import TypeVar

import numpy as np

from corromap.errors import InterchangeError, InvalidValueError
from corromap.frames import CameraId, DatumId, FloatArray, MarkId, NoteId, PanelId, PhotoId, PhotoOutline, ZoneId
from corromap.survey import Car, Mark, MarkKind, Note, PatchFixing, Photo, RustStage, Settings, Sighting

__all__ = [
    "MAX_TEXT",
    "Fields",
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
]

MAX_TEXT = 20_000
"""Longest free text, in characters. Ours: some ten printed pages."""

MAX_ID = 200
"""Longest id, in characters. Ours."""

_HEX = frozenset("0123456789abcdef")

Document = dict[str, object]
_Choice = TypeVar("_Choice", bound=StrEnum)
_Value = TypeVar("_Value")


class Fields:
    """Take the keys of one object, each of a known type, leaving none over.

    Parameters
    ----------
    value : object
        Expected to be a mapping.
    where : str
        The path to it, as errors print it.

    Raises
    ------
    InterchangeError
        If the value is not an object.
    """

    def __init__(self, value: object, where: str) -> None:
        if not isinstance(value, Mapping):
            raise InterchangeError(f"{where}: expected an object, found {_found(value)}")
        self._left = dict(value)
        self.where = where

    def has(self, key: str) -> bool:
        """Whether a key is there and not null."""
        return self._left.get(key) is not None

    def take(self, key: str) -> object:
        """Take a value of any type; the key must be there."""
        if key not in self._left:
            raise InterchangeError(f"{self.where}: key '{key}' is missing")
        return self._left.pop(key)

    def text(self, key: str, default: str | None = None, *, longest: int = MAX_TEXT) -> str:
        """Take a text; without a default the key must be there."""
        if default is not None and key not in self._left:
            return default
        value = self.take(key)
        if not isinstance(value, str):
            raise InterchangeError(f"{self.where}.{key}: expected a text, found {_found(value)}")
        if len(value) > longest:
            raise InterchangeError(f"{self.where}.{key}: {len(value)} characters; at most {longest} are taken")
        return value

    def text_or_none(self, key: str) -> str | None:
        """Take a text; null or absent is None."""
        if not self.has(key):
            self._left.pop(key, None)
            return None
        return self.text(key)

    def id(self, key: str) -> str:
        """Take an id: 1 to 200 printable characters."""
        return checked_id(self.text(key, longest=MAX_ID), f"{self.where}.{key}")

    def id_or_none(self, key: str) -> str | None:
        """Take an id; null or absent is None."""
        if not self.has(key):
            self._left.pop(key, None)
            return None
        return self.id(key)

    def integer(self, key: str, default: int | None = None) -> int:
        """Take a whole number."""
        if default is not None and key not in self._left:
            return default
        value = self.take(key)
        if not isinstance(value, int) or isinstance(value, bool):
            raise InterchangeError(f"{self.where}.{key}: expected a whole number, found {_found(value)}")
        return value

    def number(self, key: str, default: float | None = None) -> float:
        """Take a number."""
        if default is not None and key not in self._left:
            return default
        return _number(self.take(key), f"{self.where}.{key}")

    def number_or_none(self, key: str) -> float | None:
        """Take a number; null or absent is None."""
        if not self.has(key):
            self._left.pop(key, None)
            return None
        return self.number(key)

    def choice(self, key: str, kind: type[_Choice]) -> _Choice:
        """Take one word of a fixed list."""
        value = self.text(key)
        try:
            return kind(value)
        except ValueError as error:
            words = ", ".join(member.value for member in kind)
            raise InterchangeError(f"{self.where}.{key}: expected one of {words}; found '{value:.60}'") from error

    def choice_or_none(self, key: str, kind: type[_Choice]) -> _Choice | None:
        """Take one word of a fixed list; null or absent is None."""
        if not self.has(key):
            self._left.pop(key, None)
            return None
        return self.choice(key, kind)

    def items(self, key: str) -> list[object]:
        """Take a list; absent is empty."""
        value = self._left.pop(key, [])
        if not isinstance(value, list):
            raise InterchangeError(f"{self.where}.{key}: expected a list, found {_found(value)}")
        return value

    def fields(self, key: str) -> Fields:
        """Take an object."""
        return Fields(self.take(key), f"{self.where}.{key}")

    def done(self) -> None:
        """Raise if a key is left over."""
        if self._left:
            names = ", ".join(f"'{key:.60}'" for key in sorted(self._left)[:5])
            raise InterchangeError(f"{self.where}: unknown key {names}; correct the name or remove it")


def checked_id(value: str, where: str) -> str:
    """Return an id, or say why it cannot be one.

    Parameters
    ----------
    value : str
        The id.
    where : str
        The path to it.

    Returns
    -------
    str
        The same id.

    Raises
    ------
    InterchangeError
        If it is empty, too long or holds a character that cannot be printed.
    """
    if not value or len(value) > MAX_ID or not value.isprintable():
        raise InterchangeError(f"{where}: an id has 1 to {MAX_ID} printable characters, found {value[:60]!r}")
    return value


def _found(value: object) -> str:
    names = {dict: "an object", list: "a list", str: "a text", bool: "true or false", type(None): "null"}
    return names.get(type(value), f"{value!r:.40}")


def _number(value: object, where: str) -> float:
    if isinstance(value, float):
        return value
    if isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    raise InterchangeError(f"{where}: expected a number, found {_found(value)}")


def _ring(value: object, where: str) -> FloatArray:
    if not isinstance(value, list):
        raise InterchangeError(f"{where}: expected a list of points [x, y], found {_found(value)}")
    return np.array([_point(point, f"{where}[{i}]") for i, point in enumerate(value)], dtype=np.float64)


def _point(value: object, where: str) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise InterchangeError(f"{where}: expected a point [x, y], found {_found(value)}")
    return _number(value[0], f"{where}[0]"), _number(value[1], f"{where}[1]")


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
    if len(sha256) != 64 or not _HEX.issuperset(sha256):
        raise InterchangeError(f"{where}.sha256: expected 64 digits of 0-9 a-f, found '{sha256:.70}'")
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
        raise InterchangeError(f"{where}: expected a panel's id, found {_found(value)}")
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
    """Error sizes as a document."""
    return asdict(settings)


def parse_settings(value: object, where: str) -> Settings:
    """Read the settings; absent ones take their default.

    Raises
    ------
    InterchangeError
        With the path to the fault.
    """
    given, usual = Fields(value, where), Settings()
    numbers = {field.name: given.number(field.name, getattr(usual, field.name)) for field in fields(Settings)}
    given.done()
    return _made(where, lambda: Settings(**numbers))


def parse_object(value: object, where: str) -> Document:
    """Read an object whose keys are somebody else's business.

    Raises
    ------
    InterchangeError
        If it is not an object.
    """
    if not isinstance(value, Mapping):
        raise InterchangeError(f"{where}: expected an object, found {_found(value)}")
    return dict(value)
