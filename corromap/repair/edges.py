"""What the edge of each piece meets: open sheet, a seam, a fold, the panel's end, the next piece."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from shapely.geometry import Polygon

from corromap.frames import FloatArray
from corromap.repair.result import EdgeKind, PieceEdge
from corromap.template import BodyTemplate, Panel, Zone

__all__ = ["EDGE_TOLERANCE_MM", "Border", "borders_of", "edges_of"]

EDGE_TOLERANCE_MM = 0.5
"""Lines nearer than this are the same line; half of what folds may miss each other by."""


@dataclass(frozen=True, slots=True, eq=False)
class Border:
    """A straight line on a panel that an edge of a piece may lie on.

    Parameters
    ----------
    kind : EdgeKind
        What lies there.
    from_mm, to_mm : ndarray of float64, shape (2,)
        Its ends.
    neighbour : str
        As printed.
    """

    kind: EdgeKind
    from_mm: FloatArray
    to_mm: FloatArray
    neighbour: str


def borders_of(panel: Panel, zone: Zone, template: BodyTemplate, others: Mapping[str, Polygon]) -> list[Border]:
    """Lines around a zone that its pieces may meet.

    Parameters
    ----------
    panel : Panel
        The panel.
    zone : Zone
        The zone.
    template : BodyTemplate
        For names of panels.
    others : mapping of str to shapely.Polygon
        Pieces of the panel's other zones, and the zone's own, by label.

    Returns
    -------
    list of Border
        Those that count first come first.
    """
    found = [
        Border(EdgeKind.FOLD, fold.edge_mm[0], fold.edge_mm[1], template.panel(fold.other).name) for fold in panel.folds
    ]
    found += [Border(EdgeKind.PANEL_EDGE, a, b, panel.name) for a, b in _sides(panel.outline.exterior_mm)]
    found += [
        Border(EdgeKind.SHARED, a, b, label)
        for label, piece in others.items()
        for a, b in _sides(np.asarray(piece.exterior.coords)[:-1])
    ]
    neighbours = [z for z in panel.zones if z.id != zone.id]
    found += [
        Border(EdgeKind.ZONE_SEAM, a, b, other.name)
        for other in neighbours
        for a, b in _sides(other.outline.exterior_mm)
    ]
    found += [
        Border(EdgeKind.ZONE_SEAM, a, b, "ground under another member") for a, b in _sides(zone.outline.exterior_mm)
    ]
    return found


def _sides(ring: FloatArray) -> list[tuple[FloatArray, FloatArray]]:
    return list(zip(ring, np.roll(ring, -1, axis=0), strict=True))


def edges_of(piece: Polygon, borders: Sequence[Border]) -> tuple[PieceEdge, ...]:
    """Divide a piece's outline by what it meets.

    Parameters
    ----------
    piece : shapely.Polygon
        The cut line.
    borders : sequence of Border
        From `borders_of`, without the piece itself.

    Returns
    -------
    tuple of PieceEdge
        All round, in the order of the outline; lengths sum to its length.
    """
    lines = np.array([(border.from_mm, border.to_mm) for border in borders], dtype=np.float64).reshape(-1, 2, 2)
    found = []
    for ring in (piece.exterior, *piece.interiors):
        for a, b in _sides(np.asarray(ring.coords)[:-1]):
            found += _divided(a, b, borders, lines)
    return tuple(found)


def _divided(a: FloatArray, b: FloatArray, borders: Sequence[Border], lines: FloatArray) -> list[PieceEdge]:
    length = float(np.hypot(*(b - a)))
    if length == 0:
        return []
    along = (b - a) / length
    spans = [(borders[i], span) for i, span in _spans_on(a, along, length, lines)]
    stops = sorted({0.0, length, *(stop for _, span in spans for stop in span)})
    parts: list[PieceEdge] = []
    for start, end in pairwise(stops):
        middle = (start + end) / 2
        on = next((border for border, (s, e) in spans if s <= middle <= e), None)
        kind, neighbour = (on.kind, on.neighbour) if on else (EdgeKind.CUT, "")
        if parts and (parts[-1].kind, parts[-1].neighbour) == (kind, neighbour):
            start_mm = parts.pop().from_mm
        else:
            start_mm = a + start * along
        parts.append(PieceEdge(kind, start_mm, a + end * along, neighbour, 0.5 if kind is EdgeKind.SHARED else 1.0))
    return parts


def _spans_on(
    a: FloatArray, along: FloatArray, length: float, lines: FloatArray
) -> list[tuple[int, tuple[float, float]]]:
    """Which lines lie on a side, and where along it they start and end."""
    if not len(lines):
        return []
    ends = lines - a
    across = np.abs(ends @ np.array([-along[1], along[0]])).max(axis=1)
    spans = np.sort(np.clip(ends @ along, 0.0, length), axis=1)
    on = np.flatnonzero((across <= EDGE_TOLERANCE_MM) & (spans[:, 1] - spans[:, 0] > EDGE_TOLERANCE_MM))
    return [(int(i), (float(spans[i, 0]), float(spans[i, 1]))) for i in on]
