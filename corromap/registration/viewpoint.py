"""Where a photo was taken from that is placed on one panel alone.

Points of one plane fix a camera when its focal length is known from elsewhere:
six numbers instead of the eight of the panel's own fit. It is not good enough
to place other panels (decision 0022), but it says from where the panel was
looked at, and so what stood in the way.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from corromap.frames import FloatArray
from corromap.registration.camera import CameraFit, CameraPose, CameraProblem, rotation_of
from corromap.registration.camera_fit import refined
from corromap.registration.homography import apply
from corromap.registration.prior import shared_sigma
from corromap.registration.result import Registration
from corromap.survey import Photo
from corromap.template import Panel

__all__ = ["seen_from", "viewpoints_of"]

HELD = 1e-5
"""Standard uncertainty left to ``k1`` and the centre: the lens has been solved."""

LEAST_ODDS = 100.0
"""A second viewpoint is left out when it is so many times less likely than the first; ours."""

SAME_EYE_MM = 5.0
"""Viewpoints nearer together are one; ours."""

REMEMBERED = 16
"""Photos whose common viewpoints are kept: asked for by one panel after the other."""

AGREES_SIGMAS = 3.0
"""Clicks farther off than so many standard errors (root mean square) say that a pose is wrong; ours."""


def viewpoints_of(
    photo: Photo, panel: Panel, registration: Registration, placed: tuple[tuple[Panel, Registration], ...] = ()
) -> tuple[CameraPose, ...]:
    """Find where a photo may have been taken from.

    Parameters
    ----------
    photo : Photo
        For how well its focal length is known.
    panel : Panel
        A panel it is placed on.
    registration : Registration
        Its place there.
    placed : tuple of (Panel, Registration)
        All panels it is placed on: a photo is taken from one place, so the
        points of all of them count, unless no place fits them all.

    Returns
    -------
    tuple of CameraPose
        The solved camera if there is one; else the poses of the two tilts that
        a plane seen from afar allows, that which fits the sightings better
        first; one of them when the other is a hundred times less likely or the
        same. Empty when neither has every point before the camera.
    """
    if registration.camera is not None:
        return (registration.camera,)
    common = _common(photo, placed) if len(placed) > 1 else ()
    return common or _likely(photo, [(panel, registration)], registration.sigma_px)


@lru_cache(maxsize=REMEMBERED)
def _common(photo: Photo, placed: tuple[tuple[Panel, Registration], ...]) -> tuple[CameraPose, ...]:
    """Where the points of all panels say that the photo was taken from; empty when no place fits them all."""
    found = _likely(photo, placed, max(at.sigma_px for _, at in placed))
    fits = found and all(seen_from(found[0], panel, at) is not at for panel, at in placed)
    return found if fits else ()


def _likely(photo: Photo, placed: Sequence[tuple[Panel, Registration]], sigma_px: float) -> tuple[CameraPose, ...]:
    """Take the best fit to the points of some panels, and those not much less likely that stand elsewhere."""
    focal_sigma = float(shared_sigma(photo)[3])
    found = []
    for fit in _fits(placed, sigma_px, focal_sigma):
        cost = fit.square_sum_px2 / sigma_px**2 + (fit.log_focal / focal_sigma) ** 2
        found.append((cost, fit.pose))
    found.sort(key=lambda one: one[0])
    kept: list[CameraPose] = []
    for cost, pose in found:
        may_be = cost <= found[0][0] + 2.0 * np.log(LEAST_ODDS)
        if may_be and all(np.linalg.norm(pose.eye_mm - other.eye_mm) > SAME_EYE_MM for other in kept):
            kept.append(pose)
    return tuple(kept)


def _fits(placed: Sequence[tuple[Panel, Registration]], sigma_px: float, focal_sigma: float) -> Iterator[CameraFit]:
    """Fit the points of some panels, from both tilts of each."""
    lens = placed[0][1].lens
    points = {
        datum: (px, car)
        for panel, at in placed
        for datum, px, car in zip(at.datum_ids, at.sighted_px, panel.place.to_car(at.datum_mm), strict=True)
    }
    clicked, car = (np.array(column) for column in zip(*points.values(), strict=True))
    problem = CameraProblem(lens, clicked, car, np.ones(len(points)))
    prior = np.array([HELD, HELD, HELD, focal_sigma])
    for panel, at in placed:
        for start in _starts(problem, panel, at):
            if start.is_in_front:
                yield refined(start, lens, sigma_px, prior)


def seen_from(pose: CameraPose, panel: Panel, registration: Registration) -> Registration:
    """Place a photo on a panel by where it was taken from, for what the photo shows.

    Parameters
    ----------
    pose : CameraPose
        From `viewpoints_of`.
    panel : Panel
        The panel.
    registration : Registration
        The panel's own fit.

    Returns
    -------
    Registration
        With the matrix of the pose; its sources of error stay those of the
        fit, which are the larger. The fit itself where there is a camera
        already, or where the clicks lie too far from what the pose says.
    """
    if registration.camera is not None:
        return registration
    to_px = pose.lens_matrix(registration.lens.centre_px) @ pose.plane(panel.place)
    matrix: FloatArray = np.asarray(np.linalg.inv(to_px), dtype=np.float64)
    straight = registration.lens.undistort(registration.sighted_px)
    w = apply(matrix, straight)[1]
    if w.min() <= 0:
        return registration
    share = registration.w_min / float(apply(registration.matrix, straight)[1].min())
    scale = 1.0 / float(w.mean())
    found = replace(registration, matrix=matrix * scale, w_min=share * scale * float(w.min()))
    missed = found.to_px(found.datum_mm) - found.sighted_px
    agrees = np.sqrt((missed**2).mean()) <= AGREES_SIGMAS * registration.sigma_px
    return found if agrees else registration


def _starts(problem: CameraProblem, panel: Panel, registration: Registration) -> Iterator[CameraFit]:
    """Take the nearest rotation to the panel's own fit, and the one with the opposite tilt about the line of sight."""
    lens, place = registration.lens, panel.place
    optics = np.array([[lens.focal_px, 0, lens.centre_px[0]], [0, lens.focal_px, lens.centre_px[1]], [0, 0, 1.0]])
    plane = np.linalg.solve(optics, np.linalg.inv(registration.matrix))
    plane = plane / np.sqrt(np.linalg.norm(plane[:, 0]) * np.linalg.norm(plane[:, 1]))
    off = np.cross(plane[:, 0], plane[:, 1])
    left, _, right = np.linalg.svd(np.column_stack([plane[:, :2], off / np.linalg.norm(off)]))
    near = left @ right
    middle = registration.datum_mm.mean(axis=0)
    at = plane[:, :2] @ middle + plane[:, 2]
    axes = np.stack([place.u_axis, place.v_axis, place.normal])
    origin = np.asarray(place.to_car(middle))[0]
    for turned in (near, _opposite(near, at / np.linalg.norm(at))):
        rotation = turned @ axes
        yield problem.at(CameraPose(rotation, at - rotation @ origin, lens.focal_px))


def _opposite(rotation: FloatArray, sight: FloatArray) -> FloatArray:
    normal = rotation[:, 2]
    mirrored = 2.0 * float(normal @ sight) * sight - normal
    # both point to the same side of the sight, so the turn is less than half a circle
    cross = np.cross(normal, mirrored)
    size = float(np.linalg.norm(cross))
    if size < 1e-9:
        return rotation
    angle = float(np.arctan2(size, normal @ mirrored))
    return np.asarray(rotation_of(cross / size * angle) @ rotation)
