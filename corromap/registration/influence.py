"""Which sighting is at odds with the others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corromap.frames import FloatArray
from corromap.registration.homography import apply
from corromap.registration.panel_fit import PanelFit, fit_panel
from corromap.registration.sighted import Sighted
from corromap.survey import Settings

__all__ = ["GOOD_SIGMAS", "POINTS_FOR_SIGMA", "LeftOut", "click_sigma", "left_out_fit", "left_out_miss"]

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


@dataclass(frozen=True, slots=True, eq=False)
class LeftOut:
    """How every sighting compares with a fit to the others, to first order.

    With residual ``e`` and hat-matrix block ``H`` of one sighting, the others put
    it at ``(I - H)^-1 e`` from its click, and leaving it out takes
    ``e' (I - H)^-1 e`` off the squared sum (Cook and Weisberg, Residuals and
    Influence in Regression, 1982, section 3.6; cited from memory).

    Parameters
    ----------
    miss_px : ndarray of float64, shape (N, 2)
        Clicked minus predicted from the others.
    spread : ndarray of float64, shape (N, 2, 2)
        Its covariance for clicks of error 1.
    lens_px2 : ndarray of float64, shape (N, 2, 2)
        What the lens's uncertainty adds to the covariance.
    gain_px2 : ndarray of float64, shape (N,)
        How much of the squared sum goes when it is left out.
    """

    miss_px: FloatArray
    spread: FloatArray
    lens_px2: FloatArray
    gain_px2: FloatArray

    @classmethod
    def of(cls, fit: PanelFit) -> LeftOut:
        """Compare every sighting of a fit with the others.

        Parameters
        ----------
        fit : PanelFit
            Six sightings or more.

        Returns
        -------
        LeftOut
            One row a sighting.
        """
        q = np.linalg.qr(fit.jacobian)[0]
        across = (fit.by_lens - q @ (q.T @ fit.by_lens)).reshape(-1, 2, 3)
        blocks = q.reshape(-1, 2, 8)
        spread = np.linalg.pinv(np.eye(2) - blocks @ np.swapaxes(blocks, 1, 2), hermitian=True)
        by_lens = spread @ across
        miss_px = (spread @ fit.residual_px[:, :, None])[..., 0]
        lens_px2 = by_lens @ fit.lens.covariance @ np.swapaxes(by_lens, 1, 2)
        return cls(miss_px, spread, lens_px2, (miss_px * fit.residual_px).sum(axis=1))

    def surprise(self, index: int, variance_px2: float) -> float:
        """Square of a miss in standard errors; chi-square with two degrees of freedom.

        Parameters
        ----------
        index : int
            Which sighting.
        variance_px2 : float
            Of a click, per axis.

        Returns
        -------
        float
            Of clicks and lens together.
        """
        covariance = variance_px2 * self.spread[index] + self.lens_px2[index]
        miss = self.miss_px[index]
        # a click that the others do not check in one direction has no miss and no spread in it
        return float(miss @ np.linalg.pinv(covariance, hermitian=True) @ miss)

    def lens_sigma_px(self, index: int) -> float:
        """Largest standard error that the lens alone gives a miss.

        Parameters
        ----------
        index : int
            Which sighting.

        Returns
        -------
        float
            In pixels.
        """
        return float(np.sqrt(np.linalg.norm(self.lens_px2[index], ord=2)))


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
