"""Random draws of a photo's place, for intervals without a linear assumption.

Every draw moves the clicks and fits anew. The fits are stacked: one fixed
pseudo-inverse, two chord steps, no loop over draws.
"""

from __future__ import annotations

import numpy as np

from corromap.errors import InvalidValueError
from corromap.frames import FloatArray
from corromap.registration.homography import homogeneous
from corromap.registration.panel_fit import PanelFit, PanelProblem
from corromap.registration.result import Registration

__all__ = ["draw_matrices"]

CHORD_STEPS = 2
"""Steps with the pseudo-inverse of the fit held fixed; each shrinks what is
left by about the click error over the size of the clicked figure."""


def draw_matrices(registration: Registration, count: int, seed: int) -> FloatArray:
    """Draw places of a photo from the error of its clicks.

    Parameters
    ----------
    registration : Registration
        From a fit to one panel's sightings.
    count : int
        Number of draws.
    seed : int
        Of the random generator.

    Returns
    -------
    ndarray of float64, shape (count, 3, 3)
        Undistorted pixels to panel millimetres, each scaled to mean ``w`` = 1
        at the sightings. The lens is held: its error is a source of its own.

    Raises
    ------
    InvalidValueError
        If the registration was not fitted to one panel's sightings.
    """
    if registration.method != "panel":
        raise InvalidValueError(f"draws need a fit to one panel, found method '{registration.method}'")
    fit = _fit_of(registration)
    noise = np.random.default_rng(seed).normal(0.0, registration.sigma_px, (count, 2 * len(fit.w)))
    return _scaled(_stacked_fits(fit, noise), fit)


def _fit_of(registration: Registration) -> PanelFit:
    """Linearise where the registration already is, without fitting again."""
    problem = PanelProblem.of(registration.sighted_px, registration.datum_mm, registration.lens)
    matrix = problem.unit_px @ np.linalg.inv(problem.unit_mm @ registration.matrix)
    return problem.linearised(matrix / np.linalg.norm(matrix))


def _stacked_fits(fit: PanelFit, noise_px: FloatArray) -> FloatArray:
    """Matrices from normalised mm to normalised undistorted px, (count, 3, 3)."""
    pseudo_inverse = np.linalg.pinv(fit.jacobian).T
    a = homogeneous(fit.problem.a).T
    fitted = (fit.problem.clicked_px - fit.residual_px).ravel()
    parameters = noise_px @ pseudo_inverse
    for _ in range(CHORD_STEPS):
        q = (_matrices(fit, parameters).reshape(-1, 3) @ a).reshape(len(noise_px), 3, -1)
        b = np.stack([q[:, 0] / q[:, 2], q[:, 1] / q[:, 2]], axis=-1)
        moved = fit.lens.distort(fit.problem.undistorted(b).reshape(-1, 2)).reshape(len(noise_px), -1)
        parameters = parameters + (noise_px - (moved - fitted)) @ pseudo_inverse
    return _matrices(fit, parameters)


def _matrices(fit: PanelFit, parameters: FloatArray) -> FloatArray:
    return np.asarray((fit.matrix.ravel() + parameters @ fit.basis.T).reshape(-1, 3, 3))


def _scaled(matrices: FloatArray, fit: PanelFit) -> FloatArray:
    """Turn the maps round, undo the normalisation and scale ``w`` to mean 1."""
    problem = fit.problem
    mean_b = np.append(problem.b.mean(axis=0), 1.0)
    inverse = _adjugates(matrices)
    mean_w = inverse[:, 2] @ mean_b  # w is linear in the place: its mean is that at the mean place
    to_mm = np.linalg.inv(problem.unit_mm)
    return np.asarray(
        np.einsum("ij,njk,kl->nil", to_mm, inverse / mean_w[:, None, None], problem.unit_px, optimize=True)
    )


def _adjugates(matrices: FloatArray) -> FloatArray:
    """Inverses of many 3 x 3 matrices up to scale, by cofactors."""
    (a, b, c), (d, e, f), (g, h, i) = np.moveaxis(matrices, 0, -1)
    rows = [
        [e * i - f * h, c * h - b * i, b * f - c * e],
        [f * g - d * i, a * i - c * g, c * d - a * f],
        [d * h - e * g, b * g - a * h, a * e - b * d],
    ]
    return np.ascontiguousarray(np.moveaxis(np.array(rows), -1, 0))
