"""A panel as one photo shows it, worked out in the pixels a straight lens would give.

With the lens taken out, the way from photo to panel keeps straight lines
straight, so every cut (frame, horizon, panel edge, panel in front) is an exact
polygon operation there, and areas of different panels can be told apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import GeometryCollection, MultiPolygon, Polygon

from corromap.frames import FloatArray, PanelId
from corromap.projection.occlusion import SNAP_PX, standing_in_front
from corromap.registration.result import CameraPose, Lens, Registration
from corromap.registration.viewpoint import seen_from, viewpoints_of
from corromap.survey import Photo
from corromap.template import BodyTemplate, Panel

__all__ = ["Geometries", "PanelView", "frame_of", "panel_views", "polygons_of", "straighten", "view_of"]

DENSIFY_PX = 50.0
"""Longest edge before the lens is taken out; a straight edge is curved by it."""

FRAME_EDGES = 32
"""Edges each side of the frame is cut into, for the same reason."""

REMEMBERED = 64
"""Photos whose views are kept."""

Geometries = NDArray[Any]


def polygons_of(geometry: Any) -> MultiPolygon:  # noqa: ANN401 - whatever an overlay returns
    """Keep what has area, as one multi-polygon.

    Parameters
    ----------
    geometry : shapely geometry
        Result of an overlay; may hold lines and points where edges touched.

    Returns
    -------
    shapely.MultiPolygon
        Its polygons.
    """
    if isinstance(geometry, MultiPolygon):
        return geometry
    if isinstance(geometry, Polygon):
        return MultiPolygon([geometry] if not geometry.is_empty else [])
    if not isinstance(geometry, GeometryCollection):
        return MultiPolygon()  # lines and points, where edges only touched
    return MultiPolygon([p for part in geometry.geoms for p in polygons_of(part).geoms])


def apply_homography(matrix: FloatArray, xy: FloatArray) -> FloatArray:
    """Carry points through a 3 x 3 matrix; the caller keeps to w > 0.

    Parameters
    ----------
    matrix : ndarray of float64, shape (3, 3)
        The map.
    xy : ndarray of float64, shape (N, 2)
        Points.

    Returns
    -------
    ndarray of float64, shape (N, 2)
        Their images.
    """
    image = xy @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(image[:, :2] / image[:, 2:], dtype=np.float64)


def straighten(geometry: Any, lens: Lens, longest_px: float = DENSIFY_PX) -> Any:  # noqa: ANN401
    """Take the lens out of polygons in photo pixels.

    Parameters
    ----------
    geometry : shapely geometry or array of them
        In pixels of the upright photo.
    lens : Lens
        The photo's lens.
    longest_px : float
        Edges are cut to this length first.

    Returns
    -------
    shapely geometry or array of them
        In pixels as a lens without distortion would give them, valid.
    """
    dense = shapely.segmentize(geometry, longest_px)
    return _mended(shapely.transform(dense, lens.undistort))


def _mended(geometry: Any) -> Any:  # noqa: ANN401
    """Make valid: rounding can make a sliver touch itself; overlays need it valid."""
    valid = shapely.is_valid(geometry)
    if np.all(valid):
        return geometry
    return np.where(valid, geometry, shapely.make_valid(geometry, method="structure", keep_collapsed=False))[()]


def frame_of(photo: Photo) -> Polygon:
    """Edge of a photo: pixel centres are whole numbers, so it is half a pixel out.

    Parameters
    ----------
    photo : Photo
        The photo.

    Returns
    -------
    shapely.Polygon
        In pixels.
    """
    return shapely.box(-0.5, -0.5, photo.width_px - 0.5, photo.height_px - 0.5)


def _short_of_horizon(frame: MultiPolygon, matrix: FloatArray, w_min: float) -> MultiPolygon:
    """Cut with the half-plane w >= w_min, which is a straight line in these pixels."""
    gx, gy, g0 = matrix[2]
    slope = float(np.hypot(gx, gy))
    x0, y0, x1, y1 = frame.bounds
    reach = 4.0 * float(np.hypot(x1 - x0, y1 - y0))
    if slope * reach < 1e-9 * abs(w_min):
        return frame  # square-on: w is the same everywhere
    normal = np.array([gx, gy]) / slope
    along = np.array([-normal[1], normal[0]])
    centre = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    on_line = centre + normal * (w_min - g0 - centre @ (gx, gy)) / slope
    on_line += along * ((centre - on_line) @ along)
    far = max(reach, float(np.hypot(*(on_line - centre))) + reach)
    corners = [on_line - far * along, on_line + far * along]
    near_side = Polygon([*corners, corners[1] + 2 * far * normal, corners[0] + 2 * far * normal])
    return polygons_of(shapely.intersection(frame, near_side))


@dataclass(frozen=True, eq=False)
class PanelView:
    """One panel as one photo shows it.

    Parameters
    ----------
    panel : Panel
        The panel.
    registration : Registration
        The photo's place on it.
    near_px : shapely.MultiPolygon
        The photo's frame short of this panel's horizon, lens taken out.
    shown_px : shapely.MultiPolygon
        The part of the frame this panel fills, whatever stands in front.
    visible_px : shapely.MultiPolygon
        The same less the panels that stand in front of it.
    by_viewpoint : tuple of PanelView
        The same panel placed by where the photo may have been taken from, when
        its own fit has no camera: what counts as seen is what all of them show.
    """

    panel: Panel
    registration: Registration
    near_px: MultiPolygon
    shown_px: MultiPolygon
    visible_px: MultiPolygon
    by_viewpoint: tuple[PanelView, ...] = ()

    def to_mm(self, geometry: Any) -> Any:  # noqa: ANN401
        """Carry polygons from straightened pixels to the panel.

        Parameters
        ----------
        geometry : shapely geometry or array of them
            Inside `near_px`.

        Returns
        -------
        shapely geometry or array of them
            In panel millimetres, valid.
        """
        matrix = self.registration.matrix
        return _mended(shapely.transform(geometry, lambda xy: apply_homography(matrix, xy)))

    @cached_property
    def hull_px(self) -> Polygon:
        """Hull of the sightings, lens taken out."""
        hull: Polygon = straighten(Polygon(self.registration.hull_px), self.registration.lens)
        return hull


def view_of(photo: Photo, registration: Registration, panel: Panel) -> PanelView:
    """Work out what a photo shows of one panel, as if nothing stood in front.

    Parameters
    ----------
    photo : Photo
        The photo.
    registration : Registration
        Its place on the panel.
    panel : Panel
        The panel.

    Returns
    -------
    PanelView
        With `visible_px` equal to `shown_px`.
    """
    matrix = registration.matrix
    side = max(photo.width_px, photo.height_px) / FRAME_EDGES
    frame = polygons_of(straighten(frame_of(photo), registration.lens, side))
    # a hair short of it, so that rounding cannot put the cut itself beyond
    near = _short_of_horizon(frame, matrix, registration.w_min * (1 + 1e-6))
    region = _mended(shapely.transform(near, lambda xy: apply_homography(matrix, xy)))
    on_panel = polygons_of(shapely.intersection(region, panel.outline.polygon))
    back: FloatArray = np.asarray(np.linalg.inv(matrix), dtype=np.float64)
    shown = polygons_of(_mended(shapely.transform(on_panel, lambda xy: apply_homography(back, xy))))
    return PanelView(panel, registration, near, shown, shown)


def panel_views(
    photo: Photo, registrations: Mapping[PanelId, Registration], template: BodyTemplate
) -> dict[PanelId, PanelView]:
    """Work out what a photo shows of each panel it is placed on.

    Parameters
    ----------
    photo : Photo
        The photo.
    registrations : mapping of PanelId to Registration
        Where it is placed.
    template : BodyTemplate
        The template.

    Returns
    -------
    dict of PanelId to PanelView
        In the template's order of panels.
    """
    return dict(_remembered(photo, tuple(registrations.items()), template))


@lru_cache(maxsize=REMEMBERED)
def _remembered(
    photo: Photo, placed: tuple[tuple[PanelId, Registration], ...], template: BodyTemplate
) -> Mapping[PanelId, PanelView]:
    """Work the views out once: drawing a mark changes nothing they depend on. Registrations compare by identity."""
    registrations = dict(placed)
    views = {
        panel.id: view_of(photo, registrations[panel.id], panel)
        for panel in template.panels
        if panel.id in registrations
    }
    return {panel_id: _uncovered(photo, view, views, template) for panel_id, view in views.items()}


def _uncovered(photo: Photo, view: PanelView, views: Mapping[PanelId, PanelView], template: BodyTemplate) -> PanelView:
    """Take what stands in front off a panel, as its own fit has it and as the photo's viewpoints have it."""
    panel, own = view.panel, view.registration
    covering = {other.panel.id: other.shown_px for other in views.values() if panel.id in other.panel.covers}
    eyes = viewpoints_of(photo, panel, own, tuple((one.panel, one.registration) for one in views.values()))
    believed = [(eye, less) for eye in eyes if (less := _less(view, covering, eye, template)) is not None]
    if not believed:  # nothing is known to stand in front but what was placed itself
        return _less(view, covering, None, template) or view
    placed = [(eye, seen_from(eye, panel, own)) for eye, _ in believed]
    judged = [_less(view_of(photo, it, panel), covering, eye, template) for eye, it in placed if it is not own]
    return replace(believed[0][1], by_viewpoint=tuple(one for one in judged if one is not None))


def _less(
    view: PanelView, covering: Mapping[PanelId, MultiPolygon], eye: CameraPose | None, template: BodyTemplate
) -> PanelView | None:
    """Take what stands in front off; None when the viewpoint is wrong."""
    found: MultiPolygon | None = MultiPolygon()
    if eye is not None:
        found = standing_in_front(view.panel, view.shown_px, view.registration, eye, template, but=covering)
    if found is None:
        return None
    in_front = [*covering.values(), found]
    if all(image.is_empty for image in in_front):
        return view
    front = shapely.union_all(in_front, grid_size=SNAP_PX)
    return replace(view, visible_px=polygons_of(shapely.difference(view.shown_px, front, grid_size=SNAP_PX)))
