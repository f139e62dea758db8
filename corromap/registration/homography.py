"""Fitting the plane of a panel to clicked pixels, errors in the photo.

Start: normalised direct linear transform (Hartley and Zisserman, Multiple View
Geometry, 2nd ed., algorithm 4.2). Finish: Gauss-Newton on the eight degrees of
freedom of the map from panel to photo, lens included, because what is wrong by
a known amount is the click, in pixels of the photo as it is.

The eight parameters are steps at right angles to the 3 x 3 matrix in normalised
coordinates (both point sets centred and scaled to mean distance sqrt 2), so that
no entry of the matrix is taken to be non-zero and the covariance stays well
conditioned.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corromap.frames import FloatArray
from corromap.registration.lens import Lens

__all__ = ["PanelFit", "apply", "direct_linear", "fit_panel", "homogeneous", "normaliser", "projection_jacobian"]

GAUSS_NEWTON_STEPS = 30
SMALLEST_STEP = 1e-12


def homogeneous(xy: FloatArray) -> FloatArray:
    """Append a one to each point.

    Parameters
    ----------
    xy : ndarray of float64, shape (N, 2)
        Points.

    Returns
    -------
    ndarray of float64, shape (N, 3)
        The same with a third coordinate of 1.
    """
    return np.column_stack([xy, np.ones(len(xy))])


def apply(matrix: FloatArray, xy: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Map points through a 3 x 3 matrix and tell on which side they lie.

    Parameters
    ----------
    matrix : ndarray of float64, shape (3, 3)
        The map.
    xy : ndarray of float64, shape (N, 2)
        Points.

    Returns
    -------
    mapped : ndarray of float64, shape (N, 2)
        NaN where ``w`` is zero. Where it is negative the numbers are those of
        the mirrored place beyond the horizon: the caller must look at ``w``.
    w : ndarray of float64, shape (N,)
        Third homogeneous coordinate.
    """
    q = homogeneous(xy) @ matrix.T
    w = q[:, 2]
    mapped = np.divide(q[:, :2], w[:, None], out=np.full_like(xy, np.nan), where=w[:, None] != 0)
    return mapped, np.asarray(w)


def normaliser(xy: FloatArray) -> FloatArray:
    """Similarity that brings points to centroid 0 and mean distance sqrt 2.

    Parameters
    ----------
    xy : ndarray of float64, shape (N, 2)
        Points, not all the same.

    Returns
    -------
    ndarray of float64, shape (3, 3)
        The similarity.
    """
    centre = xy.mean(axis=0)
    mean_distance = float(np.hypot(*(xy - centre).T).mean())
    scale = np.sqrt(2.0) / mean_distance if mean_distance > 0 else 1.0
    return np.array([[scale, 0, -scale * centre[0]], [0, scale, -scale * centre[1]], [0, 0, 1.0]])


def direct_linear(source: FloatArray, target: FloatArray) -> FloatArray:
    """Direct linear transform of normalised points, for many sets at once.

    Parameters
    ----------
    source, target : ndarray of float64, shape (..., N, 2)
        Corresponding points, N >= 4, both normalised.

    Returns
    -------
    ndarray of float64, shape (..., 3, 3)
        Unit norm; the sign makes the sum of ``w`` at the points positive.
    """
    ones = np.ones((*source.shape[:-1], 1))
    a = np.concatenate([source, ones], axis=-1)
    zero = np.zeros_like(a)
    rows_x = np.concatenate([a, zero, -target[..., :1] * a], axis=-1)
    rows_y = np.concatenate([zero, a, -target[..., 1:] * a], axis=-1)
    design = np.concatenate([rows_x, rows_y], axis=-2)
    # N = 4 gives eight rows: the ninth right singular vector needs full matrices.
    matrix = np.linalg.svd(design, full_matrices=True)[2][..., -1, :].reshape((*source.shape[:-2], 3, 3))
    side = np.sign((a @ np.swapaxes(matrix, -1, -2))[..., 2].sum(axis=-1))
    return np.asarray(matrix * np.where(side == 0, 1.0, side)[..., None, None])


def projection_jacobian(matrix: FloatArray, xy: FloatArray) -> FloatArray:
    """Derivative of the mapped point by the nine entries of the matrix.

    Parameters
    ----------
    matrix : ndarray of float64, shape (3, 3)
        The map.
    xy : ndarray of float64, shape (N, 2)
        Points.

    Returns
    -------
    ndarray of float64, shape (N, 2, 9)
        By the entries in row order.
    """
    a = homogeneous(xy)
    mapped, w = apply(matrix, xy)
    a_by_w = a / w[:, None]
    jacobian = np.zeros((len(xy), 2, 9))
    jacobian[:, 0, 0:3] = a_by_w
    jacobian[:, 1, 3:6] = a_by_w
    jacobian[:, :, 6:9] = -mapped[:, :, None] * a_by_w[:, None, :]
    return jacobian


@dataclass(frozen=True, slots=True, eq=False)
class PanelFit:
    """A fitted map from panel millimetres to photo pixels.

    Parameters
    ----------
    lens : Lens
        The lens it was fitted with.
    unit_mm, unit_px : ndarray of float64, shape (3, 3)
        Normalising similarities of panel millimetres and undistorted pixels.
    matrix : ndarray of float64, shape (3, 3)
        Normalised millimetres to normalised undistorted pixels, unit norm.
    basis : ndarray of float64, shape (9, 8)
        Orthonormal directions at right angles to the matrix: the parameters.
    jacobian : ndarray of float64, shape (2N, 8)
        d photo pixel / d parameter at the datum points.
    by_k1 : ndarray of float64, shape (2N,)
        d photo pixel / d k1 at the datum points, parameters held.
    residual_px : ndarray of float64, shape (N, 2)
        Clicked minus fitted.
    w : ndarray of float64, shape (N,)
        Third coordinate at the datum points; all positive in a usable fit.
    """

    lens: Lens
    unit_mm: FloatArray
    unit_px: FloatArray
    matrix: FloatArray
    basis: FloatArray
    jacobian: FloatArray
    by_k1: FloatArray
    residual_px: FloatArray
    w: FloatArray

    @property
    def is_in_front(self) -> bool:
        """Whether every datum point lies on the near side of the horizon."""
        return bool((self.w > 0).all())

    @property
    def square_sum_px2(self) -> float:
        """Sum of squared residuals, px2."""
        return float((self.residual_px**2).sum())

    @property
    def freedom(self) -> int:
        """Degrees of freedom left by the fit: 2 N - 8."""
        return 2 * len(self.residual_px) - 8

    def at(self, datum_mm: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Predict where points of the panel fall in the photo.

        Parameters
        ----------
        datum_mm : ndarray of float64, shape (M, 2)
            Points of the panel.

        Returns
        -------
        predicted_px : ndarray of float64, shape (M, 2)
            Pixels of the photo; mirrored where ``w`` is negative.
        w : ndarray of float64, shape (M,)
            Comparable with `PanelFit.w`.
        jacobian : ndarray of float64, shape (M, 2, 8)
            d photo pixel / d parameter.
        """
        a = apply(self.unit_mm, datum_mm)[0]
        b, w = apply(self.matrix, a)
        undistorted = _from_unit(self.unit_px, b)
        through_lens = self.lens.distort_jacobian(undistorted) / self.unit_px[0, 0]
        jacobian = through_lens @ (projection_jacobian(self.matrix, a) @ self.basis)
        return self.lens.distort(undistorted), w, np.asarray(jacobian)

    def px_to_mm(self) -> FloatArray:
        """Matrix from undistorted pixels to panel millimetres, not scaled.

        Returns
        -------
        ndarray of float64, shape (3, 3)
            ``w`` is positive where the datum points are.
        """
        return np.asarray(np.linalg.solve(self.unit_mm, np.linalg.solve(self.matrix, self.unit_px)))

    def px_to_mm_by_parameter(self) -> FloatArray:
        """Derivative of `px_to_mm` by the eight parameters.

        Returns
        -------
        ndarray of float64, shape (3, 3, 8)
            Of every entry.
        """
        inverse = np.linalg.inv(self.matrix)
        steps = self.basis.T.reshape(8, 3, 3)
        moved = -np.linalg.solve(self.unit_mm, inverse @ steps @ inverse @ self.unit_px)
        return np.ascontiguousarray(np.moveaxis(moved, 0, -1))


def _from_unit(unit_px: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray((b - unit_px[:2, 2]) / unit_px[0, 0])


def _evaluate(
    matrix: FloatArray, unit_px: FloatArray, a: FloatArray, clicked_px: FloatArray, lens: Lens
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Undistorted fitted pixels, residuals (clicked minus fitted) and w."""
    b, w = apply(matrix, a)
    undistorted = _from_unit(unit_px, b)
    return undistorted, clicked_px - lens.distort(undistorted), w


def _linearise(
    matrix: FloatArray, unit_px: FloatArray, a: FloatArray, undistorted: FloatArray, lens: Lens
) -> tuple[FloatArray, FloatArray]:
    """Basis of the eight parameters and d photo pixel / d parameter."""
    basis = np.linalg.qr(matrix.reshape(9, 1), mode="complete")[0][:, 1:]
    through_lens = lens.distort_jacobian(undistorted) / unit_px[0, 0]
    jacobian = (through_lens @ (projection_jacobian(matrix, a) @ basis)).reshape(-1, 8)
    return basis, jacobian


def fit_panel(clicked_px: FloatArray, datum_mm: FloatArray, lens: Lens) -> PanelFit:
    """Fit a panel's plane to clicked points.

    Parameters
    ----------
    clicked_px : ndarray of float64, shape (N, 2)
        Clicked pixels of the photo, N >= 4.
    datum_mm : ndarray of float64, shape (N, 2)
        The same points on the panel.
    lens : Lens
        The photo's lens.

    Returns
    -------
    PanelFit
        When the linear start puts points on both sides of the horizon there is
        nothing to refine: it is returned as it is, and `is_in_front` is false.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the points do not fix a plane; `guards` look before.
    """
    unit_mm, unit_px = normaliser(datum_mm), normaliser(lens.undistort(clicked_px))
    a, _ = apply(unit_mm, datum_mm)
    b, _ = apply(unit_px, lens.undistort(clicked_px))
    matrix = direct_linear(a, b)
    undistorted, residual, w = _evaluate(matrix, unit_px, a, clicked_px, lens)
    basis, jacobian = _linearise(matrix, unit_px, a, undistorted, lens)
    for _ in range(GAUSS_NEWTON_STEPS if (w > 0).all() else 0):
        step = np.linalg.lstsq(jacobian, residual.ravel())[0]
        better = _shortened(matrix, (basis @ step).reshape(3, 3), unit_px, a, clicked_px, lens, residual)
        if better is None:
            break
        matrix, undistorted, residual, w = better
        basis, jacobian = _linearise(matrix, unit_px, a, undistorted, lens)
        if float(np.abs(step).max()) < SMALLEST_STEP:
            break
    by_k1 = lens.distort_by_k1(undistorted).ravel()
    return PanelFit(lens, unit_mm, unit_px, matrix, basis, jacobian, by_k1, residual, w)


def _shortened(  # noqa: PLR0913 - one step of one loop, all of its state
    matrix: FloatArray,
    step: FloatArray,
    unit_px: FloatArray,
    a: FloatArray,
    clicked_px: FloatArray,
    lens: Lens,
    residual: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray] | None:
    """Halve a step until it stays before the horizon and does not worsen the fit."""
    for halving in range(8):
        trial = matrix + step * 0.5**halving
        trial /= np.linalg.norm(trial)
        undistorted, moved, w = _evaluate(trial, unit_px, a, clicked_px, lens)
        if (w > 0).all() and (moved**2).sum() <= (residual**2).sum():
            return trial, undistorted, moved, w
    return None
