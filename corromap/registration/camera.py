"""A camera in the car frame: where a photo was taken from, errors in the photo.

The pose turns and shifts the car's points into the camera's frame (x right, y
down, z ahead). Its six parameters are a turn about the middle of the sighted
points and a shift in units of their distance, so that they are of one size and
nearly independent. Four more are shared by the photos of a camera: ``k1``, the
centre across and down in units of the focal length, and the logarithm of the
focal length over the one the lens states.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from corromap.frames import FloatArray
from corromap.registration.lens import Lens
from corromap.template import Place

__all__ = ["NEAREST_MM", "POSE", "SHARED", "CameraFit", "CameraPose", "CameraProblem", "crosses", "rotation_of"]

POSE = 6
"""Parameters of a pose."""

SHARED = 4
"""Parameters that the photos of one camera share."""

NEAREST_MM = 1.0
"""A point nearer to the camera's plane than this is behind it."""


def rotation_of(turn: FloatArray) -> FloatArray:
    """Rotation matrix of a turn (Rodrigues).

    Parameters
    ----------
    turn : ndarray of float64, shape (3,)
        Axis times angle, radians.

    Returns
    -------
    ndarray of float64, shape (3, 3)
        The rotation.
    """
    angle = float(np.linalg.norm(turn))
    cross = crosses(turn[None])[0]
    if angle < 1e-12:
        return np.asarray(np.eye(3) + cross)
    cross = cross / angle
    return np.asarray(np.eye(3) + np.sin(angle) * cross + (1.0 - np.cos(angle)) * cross @ cross)


def crosses(v: FloatArray) -> FloatArray:
    """Make matrices that take the cross product with vectors.

    Parameters
    ----------
    v : ndarray of float64, shape (N, 3)
        The vectors.

    Returns
    -------
    ndarray of float64, shape (N, 3, 3)
        Times x it is v x x.
    """
    out = np.zeros((len(v), 3, 3))
    out[:, 0, 1], out[:, 0, 2], out[:, 1, 2] = -v[:, 2], v[:, 1], -v[:, 0]
    return out - np.swapaxes(out, 1, 2)


@dataclass(frozen=True, slots=True, eq=False)
class CameraPose:
    """Where a camera stands and how long its lens is.

    Parameters
    ----------
    rotation : ndarray of float64, shape (3, 3)
        Car frame to camera frame.
    shift_mm : ndarray of float64, shape (3,)
        Of the car frame's origin in the camera frame.
    focal_px : float
        Focal length, px.
    """

    rotation: FloatArray
    shift_mm: FloatArray
    focal_px: float

    @property
    def eye_mm(self) -> FloatArray:
        """Where the camera is in the car frame, mm, shape (3,)."""
        return np.asarray(-self.rotation.T @ self.shift_mm)

    def inside(self, car_mm: FloatArray) -> FloatArray:
        """Carry points into the camera frame.

        Parameters
        ----------
        car_mm : ndarray of float64, shape (N, 3)
            Car frame, mm.

        Returns
        -------
        ndarray of float64, shape (N, 3)
            Camera frame, mm; the third is the depth.
        """
        return np.asarray(car_mm @ self.rotation.T + self.shift_mm)

    def plane(self, place: Place) -> FloatArray:
        """Carry a panel's frame into the camera frame.

        Parameters
        ----------
        place : Place
            The panel's place.

        Returns
        -------
        ndarray of float64, shape (3, 3)
            (u, v, 1) to the camera frame, mm.
        """
        columns = [self.rotation @ place.u_axis, self.rotation @ place.v_axis]
        return np.stack([*columns, self.rotation @ place.origin_mm + self.shift_mm], axis=1)

    def lens_matrix(self, centre_px: FloatArray) -> FloatArray:
        """Carry the camera frame to undistorted pixels.

        Parameters
        ----------
        centre_px : ndarray of float64, shape (2,)
            Centre of the lens.

        Returns
        -------
        ndarray of float64, shape (3, 3)
            Times the depth.
        """
        return np.array([[self.focal_px, 0, centre_px[0]], [0, self.focal_px, centre_px[1]], [0, 0, 1.0]])


@dataclass(frozen=True, slots=True, eq=False)
class CameraProblem:
    """What is to be fitted: clicks, points of the car, a lens.

    Parameters
    ----------
    lens : Lens
        The photo's lens; its focal length is the unit of ``k1``.
    clicked_px : ndarray of float64, shape (N, 2)
        Clicked pixels of the photo.
    car_mm : ndarray of float64, shape (N, 3)
        The same points in the car frame.
    weight : ndarray of float64, shape (N,)
        Square of the click error over that of this sighting, at most 1.
    """

    lens: Lens
    clicked_px: FloatArray
    car_mm: FloatArray
    weight: FloatArray

    def at(self, pose: CameraPose) -> CameraFit:
        """Residuals and derivatives of a pose, fitted or not.

        Parameters
        ----------
        pose : CameraPose
            Every point in front of it.

        Returns
        -------
        CameraFit
            Of this pose.
        """
        inside = pose.inside(self.car_mm)
        offset = pose.focal_px * inside[:, :2] / np.maximum(inside[:, 2:], NEAREST_MM)
        residual = self.clicked_px - self.lens.distort(self.lens.centre_px + offset)
        return CameraFit(self, pose, residual, inside, offset)

    def without(self, index: int) -> CameraProblem:
        """Leave one sighting out.

        Parameters
        ----------
        index : int
            Which.

        Returns
        -------
        CameraProblem
            The others.
        """
        rest = np.arange(len(self.car_mm)) != index
        return replace(self, clicked_px=self.clicked_px[rest], car_mm=self.car_mm[rest], weight=self.weight[rest])


@dataclass(frozen=True, eq=False)
class CameraFit:
    """A camera with its residuals; derivatives are worked out when asked for, many poses are only looked at.

    Parameters
    ----------
    problem : CameraProblem
        What was fitted.
    pose : CameraPose
        The pose.
    residual_px : ndarray of float64, shape (N, 2)
        Clicked minus fitted.
    inside_mm : ndarray of float64, shape (N, 3)
        The points in the camera frame.
    offset_px : ndarray of float64, shape (N, 2)
        Where they are seen without distortion, from the lens's centre.
    """

    problem: CameraProblem
    pose: CameraPose
    residual_px: FloatArray
    inside_mm: FloatArray
    offset_px: FloatArray

    @cached_property
    def jacobian(self) -> FloatArray:
        """Derivatives of photo pixels by the pose, times the root of the weight, shape (2N, 6)."""
        depth = np.maximum(self.inside_mm[:, 2], NEAREST_MM)
        by_point = np.zeros((len(depth), 2, 3))
        by_point[:, 0, 0] = by_point[:, 1, 1] = self.pose.focal_px / depth
        by_point[:, :, 2] = -self.offset_px / depth[:, None]
        through = self._by_straight[0] @ by_point
        middle = self.inside_mm.mean(axis=0)
        turn = -through @ crosses(self.inside_mm - middle)
        root = np.sqrt(self.problem.weight)
        jacobian = np.concatenate([turn, through * middle[2]], axis=2)
        return np.asarray((jacobian * root[:, None, None]).reshape(-1, POSE))

    @cached_property
    def by_shared(self) -> FloatArray:
        """Derivatives of photo pixels by the shared parameters, times the root of the weight, shape (2N, 4)."""
        bend, by_k1 = self._by_straight
        shared = np.zeros((len(bend), 2, SHARED))
        shared[:, :, 0] = by_k1
        shared[:, :, 1:3] = self.lens.focal_px * np.eye(2)  # the picture moves with its centre
        shared[:, :, 3] = (bend @ self.offset_px[:, :, None])[..., 0]
        root = np.sqrt(self.problem.weight)
        return np.asarray((shared * root[:, None, None]).reshape(-1, SHARED))

    @cached_property
    def _by_straight(self) -> tuple[FloatArray, FloatArray]:
        """Derivatives of photo pixels by undistorted ones and by ``k1``."""
        _, bend, by_k1 = self.lens.distort_with_derivatives(self.lens.centre_px + self.offset_px)
        return bend, by_k1

    @property
    def lens(self) -> Lens:
        """The lens it was fitted with."""
        return self.problem.lens

    @property
    def weighted_px(self) -> FloatArray:
        """Residuals times the root of their weight, in a row, shape (2N,)."""
        return np.asarray((self.residual_px * np.sqrt(self.problem.weight)[:, None]).ravel())

    @property
    def square_sum_px2(self) -> float:
        """Weighted sum of squared residuals, px2."""
        return float((self.weighted_px**2).sum())

    @property
    def freedom(self) -> int:
        """Coordinates to spare: 2 N - 6."""
        return 2 * len(self.residual_px) - POSE

    @property
    def is_in_front(self) -> bool:
        """Whether every point lies in front of the camera."""
        return bool((self.inside_mm[:, 2] > NEAREST_MM).all())

    @property
    def log_focal(self) -> float:
        """Logarithm of the focal length over the one its lens states."""
        return float(np.log(self.pose.focal_px / self.lens.focal_px))

    def moved(self, step: FloatArray, shared: FloatArray | None = None) -> CameraFit:
        """Take a step.

        Parameters
        ----------
        step : ndarray of float64, shape (6,)
            Of the pose.
        shared : ndarray of float64, shape (4,), optional
            Of the lens and the focal length.

        Returns
        -------
        CameraFit
            Where it leads.
        """
        turn = rotation_of(step[:3])
        middle = self.inside_mm.mean(axis=0)
        pose, problem = self.pose, self.problem
        shift = turn @ (pose.shift_mm - middle) + middle + middle[2] * step[3:]
        focal = pose.focal_px
        if shared is not None:
            lens = problem.lens
            centre = lens.centre_px + lens.focal_px * shared[1:3]
            problem = replace(problem, lens=replace(lens, k1=lens.k1 + float(shared[0]), centre_px=centre))
            focal = focal * float(np.exp(shared[3]))
        return problem.at(CameraPose(turn @ pose.rotation, shift, focal))

    def plane_by_pose(self, place: Place) -> FloatArray:
        """Differentiate a panel's frame in the camera frame by the pose.

        Parameters
        ----------
        place : Place
            The panel's place.

        Returns
        -------
        ndarray of float64, shape (3, 3, 6)
            Of `CameraPose.plane`.
        """
        plane, middle = self.pose.plane(place), self.inside_mm.mean(axis=0)
        out = np.zeros((3, 3, POSE))
        for i in range(3):
            turned = crosses(np.eye(3)[i : i + 1])[0]
            out[:, :, i] = turned @ plane
            out[:, 2, i] -= turned @ middle
            out[i, 2, 3 + i] = middle[2]
        return out
