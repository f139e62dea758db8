"""Which sighting is at odds with the others."""

from __future__ import annotations

import numpy as np

from corromap.frames import FloatArray
from corromap.registration.homography import apply
from corromap.registration.panel_fit import PanelFit, fit_panel
from corromap.registration.sighted import Sighted
from corromap.survey import Settings

__all__ = ["GOOD_SIGMAS", "POINTS_FOR_SIGMA", "click_sigma", "left_out_fit", "left_out_miss", "removal_gain"]

POINTS_FOR_SIGMA = 6
"""Ours: from so many sightings on, four degrees of freedom are left and the
residuals say something of the error of a click, and of whose it is. With five,
leaving out any one of them gives a perfect fit: none can be named."""

GOOD_SIGMAS = 3.0
"""Ours: residuals up to so many click errors are taken as they are."""


def click_sigma(fit: PanelFit, settings: Settings) -> float:
    """Choose the standard error of a click that a covariance stands on.

    Parameters
    ----------
    fit : PanelFit
        The fit.
    settings : Settings
        For the error that is always allowed for.

    Returns
    -------
    float
        Per axis, px. From six sightings on the larger of the setting and
        ``sqrt(sum of squared residuals / (2 N - 8))``; with five the setting,
        unless the residuals contradict it (`GOOD_SIGMAS`).
    """
    setting = settings.click_sigma_px
    contradicts = fit.spread_px > GOOD_SIGMAS * setting
    if len(fit.residual_px) < POINTS_FOR_SIGMA and not contradicts:
        return setting
    return max(setting, fit.spread_px)


def removal_gain(fit: PanelFit) -> FloatArray:
    """Predict how much of the squared sum goes when a sighting is left out.

    Parameters
    ----------
    fit : PanelFit
        The fit, six sightings or more.

    Returns
    -------
    ndarray of float64, shape (N,)
        px2.

    Notes
    -----
    With residual ``e`` and hat-matrix block ``H`` of one sighting it is
    ``e' (I - H)^-1 e`` (Cook and Weisberg, Residuals and Influence in
    Regression, 1982, section 3.6, deleting several cases; cited from memory).
    """
    q = np.linalg.qr(fit.jacobian)[0].reshape(-1, 2, 8)
    free = np.eye(2) - q @ np.swapaxes(q, 1, 2)
    e = fit.residual_px[:, :, None]
    return np.asarray((np.swapaxes(e, 1, 2) @ np.linalg.pinv(free, hermitian=True) @ e)[:, 0, 0])


def left_out_fit(sighted: Sighted, fit: PanelFit, index: int) -> PanelFit:
    """Fit again without one sighting.

    Parameters
    ----------
    sighted : Sighted
        The sightings, five or more.
    fit : PanelFit
        For the lens.
    index : int
        Which to leave out.

    Returns
    -------
    PanelFit
        Of the others.
    """
    rest = sighted.without(index)
    return fit_panel(rest.clicked_px, rest.datum_mm, fit.lens)


def left_out_miss(sighted: Sighted, other: PanelFit, index: int) -> tuple[float, float]:
    """Measure how far a click lies from where the other points put it.

    Parameters
    ----------
    sighted : Sighted
        The sightings.
    other : PanelFit
        The fit without it.
    index : int
        Which.

    Returns
    -------
    miss_px, miss_mm : float
        In the photo and on the panel; px is infinite when the others put it
        behind the camera.
    """
    predicted, w, _ = other.at(sighted.datum_mm[index : index + 1])
    clicked = sighted.clicked_px[index : index + 1]
    carried = apply(other.px_to_mm(), other.lens.undistort(clicked))[0]
    miss_px = float(np.hypot(*(clicked - predicted)[0])) if w[0] > 0 else float("inf")
    return miss_px, float(np.hypot(*(carried - sighted.datum_mm[index])[0]))
