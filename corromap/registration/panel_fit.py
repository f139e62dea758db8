"""Fitting the plane of a panel to clicked pixels, errors in the photo.

Start: normalised direct linear transform. Finish: Gauss-Newton on the eight
degrees of freedom of the map from panel to photo, lens included, because what
is wrong by a known amount is the click, in pixels of the photo as it is.

The eight parameters are steps at right angles to the 3 x 3 matrix in normalised
coordinates (both point sets centred and scaled to mean distance sqrt 2), so that
no entry of the matrix is taken to be non-zero and the covariance stays well
conditioned.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corromap.frames import FloatArray
from corromap.registration.homography import apply, direct_linear, normaliser, projection_jacobian
from corromap.registration.lens import Lens

__all__ = ["PanelFit", "PanelProblem", "fit_panel", "least_squares"]

GAUSS_NEWTON_STEPS = 30
SMALLEST_STEP = 1e-10
"""In normalised coordinates; far below a thousandth of a pixel."""

HALVINGS = 8

LARGEST_CONDITION = 1e4
"""Ours: beyond it the points do not fix the plane. Seen square on, the corners of a
square give 4, of a strip 1 : 11 give 26 and of a strip 1 : 33 give 77 (measured)."""


def least_squares(jacobian: FloatArray, values: FloatArray) -> FloatArray:
    """Solve a linear least-squares problem.

    Parameters
    ----------
    jacobian : ndarray of float64, shape (M, P)
        Design.
    values : ndarray of float64, shape (M,) or (M, K)
        To be met.

    Returns
    -------
    ndarray of float64, shape (P,) or (P, K)
        The shortest solution.
    """
    return np.asarray(np.linalg.lstsq(jacobian, values)[0], dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class PanelFit:
    """A fitted map from panel millimetres to photo pixels.

    Parameters
    ----------
    problem : PanelProblem
        What was fitted.
    matrix : ndarray of float64, shape (3, 3)
        Normalised millimetres to normalised undistorted pixels, unit norm.
    basis : ndarray of float64, shape (9, 8)
        Orthonormal directions at right angles to the matrix: the parameters.
    jacobian : ndarray of float64, shape (2N, 8)
        d photo pixel / d parameter at the datum points.
    undistorted_px : ndarray of float64, shape (N, 2)
        Where the datum points fall, undistorted.
    residual_px : ndarray of float64, shape (N, 2)
        Clicked minus fitted.
    w : ndarray of float64, shape (N,)
        Third coordinate at the datum points; all positive in a usable fit.
    """

    problem: PanelProblem
    matrix: FloatArray
    basis: FloatArray
    jacobian: FloatArray
    undistorted_px: FloatArray
    residual_px: FloatArray
    w: FloatArray

    @property
    def lens(self) -> Lens:
        """The lens it was fitted with."""
        return self.problem.lens

    @property
    def by_lens(self) -> FloatArray:
        """How photo pixels move with ``k1`` and the centre, parameters held, shape (2N, 3)."""
        return self.lens.distort_by_lens(self.undistorted_px).reshape(-1, 3)

    @property
    def is_in_front(self) -> bool:
        """Whether every datum point lies on the near side of the horizon."""
        return bool((self.w > 0).all())

    @property
    def is_fixed(self) -> bool:
        """Whether the points fix the plane, on the near side of the horizon."""
        return self.is_in_front and float(np.linalg.cond(self.jacobian)) < LARGEST_CONDITION

    @property
    def square_sum_px2(self) -> float:
        """Sum of squared residuals, px2."""
        return float((self.residual_px**2).sum())

    @property
    def freedom(self) -> int:
        """Degrees of freedom left by the fit: 2 N - 8."""
        return 2 * len(self.residual_px) - 8

    @property
    def spread_px(self) -> float:
        """Error of a click as the residuals show it, per axis; 0 without freedom."""
        return float(np.sqrt(self.square_sum_px2 / self.freedom)) if self.freedom else 0.0

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
        a = apply(self.problem.unit_mm, datum_mm)[0]
        b, w = apply(self.matrix, a)
        undistorted = self.problem.undistorted(b)
        through_lens = self.lens.distort_jacobian(undistorted) / self.problem.unit_px[0, 0]
        jacobian = through_lens @ (projection_jacobian(self.matrix, a) @ self.basis)
        return self.lens.distort(undistorted), w, np.asarray(jacobian)

    def px_to_mm(self) -> FloatArray:
        """Matrix from undistorted pixels to panel millimetres, not scaled.

        Returns
        -------
        ndarray of float64, shape (3, 3)
            ``w`` is positive where the datum points are.
        """
        return np.asarray(np.linalg.solve(self.problem.unit_mm, np.linalg.solve(self.matrix, self.problem.unit_px)))

    def px_to_mm_by_parameter(self) -> FloatArray:
        """Differentiate `px_to_mm` by the eight parameters.

        Returns
        -------
        ndarray of float64, shape (3, 3, 8)
            Of every entry.
        """
        inverse = np.linalg.inv(self.matrix)
        steps = self.basis.T.reshape(8, 3, 3)
        moved = -np.linalg.solve(self.problem.unit_mm, inverse @ steps @ inverse @ self.problem.unit_px)
        return np.ascontiguousarray(np.moveaxis(moved, 0, -1))


@dataclass(frozen=True, slots=True, eq=False)
class PanelProblem:
    """What is to be fitted: clicks, datum points and a lens, normalised.

    Parameters
    ----------
    lens : Lens
        The photo's lens.
    clicked_px : ndarray of float64, shape (N, 2)
        Clicked pixels of the photo.
    unit_mm, unit_px : ndarray of float64, shape (3, 3)
        Normalising similarities of panel millimetres and undistorted pixels.
    a, b : ndarray of float64, shape (N, 2)
        Datum points and undistorted clicks, normalised.
    """

    lens: Lens
    clicked_px: FloatArray
    unit_mm: FloatArray
    unit_px: FloatArray
    a: FloatArray
    b: FloatArray

    @classmethod
    def of(cls, clicked_px: FloatArray, datum_mm: FloatArray, lens: Lens) -> PanelProblem:
        """Normalise clicks and datum points.

        Parameters
        ----------
        clicked_px : ndarray of float64, shape (N, 2)
            Clicked pixels of the photo.
        datum_mm : ndarray of float64, shape (N, 2)
            The same points on the panel.
        lens : Lens
            The photo's lens.

        Returns
        -------
        PanelProblem
            Ready to be fitted.
        """
        undistorted = lens.undistort(clicked_px)
        unit_mm, unit_px = normaliser(datum_mm), normaliser(undistorted)
        return cls(lens, clicked_px, unit_mm, unit_px, apply(unit_mm, datum_mm)[0], apply(unit_px, undistorted)[0])

    def started(self) -> PanelFit:
        """Start from the direct linear transform.

        Returns
        -------
        PanelFit
            Where it puts a point on or beyond the horizon, nothing can be
            refined: residuals are infinite and derivatives zero.
        """
        matrix = direct_linear(self.a, self.b)
        w = apply(matrix, self.a)[1]
        if (w > 0).all():
            return self.linearised(matrix)
        rows = 2 * len(w)
        unknown = np.full((len(w), 2), np.inf)
        return PanelFit(self, matrix, np.zeros((9, 8)), np.zeros((rows, 8)), unknown, unknown, w)

    def linearised(self, matrix: FloatArray) -> PanelFit:
        """Residuals and derivatives of a map, fitted or not.

        Parameters
        ----------
        matrix : ndarray of float64, shape (3, 3)
            Normalised millimetres to normalised undistorted pixels, unit norm,
            every datum point before the horizon.

        Returns
        -------
        PanelFit
            Of this map.
        """
        undistorted, residual_px, w = self._missed(matrix)
        basis = _at_right_angles(matrix.ravel())
        through_lens = self.lens.distort_jacobian(undistorted) / self.unit_px[0, 0]
        jacobian = (through_lens @ (projection_jacobian(matrix, self.a) @ basis)).reshape(-1, 8)
        return PanelFit(self, matrix, basis, jacobian, undistorted, residual_px, w)

    def stepped(self, fit: PanelFit, parameters: FloatArray) -> PanelFit | None:
        """Move a fit, halving the move until nothing gets worse.

        Parameters
        ----------
        fit : PanelFit
            Where to start.
        parameters : ndarray of float64, shape (8,)
            The full move.

        Returns
        -------
        PanelFit or None
            None when every move puts a point beyond the horizon or worsens
            the fit: it is as good as it gets.
        """
        for halving in range(HALVINGS):
            matrix = fit.matrix + (fit.basis @ parameters).reshape(3, 3) * 0.5**halving
            matrix /= np.linalg.norm(matrix)
            _, missed, w = self._missed(matrix)
            if (w > 0).all() and (missed**2).sum() <= fit.square_sum_px2:
                return self.linearised(matrix)
        return None

    def _missed(self, matrix: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Undistorted fitted pixels, residuals (clicked minus fitted) and w."""
        b, w = apply(matrix, self.a)
        undistorted = self.undistorted(b)
        return undistorted, self.clicked_px - self.lens.distort(undistorted), w

    def undistorted(self, b: FloatArray) -> FloatArray:
        """Undo the normalisation of pixels.

        Parameters
        ----------
        b : ndarray of float64, shape (..., 2)
            Normalised.

        Returns
        -------
        ndarray of float64, shape (..., 2)
            Undistorted pixels.
        """
        return np.asarray((b - self.unit_px[:2, 2]) / self.unit_px[0, 0])


def _at_right_angles(unit: FloatArray) -> FloatArray:
    """Orthonormal basis of what is at right angles to a unit vector, by one reflection."""
    largest = int(np.argmax(np.abs(unit)))
    mirror = unit.copy()
    mirror[largest] += np.sign(unit[largest])
    reflection = np.eye(len(unit)) - np.outer(mirror, mirror) * (2.0 / (mirror @ mirror))
    return np.asarray(np.delete(reflection, largest, axis=1))


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
        Look at `is_in_front` and `is_fixed` before using it: points in an
        arrangement no camera can see, or on one line, yield a fit as well.
    """
    problem = PanelProblem.of(clicked_px, datum_mm, lens)
    fit = problem.started()
    for _ in range(GAUSS_NEWTON_STEPS if fit.is_in_front else 0):
        step = least_squares(fit.jacobian, fit.residual_px.ravel())
        better = problem.stepped(fit, step)
        if better is None:
            break
        fit = better
        if float(np.abs(step).max()) < SMALLEST_STEP:
            break
    return fit
