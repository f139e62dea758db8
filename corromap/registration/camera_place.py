"""Panels placed by a photo's camera.

One camera places every panel it looks at: facing it, inside the frame, before
it, fine enough and near enough to what was sighted. All limits here are ours.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from scipy.stats import chi2

from corromap.frames import DatumId, FloatArray, PanelId
from corromap.messages import message
from corromap.registration.cameras import PlacedCamera
from corromap.registration.homography import apply
from corromap.registration.influence import GOOD_SIGMAS
from corromap.registration.panel_fit import least_squares
from corromap.registration.result import (
    Registration,
    camera_label,
    focal_label,
    lens_label,
    panel_place_label,
)
from corromap.registration.sighted import datum_positions, point_name
from corromap.survey import Settings
from corromap.template import BodyTemplate, Panel
from corromap.uncertainty import ErrorSource

__all__ = [
    "LEAST_FACING",
    "LOOSEST_MM",
    "W_SHARE",
    "Places",
    "camera_panels",
    "panel_stands_out",
    "place_by_camera",
    "places_on",
    "standard_error",
]

W_SHARE = 0.25
"""As for one panel: a place counts up to four times as far from the camera as the
farthest point sighted."""

LEAST_FACING = 0.12
"""Cosine between the line of sight and a panel's normal; flatter than 83 degrees is not looked at."""

GRID = 12
"""Places tried along each side of a panel, to see whether the photo shows it."""

LOOSEST_MM = 25.0
"""A panel without a sighting of its own is placed when the middle of what is shown
of it is known to this standard error."""

STANDS_OUT = 0.01
"""Chance that a panel's own points are as far off the camera although nothing is wrong."""


def place_by_camera(camera: PlacedCamera, panel: Panel, template: BodyTemplate) -> Registration:
    """Place a photo on a panel by its camera.

    Parameters
    ----------
    camera : PlacedCamera
        The photo's camera.
    panel : Panel
        The panel; whether the photo shows it is not looked at here.
    template : BodyTemplate
        For its datum points.

    Returns
    -------
    Registration
        Of method ``camera``. The clicks are one source for all panels of the
        photo, the focal length one for all photos of the camera.
    """
    fit, lens, photo = camera.found.fit, camera.lens, camera.found.photo
    to_px = fit.pose.lens_matrix(lens.centre_px) @ fit.pose.plane(panel.place)
    scale = 1.0 / float((1.0 / fit.inside_mm[:, 2]).mean())
    matrix: FloatArray = np.asarray(np.linalg.inv(to_px) * scale, dtype=np.float64)
    sources, moved = _sources(camera, panel, matrix, template)
    w_min = W_SHARE * scale / float(fit.inside_mm[:, 2].max())
    rows, datum_mm = _own_points(camera, panel, template, matrix, w_min)
    sighted_px, residual_px = fit.problem.clicked_px[rows], fit.residual_px[rows]
    residual_mm = apply(matrix, lens.undistort(sighted_px))[0] - datum_mm
    everywhere_mm = fit.residual_px * (fit.inside_mm[:, 2:] / fit.pose.focal_px)
    return Registration(
        photo=photo.id,
        panel=panel.id,
        lens=lens,
        matrix=matrix,
        w_min=w_min,
        datum_ids=tuple(camera.found.ids[i] for i in rows),
        datum_mm=datum_mm,
        sighted_px=sighted_px,
        residual_px=residual_px,
        residual_mm=residual_mm,
        rms_px=_rms(residual_px if len(rows) else fit.residual_px),
        rms_mm=_rms(residual_mm if len(rows) else everywhere_mm),
        sigma_px=camera.sigma_px,
        hull_px=_hull(fit.problem.clicked_px),
        method="camera",
        sources=sources,
        matrix_by_source=moved,
        warnings=_bad_sentences(camera, template),
        camera=fit.pose,
        reason=_reason(camera, len(rows)),
    )


def camera_panels(camera: PlacedCamera, template: BodyTemplate, settings: Settings) -> dict[PanelId, Registration]:
    """Place a photo on every panel its camera looks at.

    Parameters
    ----------
    camera : PlacedCamera
        The photo's camera.
    template : BodyTemplate
        The body.
    settings : Settings
        For the coarsest detail.

    Returns
    -------
    dict of PanelId to Registration
        In the template's order. Panels that stand in the way of others are not
        taken off here: that is done where areas are cut (`corromap.projection`).
    """
    eye = camera.found.fit.pose.eye_mm
    poor = _poor_sentences(camera, settings)
    placed = {}
    for panel in template.panels:
        px = _in_frame(camera, places_on(panel), eye)
        if len(px) == 0:
            continue
        registration = place_by_camera(camera, panel, template)
        px = px[registration.detail(px) <= settings.coarsest_mm_per_px]
        if len(px) and (registration.datum_ids or standard_error(registration, px) <= LOOSEST_MM):
            placed[panel.id] = replace(registration, warnings=(*registration.warnings, *poor))
    return placed


def panel_stands_out(weight: FloatArray, by_camera: Registration) -> str:
    """Tell whether a panel's own points contradict the camera.

    Parameters
    ----------
    weight : ndarray of float64, shape (N,)
        Of the panel's own sightings in the camera's fit.
    by_camera : Registration
        The panel as the camera has it.

    Returns
    -------
    str
        Why the panel's own fit is to be kept, one sentence; empty when the camera will do.
    """
    count = len(by_camera.datum_ids)
    if count == 0:
        return ""
    square = float((weight * (by_camera.residual_px**2).sum(axis=1)).sum()) / by_camera.sigma_px**2
    if square <= chi2.isf(STANDS_OUT, 2 * count):
        return ""
    return message(
        "Placed by its own {count} points: the photo's camera misses them by {missed:.1f} px, more than the "
        "{sigma:.1f} px of its other points; the body differs from the template here.",
        count=count,
        missed=by_camera.rms_px,
        sigma=by_camera.sigma_px,
    )


def _own_points(
    camera: PlacedCamera, panel: Panel, template: BodyTemplate, matrix: FloatArray, w_min: float
) -> tuple[list[int], FloatArray]:
    """Sightings on the panel; a click on a panel seen almost edge on may fall beyond its horizon, and is not one."""
    positions: Mapping[DatumId, FloatArray] = datum_positions(template, panel.id)
    w = apply(matrix, camera.lens.undistort(camera.found.fit.problem.clicked_px))[1]
    rows = [i for i, datum in enumerate(camera.found.ids) if datum in positions and w[i] >= w_min]
    return rows, np.array([positions[camera.found.ids[i]] for i in rows], dtype=np.float64).reshape(-1, 2)


def _sources(
    camera: PlacedCamera, panel: Panel, matrix: FloatArray, template: BodyTemplate
) -> tuple[tuple[ErrorSource, ...], dict[str, FloatArray]]:
    """Error sources and how the matrix follows each.

    As for one panel, the lens and the focal length are estimated together with
    the pose: what the clicks leave the pose is independent of both. The focal
    length follows the lens; what is left of its error is a source of its own.
    """
    fit, lens, pose = camera.found.fit, camera.lens, camera.found.fit.pose
    optics, plane = pose.lens_matrix(lens.centre_px), pose.plane(panel.place)
    by_pose = _inverse_by(matrix, np.einsum("ij,jkp->ikp", optics, fit.plane_by_pose(panel.place)), optics @ plane)
    by_shared = np.zeros((3, 3, 4))
    by_shared[0, :, 1] = by_shared[1, :, 2] = lens.focal_px * plane[2]
    by_shared[:2, :, 3] = pose.focal_px * plane[:2]
    followed = -least_squares(fit.jacobian, fit.by_shared)
    shared = _inverse_by(matrix, by_shared, optics @ plane) + by_pose @ followed
    covariance: FloatArray = np.asarray(np.linalg.inv(fit.jacobian.T @ fit.jacobian), dtype=np.float64)
    clicks = ErrorSource(camera_label(camera.found.photo.id), camera.sigma_px**2 * covariance)
    lens_source = ErrorSource(lens_label(lens, camera.found.photo.id), lens.covariance)
    focal = ErrorSource(focal_label(lens, camera.found.photo.id), np.array([[camera.focal_variance]]))
    moved = {
        clicks.label: by_pose,
        lens_source.label: shared[:, :, :3] + shared[:, :, 3:] * camera.focal_by_lens,
        focal.label: shared[:, :, 3:],
    }
    sources = [clicks, lens_source, focal]
    away = _away_mm(camera, panel)
    if away > 0 and template.scale_sigma > 0:
        # a panel apart from what was sighted: the body's dimensions between them are not the template's
        label = panel_place_label(camera.found.photo.id, panel.id)
        by_place = np.zeros((3, 3, 3))
        by_place[:, 2, :] = optics @ pose.rotation
        sources.append(ErrorSource(label, np.eye(3) * (template.scale_sigma * away) ** 2))
        moved[label] = _inverse_by(matrix, by_place, optics @ plane)
    return tuple(sources), moved


def _inverse_by(matrix: FloatArray, by: FloatArray, to_px: FloatArray) -> FloatArray:
    """Differentiate the scaled inverse of ``to_px`` given the derivative of ``to_px``."""
    inverse = np.linalg.inv(to_px)
    return np.asarray(-np.einsum("ij,jkp,kl->ilp", matrix, by, inverse))


def _away_mm(camera: PlacedCamera, panel: Panel) -> float:
    """Shortest way from a sighted point to the panel, car frame."""
    relative = camera.found.fit.problem.car_mm - panel.place.origin_mm
    place = panel.place
    uv = np.stack([relative @ place.u_axis, relative @ place.v_axis], axis=1)
    beside = shapely.distance(panel.outline.polygon, shapely.points(uv))
    return float(np.hypot(beside, relative @ place.normal).min())


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Places spread over a panel.

    Parameters
    ----------
    car_mm : ndarray of float64, shape (N, 3)
        Car frame.
    towards : ndarray of float64, shape (3,)
        The panel's normal towards the viewer, car frame.
    """

    car_mm: FloatArray
    towards: FloatArray


@lru_cache(maxsize=512)
def places_on(panel: Panel) -> Places:
    """Spread places over a panel.

    Parameters
    ----------
    panel : Panel
        The panel, compared by identity.

    Returns
    -------
    Places
        A grid of them, and its corners.
    """
    x0, y0, x1, y1 = panel.outline.polygon.bounds
    grid = np.stack(np.meshgrid(np.linspace(x0, x1, GRID), np.linspace(y0, y1, GRID)), axis=-1).reshape(-1, 2)
    uv = np.vstack([grid[shapely.intersects_xy(panel.outline.polygon, *grid.T)], panel.outline.exterior_mm])
    return Places(panel.place.to_car(uv), panel.place.normal * panel.facing)


def _in_frame(camera: PlacedCamera, places: Places, eye: FloatArray) -> FloatArray:
    """Pixels of the places that the camera faces, not too flat, inside the frame."""
    rays = eye - places.car_mm
    facing = rays @ places.towards
    if facing.max() <= 0:
        return np.empty((0, 2))
    inside = camera.found.fit.pose.inside(places.car_mm)
    ahead = (inside[:, 2] > 1.0) & (facing > LEAST_FACING * np.linalg.norm(rays, axis=1))
    if not ahead.any():
        return np.empty((0, 2))
    straight = camera.found.fit.pose.focal_px * inside[ahead, :2] / inside[ahead, 2:] + camera.lens.centre_px
    px, photo = camera.lens.distort(straight), camera.found.photo
    kept = ((px >= -0.5) & (px <= [photo.width_px - 0.5, photo.height_px - 0.5])).all(axis=1)
    return np.asarray(px[kept])


def standard_error(registration: Registration, px: FloatArray) -> float:
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


def _hull(xy: FloatArray) -> FloatArray:
    ring = shapely.MultiPoint(xy).convex_hull
    return np.asarray(shapely.get_coordinates(ring)[:-1], dtype=np.float64)


def _rms(residual: FloatArray) -> float:
    return float(np.sqrt((residual**2).sum(axis=1).mean()))


def _poor_sentences(camera: PlacedCamera, settings: Settings) -> tuple[str, ...]:
    """Say that all points together miss by too much: no one of them is at fault."""
    if camera.sigma_px <= GOOD_SIGMAS * settings.click_sigma_px:
        return ()
    return (
        message(
            "The points miss by {px:.1f} px where {expected:g} px is expected, so the intervals are widened: this car "
            "is not the body that was chosen, several points were clicked under wrong names, or the photo was joined "
            "from several; compare the car with the template on page 1, then look at the points that lie farthest off.",
            px=camera.sigma_px,
            expected=settings.click_sigma_px,
        ),
    )


def _bad_sentences(camera: PlacedCamera, template: BodyTemplate) -> tuple[str, ...]:
    said = []
    for bad in camera.found.bad:
        panel, datum = template.datum_points[bad.datum]
        sentence = message(
            "The point {point} lies {px:.1f} px ({mm:.0f} mm) from where the others put it and was left out: with it "
            "the points miss by {with_it:.1f} px, without it by {without_it:.1f} px. Click it again or remove it.",
            point=point_name(panel.name, datum.name),
            px=bad.miss_px,
            mm=bad.miss_mm,
            with_it=bad.with_px,
            without_it=bad.without_px,
        )
        said.append(sentence)
    return tuple(said)


def _reason(camera: PlacedCamera, own: int) -> str:
    count, spare = len(camera.found.ids), camera.found.fit.freedom
    none, some = message("none of them on this panel"), message("{own} of them on this panel", own=own)
    return message(
        "Placed by the photo's camera: {count} points anywhere on the body, {here}, {spare} coordinates to spare, "
        "{px:.1f} px.",
        count=count,
        here=some if own else none,
        spare=spare,
        px=_rms(camera.found.fit.residual_px),
    )
