"""What panels placed by a camera share, whether it is one photo's own or one of a network.

One camera places every panel it looks at: facing it, inside the frame, before
it. All limits here are ours.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from corromap.frames import DatumId, FloatArray, PanelId
from corromap.registration.camera import CameraPose
from corromap.registration.lens import Lens
from corromap.registration.result import Registration
from corromap.registration.sighted import LEAST_POINTS, datum_positions, lone_datums
from corromap.survey import Photo
from corromap.template import BodyTemplate, Panel

__all__ = [
    "W_SHARE",
    "OwnPoints",
    "away_mm",
    "hull_of",
    "inverse_by",
    "is_known",
    "own_points",
    "panels_shown",
    "places_over",
    "root_mean_square",
]

W_SHARE = 0.25
"""Ours: a place counts down to this share of the smallest ``w`` at a sighted or matched
point, that is up to four times as far from the camera as the farthest of them."""

LEAST_FACING = 0.12
"""Cosine between the line of sight and a panel's normal; flatter than 83 degrees is not looked at."""

GRID = 12
"""Places tried along each side of a panel, to see whether the photo shows it."""

LOOSEST_MM = 25.0
"""A panel that was not clicked on for itself is placed when the middle of what is
shown of it is known to this standard error."""

THINNED = 3
"""Every third place is enough to tell how well a panel is known."""

LEAST_DEPTH_MM = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Places spread over all panels of a body.

    Parameters
    ----------
    car_mm : ndarray of float64, shape (N, 3)
        Car frame.
    towards : ndarray of float64, shape (N, 3)
        The panel's normal towards the viewer, car frame.
    rows : mapping of PanelId to slice
        Of each panel, in the template's order.
    """

    car_mm: FloatArray
    towards: FloatArray
    rows: Mapping[PanelId, slice]


@lru_cache(maxsize=16)
def places_over(template: BodyTemplate) -> Places:
    """Spread places over a body.

    Parameters
    ----------
    template : BodyTemplate
        The body.

    Returns
    -------
    Places
        A grid of them on each panel, and its corners.
    """
    car, towards, rows, first = [], [], {}, 0
    for panel in template.panels:
        x0, y0, x1, y1 = panel.outline.polygon.bounds
        grid = np.stack(np.meshgrid(np.linspace(x0, x1, GRID), np.linspace(y0, y1, GRID)), axis=-1).reshape(-1, 2)
        uv = np.vstack([grid[shapely.intersects_xy(panel.outline.polygon, *grid.T)], panel.outline.exterior_mm])
        car.append(panel.place.to_car(uv))
        towards.append(np.tile(panel.place.normal * panel.facing, (len(uv), 1)))
        rows[panel.id] = slice(first, first + len(uv))
        first += len(uv)
    return Places(np.vstack(car), np.vstack(towards), rows)


def panels_shown(
    pose: CameraPose, lens: Lens, photo: Photo, inside_mm: FloatArray, template: BodyTemplate
) -> dict[PanelId, FloatArray]:
    """Find which panels a camera looks at.

    Parameters
    ----------
    pose : CameraPose
        Where it stands, in the template's car frame.
    lens : Lens
        Its lens.
    photo : Photo
        For the frame.
    inside_mm : ndarray of float64, shape (N, 3)
        The places of `places_over` in the camera frame.
    template : BodyTemplate
        The body.

    Returns
    -------
    dict of PanelId to ndarray of float64, shape (M, 2)
        Pixels of places that it faces, not too flat, inside the frame; panels without any are left out.
    """
    places = places_over(template)
    rays = pose.eye_mm - places.car_mm
    good = (rays * places.towards).sum(axis=1) > LEAST_FACING * np.linalg.norm(rays, axis=1)
    good &= inside_mm[:, 2] > LEAST_DEPTH_MM
    px = np.full((len(rays), 2), np.nan)
    px[good] = lens.distort(pose.focal_px * inside_mm[good, :2] / inside_mm[good, 2:] + lens.centre_px)
    good[good] = ((px[good] >= -0.5) & (px[good] <= [photo.width_px - 0.5, photo.height_px - 0.5])).all(axis=1)
    return {panel: px[rows][good[rows]] for panel, rows in places.rows.items() if good[rows].any()}


@dataclass(frozen=True, slots=True, eq=False)
class OwnPoints:
    """Sightings of a photo that lie on a panel.

    Parameters
    ----------
    rows : list of int
        Which.
    ids : tuple of DatumId
        Their names.
    at_mm : ndarray of float64, shape (K, 2)
        Where they are on the panel.
    """

    rows: list[int]
    ids: tuple[DatumId, ...]
    at_mm: FloatArray


def own_points(ids: Sequence[DatumId], w: FloatArray, w_min: float, panel: Panel, template: BodyTemplate) -> OwnPoints:
    """Find the sightings of a photo that lie on a panel.

    Parameters
    ----------
    ids : sequence of DatumId
        Sightings of the photo.
    w : ndarray of float64, shape (N,)
        Of each, as the camera carries it to the panel.
    w_min : float
        A click on a panel seen almost edge on may fall beyond its horizon, and is not one.
    panel : Panel
        The panel.
    template : BodyTemplate
        For its datum points.

    Returns
    -------
    OwnPoints
        Perhaps none.
    """
    positions = datum_positions(template, panel.id)
    rows = [i for i, datum in enumerate(ids) if datum in positions and w[i] >= w_min]
    names = tuple(ids[i] for i in rows)
    return OwnPoints(rows, names, np.array([positions[datum] for datum in names], dtype=np.float64).reshape(-1, 2))


def inverse_by(matrix: FloatArray, by: FloatArray, to_px: FloatArray) -> FloatArray:
    """Differentiate the scaled inverse of a map given the map's derivative.

    Parameters
    ----------
    matrix : ndarray of float64, shape (3, 3)
        The scaled inverse of `to_px`.
    by : ndarray of float64, shape (3, 3, P)
        Derivative of `to_px`.
    to_px : ndarray of float64, shape (3, 3)
        A panel's map to undistorted pixels.

    Returns
    -------
    ndarray of float64, shape (3, 3, P)
        Of `matrix`.
    """
    moved = -(matrix @ np.moveaxis(by, 2, 0) @ np.linalg.inv(to_px))
    return np.ascontiguousarray(np.moveaxis(moved, 0, 2))


def away_mm(sighted_mm: FloatArray, panel: Panel) -> float:
    """Measure the shortest way from a sighted point to a panel.

    Parameters
    ----------
    sighted_mm : ndarray of float64, shape (N, 3)
        Car frame.
    panel : Panel
        The panel.

    Returns
    -------
    float
        Millimetres.
    """
    relative, place = sighted_mm - panel.place.origin_mm, panel.place
    uv = np.stack([relative @ place.u_axis, relative @ place.v_axis], axis=1)
    beside = shapely.distance(panel.outline.polygon, shapely.points(uv))
    return float(np.hypot(beside, relative @ place.normal).min())


def _standard_error(registration: Registration, px: FloatArray) -> float:
    """Measure how well a photo's place is known.

    Parameters
    ----------
    registration : Registration
        The place.
    px : ndarray of float64, shape (N, 2)
        Where to look, pixels of the photo.

    Returns
    -------
    float
        Median over those of the largest standard error of a place, mm.
    """
    covariance = np.zeros((len(px), 2, 2))
    moved = registration.sensitivities(px)
    for source in registration.sources:
        by = moved[source.label]
        covariance += by @ source.covariance @ np.swapaxes(by, 1, 2)
    return float(np.median(np.sqrt(np.linalg.norm(covariance, ord=2, axis=(1, 2)))))


def is_known(registration: Registration, px: FloatArray, template: BodyTemplate) -> bool:
    """Tell whether a panel is to be placed by a camera that looks at it.

    Parameters
    ----------
    registration : Registration
        The photo's place on the panel as the camera has it.
    px : ndarray of float64, shape (N, 2)
        Pixels of places it shows.
    template : BodyTemplate
        For its folds.

    Returns
    -------
    bool
        True where a point was clicked that no other panel has, or as many as a
        panel's own fit needs, or where its place is known well enough without:
        a point or two on a fold were clicked for the neighbour, and a panel
        seen flatly turns about them.
    """
    ids = registration.datum_ids
    is_meant = len(ids) >= LEAST_POINTS or not lone_datums(template).isdisjoint(ids)
    return is_meant or _standard_error(registration, px[::THINNED]) <= LOOSEST_MM


def hull_of(xy_px: FloatArray) -> FloatArray:
    """Find the corners of the convex hull of points.

    Parameters
    ----------
    xy_px : ndarray of float64, shape (N, 2)
        The points.

    Returns
    -------
    ndarray of float64, shape (M, 2)
        The last is not the first again.
    """
    ring = shapely.MultiPoint(xy_px).convex_hull
    return np.asarray(shapely.get_coordinates(ring)[:-1], dtype=np.float64)


def root_mean_square(residual: FloatArray) -> float:
    """Root mean square length of residuals.

    Parameters
    ----------
    residual : ndarray of float64, shape (N, 2)
        The residuals.

    Returns
    -------
    float
        Zero without any.
    """
    return float(np.sqrt((residual**2).sum(axis=1).mean())) if len(residual) else 0.0
