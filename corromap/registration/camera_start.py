"""A first camera from clicked points, and its robust finish.

Start: OpenCV's ``solvePnP`` family for points that do not lie in one plane.
Finish: SciPy's `least_squares` with our derivatives and a robust loss, on the
pose, the focal length and ``k1``, the last two held by what is known of them.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from scipy.optimize import least_squares

from corromap.frames import FloatArray
from corromap.registration.camera import POSE, CameraFit, CameraPose, CameraProblem

__all__ = ["robust_finish", "robust_fit"]

FOCAL_TRIED = (1.0, 0.8, 1.25)
"""Times the stated focal length, where it is only assumed."""

KNOWN_FOCAL = 0.05
"""With a relative error below this, the stated focal length is the only one tried."""

SOLVERS = (cv2.SOLVEPNP_SQPNP, cv2.SOLVEPNP_EPNP)

MOST_STEPS = 60
PNP_LEAST = 4

SHARED_FREE = (0, 3)
"""``k1`` and the focal length; the centre waits for the joint solve."""


def robust_fit(problem: CameraProblem, sigma_px: float, prior: FloatArray) -> CameraFit | None:
    """Find the camera that most of the clicks agree on.

    Parameters
    ----------
    problem : CameraProblem
        At least four points that do not lie in one plane.
    sigma_px : float
        Standard error of a click.
    prior : ndarray of float64, shape (4,)
        Standard uncertainty of the shared parameters.

    Returns
    -------
    CameraFit or None
        None when no solver finds a camera with every point before it.
    """
    starts = [fit for fit in _starts(problem, float(prior[3])) if fit.is_in_front]
    if not starts:
        return None
    starts.sort(key=lambda fit: _robust_cost(fit, sigma_px))
    return robust_finish(starts[0], sigma_px, prior)


def _robust_cost(fit: CameraFit, sigma_px: float) -> float:
    square = (fit.weighted_px / sigma_px) ** 2
    return float((2.0 * (np.sqrt(1.0 + square) - 1.0)).sum())


def _starts(problem: CameraProblem, sigma_focal: float) -> Iterator[CameraFit]:
    rays = (problem.lens.undistort(problem.clicked_px) - problem.lens.centre_px) / problem.lens.focal_px
    middle = problem.car_mm.mean(axis=0)
    points = np.ascontiguousarray(problem.car_mm - middle)
    for factor in FOCAL_TRIED if sigma_focal > KNOWN_FOCAL else (1.0,):
        for solver in SOLVERS:
            try:
                found, turn, shift = cv2.solvePnP(points, rays / factor, np.eye(3), None, flags=solver)
            except cv2.error:
                continue  # the solver does not take this arrangement; the others are tried
            rotation = np.asarray(cv2.Rodrigues(turn)[0], dtype=np.float64)
            if not found or not np.isfinite(shift).all() or not np.isfinite(rotation).all():
                continue
            at = shift.ravel() - rotation @ middle
            yield problem.at(CameraPose(rotation, at, problem.lens.focal_px * factor))


def robust_finish(start: CameraFit, sigma_px: float, prior: FloatArray) -> CameraFit:
    """Refine pose, focal length and ``k1`` from a start under a robust loss.

    Parameters
    ----------
    start : CameraFit
        Where to start.
    sigma_px : float
        Standard error of a click.
    prior : ndarray of float64, shape (4,)
        Standard uncertainty of the shared parameters.

    Returns
    -------
    CameraFit
        The start itself when the way leads behind the camera.
    """
    free = list(SHARED_FREE)
    held = 1.0 / prior[free]
    begun = np.array([start.lens.k1, start.log_focal])

    def at(x: FloatArray) -> CameraFit:
        shared = np.zeros(4)
        shared[free] = x[POSE:]
        return start.moved(x[:POSE], shared)

    last = [(np.full(POSE + len(free), np.nan), start)]

    def known(x: FloatArray) -> CameraFit:
        if not np.array_equal(last[0][0], x):
            last[0] = (x.copy(), at(x))
        return last[0][1]

    def missed(x: FloatArray) -> FloatArray:
        return np.concatenate([-known(x).weighted_px / sigma_px, (begun + x[POSE:]) * held])

    def derivative(x: FloatArray) -> FloatArray:
        fit = known(x)
        rows = np.hstack([fit.jacobian @ _turned(x, start), fit.by_shared[:, free]]) / sigma_px
        return np.vstack([rows, np.hstack([np.zeros((len(free), POSE)), np.diag(held)])])

    found = least_squares(
        missed, np.zeros(POSE + len(free)), jac=derivative, loss="soft_l1", f_scale=2.0, max_nfev=MOST_STEPS
    )
    end = at(found.x)
    return end if end.is_in_front else start


def _turned(x: FloatArray, start: CameraFit) -> FloatArray:
    """Differentiate the small step at ``x`` by the step counted from the start: the rotation's left Jacobian."""
    turn = x[:3]
    angle = float(np.linalg.norm(turn))
    full = np.eye(POSE)
    if angle > 1e-9:
        axis = turn / angle
        cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
        full[:3, :3] = (
            np.sin(angle) / angle * np.eye(3)
            + (1 - np.sin(angle) / angle) * np.outer(axis, axis)
            + (1 - np.cos(angle)) / angle * cross
        )
    depth = start.inside_mm[:, 2].mean()
    # a shift is counted in units of the depth, which itself has changed
    full[3:, 3:] /= 1.0 + float(x[5]) if depth > 0 else 1.0
    return full
