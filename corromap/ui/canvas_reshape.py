"""Splitting a mark along a line, and joining marks that touch."""

from __future__ import annotations

import numpy as np
import shapely
import shapely.ops
from shapely.geometry import LineString, MultiPolygon, Polygon

from corromap.errors import InvalidValueError
from corromap.frames import FloatArray, MarkId, PhotoOutline
from corromap.survey import Mark, MarkKind, PatchFixing, RustStage

__all__ = ["join_marks", "split_mark"]

MOST_PIECES = 50
TOUCHING_PX = 2.0
"""Marks this near to each other may be joined; two hand-drawn edges never meet exactly."""

_WORST_FIRST = (RustStage.HOLED, RustStage.SCALED, RustStage.SURFACE)


def split_mark(mark: Mark, line_px: FloatArray, new_id: MarkId) -> tuple[Mark, ...]:
    """Divide a mark along a line.

    Parameters
    ----------
    mark : Mark
        The mark; its outline may cross itself, it is repaired first.
    line_px : ndarray of float64, shape (N, 2)
        Across the mark, px; ends beyond the outline are cut off.
    new_id : MarkId
        Start of the pieces' ids: ``-1``, ``-2``, ... are added.

    Returns
    -------
    tuple of Mark
        Two or more, largest first; kind, stage, fixing, panels and note kept.

    Raises
    ------
    InvalidValueError
        If the line does not divide the mark, or into too many pieces.
    """
    knife = LineString(line_px)
    pieces: list[Polygon] = []
    for part in mark.outline.repaired().geoms:
        pieces.extend(
            piece for piece in shapely.ops.split(part, knife).geoms if isinstance(piece, Polygon) and piece.area > 0
        )
    if len(pieces) < 2 or len(pieces) == len(mark.outline.repaired().geoms):
        raise InvalidValueError("The line does not divide the mark: draw it from one side right across to the other.")
    if len(pieces) > MOST_PIECES:
        raise InvalidValueError(
            f"The line makes {len(pieces)} pieces of the mark; at most {MOST_PIECES} are made at once."
        )
    pieces.sort(key=lambda piece: -piece.area)
    return tuple(_like(mark, MarkId(f"{new_id}-{i + 1}"), piece) for i, piece in enumerate(pieces))


def join_marks(marks: tuple[Mark, ...], new_id: MarkId) -> Mark:
    """Make one mark of several that touch or overlap.

    Parameters
    ----------
    marks : tuple of Mark
        Two or more, of one photo and one kind.
    new_id : MarkId
        Id of the joined mark.

    Returns
    -------
    Mark
        Of the worst stage among them; the fixing is kept when all agree.

    Raises
    ------
    InvalidValueError
        If they are of different kinds or photos, or do not touch.
    """
    first = marks[0]
    if len(marks) < 2 or len({mark.id for mark in marks}) < len(marks):
        raise InvalidValueError("Choose two different marks to join.")
    if len({mark.photo for mark in marks}) > 1:
        raise InvalidValueError("Marks of two photos cannot be joined: where they overlap they count once anyway.")
    if len({mark.kind for mark in marks}) > 1:
        kinds = " and ".join(sorted({mark.kind.value for mark in marks}))
        raise InvalidValueError(f"Marks of different kinds ({kinds}) cannot be joined: change one of them first.")
    union = _united([mark.outline.repaired() for mark in marks])
    fixings = {mark.fixing for mark in marks}
    return Mark(
        id=new_id,
        photo=first.photo,
        kind=first.kind,
        outline=_outline(union),
        stage=_worst(marks),
        fixing=_agreed(first.kind, fixings),
        panels=first.panels if len({mark.panels for mark in marks}) == 1 else (),
        note="; ".join(dict.fromkeys(mark.note for mark in marks if mark.note)),
    )


def _united(areas: list[MultiPolygon]) -> Polygon:
    union = shapely.union_all(areas)
    if isinstance(union, Polygon) and union.area > 0:
        return union
    # closing the hair's breadth two hand-drawn edges leave between them, without growing the outside
    half = TOUCHING_PX / 2
    closed = shapely.buffer(shapely.buffer(union, half, join_style="mitre"), -half, join_style="mitre")
    bridged = shapely.union(union, closed)
    if isinstance(bridged, Polygon) and bridged.area > 0:
        return bridged
    gap = areas[0].distance(areas[1])
    raise InvalidValueError(f"The marks do not touch ({gap:.0f} px apart): they stay two marks.")


def _worst(marks: tuple[Mark, ...]) -> RustStage | None:
    if marks[0].kind is not MarkKind.RUST:
        return None
    stages = {mark.stage for mark in marks}
    return next((stage for stage in _WORST_FIRST if stage in stages), None)


def _agreed(kind: MarkKind, fixings: set[PatchFixing | None]) -> PatchFixing | None:
    if kind is not MarkKind.PATCH:
        return None
    return next(iter(fixings)) if len(fixings) == 1 else PatchFixing.UNKNOWN


def _outline(polygon: Polygon) -> PhotoOutline:
    rings = [np.asarray(ring.coords, dtype=np.float64) for ring in (polygon.exterior, *polygon.interiors)]
    return PhotoOutline(rings[0], tuple(rings[1:]))


def _like(mark: Mark, new_id: MarkId, piece: Polygon) -> Mark:
    return Mark(
        id=new_id,
        photo=mark.photo,
        kind=mark.kind,
        outline=_outline(piece),
        stage=mark.stage,
        fixing=mark.fixing,
        panels=mark.panels,
        note=mark.note,
    )
