"""Where a piece lies: datum points to measure from, and its corners from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import Polygon

from corromap.frames import FloatArray
from corromap.messages import Message, message
from corromap.repair import Piece, ZonePlan
from corromap.report.language import tr
from corromap.template import BodyTemplate, DatumPoint, Panel, Zone

__all__ = ["Corner", "Reference", "corner_rows", "corners_of", "references_for"]

FEWEST_CROSSING_DEG = 30.0
"""Two tapes that cross at a smaller angle fix a point badly; ours."""

CORNER_DEG = 10.0
"""A turn of the outline from which it is a corner and not a curve; ours."""


@dataclass(frozen=True, slots=True)
class Reference:
    """A point that dimensions start from.

    Parameters
    ----------
    label : str
        On the drawing, for example ``D1``.
    name : str
        How to find it on the car.
    at : tuple of float
        In the drawing, mm.
    """

    label: str
    name: str
    at: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Corner:
    """A corner of a piece, measured from two references.

    Parameters
    ----------
    piece : str
        Its label.
    number : int
        From 1, as on the drawing.
    first, second : Reference
        The references.
    right_mm, up_mm : float
        From the first, along and across the panel as drawn; negative is left
        or down.
    tape_first_mm, tape_second_mm : float
        Straight distances along the panel.
    """

    piece: str
    number: int
    first: Reference
    second: Reference
    right_mm: float
    up_mm: float
    tape_first_mm: float
    tape_second_mm: float


def references_for(
    plan: ZonePlan, panel: Panel, zone: Zone, template: BodyTemplate, look: FloatArray
) -> tuple[tuple[Reference, ...], dict[str, tuple[Reference, Reference]]]:
    """Choose two references for each piece of a zone.

    Parameters
    ----------
    plan : ZonePlan
        With pieces.
    panel, zone : Panel, Zone
        Where they lie.
    template : BodyTemplate
        The body.
    look : ndarray of float64, shape (2,)
        Signs of u and v in the drawing.

    Returns
    -------
    used : tuple of Reference
        Numbered from 1.
    chosen : dict of str to tuple of Reference
        Two for each piece, by its label.
    """
    known = _standing(_references(panel, zone, template, look), plan, look)
    return _numbered(known, {piece.label: _two_of(known, piece, look) for piece in plan.pieces})


def _references(panel: Panel, zone: Zone, template: BodyTemplate, look: FloatArray) -> tuple[Reference, ...]:
    """Datum points of the panel; where there are fewer than two, the zone's corners too."""
    names = {datum.id: _datum_name(p, datum) for p in template.panels for datum in p.datum_points}
    found = [(names[datum], look * xy) for datum, xy in template.datum_positions(panel.id).items()]
    if len(found) < 2:
        corners = [look * xy for xy in corners_of(zone.outline.polygon)]
        found += [(message("corner {number} of the zone", number=n), xy) for n, xy in enumerate(corners, start=1)]
    return tuple(
        Reference(f"D{n}", tr(name), (float(xy[0]), float(xy[1]))) for n, (name, xy) in enumerate(found, start=1)
    )


def _datum_name(panel: Panel, datum: DatumPoint) -> Message:
    """Name of a datum point, its panel's name apart so that each is said in the reader's language."""
    start = f"{panel.name}: "
    if not datum.name.startswith(start):
        return message(datum.name)
    return message("{panel}: {name}", panel=message(panel.name), name=message(datum.name.removeprefix(start)))


def _standing(known: tuple[Reference, ...], plan: ZonePlan, look: FloatArray) -> tuple[Reference, ...]:
    """Leave out references on metal that is cut away, as long as two others are left."""
    cut = shapely.union_all([piece.outline for piece in plan.pieces])
    left = tuple(ref for ref in known if not cut.intersects(shapely.Point(look * np.array(ref.at))))
    return left if len(left) > 1 else known


def _two_of(known: Sequence[Reference], piece: Piece, look: FloatArray) -> tuple[Reference, Reference]:
    """Choose the nearest reference, and the nearest other whose tape crosses the first well."""
    middle = look * np.array(piece.outline.centroid.coords[0])
    nearest = sorted(known, key=lambda ref: float(np.hypot(*(np.array(ref.at) - middle))))
    first, rest = nearest[0], nearest[1:]
    one = np.array(first.at) - middle

    def crosses(ref: Reference) -> bool:
        other = np.array(ref.at) - middle
        sine = abs(float(one[0] * other[1] - one[1] * other[0])) / max(float(np.hypot(*one) * np.hypot(*other)), 1e-9)
        return bool(sine >= np.sin(np.radians(FEWEST_CROSSING_DEG)))

    return first, next((ref for ref in rest if crosses(ref)), rest[0])


def _numbered(
    known: Sequence[Reference], chosen: Mapping[str, tuple[Reference, Reference]]
) -> tuple[tuple[Reference, ...], dict[str, tuple[Reference, Reference]]]:
    """Give the references in use numbers from 1."""
    used = [ref for ref in known if any(ref in pair for pair in chosen.values())]
    named = {ref: replace(ref, label=f"D{number}") for number, ref in enumerate(used, start=1)}
    return tuple(named.values()), {piece: (named[one], named[two]) for piece, (one, two) in chosen.items()}


def corners_of(outline: Polygon) -> FloatArray:
    """Find the corners of an outline: where it turns, not where a curve is made of chords.

    Parameters
    ----------
    outline : shapely.Polygon
        Any.

    Returns
    -------
    ndarray of float64, shape (N, 2)
        In its order.
    """
    ring = np.asarray(outline.exterior.coords)[:-1]
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    turn = np.degrees(np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(axis=1)))
    return np.asarray(ring[np.abs(turn) > CORNER_DEG], dtype=np.float64)


def corner_rows(piece: Piece, refs: tuple[Reference, Reference], look: FloatArray) -> list[Corner]:
    """Measure the corners of a piece from its references.

    Parameters
    ----------
    piece : Piece
        The piece.
    refs : tuple of Reference
        Two.
    look : ndarray of float64, shape (2,)
        Signs of u and v in the drawing.

    Returns
    -------
    list of Corner
        In the order of its outline.
    """
    first, second = refs
    found = []
    for number, xy in enumerate(corners_of(piece.outline) * look, start=1):
        from_first, from_second = xy - np.array(first.at), xy - np.array(second.at)
        tapes = float(np.hypot(*from_first)), float(np.hypot(*from_second))
        found.append(Corner(piece.label, number, first, second, float(from_first[0]), float(from_first[1]), *tapes))
    return found
