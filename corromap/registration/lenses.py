"""The lens of every photo of a survey: from EXIF, or estimated with the fits.

Points to spare show the lens: four leave nothing over, every further one bends
or does not bend with it. All photos and panels of one camera share it, so their
evidence is added up. All limits here are ours.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from corromap.frames import FloatArray, PhotoId
from corromap.registration.fit_checks import check_fit
from corromap.registration.guards import check_sightings
from corromap.registration.homography import apply
from corromap.registration.lens import Lens
from corromap.registration.panel_fit import PanelFit, fit_panel, least_squares
from corromap.registration.sighted import LEAST_POINTS, Sighted, tried_panels
from corromap.survey import Photo, Settings, Survey
from corromap.template import BodyTemplate

__all__ = ["estimated_lenses", "usable_fits"]

LEAST_FREEDOM = 8
"""Coordinates to spare, over all photos and panels of a camera, before an
estimate is tried: four points more than needed."""

LEAST_GAIN = 2.0
"""An estimate is used when the points reduce the variance of ``k1`` by at least
this factor; below that it would mostly echo the prior."""

LARGEST_K1 = 0.6
LARGEST_SHIFT = 0.15
"""No estimate of ``k1`` or of the centre leaves +- these."""

STEPS = 25
SMALLEST_CHANGE = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class _Estimate:
    """``k1`` and the shift of the centre, with their covariance."""

    lens: FloatArray
    covariance: FloatArray
    freedom: int
    fits: int


def estimated_lenses(
    photos: Sequence[Photo], lenses: Mapping[PhotoId, Lens], survey: Survey, template: BodyTemplate
) -> dict[PhotoId, Lens]:
    """Find the lens of one camera's photos from the fits of their panels.

    Parameters
    ----------
    photos : sequence of Photo
        Of one camera.
    lenses : mapping of PhotoId to Lens
        As known beforehand.
    survey : Survey
        Sightings and settings.
    template : BodyTemplate
        Panels and datum points.

    Returns
    -------
    dict of PhotoId to Lens
        One for each photo. ``k1`` and the centre are estimated jointly with all
        the fits of the camera, held by the prior, when `LEAST_FREEDOM` and
        `LEAST_GAIN` are met; else they are the prior's.

    Notes
    -----
    Sightings that cannot be placed, even with a lens of their own, take no part. Between
    photos held upright and across, the shift of the centre turns in a way the
    upright photo no longer tells: when a camera has both, it is not estimated.
    """
    fits = [fit for photo in photos for fit in usable_fits(photo, lenses[photo.id], survey, template)]
    # photos without EXIF among others with it: the wider prior holds for all
    prior = np.max([lenses[photo.id].covariance for photo in photos], axis=0)
    held = len({photo.width_px > photo.height_px for photo in photos}) > 1
    estimate = _estimate(fits, prior, survey.settings.click_sigma_px, held=held)
    return {photo.id: _with_estimate(lenses[photo.id], prior, estimate) for photo in photos}


def usable_fits(photo: Photo, lens: Lens, survey: Survey, template: BodyTemplate) -> Iterable[PanelFit]:
    """Fit the panels of a photo that say something of its lens.

    Parameters
    ----------
    photo : Photo
        The photo.
    lens : Lens
        As known beforehand.
    survey : Survey
        Sightings and settings.
    template : BodyTemplate
        Panels and datum points.

    Yields
    ------
    PanelFit
        Of five points or more that belong together.
    """
    sightings = [s for s in survey.sightings if s.photo == photo.id]
    for panel in tried_panels(photo, sightings, template):
        sighted = Sighted.collect(photo, panel, sightings, template)
        if len(sighted.ids) <= LEAST_POINTS or check_sightings(sighted, lens, survey.settings) is not None:
            continue
        fit = fit_panel(sighted.clicked_px, sighted.datum_mm, lens)
        if not fit.is_fixed or not _is_usable(sighted, fit, survey.settings):
            continue
        yield fit


def _is_usable(sighted: Sighted, fit: PanelFit, settings: Settings) -> bool:
    """Whether sightings can be placed with the prior lens, or with one of their own."""
    if check_fit(sighted, fit, settings) is None:
        return True
    # a very wide lens looks like wrong clicks until it is straightened
    prior, variance = fit.lens.covariance, settings.click_sigma_px**2
    own = _solve([fit], np.zeros(3), prior, variance, np.ones(3, dtype=np.bool_))[1][0]
    return check_fit(sighted, own, settings) is None


def _with_estimate(lens: Lens, prior: FloatArray, estimate: _Estimate | None) -> Lens:
    if estimate is None:
        return replace(lens, sigma_k1=float(np.sqrt(prior[0, 0])), covariance=prior)
    focal = lens.source.split(",", maxsplit=1)[0]
    fits = "one fit" if estimate.fits == 1 else f"{estimate.fits} fits together"
    return replace(
        _moved(lens, estimate.lens),
        sigma_k1=float(np.sqrt(estimate.covariance[0, 0])),
        covariance=estimate.covariance,
        source=f"{focal}, distortion estimated from {estimate.freedom} spare coordinates of {fits}",
    )


def _moved(lens: Lens, change: FloatArray) -> Lens:
    return replace(lens, k1=lens.k1 + float(change[0]), centre_px=lens.centre_px + lens.focal_px * change[1:])


def _estimate(fits: Sequence[PanelFit], prior: FloatArray, click_sigma_px: float, *, held: bool) -> _Estimate | None:
    """Estimate the lens from all fits of a camera, or None when they know too little."""
    freedom = sum(fit.freedom for fit in fits)
    if freedom < LEAST_FREEDOM:
        return None
    free = np.array([True, not held, not held])
    variance = click_sigma_px**2
    lens, moved = np.zeros(3), list(fits)
    # First with the click error as set, for at the start the residuals show the
    # lens and not the clicks; then with what the straightened residuals show.
    for _ in range(3):
        lens, moved, information = _solve(moved, lens, prior, variance, free)
        variance = max(click_sigma_px**2, sum(fit.square_sum_px2 for fit in moved) / (freedom - free.sum()))
    covariance = prior.copy()
    covariance[np.ix_(free, free)] = np.linalg.inv(information)
    if covariance[0, 0] * LEAST_GAIN > prior[0, 0]:
        return None
    return _Estimate(lens, covariance, freedom, len(fits))


def _solve(
    fits: Sequence[PanelFit],
    lens: FloatArray,
    prior: FloatArray,
    variance: float,
    free: np.ndarray[tuple[int], np.dtype[np.bool_]],
) -> tuple[FloatArray, list[PanelFit], FloatArray]:
    """Gauss-Newton on the lens and all matrices; the matrices are eliminated fit by fit.

    What the eight parameters of a fit can follow says nothing of the lens; the
    rest of ``by_lens``, at right angles to them, does (Schur complement).
    """
    weight = np.diag(1.0 / np.diag(prior)[free])
    limit = np.array([LARGEST_K1, LARGEST_SHIFT, LARGEST_SHIFT])
    moved, information = list(fits), weight
    for _ in range(STEPS):
        information, pull = weight, -weight @ lens[free]
        for fit in moved:
            across = (fit.by_lens - fit.jacobian @ least_squares(fit.jacobian, fit.by_lens))[:, free]
            information = information + across.T @ across / variance
            pull = pull + across.T @ fit.residual_px.ravel() / variance
        new = lens.copy()
        new[free] += np.linalg.solve(information, pull)
        new = np.clip(new, -limit, limit)
        moved, change, lens = [_follow(fit, new - lens) for fit in moved], np.abs(new - lens).max(), new
        if change < SMALLEST_CHANGE:
            break
    return lens, moved, np.asarray(information, dtype=np.float64)


def _follow(fit: PanelFit, change: FloatArray) -> PanelFit:
    """Move a fit to another lens by the linear move; hold it if that meets the horizon."""
    problem = replace(fit.problem, lens=_moved(fit.lens, change))
    parameters = least_squares(fit.jacobian, fit.residual_px.ravel() - fit.by_lens @ change)
    matrix = fit.matrix + (fit.basis @ parameters).reshape(3, 3)
    matrix /= np.linalg.norm(matrix)
    return problem.linearised(matrix if (apply(matrix, problem.a)[1] > 0).all() else fit.matrix)
