"""How far the boundary of a projected mark moves when an error moves.

The first-order change of an area is the integral, over the boundary that
moves, of the outward part of its movement (the transport theorem for a region
whose boundary moves; Reynolds). Each edge's share of that integral is kept, so
that the union of many marks takes the edges that are still exposed and no
others.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.frames import FloatArray
from corromap.projection.result import MovingEdges
from corromap.projection.view import Geometries, PanelView
from corromap.survey import Mark

__all__ = ["boundary_segments", "moving_edges", "outline_label"]

ON_EDGE_PX = 1e-3
ON_EDGE_MM = 1e-3
"""A segment whose middle is this near a cut is part of the cut; ours, far
above rounding (1e-9) and far below anything drawn."""


def outline_label(mark: Mark) -> str:
    """Label of the error source that is the hand which drew a mark.

    Parameters
    ----------
    mark : Mark
        The mark.

    Returns
    -------
    str
        ``outline:<id>``.
    """
    return f"outline:{mark.id}"


def boundary_segments(areas: Geometries) -> tuple[FloatArray, FloatArray, NDArray[np.intp]]:
    """Every boundary segment of some polygons, interior on the left.

    Parameters
    ----------
    areas : ndarray of shapely polygons or multi-polygons, shape (N,)
        Valid polygons.

    Returns
    -------
    start, end : ndarray of float64, shape (S, 2)
        Ends of the segments.
    owner : ndarray of int, shape (S,)
        Index into `areas`.
    """
    parts, part_owner = shapely.get_parts(shapely.orient_polygons(areas), return_index=True)
    rings, ring_part = shapely.get_rings(parts, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    if len(points) == 0:
        return np.empty((0, 2)), np.empty((0, 2)), np.empty(0, dtype=np.intp)
    same = ring[1:] == ring[:-1]
    return points[:-1][same], points[1:][same], part_owner[ring_part[ring[:-1][same]]]


def moving_edges(areas: Geometries, marks: Sequence[Mark], view: PanelView) -> list[MovingEdges]:
    """Edges and their flux for the marks of one photo on one panel.

    Parameters
    ----------
    areas : ndarray of shapely.MultiPolygon, shape (N,)
        Projected areas in panel millimetres, already clipped.
    marks : sequence of Mark
        The marks, in the same order.
    view : PanelView
        The panel in the photo.

    Returns
    -------
    list of MovingEdges
        One for each mark.
    """
    start, end, owner = boundary_segments(areas)
    middle = (start + end) / 2
    points = shapely.points(middle)
    moves = shapely.distance(points, view.panel.outline.polygon.exterior) > ON_EDGE_MM
    start, end, owner, middle = start[moves], end[moves], owner[moves], middle[moves]
    registration = view.registration
    middle_px = registration.to_px(middle)
    outward = np.stack([end[:, 1] - start[:, 1], start[:, 0] - end[:, 0]], axis=1)
    flux = {
        label: np.einsum("ei,eip->ep", outward, speed) for label, speed in registration.sensitivities(middle_px).items()
    }
    by_hand = _outline_flux(start, end, middle_px, view)
    bounds = np.searchsorted(owner, np.arange(len(marks) + 1))
    return [
        MovingEdges(
            start[a:b], end[a:b], {label: f[a:b] for label, f in flux.items()} | {outline_label(mark): by_hand[a:b]}
        )
        for mark, a, b in zip(marks, bounds[:-1], bounds[1:], strict=True)
    ]


def _outline_flux(start: FloatArray, end: FloatArray, middle_px: FloatArray, view: PanelView) -> FloatArray:
    """Area swept when the outline is drawn one pixel further out, shape (E, 1).

    A strip one pixel wide along an edge of length l px has l px2, each worth
    the determinant of the Jacobian in mm2. An edge that is a cut (frame,
    horizon, panel in front) was not drawn, and has none.
    """
    registration = view.registration
    length_px = np.hypot(*(registration.to_px(end) - registration.to_px(start)).T)
    mm2_per_px2 = np.abs(np.linalg.det(registration.jacobian(middle_px)))
    straight = registration.lens.undistort(middle_px)
    drawn = shapely.distance(shapely.points(straight), view.visible_px.boundary) > ON_EDGE_PX
    return np.asarray((length_px * mm2_per_px2 * drawn)[:, None], dtype=np.float64)
