"""The lens of a camera: one radial term about the middle of the photo.

Straight edges bend in a wide lens. A fit to four points hides that (its
residual stays zero) and areas come out several per cent too large, always to
the same side, so the lens is corrected before anything else is done.

With one radial term the focal length is only a unit: pixels move by
``k1 / focal**2`` times the cube of the distance from the centre, and a
homography takes up the rest. A wrong focal length therefore changes what the
prior on ``k1`` means, not what an estimate of it corrects.

A lens is uncertain in three ways: ``k1`` and where its centre lies, across and
down, the latter two in units of the focal length so that photos of one camera
in two sizes can share them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from corromap.errors import InvalidValueError
from corromap.frames import CameraId, FloatArray, frozen_array

__all__ = ["Lens"]

LEAST_SLOPE = 0.1
"""Ours. With k1 < 0 the cubic turns back on itself far out. Where its slope has
fallen to this, it is continued straight, so that every pixel has one place."""

NEWTON_STEPS = 30
"""Upper limit; the iteration is monotone and ends after four or five."""


@dataclass(frozen=True, slots=True, eq=False)
class Lens:
    """How one photo's lens bends straight lines.

    ``x_d = x_u * (1 + k1 * r_u**2)`` with ``x = (px - centre) / focal``: the
    first radial term of OpenCV's camera model (OpenCV documentation, "Camera
    Calibration and 3D Reconstruction").

    Parameters
    ----------
    camera : CameraId or None
        Photos of one camera share ``k1``; None when the photo stands alone.
    centre_px : array_like, shape (2,)
        Centre of the distortion, px.
    focal_px : float
        Focal length, px; the unit of the radius.
    k1 : float
        Radial term; negative for barrel, as wide lenses have.
    sigma_k1 : float
        Its standard uncertainty.
    source : str
        Where the focal length and ``k1`` come from, one plain sentence.
    covariance : array_like, shape (3, 3), optional
        Of ``k1`` and of the centre across and down in units of the focal
        length. Without it the centre is taken as known.

    Raises
    ------
    InvalidValueError
        If a number is not finite, the focal length not positive or the
        uncertainty negative or at odds with the covariance.
    """

    camera: CameraId | None
    centre_px: FloatArray
    focal_px: float
    k1: float
    sigma_k1: float
    source: str
    covariance: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))

    def __post_init__(self) -> None:
        object.__setattr__(self, "centre_px", frozen_array(self.centre_px, (2,), "lens centre"))
        numbers = frozen_array([self.focal_px, self.k1, self.sigma_k1], (3,), "lens")
        if numbers[0] <= 0 or numbers[2] < 0:
            raise InvalidValueError(f"lens: focal length {self.focal_px} px, sigma of k1 {self.sigma_k1}")
        given = np.asarray(self.covariance)
        covariance = frozen_array(given if given.size else np.diag([self.sigma_k1**2, 0, 0]), (3, 3), "lens")
        if not np.isclose(covariance[0, 0], self.sigma_k1**2, rtol=1e-6, atol=0):
            raise InvalidValueError(f"lens: covariance {covariance[0, 0]} of k1, but sigma {self.sigma_k1}")
        object.__setattr__(self, "covariance", covariance)

    def undistort(self, xy_px: ArrayLike) -> FloatArray:
        """Move photo pixels to where a lens without distortion shows them.

        Parameters
        ----------
        xy_px : array_like, shape (N, 2)
            Pixels of the photo.

        Returns
        -------
        ndarray of float64, shape (N, 2)
            Undistorted pixels.
        """
        x, r_d = self._polar(xy_px)
        return np.asarray(self.centre_px + self.focal_px * x * _ratio(self._undistorted_radius(r_d), r_d)[:, None])

    def distort(self, xy_px: ArrayLike) -> FloatArray:
        """Move undistorted pixels to where this lens shows them.

        Parameters
        ----------
        xy_px : array_like, shape (N, 2)
            Undistorted pixels.

        Returns
        -------
        ndarray of float64, shape (N, 2)
            Pixels of the photo.
        """
        x, r = self._polar(xy_px)
        return np.asarray(self.centre_px + self.focal_px * x * _ratio(self._radius(r)[0], r)[:, None])

    def distort_jacobian(self, xy_px: ArrayLike) -> FloatArray:
        """Differentiate `distort`.

        Parameters
        ----------
        xy_px : array_like, shape (N, 2)
            Undistorted pixels.

        Returns
        -------
        ndarray of float64, shape (N, 2, 2)
            d photo pixel / d undistorted pixel.
        """
        x, r = self._polar(xy_px)
        value, slope, _ = self._radius(r)
        return _radial_matrix(x, r, _ratio(value, r), slope)

    def undistort_jacobian(self, xy_px: ArrayLike) -> FloatArray:
        """Differentiate `undistort`.

        Parameters
        ----------
        xy_px : array_like, shape (N, 2)
            Pixels of the photo.

        Returns
        -------
        ndarray of float64, shape (N, 2, 2)
            d undistorted pixel / d photo pixel.
        """
        return self.undistort_jacobian_at(self.undistort(xy_px))

    def undistort_jacobian_at(self, straight_px: ArrayLike) -> FloatArray:
        """Differentiate `undistort` where its result is known: no inverse is solved for.

        Parameters
        ----------
        straight_px : array_like, shape (N, 2)
            Undistorted pixels.

        Returns
        -------
        ndarray of float64, shape (N, 2, 2)
            d undistorted pixel / d photo pixel.
        """
        x, r = self._polar(straight_px)
        value, slope, _ = self._radius(r)
        return _radial_matrix(x, r, 1.0 / _ratio(value, r), 1.0 / slope)

    def distort_with_derivatives(self, xy_px: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Work out `distort`, `distort_jacobian` and the derivative by ``k1`` in one go.

        Parameters
        ----------
        xy_px : array_like, shape (N, 2)
            Undistorted pixels.

        Returns
        -------
        px : ndarray of float64, shape (N, 2)
            Pixels of the photo.
        jacobian : ndarray of float64, shape (N, 2, 2)
            By undistorted pixels.
        by_k1 : ndarray of float64, shape (N, 2)
            Pixels per unit of ``k1``.
        """
        x, r = self._polar(xy_px)
        value, slope, by_k1 = self._radius(r)
        across = _ratio(value, r)
        px = self.centre_px + self.focal_px * x * across[:, None]
        moved = self.focal_px * x * _ratio(by_k1, r, limit=0.0)[:, None]
        return np.asarray(px), _radial_matrix(x, r, across, slope), np.asarray(moved)

    def distort_by_lens(self, xy_px: ArrayLike) -> FloatArray:
        """Tell how photo pixels move with the lens, at fixed undistorted pixels.

        Parameters
        ----------
        xy_px : array_like, shape (N, 2)
            Undistorted pixels.

        Returns
        -------
        ndarray of float64, shape (N, 2, 3)
            Pixels per unit of ``k1`` and of the centre across and down.
        """
        x, r = self._polar(xy_px)
        by_k1 = self.focal_px * x * _ratio(self._radius(r)[2], r, limit=0.0)[:, None]
        # about a centre moved by c the map is c + map(px - c): its derivative by c is 1 - its Jacobian
        by_centre = self.focal_px * (np.eye(2) - self.distort_jacobian(xy_px))
        return np.concatenate([by_k1[:, :, None], by_centre], axis=2)

    def undistort_by_lens_at(self, straight_px: ArrayLike) -> FloatArray:
        """Tell how undistorted pixels move with the lens, at fixed photo pixels.

        Parameters
        ----------
        straight_px : array_like, shape (N, 2)
            Undistorted pixels.

        Returns
        -------
        ndarray of float64, shape (N, 2, 3)
            Pixels per unit of ``k1`` and of the centre across and down.
        """
        x, r = self._polar(straight_px)
        _, slope, by_k1 = self._radius(r)
        moved = -self.focal_px * x * _ratio(by_k1 / slope, r, limit=0.0)[:, None]
        by_centre = self.focal_px * (np.eye(2) - self.undistort_jacobian_at(straight_px))
        return np.concatenate([moved[:, :, None], by_centre], axis=2)

    def _polar(self, xy_px: ArrayLike) -> tuple[FloatArray, FloatArray]:
        x = (np.asarray(xy_px, dtype=np.float64).reshape(-1, 2) - self.centre_px) / self.focal_px
        return x, np.hypot(x[:, 0], x[:, 1])

    def _last_radius(self) -> float:
        # slope 1 + 3 k1 r**2 falls to LEAST_SLOPE here
        return float(np.sqrt((1.0 - LEAST_SLOPE) / (-3.0 * self.k1))) if self.k1 < 0 else np.inf

    def _radius(self, r: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Distorted radius, its slope by r and its derivative by k1."""
        inner = np.minimum(r, self._last_radius())
        square = inner * inner
        cube = square * inner  # a power by an exponent takes many times as long
        value = inner + self.k1 * cube + LEAST_SLOPE * (r - inner)
        # Beyond the last radius both terms that depend on it cancel to the cube as well.
        return value, 1.0 + 3.0 * self.k1 * square, cube

    def _undistorted_radius(self, r_d: FloatArray) -> FloatArray:
        r = r_d.copy()
        # The curve is convex for k1 > 0 and concave for k1 < 0: from r = r_d Newton cannot overshoot.
        for _ in range(NEWTON_STEPS):
            value, slope, _ = self._radius(r)
            step = (value - r_d) / slope
            r -= step
            if not np.any(np.abs(step) > 1e-15 * (1.0 + r)):
                break
        return r


def _ratio(value: FloatArray, r: FloatArray, *, limit: float = 1.0) -> FloatArray:
    return np.divide(value, r, out=np.full_like(r, limit), where=r > 0)


def _radial_matrix(x: FloatArray, r: FloatArray, across: FloatArray, along: FloatArray) -> FloatArray:
    """2 x 2 matrices that stretch by `along` outwards and `across` sideways."""
    unit = np.divide(x, r[:, None], out=np.zeros_like(x), where=r[:, None] > 0)
    outer = unit[:, :, None] * unit[:, None, :]
    return np.asarray(across[:, None, None] * np.eye(2) + (along - across)[:, None, None] * outer)
