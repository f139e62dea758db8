"""What one photo shows of each panel, worked out in three dimensions.

Independent of the program: it knows nothing of fits or ``covers``; every panel
(and the webs between a panel and what it covers) stands in the way of every
other. Cuts are made in the plane one millimetre in front of the camera, where
the pinhole keeps straight lines straight.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from corromap.frames import PanelId
from corromap.template import BodyTemplate, Panel, Place
from tools.demo_scene.camera import Camera

__all__ = ["Face", "Sight", "faces_of", "polygons", "sights_of", "towards_viewer", "undistorted"]

Array = NDArray[np.float64]

NEAR_MM = 30.0
"""Nothing nearer to the camera than this is looked at."""

ABOVE_MM = 0.5
"""A face stands in front of a panel from so far above its plane: panels meet at folds."""

FRAME_STEP_PX = 20.0

NOTHING = MultiPolygon()

SNAP = 1e-9
"""Of millimetres and of rays alike: a millionth of a pixel."""


def towards_viewer(panel: Panel) -> Array:
    """Unit normal of a panel towards the side it is seen from, car frame.

    Parameters
    ----------
    panel : Panel
        The panel.

    Returns
    -------
    ndarray of float64, shape (3,)
        The normal.
    """
    return panel.place.normal * panel.facing


@dataclass(frozen=True, eq=False)
class Face:
    """Something flat that light does not go through.

    Parameters
    ----------
    place : Place
        Its frame in the car frame.
    area : shapely.Polygon
        In its millimetres.
    panel : Panel or None
        None for a web.
    """

    place: Place
    area: Polygon
    panel: Panel | None = None

    @cached_property
    def normal(self) -> Array:
        """Unit vector u x v of its frame, car frame; asked for thousands of times."""
        return self.place.normal

    @cached_property
    def corners_mm(self) -> Array:
        """Every corner of its area and, last, a one beside each: shape (N, 3)."""
        xy = shapely.get_coordinates(self.area)
        return np.column_stack([xy, np.ones(len(xy))])

    @cached_property
    def whole(self) -> MultiPolygon:
        """Its area, as `kept_side` returns it where nothing is cut off."""
        return polygons(self.area)

    @cached_property
    def facing(self) -> int:
        """The panel's, 0 for a web."""
        return 0 if self.panel is None else self.panel.facing


@dataclass(frozen=True, eq=False)
class Sight:
    """One panel in one photo.

    Parameters
    ----------
    panel : Panel
        The panel.
    visible : shapely.MultiPolygon
        What the photo shows of it, panel millimetres; detail is not looked at.
    to_ray : ndarray of float64, shape (3, 3)
        (u, v, 1) to the camera frame, mm.
    """

    panel: Panel
    visible: MultiPolygon
    to_ray: Array


def polygons(geometry: shapely.Geometry) -> MultiPolygon:
    """Keep what has area.

    Parameters
    ----------
    geometry : shapely geometry
        Any.

    Returns
    -------
    shapely.MultiPolygon
        Its polygons.
    """
    if isinstance(geometry, MultiPolygon):
        return geometry
    if isinstance(geometry, Polygon):
        return MultiPolygon([] if geometry.is_empty else [geometry])
    parts = shapely.get_parts(shapely.get_parts(geometry))
    return MultiPolygon([g for g in parts if isinstance(g, Polygon) and g.area > 0])


@lru_cache(maxsize=8)
def faces_of(template: BodyTemplate) -> tuple[Face, ...]:
    """Every panel, and webs from the edges of a panel down to what it covers.

    Parameters
    ----------
    template : BodyTemplate
        The body.

    Returns
    -------
    tuple of Face
        Panels first.
    """
    faces = [Face(panel.place, panel.outline.polygon, panel) for panel in template.panels]
    for panel in template.panels:
        for covered in panel.covers:
            faces += _webs(panel, template.panel(covered))
    return tuple(faces)


def _webs(panel: Panel, covered: Panel, farthest_mm: float = 250.0) -> list[Face]:
    """Upright walls along the edges; the template does not draw them, the car has them."""
    ring = panel.place.to_car(panel.outline.exterior_mm)
    away, normal = -towards_viewer(panel), covered.place.normal
    depth = (covered.place.origin_mm - ring) @ normal / float(away @ normal)
    webs = []
    for i in range(len(ring)):
        j = (i + 1) % len(ring)
        along = ring[j] - ring[i]
        length = float(np.linalg.norm(along))
        if length < 1 or min(depth[i], depth[j]) < 1 or max(depth[i], depth[j]) > farthest_mm:
            continue
        place = Place(ring[i], along / length, away)
        webs.append(Face(place, Polygon([(0, 0), (length, 0), (length, depth[j]), (0, depth[i])])))
    return webs


def undistorted(camera: Camera, xy_px: Array) -> Array:
    """Rays of pixels, by OpenCV's own inverse run to its end.

    Parameters
    ----------
    camera : Camera
        The camera.
    xy_px : ndarray of float64, shape (N, 2)
        Pixels.

    Returns
    -------
    ndarray of float64, shape (N, 2)
        x / z and y / z in the camera frame.
    """
    stop = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 60, 1e-10)
    found = cv2.undistortPoints(xy_px.reshape(-1, 1, 2), camera.matrix, np.array(camera.dist), None, None, None, stop)
    return np.asarray(found, dtype=np.float64).reshape(-1, 2)


def frame_rays(camera: Camera) -> Polygon:
    """The photo's frame in the plane of rays.

    Parameters
    ----------
    camera : Camera
        The camera.

    Returns
    -------
    shapely.Polygon
        In x / z, y / z.
    """
    frame = shapely.box(-0.5, -0.5, camera.width - 0.5, camera.height - 0.5)
    ring = np.array(shapely.segmentize(frame, FRAME_STEP_PX).exterior.coords)[:-1]
    return Polygon(undistorted(camera, ring))


def to_ray(camera: Camera, place: Place) -> Array:
    """Matrix from (u, v, 1) of a face to the camera frame.

    Parameters
    ----------
    camera : Camera
        The camera.
    place : Place
        The face's frame.

    Returns
    -------
    ndarray of float64, shape (3, 3)
        mm.
    """
    r = camera.rotation
    return np.stack([r @ place.u_axis, r @ place.v_axis, r @ place.origin_mm + camera.tvec], axis=1)


def kept_side(area: Polygon | MultiPolygon, line: Array) -> MultiPolygon:
    """The part of a polygon where ``a u + b v + c >= 0``.

    Parameters
    ----------
    area : shapely polygon
        Any.
    line : ndarray of float64, shape (3,)
        a, b, c.

    Returns
    -------
    shapely.MultiPolygon
        Perhaps empty.
    """
    xy = shapely.get_coordinates(area)
    value = xy @ line[:2] + line[2]
    if value.min(initial=np.inf) >= 0:
        return polygons(area)
    if value.max(initial=-np.inf) <= 0:
        return NOTHING
    n = line[:2] / np.hypot(*line[:2])
    t = np.array([-n[1], n[0]])
    foot = xy.mean(axis=0)
    foot = foot - n * float(foot @ line[:2] + line[2]) / float(np.hypot(*line[:2]))
    far = 4.0 * float(np.ptp(xy, axis=0).max() + np.abs(xy - foot).max())
    half = Polygon([foot - far * t, foot + far * t, foot + far * t + far * n, foot - far * t + far * n])
    return polygons(shapely.intersection(area, half))


def through(matrix: Array, area: MultiPolygon) -> MultiPolygon:
    """Carry a polygon through a 3 x 3 matrix; all of it has w > 0.

    Parameters
    ----------
    matrix : ndarray of float64, shape (3, 3)
        The map.
    area : shapely.MultiPolygon
        The polygons.

    Returns
    -------
    shapely.MultiPolygon
        Its image, valid.
    """

    def carry(xy: Array) -> Array:
        image = xy @ matrix[:, :2].T + matrix[:, 2]
        return np.asarray(image[:, :2] / image[:, 2:])

    moved = shapely.transform(area, carry)
    return polygons(moved if moved.is_valid else shapely.make_valid(moved, method="structure", keep_collapsed=False))


def sights_of(camera: Camera, faces: Sequence[Face], *, only: PanelId | None = None) -> dict[PanelId, Sight]:
    """Work out what a photo shows of every panel.

    Parameters
    ----------
    camera : Camera
        The photo's camera.
    faces : sequence of Face
        From `faces_of`.
    only : PanelId, optional
        Look at this panel and no other.

    Returns
    -------
    dict of PanelId to Sight
        Panels with something to see, from the side they are drawn from.
    """
    frame = frame_rays(camera)
    shapely.prepare(frame)
    images = [image for face in faces if (image := _image_of(face, camera)) and image.area.intersects(frame)]
    found = {}
    for image in images:
        face = image.face
        if face.panel is None or (only or face.panel.id) != face.panel.id:
            continue
        if _height(face, camera.eye_mm) * face.facing <= ABOVE_MM:
            continue
        shown = _cut(shapely.intersection, image.area, frame)
        others = [o for o in images if o is not image and o.area.intersects(shown)]
        left = shown
        for other in others:
            piece = _in_front(face, other, camera)
            left = left if piece.is_empty else _cut(shapely.difference, left, piece)
        inverse = np.asarray(np.linalg.inv(image.to_ray), dtype=np.float64)
        back = left if left.is_empty else through(inverse, left)
        # rounding of the way there and back is put right by the panel's own edge
        visible = _cut(shapely.intersection, back, face.area)
        if visible.area > 1.0:
            found[face.panel.id] = Sight(face.panel, visible, image.to_ray)
    return found


@dataclass(frozen=True, eq=False)
class _Image:
    """A face in the plane of rays: `near` is what of it lies before the camera, in its own millimetres."""

    face: Face
    to_ray: Array
    near: MultiPolygon
    area: MultiPolygon


def _image_of(face: Face, camera: Camera) -> _Image | None:
    """None where all of it lies behind the camera."""
    matrix = to_ray(camera, face.place)
    near = _kept_of(face, face.whole, matrix[2] - [0, 0, NEAR_MM])
    return None if near.is_empty else _Image(face, matrix, near, through(matrix, near))


def _kept_of(face: Face, area: MultiPolygon, line: Array) -> MultiPolygon:
    """What `kept_side` leaves of a part of a face; most faces lie wholly on one side, which their corners tell."""
    value = face.corners_mm @ line
    if value.min() >= 0:
        return area
    return NOTHING if value.max() <= 0 else kept_side(area, line)


def _cut(
    overlay: Callable[..., shapely.Geometry],
    one: Polygon | MultiPolygon,
    other: Polygon | MultiPolygon,
) -> MultiPolygon:
    """An overlay on a grid: without one GEOS fails where edges all but touch, or returns nothing without a word."""
    if one.is_empty:
        return MultiPolygon()
    return polygons(overlay(one, other, grid_size=SNAP))


def _height(face: Face, point_mm: Array) -> float:
    return float((point_mm - face.place.origin_mm) @ face.normal)


def _in_front(face: Face, other: _Image, camera: Camera) -> MultiPolygon:
    """Image of the part of another face that lies between the eye and this face's plane."""
    side = 1.0 if _height(face, camera.eye_mm) > 0 else -1.0
    n, place = face.normal * side, other.face.place
    line = np.array([place.u_axis @ n, place.v_axis @ n, (place.origin_mm - face.place.origin_mm) @ n - ABOVE_MM])
    above = _kept_of(other.face, other.near, line)
    if above is other.near:
        return other.area
    return above if above.is_empty else through(other.to_ray, above)
