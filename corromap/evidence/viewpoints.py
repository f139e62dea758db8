"""Places from which a body can be photographed, and what each would show.

Candidates stand on a raster under, beside and above the body in the car frame.
What one shows is worked out cell by cell: in the frame, on the drawn side, not
too flat, not too far, and with no other panel of the template in between.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.evidence.grid import PanelGrid, grid_of
from corromap.frames import FloatArray
from corromap.template import BodyTemplate, Panel, SeenFrom

__all__ = ["BodyCells", "Stance", "Viewpoint", "body_cells", "candidates", "visible_cells", "what_they_show"]

CELL_MM = 50.0
HALF_WIDTH, HALF_HEIGHT = 0.60, 0.45
"""Half the picture over its distance that is counted on: 90 % of a phone's main
camera (26 mm equivalent, 4:3; common practice), so that a shaky hand is allowed for."""
NEAREST_MM, FARTHEST_MM = 300.0, 1600.0
"""Nearer does not focus or shows too little; farther a torch does not carry. Ours."""
FLATTEST_DEG = 60.0
"""Asked for; up to 70 is accepted when it comes (see `corromap.evidence.detail`)."""
IN_FRONT_MM = 5.0
"""A panel hides what lies farther than this behind it; folds meet more closely."""


class Stance(StrEnum):
    """Where the person is."""

    UNDER = "under the car"
    LEFT = "beside the car, on its left"
    RIGHT = "beside the car, on its right"
    ABOVE = "over the car"


@dataclass(frozen=True, slots=True, eq=False)
class Viewpoint:
    """A camera that could be held there.

    Parameters
    ----------
    stance : Stance
        Where the person is.
    at_mm : ndarray of float64, shape (3,)
        Of the camera, car frame.
    towards : ndarray of float64, shape (3,)
        Unit vector it looks along, car frame.
    up : ndarray of float64, shape (3,)
        Unit vector that points up in the picture, car frame.
    """

    stance: Stance
    at_mm: FloatArray
    towards: FloatArray
    up: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class BodyCells:
    """All cells of a body.

    Parameters
    ----------
    grids : tuple of PanelGrid
        Panel by panel, in template order.
    at_mm : ndarray of float64, shape (N, 3)
        Centres, car frame.
    facing : ndarray of float64, shape (N, 3)
        Unit normal towards the drawn side.
    panel : ndarray of int, shape (N,)
        Index into `grids`.
    """

    grids: tuple[PanelGrid, ...]
    at_mm: FloatArray
    facing: FloatArray
    panel: NDArray[np.intp]


@lru_cache(maxsize=8)
def body_cells(template: BodyTemplate) -> BodyCells:
    """Cut a whole body into cells.

    Parameters
    ----------
    template : BodyTemplate
        The body, compared by identity.

    Returns
    -------
    BodyCells
        Cells of `CELL_MM`.
    """
    grids = tuple(grid_of(panel, CELL_MM) for panel in template.panels)
    counts = [len(grid.uv_mm) for grid in grids]
    normals = np.array([panel.facing * panel.place.normal for panel in template.panels]).reshape(-1, 3)
    return BodyCells(
        grids=grids,
        at_mm=np.concatenate([grid.car_mm for grid in grids]),
        facing=np.repeat(normals, counts, axis=0),
        panel=np.repeat(np.arange(len(grids)), counts),
    )


def candidates(template: BodyTemplate) -> tuple[Viewpoint, ...]:
    """List places from which a body of this size can be photographed.

    Parameters
    ----------
    template : BodyTemplate
        The body.

    Returns
    -------
    tuple of Viewpoint
        Straight up and at 45 degrees from below, level and slightly upwards from both sides,
        straight down on panels seen from above.
    """
    corners = np.concatenate([p.place.to_car(p.outline.exterior_mm) for p in template.panels])
    (x0, y0, z0), (x1, y1, _) = corners.min(axis=0), corners.max(axis=0)
    xs = _steps(x0 + 150, x1 - 150, 350)
    views = [_view(Stance.UNDER, (x, y, z0 - 750), (0, 0, 1)) for x in xs for y in _steps(y0 + 200, y1 - 200, 400)]
    for lean in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        views += [
            _view(Stance.UNDER, (x, y, z0 - 450), (*lean, 1)) for x in xs for y in _steps(y0 + 150, y1 - 150, 450)
        ]
    for side, edge, sign in ((Stance.LEFT, y1, -1.0), (Stance.RIGHT, y0, 1.0)):
        for height, rise in ((z0 + 60, 0.0), (z0 - 150, 0.45)):
            views += [_view(side, (x, edge - sign * 750, height), (0, sign, rise)) for x in xs]
    views += [v for panel in template.panels if panel.seen_from is SeenFrom.ABOVE for v in _from_above(panel)]
    return tuple(views)


def _from_above(panel: Panel) -> list[Viewpoint]:
    corners = panel.place.to_car(panel.outline.exterior_mm)
    (x0, y0, _), (x1, y1, z1) = corners.min(axis=0), corners.max(axis=0)
    return [_view(Stance.ABOVE, ((x0 + x1) / 2, y, z1 + 600), (0, 0, -1)) for y in _steps(y0 + 300, y1 - 300, 350)]


def _steps(low: float, high: float, step: float) -> list[float]:
    if high <= low:
        return [(low + high) / 2]
    return [float(v) for v in np.linspace(low, high, int(np.ceil((high - low) / step)) + 1)]


def _view(stance: Stance, at: tuple[float, ...], towards: tuple[float, ...]) -> Viewpoint:
    forward = np.array(towards, dtype=np.float64) / np.linalg.norm(towards)
    # under or over a car the long side of the picture lies along the car
    across = np.array([0.0, 1.0, 0.0]) if stance in {Stance.UNDER, Stance.ABOVE} else np.array([0.0, 0.0, 1.0])
    if abs(forward @ across) > 0.5:
        across = np.array([0.0, 0.0, 1.0])
    up = across - (across @ forward) * forward
    return Viewpoint(stance, np.array(at, dtype=np.float64), forward, up / np.linalg.norm(up))


def visible_cells(view: Viewpoint, cells: BodyCells) -> NDArray[np.bool_]:
    """Find which cells a viewpoint would show well.

    Parameters
    ----------
    view : Viewpoint
        The camera.
    cells : BodyCells
        Of the body.

    Returns
    -------
    ndarray of bool, shape (N,)
        True for cells in the frame, on their drawn side, near enough, not too
        flat and not behind another panel.
    """
    ray = cells.at_mm - view.at_mm
    distance = np.linalg.norm(ray, axis=1)
    depth = ray @ view.towards
    right = np.cross(view.towards, view.up)
    cosine = -(ray * cells.facing).sum(axis=1) / distance
    shown = (
        (np.abs(ray @ right) <= HALF_WIDTH * depth)
        & (np.abs(ray @ view.up) <= HALF_HEIGHT * depth)
        & (distance >= NEAREST_MM)
        & (distance <= FARTHEST_MM)
        & (cosine >= np.cos(np.radians(FLATTEST_DEG)))
    )
    for index, grid in enumerate(cells.grids):
        some = np.flatnonzero(shown & (cells.panel != index))
        if some.size:
            shown[some[_hidden_by(grid.panel, view.at_mm, cells.at_mm[some])]] = False
    return np.asarray(shown)


def _hidden_by(panel: Panel, camera: FloatArray, points: FloatArray) -> NDArray[np.bool_]:
    """Whether the panel stands between a camera and points, both in the car frame."""
    ray = points - camera
    along = ray @ panel.place.normal
    start = float((panel.place.origin_mm - camera) @ panel.place.normal)
    part = np.divide(start, along, out=np.full(len(points), -1.0), where=np.abs(along) > 1e-9)
    behind = (part > 0) & ((1.0 - part) * np.linalg.norm(ray, axis=1) > IN_FRONT_MM)
    hit = camera + part[:, None] * ray - panel.place.origin_mm
    u, v = hit @ panel.place.u_axis, hit @ panel.place.v_axis
    low_u, low_v, high_u, high_v = panel.outline.polygon.bounds
    behind &= (u > low_u) & (u < high_u) & (v > low_v) & (v < high_v)
    some = np.flatnonzero(behind)
    behind[some] = shapely.contains_xy(panel.outline.polygon, u[some], v[some])
    return np.asarray(behind)


@lru_cache(maxsize=8)
def what_they_show(template: BodyTemplate) -> tuple[tuple[Viewpoint, ...], NDArray[np.bool_]]:
    """Work out what every candidate would show of a body.

    Parameters
    ----------
    template : BodyTemplate
        The body, compared by identity.

    Returns
    -------
    views : tuple of Viewpoint
        Candidates, V of them.
    shows : ndarray of bool, shape (V, N)
        What each shows of `body_cells`.
    """
    views, cells = candidates(template), body_cells(template)
    shows = np.array([visible_cells(view, cells) for view in views])
    shows.setflags(write=False)
    return views, shows
