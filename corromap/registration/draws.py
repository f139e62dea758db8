"""Random draws of a photo's place, for intervals without a linear assumption.

Every draw moves the clicks and fits anew. The fits are stacked: one fixed
pseudo-inverse, two chord steps, no loop over draws.
"""

from __future__ import annotations

import numpy as np

from corromap.errors import InvalidValueError
from corromap.frames import FloatArray
from corromap.registration.homography import homogeneous
from corromap.registration.panel_fit import PanelFit, fit_panel
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
    fit = fit_panel(registration.sighted_px, registration.datum_mm, registration.lens)
    noise = np.random.default_rng(seed).normal(0.0, registration.sigma_px, (count, 2 * len(fit.w)))
    return _scaled(_stacked_fits(fit, noise), fit)


def _stacked_fits(fit: PanelFit, noise_px: FloatArray) -> FloatArray:
    """Matrices from normalised mm to normalised undistorted px, (count, 3, 3)."""
    pseudo_inverse = np.linalg.pinv(fit.jacobian)
    a = homogeneous(fit.problem.a)
    fitted = (fit.problem.clicked_px - fit.residual_px).ravel()
    parameters = noise_px @ pseudo_inverse.T
    for _ in range(CHORD_STEPS):
        matrices = fit.matrix + (parameters @ fit.basis.T).reshape(-1, 3, 3)
        q = a @ np.swapaxes(matrices, 1, 2)
        undistorted = fit.problem.undistorted(q[..., :2] / q[..., 2:])
        moved = fit.lens.distort(undistorted.reshape(-1, 2)).reshape(len(noise_px), -1)
        parameters = parameters + (noise_px - (moved - fitted)) @ pseudo_inverse.T
    return np.asarray(fit.matrix + (parameters @ fit.basis.T).reshape(-1, 3, 3))


def _scaled(matrices: FloatArray, fit: PanelFit) -> FloatArray:
    inverse = np.linalg.inv(fit.problem.unit_mm) @ np.linalg.inv(matrices) @ fit.problem.unit_px
    undistorted = fit.lens.undistort(fit.problem.clicked_px)
    w = inverse[:, 2, :2] @ undistorted.T + inverse[:, 2, 2:]
    return np.asarray(inverse / w.mean(axis=1)[:, None, None])
