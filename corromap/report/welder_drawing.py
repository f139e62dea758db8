"""One drawing a zone: cut lines, flanges, datum points, dimensions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from corromap.frames import FloatArray
from corromap.messages import message
from corromap.repair import Joint, Piece, ZonePlan
from corromap.repair.metal import polygons_in
from corromap.report.language import tr
from corromap.report.repair_words import SEEN, WAYS
from corromap.report.welder_items import Circle, Dimension, Item, Label, Layer, Line
from corromap.report.welder_references import Corner, Reference, corner_rows, corners_of, references_for
from corromap.template import BodyTemplate, Panel, Zone

__all__ = ["ZoneDrawing", "seen_from", "zone_drawing"]

FIGURES_ACROSS = 48.0
"""Heights of a figure that go into the drawing's longer side; ours."""

UPSIDE_DOWN = 0.7
"""A panel this steep is drawn with its upper edge up; a flat one with u to the right."""


@dataclass(frozen=True, eq=False)
class ZoneDrawing:
    """The drawing of one zone.

    Parameters
    ----------
    zone : Zone
        The zone.
    plan : ZonePlan
        Its plan.
    panel : Panel
        Its panel.
    items : tuple of Item
        Everything drawn, mm.
    references : tuple of Reference
        Points that dimensions start from.
    corners : tuple of Corner
        Every corner of every piece.
    right, up : str
        Which way on the car is right and up on the drawing.
    text_mm : float
        Height of its figures.
    """

    zone: Zone
    plan: ZonePlan
    panel: Panel
    items: tuple[Item, ...]
    references: tuple[Reference, ...]
    corners: tuple[Corner, ...]
    right: str
    up: str
    text_mm: float

    @property
    def title(self) -> str:
        """Number and name of the zone."""
        return f"{self.plan.number} {tr(message(self.zone.name))}"

    @cached_property
    def bounds(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of everything drawn, mm."""
        points = np.concatenate([_extent(item) for item in self.items])
        (left, bottom), (right, top) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
        return float(left), float(bottom), float(right), float(top)


def _extent(item: Item) -> FloatArray:
    match item:
        case Line():
            return np.asarray(item.points)
        case Circle():
            reach = item.radius * np.array([[-1.0, -1.0], [1.0, 1.0]])
            return np.asarray(np.array([item.at]) + reach)
        case Label():
            half = item.height * np.array([0.32 * len(item.text), 0.8])
            return np.asarray(np.array([item.at]) + np.array([-half, half]))
        case Dimension():
            return np.concatenate([item.ends - 1.5 * item.height, item.ends + 1.5 * item.height])


def zone_drawing(
    plan: ZonePlan, template: BodyTemplate, *, flange_mm: float, text_mm: float | None = None
) -> ZoneDrawing:
    """Draw one zone.

    Parameters
    ----------
    plan : ZonePlan
        With pieces.
    template : BodyTemplate
        The body.
    flange_mm : float
        Lap at folds and panel edges.
    text_mm : float or None
        Height of figures, mm of the car; None chooses one that can be read
        when the whole drawing is a hand wide.

    Returns
    -------
    ZoneDrawing
        In the panel's millimetres, as it is looked at.
    """
    zone = template.zone_by_id[plan.zone]
    panel = template.panel(zone.panel)
    look = _look(panel)
    used, chosen = references_for(plan, panel, zone, template, look)
    text_mm = text_mm or _readable(zone, used, look)
    corners = tuple(c for piece in plan.pieces for c in corner_rows(piece, chosen[piece.label], look))
    items: list[Item] = [*_ground(panel, zone, plan, look, text_mm)]
    for piece in plan.pieces:
        items += _piece(piece, look, text_mm, flange_mm)
        items += _dimensions(piece, chosen[piece.label][0], look, text_mm, flange_mm)
    items += _points(used, panel, zone, look, text_mm)
    items += _arrows(items, panel, look, text_mm)
    right, up = _way(look[0] * panel.place.u_axis), _way(look[1] * panel.place.v_axis)
    return ZoneDrawing(zone, plan, panel, tuple(items), used, corners, right, up, text_mm)


def _readable(zone: Zone, used: Sequence[Reference], look: FloatArray) -> float:
    """Height of figures for a drawing of this size."""
    points = np.concatenate([look * zone.outline.exterior_mm, np.array([ref.at for ref in used]).reshape(-1, 2)])
    size = float((points.max(axis=0) - points.min(axis=0)).max())
    return min(max(size / FIGURES_ACROSS, 3.0), 25.0)


def _look(panel: Panel) -> FloatArray:
    """Signs of u and v in the drawing: as seen by the viewer, and never upside down."""
    look = np.array([1.0, float(panel.facing)])
    return -look if float((look[1] * panel.place.v_axis)[2]) < -UPSIDE_DOWN else look


def _way(axis: FloatArray) -> str:
    """Which way on the car a panel's axis points, by its largest part."""
    along = int(np.abs(axis).argmax())
    return tr(message(WAYS[along, 1 if axis[along] > 0 else -1]))


def seen_from(panel: Panel) -> str:
    """Say from where a panel is looked at.

    Parameters
    ----------
    panel : Panel
        The panel.

    Returns
    -------
    str
        In the language in use.
    """
    return tr(SEEN[panel.seen_from])


def _rings(area: Polygon, look: FloatArray) -> list[FloatArray]:
    return [look * np.asarray(ring.coords)[:-1] for ring in (area.exterior, *area.interiors)]


def _ground(panel: Panel, zone: Zone, plan: ZonePlan, look: FloatArray, text_mm: float) -> list[Item]:
    """Draw the zone, its folds, the marked metal."""
    items: list[Item] = [Line(Layer.ZONE, ring, is_closed=True) for ring in _rings(zone.outline.polygon, look)]
    near = zone.outline.polygon.buffer(1.0)
    for fold in panel.folds:
        here = shapely.get_parts(shapely.intersection(LineString(fold.edge_mm), near))
        items += [Line(Layer.FOLD, look * np.asarray(part.coords)) for part in here if part.length > text_mm]
    metal = polygons_in(shapely.simplify(plan.metal, 0.5)).geoms
    items += [Line(Layer.MARK, ring, is_closed=True) for part in metal for ring in _rings(part, look)]
    return items


def _piece(piece: Piece, look: FloatArray, text_mm: float, flange_mm: float) -> list[Item]:
    items: list[Item] = [Line(Layer.CUT, ring, is_closed=True) for ring in _rings(piece.outline, look)]
    laps = [edge for edge in piece.edges if edge.joint is Joint.LAP]
    items += [Line(Layer.FLANGE, look * _flange(piece, e.from_mm, e.to_mm, flange_mm)) for e in laps]
    middle = look * np.array(piece.outline.representative_point().coords[0])
    items.append(Label(Layer.TEXT, (float(middle[0]), float(middle[1])), piece.label, 1.4 * text_mm))
    inside = piece.outline.centroid
    for number, xy in enumerate(corners_of(piece.outline), start=1):
        inwards = np.array([inside.x, inside.y]) - xy
        step = np.sign(inwards) * np.minimum(np.abs(inwards) * 0.6, np.array([0.8, 1.0]) * text_mm)
        at = look * (xy + step)
        items.append(Label(Layer.TEXT, (float(at[0]), float(at[1])), str(number), 0.8 * text_mm))
    return items


def _flange(piece: Piece, start: FloatArray, end: FloatArray, flange_mm: float) -> FloatArray:
    """Outline of a flange beyond an edge: three sides."""
    along = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
    outward = np.array([along[1], -along[0]])
    probe = shapely.Point((start + end) / 2 + outward)
    if piece.outline.contains(probe):
        outward = -outward
    return np.stack([start, start + flange_mm * outward, end + flange_mm * outward, end])


def _dimensions(piece: Piece, first: Reference, look: FloatArray, text_mm: float, flange_mm: float) -> list[Item]:
    """Width and height of the piece, and how far it lies from the first reference."""
    ring = look * np.asarray(piece.outline.exterior.coords)
    (x0, y0), (x1, y1) = ring.min(axis=0).tolist(), ring.max(axis=0).tolist()
    laps = np.array([look * (e.from_mm + e.to_mm) / 2 for e in piece.edges if e.joint is Joint.LAP]).reshape(-1, 2)
    at_x, at_y = first.at
    away = 2.5 * text_mm
    # on the side away from the reference, beyond the flange
    side, out = (x1, 1.0) if at_x <= (x0 + x1) / 2 else (x0, -1.0)
    beside = side + out * (away + flange_mm * bool((np.abs(laps[:, 0] - side) < 1).any()))
    level, down = (y0, -1.0) if at_y >= y0 else (y1, 1.0)
    below = level + down * (away + flange_mm * bool((np.abs(laps[:, 1] - level) < 1).any()))
    items: list[Item] = [
        Dimension((x0, level), (x1, level), (x0, below), is_vertical=False, height=text_mm),
        Dimension((side, y0), (side, y1), (beside, y0), is_vertical=True, height=text_mm),
    ]
    near_x, near_y = min((x0, x1), key=lambda x: abs(x - at_x)), min((y0, y1), key=lambda y: abs(y - at_y))
    if abs(near_x - at_x) > 1:
        items.append(Dimension(first.at, (near_x, near_y), (at_x, at_y), is_vertical=False, height=text_mm))
    if abs(near_y - at_y) > 1:
        items.append(Dimension(first.at, (near_x, near_y), (at_x, at_y), is_vertical=True, height=text_mm))
    return items


def _points(used: Sequence[Reference], panel: Panel, zone: Zone, look: FloatArray, text_mm: float) -> list[Item]:
    items: list[Item] = []
    middle = look * np.array(zone.outline.polygon.centroid.coords[0])
    for ref in used:
        x, y = ref.at
        size = 0.6 * text_mm
        items.append(Circle(Layer.DATUM, ref.at, size))
        items.append(Line(Layer.DATUM, np.array([[x - 1.6 * size, y], [x + 1.6 * size, y]])))
        items.append(Line(Layer.DATUM, np.array([[x, y - 1.6 * size], [x, y + 1.6 * size]])))
        away = np.sign(np.array([x, y]) - middle) * np.array([1.8, 1.3]) * text_mm  # where no dimension runs
        items.append(Label(Layer.DATUM, (x + float(away[0]), y + float(away[1])), ref.label, text_mm))
    near = zone.outline.polygon.buffer(1.0)
    for mounting in panel.mountings:
        if near.contains(shapely.Point(mounting.at_mm)):
            x, y = (look * mounting.at_mm).tolist()
            items.append(Circle(Layer.MOUNTING, (x, y), 0.9 * text_mm))
            items.append(Circle(Layer.MOUNTING, (x, y), 0.3 * text_mm))
    return items


def _arrows(items: Sequence[Item], panel: Panel, look: FloatArray, text_mm: float) -> list[Item]:
    """Draw two arrows below the drawing: which way on the car is right and up."""
    points = np.concatenate([_extent(item) for item in items])
    x, y = float(points[:, 0].min()) + text_mm, float(points[:, 1].min()) - 5.5 * text_mm
    right, up = _way(look[0] * panel.place.u_axis), _way(look[1] * panel.place.v_axis)
    long, head = 4.0 * text_mm, 0.6 * text_mm
    shaft = np.array([[0.0, 0.0], [long, 0.0]])
    barbs = np.array([[long - head, head], [long, 0.0], [long - head, -head]])
    found: list[Item] = []
    for turn in (np.eye(2), np.array([[0.0, 1.0], [1.0, 0.0]])):
        found += [Line(Layer.TEXT, np.array([x, y]) + part @ turn) for part in (shaft, barbs)]
    found.append(Label(Layer.TEXT, (x + long + (1 + 0.4 * len(right)) * text_mm, y), right, text_mm))
    found.append(Label(Layer.TEXT, (x + (1 + 0.4 * len(up)) * text_mm, y + long), up, text_mm))
    seen = seen_from(panel)
    found.append(Label(Layer.TEXT, (x + 0.4 * len(seen) * text_mm, y - 2.0 * text_mm), seen, text_mm))
    return found
