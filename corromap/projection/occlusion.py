"""What stands between a camera and a panel.

With a camera in the car frame every face of the body is known to it, placed by
points or not, seen from its drawn side or from behind. What lies on the viewer's
side of a panel's plane hides the ground behind it: its image, in pixels with
the lens taken out, is taken off the panel's. Cuts are exact polygon operations.

A photo placed on one panel alone has no camera good enough to place others,
but the panel's points and what is known of the focal length say from where it
looks (`corromap.registration.viewpoint`): what stands 45 mm in front of a floor,
as a beam does, is then right to 1 mm a degree of tilt.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from corromap.frames import FloatArray, PanelId
from corromap.registration.result import CameraPose, Registration
from corromap.template import FOLD_TOLERANCE_MM, BodyTemplate, Panel, Place

__all__ = ["SNAP_PX", "Face", "faces_of", "standing_in_front"]

NEAR_MM = 20.0
"""What is nearer to the camera's plane than this is not looked at."""

ABOVE_MM = FOLD_TOLERANCE_MM
"""A face stands in front of a panel from so far above its plane on: panels meet at folds to no less."""

DEEPEST_WEB_MM = 250.0
"""Side walls are drawn from a panel to one it covers up to this depth."""

SHORTEST_MM = 1.0

SNAP_PX = 1e-5
"""Images share edges that rounding pulls a hair apart, and over them an overlay without a grid can fail or return
nothing without a word; ours, far above rounding (1e-9) and far below anything drawn."""

SURELY_PX = 40.0
"""A clicked point so far inside the image of a face is surely behind it: clicks and
viewpoint err by less. Ours."""

_Look = Callable[[FloatArray], FloatArray]
_Plane = tuple[FloatArray, FloatArray]


@dataclass(frozen=True, eq=False)
class Face:
    """A flat piece that cannot be seen through.

    Parameters
    ----------
    panel : PanelId
        The panel it is, or whose side wall it is.
    place : Place
        Its frame in the car frame.
    ring_mm : ndarray of float64, shape (N, 2)
        Its edge in that frame; convex or not.
    is_wall : bool
        Whether it is a side wall: a template draws the underside of a
        crossmember or rail, the body has its sides too.
    """

    panel: PanelId
    place: Place
    ring_mm: FloatArray
    is_wall: bool = False

    @cached_property
    def car_mm(self) -> FloatArray:
        """Its edge in the car frame, shape (N, 3)."""
        return np.asarray(self.place.to_car(self.ring_mm), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class _Corners:
    """Corners of all faces in one array: most faces are told by them to hide nothing, at once.

    Parameters
    ----------
    car_mm : ndarray of float64, shape (N, 3)
        Corners, face by face.
    starts : ndarray of int64, shape (F,)
        Row of each face's first.
    """

    car_mm: FloatArray
    starts: NDArray[np.int64]

    def most(self, values: FloatArray) -> FloatArray:
        """Largest value of each face's corners, shape (F,) or (F, K)."""
        return np.asarray(np.maximum.reduceat(values, self.starts))

    def least(self, values: FloatArray) -> FloatArray:
        """Smallest value of each face's corners."""
        return np.asarray(np.minimum.reduceat(values, self.starts))


@lru_cache(maxsize=16)
def _corners_of(template: BodyTemplate) -> _Corners:
    rings = [face.car_mm for face in faces_of(template)]
    starts = np.cumsum([0, *(len(ring) for ring in rings[:-1])], dtype=np.int64)
    return _Corners(np.concatenate(rings), starts)


@lru_cache(maxsize=16)
def faces_of(template: BodyTemplate) -> tuple[Face, ...]:
    """Every panel, and side walls from panels down to those they cover.

    Parameters
    ----------
    template : BodyTemplate
        The body, compared by identity.

    Returns
    -------
    tuple of Face
        Panels first.
    """
    faces = [Face(p.id, p.place, p.outline.exterior_mm) for p in template.panels]
    for panel in template.panels:
        for covered in panel.covers:
            faces += _walls(panel, template.panel(covered))
    return tuple(faces)


def _walls(panel: Panel, covered: Panel) -> Iterable[Face]:
    ring = panel.place.to_car(panel.outline.exterior_mm)
    inward = -panel.place.normal * panel.facing
    slope = float(inward @ covered.place.normal)
    if abs(slope) < 1e-6:
        return
    depth = ((covered.place.origin_mm - ring) @ covered.place.normal) / slope
    for i, start in enumerate(ring):
        j = (i + 1) % len(ring)
        along = ring[j] - start
        length = float(np.linalg.norm(along))
        ends = depth[[i, j]]
        if length < SHORTEST_MM or ends.min() < SHORTEST_MM or ends.max() > DEEPEST_WEB_MM:
            continue
        corners = np.array([[0, 0], [length, 0], [length, ends[1]], [0, ends[0]]])
        yield Face(panel.id, Place(start, along / length, inward), corners, is_wall=True)


def standing_in_front(  # noqa: PLR0913 - what is looked at, from where, and past what
    panel: Panel,
    shown_px: MultiPolygon,
    registration: Registration,
    viewpoint: CameraPose,
    template: BodyTemplate,
    *,
    but: Iterable[PanelId] = (),
) -> MultiPolygon | None:
    """Find what stands between a camera and a panel.

    Parameters
    ----------
    panel : Panel
        The panel looked at, from the side it is drawn from.
    shown_px : shapely.MultiPolygon
        What it fills of the frame, pixels with the lens taken out.
    registration : Registration
        The photo's place on it.
    viewpoint : CameraPose
        From where it looks.
    template : BodyTemplate
        The body.
    but : iterable of PanelId
        Panels that are taken off by other means; their side walls are not left out.

    Returns
    -------
    shapely.MultiPolygon or None
        In the same pixels; may reach beyond `shown_px`. None when a point that
        was clicked on the panel would be hidden: the viewpoint is wrong.
    """
    if shown_px.is_empty:
        return MultiPolygon()
    look = _look_of(viewpoint, registration)
    skipped = {panel.id, *but}
    box = shapely.box(*shown_px.bounds)
    plane = panel.place.origin_mm, panel.place.normal * panel.facing
    near = _perhaps_before(template, plane, look, shown_px.bounds)
    images = [_image_of(face, plane, look) for face in near if face.is_wall or face.panel not in skipped]
    cover = [image for image in images if image is not None and image.intersects(box)]
    clicked = _clicked_on(registration)
    if any(_hides_any(image, clicked) for image in cover):
        return None
    if not cover:
        return MultiPolygon()
    joined = shapely.union_all(cover, grid_size=SNAP_PX)
    return MultiPolygon([g for g in shapely.get_parts(joined) if isinstance(g, Polygon)])


def _perhaps_before(
    template: BodyTemplate, plane: _Plane, look: _Look, box: tuple[float, float, float, float]
) -> list[Face]:
    """Faces of which something lies above a plane, before the camera and, if all of it does, in a box of pixels."""
    corners, faces = _corners_of(template), faces_of(template)
    image = look(corners.car_mm)
    high = corners.most((corners.car_mm - plane[0]) @ plane[1]) - ABOVE_MM > 0
    depth = image[:, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        px = image[:, :2] / depth[:, None]  # of use only where all of a face is before the camera
    beside = (corners.least(px) > box[2:]) | (corners.most(px) < box[:2])
    whole = corners.least(depth) >= NEAR_MM
    there = high & (corners.most(depth) > NEAR_MM) & ~(whole & beside.any(axis=1))
    return [faces[i] for i in np.flatnonzero(there)]


def _image_of(face: Face, plane: _Plane, look: _Look) -> Any:  # noqa: ANN401 - a polygon or None
    """Image of what of a face lies on the viewer's side of a plane (origin, normal) and before the camera."""
    ring = face.car_mm
    above = (ring - plane[0]) @ plane[1] - ABOVE_MM
    if above.max() <= 0:
        return None
    ring = _kept(ring, above)
    ring = _kept(ring, look(ring)[:, 2] - NEAR_MM)
    if len(ring) < 3:
        return None
    image = look(ring)
    outline: Any = Polygon(image[:, :2] / image[:, 2:])
    return outline if outline.is_valid else shapely.make_valid(outline, method="structure", keep_collapsed=False)


def _clicked_on(registration: Registration) -> FloatArray:
    """Points somebody saw on the panel: a viewpoint that has one hidden is wrong; a solved camera is not."""
    if registration.camera is not None:
        return np.empty((0, 2))
    return registration.lens.undistort(registration.sighted_px)


def _hides_any(outline: Any, clicked: FloatArray) -> bool:  # noqa: ANN401 - polygon or multi-polygon
    inside = clicked[shapely.contains_xy(outline, clicked)] if len(clicked) else clicked
    return bool((shapely.distance(outline.boundary, shapely.points(inside)) > SURELY_PX).any())


def _look_of(viewpoint: CameraPose, registration: Registration) -> _Look:
    """Map points of the car frame to (x w, y w, w): straightened pixels, and the depth in mm as w."""
    optics = viewpoint.lens_matrix(registration.lens.centre_px)
    return lambda car_mm: np.asarray(viewpoint.inside(car_mm) @ optics.T)


def _kept(ring: FloatArray, height: FloatArray) -> FloatArray:
    """Cut a ring with a plane: the corners above it and where its edges meet it (Sutherland and Hodgman, 1974)."""
    if len(ring) == 0 or height.min() >= 0:
        return ring
    following, next_height = np.roll(ring, -1, axis=0), np.roll(height, -1)
    out = []
    for a, b, ha, hb in zip(ring, following, height, next_height, strict=True):
        if ha >= 0:
            out.append(a)
        if (ha >= 0) != (hb >= 0):
            out.append(a + (b - a) * (ha / (ha - hb)))
    return np.array(out).reshape(-1, 3)
