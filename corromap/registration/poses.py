"""Poses that a few points of the body allow, the lens held: OpenCV's ``solvePnP`` family."""

from __future__ import annotations

import cv2
import numpy as np

from corromap.frames import FloatArray
from corromap.registration.camera import NEAREST_MM, CameraPose
from corromap.registration.lens import Lens

__all__ = ["FLAT_SHARE", "poses_of"]

LEAST_POINTS = 4

FLAT_SHARE = 0.005


def poses_of(
    lens: Lens, focal_px: float, px: FloatArray, car_mm: FloatArray, flat_share: float = FLAT_SHARE
) -> list[CameraPose]:
    """Find poses from points of the body, two when they lie in one plane.

    Parameters
    ----------
    lens : Lens
        The photo's lens.
    focal_px : float
        Its focal length.
    px : ndarray of float64, shape (N, 2)
        Pixels of the photo; four at least.
    car_mm : ndarray of float64, shape (N, 3)
        The same points in the car frame.
    flat_share : float
        They lie in one plane when they stray from it by less than this share of their extent.

    Returns
    -------
    list of CameraPose
        With every point before them; perhaps none.
    """
    middle = car_mm.mean(axis=0)
    centred = np.ascontiguousarray(car_mm - middle)
    rays = np.ascontiguousarray((lens.undistort(px) - lens.centre_px) / focal_px)
    extents = np.linalg.svd(centred, compute_uv=False)
    if len(centred) < LEAST_POINTS or extents[1] < FLAT_SHARE * extents[0]:
        return []
    solver = cv2.SOLVEPNP_IPPE if extents[2] < flat_share * extents[0] else cv2.SOLVEPNP_SQPNP
    try:
        found = cv2.solvePnPGeneric(centred, rays, np.eye(3), None, flags=solver)
    except cv2.error:
        return []  # the solver does not take this arrangement
    poses = []
    for turn, shift in zip(found[1], found[2], strict=True):
        rotation = np.asarray(cv2.Rodrigues(turn)[0], dtype=np.float64)
        at = np.asarray(shift, dtype=np.float64).ravel() - rotation @ middle
        if np.isfinite(rotation).all() and np.isfinite(at).all():
            pose = CameraPose(rotation, at, focal_px)
            if (pose.inside(car_mm)[:, 2] > NEAREST_MM).all():
                poses.append(pose)
    return poses
