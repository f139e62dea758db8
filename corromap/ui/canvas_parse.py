"""From what the browser sent to events, strictly.

Every field is checked for type, size and meaning before a value is made of
it. A malformed event is refused alone: those before and after it count.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any, TypeVar

import numpy as np

from corromap.control import LONGEST_MM, ScaleSighting
from corromap.errors import InvalidValueError
from corromap.frames import MAX_VERTICES, DatumId, FloatArray, MarkId, PanelId, PhotoId, PhotoOutline, ScaleId
from corromap.survey import Mark, MarkKind, PatchFixing, Photo, RustStage, Sighting
from corromap.ui.canvas_events import (
    CanvasEvent,
    DatumSelected,
    MarkAdded,
    MarkChanged,
    MarkRemoved,
    MarkSelected,
    MarksReplaced,
    PanelSelected,
    PhotoStep,
    RedoAsked,
    ScaleRemoved,
    ScaleSet,
    SightingRemoved,
    SightingSet,
    UndoAsked,
)
from corromap.ui.canvas_reshape import join_marks, split_mark

__all__ = ["Known", "Outbox", "Refusal", "parse_outbox"]

MOST_EVENTS = 500
MOST_HOLES = 200
BAR_SIGMA_MM = 0.5
"""Standard error of an end of a bar or rule; house rule."""
SHORTEST_BAR_PX = 4.0
"""Nearer than that, both ends are one click."""
_NAME = re.compile(r"[A-Za-z0-9_-]{1,64}")
_Choice = TypeVar("_Choice", bound=StrEnum)


@dataclass
class Known:
    """What events may refer to: the things the canvas was shown.

    Parameters
    ----------
    photos : dict of PhotoId to Photo
        Photos shown so far in this session.
    marks : dict of MarkId to Mark
        Marks as they are, kept up to date while events are read.
    datums, panels : set
        Of the template.
    scales : dict of ScaleId to ScaleSighting
        Bars and boards of the main photo, kept up to date like the marks.
    """

    photos: dict[PhotoId, Photo] = field(default_factory=dict)
    marks: dict[MarkId, Mark] = field(default_factory=dict)
    datums: set[DatumId] = field(default_factory=set)
    panels: set[PanelId] = field(default_factory=set)
    scales: dict[ScaleId, ScaleSighting] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Refusal:
    """An event that was not applied.

    Parameters
    ----------
    seq : int
        Its number.
    text : str
        Why, for the person.
    """

    seq: int
    text: str


@dataclass(frozen=True, slots=True)
class Outbox:
    """One delivery of the browser.

    Parameters
    ----------
    client : str
        Which canvas sent it.
    seen : int or None
        Last revision it holds; None asks for everything.
    events : tuple of CanvasEvent
        New ones, in order.
    refused : tuple of Refusal
        New ones that were malformed or cannot be done.
    last_seq : int
        Highest number taken in, applied or refused.
    """

    client: str
    seen: int | None
    events: tuple[CanvasEvent, ...]
    refused: tuple[Refusal, ...]
    last_seq: int


def parse_outbox(raw: object, known: Known, applied: Mapping[str, int]) -> Outbox:
    """Read a delivery, leaving out what was applied before.

    Parameters
    ----------
    raw : object
        As decoded from JSON.
    known : Known
        What events may refer to; its marks are brought up to date.
    applied : mapping of str to int
        Highest number taken in so far, by client.

    Returns
    -------
    Outbox
        Events and refusals.

    Raises
    ------
    InvalidValueError
        If the delivery as a whole is not one of the canvas.
    """
    table = _table(raw, "delivery")
    client = _name(table.get("client"), "client")
    seen = None if table.get("seen") is None else _whole(table.get("seen"), "seen")
    rows = table.get("events")
    if not isinstance(rows, list) or len(rows) > MOST_EVENTS:
        raise InvalidValueError(f"canvas: expected at most {MOST_EVENTS} events in a list")
    events: list[CanvasEvent] = []
    refused: list[Refusal] = []
    last = applied.get(client, 0)
    for row in rows:
        seq = _whole(_table(row, "event").get("seq"), "seq")
        if seq <= last:
            continue  # sent again because the answer got lost
        last = seq
        if row.get("type") == "resend":
            seen = None
            continue
        try:
            event = _event(seq, row, known)
        except InvalidValueError as error:
            refused.append(Refusal(seq, str(error)))
            continue
        _note(event, known)
        events.append(event)
    return Outbox(client, seen, tuple(events), tuple(refused), last)


def _note(event: CanvasEvent, known: Known) -> None:
    """Later events of the same delivery build on this one."""
    match event:
        case MarkAdded(mark=mark) | MarkChanged(mark=mark):
            known.marks[mark.id] = mark
        case MarkRemoved(mark=gone):
            known.marks.pop(gone, None)
        case MarksReplaced(removed=removed, added=added):
            for mark_id in removed:
                known.marks.pop(mark_id, None)
            known.marks.update({mark.id: mark for mark in added})
        case ScaleSet(scale=scale):
            known.scales[scale.id] = scale
        case ScaleRemoved(scale=gone_scale):
            known.scales.pop(gone_scale, None)
        case _:
            pass


def _event(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:
    kind = row.get("type")
    reader = _READERS.get(kind) if isinstance(kind, str) else None
    if reader is None:
        raise InvalidValueError(f"canvas: unknown event {kind!r:.40}")
    return reader(seq, row, known)


# ---- one reader a type


def _mark_added(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:
    table = _table(row.get("mark"), "mark")
    mark_id = MarkId(_name(table.get("id"), "id of a mark"))
    photo = _photo(table.get("photo"), known)
    return MarkAdded(seq, Mark(id=mark_id, photo=photo.id, outline=_outline(table, photo), **_said(table)))


def _mark_changed(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:
    table = _table(row.get("mark"), "mark")
    before = _known_mark(table.get("id"), known)
    photo = _photo(before.photo, known)
    return MarkChanged(seq, replace(before, outline=_outline(table, photo), **_said(table)))


def _mark_removed(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:
    return MarkRemoved(seq, _known_mark(row.get("mark"), known).id)


def _mark_split(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:
    mark = _known_mark(row.get("mark"), known)
    line = _points(row.get("line"), "dividing line", least=2, photo=_photo(mark.photo, known))
    pieces = split_mark(mark, line, MarkId(_name(row.get("id"), "id of a mark")))
    return MarksReplaced(seq, (mark.id,), pieces)


def _marks_joined(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:
    ids = row.get("marks")
    if not isinstance(ids, list) or not 2 <= len(ids) <= 20:
        raise InvalidValueError("canvas: two to twenty marks can be joined at once")
    marks = tuple(_known_mark(mark_id, known) for mark_id in ids)
    joined = join_marks(marks, MarkId(_name(row.get("id"), "id of a mark")))
    return MarksReplaced(seq, tuple(mark.id for mark in marks), (joined,))


def _sighting_set(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:
    photo = _photo(row.get("photo"), known)
    at = _points([row.get("at")], "sighting", least=1, photo=photo)[0]
    return SightingSet(seq, Sighting(photo.id, _datum(row.get("datum"), known), at))


def _sighting_removed(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:
    return SightingRemoved(seq, _photo(row.get("photo"), known).id, _datum(row.get("datum"), known))


def _scale_set(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:
    table = _table(row.get("scale"), "scale")
    scale_id = ScaleId(_name(table.get("id"), "id of a scale"))
    photo, panel = _photo(table.get("photo"), known), _panel(table.get("panel"), known)
    if scale_id in known.scales and not known.scales[scale_id].is_bar:
        raise InvalidValueError("A printed board is found again, not dragged: take it off and look for it once more.")
    ends = _points(table.get("at"), "scale", least=2, photo=photo)
    if len(ends) != 2 or np.hypot(*(ends[1] - ends[0])) < SHORTEST_BAR_PX:
        raise InvalidValueError("A bar has two ends in different places: click the other end too.")
    length = table.get("lengthMm")
    if isinstance(length, bool) or not isinstance(length, int | float) or not 0 < length <= LONGEST_MM:
        raise InvalidValueError(f"The length of a bar is more than 0 and at most {LONGEST_MM:g} mm.")
    true = np.array([[0.0, 0.0], [float(length), 0.0]])
    return ScaleSet(seq, ScaleSighting(scale_id, photo.id, panel, ends, true, BAR_SIGMA_MM, "bar"))


def _scale_removed(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:
    gone = row.get("scale")
    if not isinstance(gone, str) or gone not in known.scales:
        raise InvalidValueError("That scale is not there any more.")
    return ScaleRemoved(seq, ScaleId(gone))


def _photo_step(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:  # noqa: ARG001  (one shape for all readers)
    step = _whole(row.get("step"), "step", least=-1)
    if step not in {-1, 1}:
        raise InvalidValueError(f"canvas: a step is 1 or -1, found {step}")
    return PhotoStep(seq, step)


def _mark_selected(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:
    chosen = row.get("mark")
    return MarkSelected(seq, None if chosen is None else _known_mark(chosen, known).id)


def _datum_selected(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:
    return DatumSelected(seq, _datum(row.get("datum"), known))


def _panel_selected(seq: int, row: Mapping[str, Any], known: Known) -> CanvasEvent:
    return PanelSelected(seq, _panel(row.get("panel"), known))


_READERS: Mapping[str, Callable[[int, Mapping[str, Any], Known], CanvasEvent]] = {
    "mark_added": _mark_added,
    "mark_changed": _mark_changed,
    "mark_removed": _mark_removed,
    "mark_split": _mark_split,
    "marks_joined": _marks_joined,
    "sighting_set": _sighting_set,
    "sighting_removed": _sighting_removed,
    "scale_set": _scale_set,
    "scale_removed": _scale_removed,
    "undo": lambda seq, _row, _known: UndoAsked(seq),
    "redo": lambda seq, _row, _known: RedoAsked(seq),
    "photo_step": _photo_step,
    "mark_selected": _mark_selected,
    "datum_selected": _datum_selected,
    "panel_selected": _panel_selected,
}


# ---- one field


def _table(raw: object, what: str) -> Mapping[str, Any]:
    if not isinstance(raw, Mapping):
        raise InvalidValueError(f"canvas: expected an object for {what}, found {type(raw).__name__}")
    return raw


def _whole(raw: object, what: str, *, least: int = 0) -> int:
    if isinstance(raw, bool) or not isinstance(raw, int | float) or raw != raw or abs(raw) > 2**53 or raw != int(raw):  # noqa: PLR0124  (NaN)
        raise InvalidValueError(f"canvas: expected a whole number for {what}, found {raw!r:.40}")
    if raw < least:
        raise InvalidValueError(f"canvas: {what} must be {least} or more, found {raw}")
    return int(raw)


def _name(raw: object, what: str) -> str:
    if not isinstance(raw, str) or not _NAME.fullmatch(raw):
        raise InvalidValueError(f"canvas: expected letters, digits, - and _ for {what}, found {raw!r:.80}")
    return raw


def _known_mark(raw: object, known: Known) -> Mark:
    mark = known.marks.get(MarkId(raw)) if isinstance(raw, str) else None
    if mark is None:
        raise InvalidValueError("That mark is not there any more: it was removed, split or joined meanwhile.")
    return mark


def _photo(raw: object, known: Known) -> Photo:
    photo = known.photos.get(PhotoId(raw)) if isinstance(raw, str) else None
    if photo is None:
        raise InvalidValueError("That photo is not there any more.")
    return photo


def _datum(raw: object, known: Known) -> DatumId:
    if not isinstance(raw, str) or raw not in known.datums:
        raise InvalidValueError(f"canvas: the template has no datum point {raw!r:.40}")
    return DatumId(raw)


def _panel(raw: object, known: Known) -> PanelId:
    if not isinstance(raw, str) or raw not in known.panels:
        raise InvalidValueError(f"canvas: the template has no panel {raw!r:.40}")
    return PanelId(raw)


def _said(table: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "kind": _choice(MarkKind, table.get("kind"), "kind"),
        "stage": None if table.get("stage") is None else _choice(RustStage, table.get("stage"), "stage"),
        "fixing": None if table.get("fixing") is None else _choice(PatchFixing, table.get("fixing"), "fixing"),
    }


def _choice(choices: type[_Choice], raw: object, what: str) -> _Choice:
    if not isinstance(raw, str) or raw not in {choice.value for choice in choices}:
        raise InvalidValueError(f"canvas: unknown {what} {raw!r:.40}")
    return choices(raw)


def _outline(table: Mapping[str, Any], photo: Photo) -> PhotoOutline:
    holes = table.get("holes")
    if not isinstance(holes, list) or len(holes) > MOST_HOLES:
        raise InvalidValueError(f"canvas: expected at most {MOST_HOLES} holes in a list")
    exterior = _points(table.get("exterior"), "outline", least=3, photo=photo)
    return PhotoOutline(exterior, tuple(_points(hole, "hole", least=3, photo=photo) for hole in holes))


def _points(raw: object, what: str, *, least: int, photo: Photo) -> FloatArray:
    if not isinstance(raw, list) or not least <= len(raw) <= MAX_VERTICES:
        raise InvalidValueError(f"canvas: expected {least} to {MAX_VERTICES} points for {what}")
    for pair in raw:
        if not isinstance(pair, list) or len(pair) != 2 or any(type(value) not in {int, float} for value in pair):
            raise InvalidValueError(f"canvas: expected [x, y] for a point of {what}, found {pair!r:.60}")
    points = np.array(raw, dtype=np.float64)
    size = np.array([photo.width_px, photo.height_px], dtype=np.float64)
    # one photo's width beyond the edge is plenty for a careless hand; NaN fails too
    if not ((points >= -size) & (points <= 2 * size)).all():
        raise InvalidValueError(f"canvas: a point of {what} lies far outside photo '{photo.name}'")
    return points
