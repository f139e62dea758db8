"""The lens of every photo of a survey: from EXIF, or estimated with the fits.

Points to spare show the lens: four leave nothing over, every further one bends
or does not bend with ``k1``. All photos and panels of one camera share it, so
their evidence is added up. All limits here are ours.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from corromap.frames import PhotoId
from corromap.registration.fit_checks import check_fit
from corromap.registration.guards import check_sightings
from corromap.registration.lens import Lens
from corromap.registration.panel_fit import PanelFit, fit_panel, least_squares
from corromap.registration.prior import prior_lens
from corromap.registration.result import lens_label
from corromap.registration.sighted import LEAST_POINTS, Sighted, tried_panels
from corromap.survey import Photo, Settings, Survey
from corromap.template import BodyTemplate

__all__ = ["solve_lenses"]

LEAST_FREEDOM = 8
"""Coordinates to spare, over all photos and panels of a camera, before an
estimate is tried: four points more than needed."""

LEAST_INFORMATION = 1.0
"""An estimate is used when the points know at least as much of ``k1`` as the
prior does; below that it would mostly echo the prior."""

LARGEST_K1 = 0.6
"""No estimate leaves +- this."""

STEPS = 25
SMALLEST_CHANGE = 1e-7


@dataclass(frozen=True, slots=True)
class _Estimate:
    """``k1``, its standard uncertainty, and what the points alone know of it."""

    k1: float
    sigma_k1: float
    information: float
    freedom: int
    fits: int


def solve_lenses(survey: Survey, template: BodyTemplate) -> dict[PhotoId, Lens]:
    """Find the lens of every photo, sharing ``k1`` among a camera's photos.

    Parameters
    ----------
    survey : Survey
        Photos, sightings and settings.
    template : BodyTemplate
        Panels and datum points.

    Returns
    -------
    dict of PhotoId to Lens
        One for each photo. ``k1`` is estimated jointly with all the fits of
        the camera, held by the prior, when `LEAST_FREEDOM` and
        `LEAST_INFORMATION` are met; else it is the prior's.

    Notes
    -----
    Sightings that cannot be placed with the prior lens take no part.
    """
    lenses = {photo.id: prior_lens(photo) for photo in survey.photos}
    cameras: dict[str, list[Photo]] = {}
    for photo in survey.photos:
        cameras.setdefault(lens_label(lenses[photo.id], photo.id), []).append(photo)
    for photos in cameras.values():
        fits = [fit for photo in photos for fit in _usable_fits(photo, lenses[photo.id], survey, template)]
        prior_sigma = max(lenses[photo.id].sigma_k1 for photo in photos)
        estimate = _estimate(fits, prior_sigma, survey.settings)
        if estimate is not None:
            lenses.update({photo.id: _with_estimate(lenses[photo.id], estimate) for photo in photos})
    return lenses


def _usable_fits(photo: Photo, lens: Lens, survey: Survey, template: BodyTemplate) -> Iterable[PanelFit]:
    sightings = [s for s in survey.sightings if s.photo == photo.id]
    for panel in tried_panels(photo, sightings, template):
        sighted = Sighted.collect(photo, panel, sightings, template)
        if len(sighted.ids) <= LEAST_POINTS or check_sightings(sighted, lens, survey.settings) is not None:
            continue
        fit = fit_panel(sighted.clicked_px, sighted.datum_mm, lens)
        if check_fit(sighted, fit, survey.settings) is None:
            yield fit


def _with_estimate(lens: Lens, estimate: _Estimate) -> Lens:
    focal = lens.source.split(",", maxsplit=1)[0]
    plural = "s" if estimate.fits > 1 else ""
    source = (
        f"{focal}, k1 estimated from {estimate.freedom} spare coordinates of {estimate.fits} fit{plural} "
        "of the camera together"
    )
    return replace(lens, k1=estimate.k1, sigma_k1=estimate.sigma_k1, source=source)


def _estimate(fits: Sequence[PanelFit], prior_sigma: float, settings: Settings) -> _Estimate | None:
    """Estimate ``k1`` from all fits of a camera, or None when they know too little."""
    freedom = sum(fit.freedom for fit in fits)
    if freedom < LEAST_FREEDOM:
        return None
    k1 = 0.0
    variance = settings.click_sigma_px**2
    moved = list(fits)
    # First with the click error as set, for the start is bent and its residuals
    # say nothing of the clicks; then with what the straightened residuals show.
    for _ in range(2):
        k1, moved, information = _solve(moved, k1, prior_sigma, variance)
        variance = max(variance, sum(fit.square_sum_px2 for fit in moved) / (freedom - 1))
    k1, moved, information = _solve(moved, k1, prior_sigma, variance)
    if information * prior_sigma**2 < LEAST_INFORMATION:
        return None
    sigma_k1 = float(1.0 / np.sqrt(information + prior_sigma**-2))
    return _Estimate(k1, sigma_k1, information, freedom, len(fits))


def _solve(
    fits: Sequence[PanelFit], k1: float, prior_sigma: float, variance: float
) -> tuple[float, list[PanelFit], float]:
    """Gauss-Newton on ``k1`` and all matrices; the matrices are eliminated fit by fit.

    What the eight parameters of a fit can follow says nothing of the lens; the
    rest of ``by_k1``, at right angles to them, does (Schur complement).
    """
    moved, information = list(fits), 0.0
    for _ in range(STEPS):
        information, pull = 0.0, -k1 / prior_sigma**2
        for fit in moved:
            across = fit.by_k1 - fit.jacobian @ least_squares(fit.jacobian, fit.by_k1)
            information += float(across @ across) / variance
            pull += float(across @ fit.residual_px.ravel()) / variance
        new = float(np.clip(k1 + pull / (information + prior_sigma**-2), -LARGEST_K1, LARGEST_K1))
        moved, change, k1 = [_follow(fit, new - k1, new) for fit in moved], abs(new - k1), new
        if change < SMALLEST_CHANGE:
            break
    return k1, moved, information


def _follow(fit: PanelFit, change: float, k1: float) -> PanelFit:
    """Move a fit to another ``k1``: the linear move, then one Gauss-Newton step."""
    problem = replace(fit.problem, lens=replace(fit.lens, k1=k1))
    parameters = least_squares(fit.jacobian, fit.residual_px.ravel() - change * fit.by_k1)
    matrix = fit.matrix + (fit.basis @ parameters).reshape(3, 3)
    moved = problem.linearised(matrix / np.linalg.norm(matrix))
    return problem.stepped(moved, least_squares(moved.jacobian, moved.residual_px.ravel())) or moved
