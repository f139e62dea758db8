"""Placing one photo on one panel."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from scipy.spatial import ConvexHull

from corromap.frames import DatumId, FloatArray
from corromap.registration.guards import check_fit, check_sightings, fit_warnings
from corromap.registration.homography import PanelFit, apply, fit_panel
from corromap.registration.lens import Lens
from corromap.registration.result import Registration, RegistrationFailure, clicks_label, lens_label
from corromap.registration.sighted import Sighted, click_sigma
from corromap.survey import Photo, Settings, Sighting
from corromap.template import BodyTemplate, Panel
from corromap.uncertainty import ErrorSource

__all__ = ["W_SHARE", "place_photo"]

W_SHARE = 0.25
"""Ours: a place counts down to this share of the smallest ``w`` at a sighting,
that is up to four times as far from the camera as the farthest point clicked."""


def place_photo(  # noqa: PLR0913 - the contract between modules
    photo: Photo,
    panel: Panel,
    sightings: Iterable[Sighting],
    lens: Lens,
    settings: Settings,
    template: BodyTemplate,
) -> Registration | RegistrationFailure:
    """Place one photo on one panel from its sightings.

    Parameters
    ----------
    photo : Photo
        The photo.
    panel : Panel
        The panel.
    sightings : iterable of Sighting
        Those of other photos, and datum points that do not lie on this panel,
        are passed over.
    lens : Lens
        The photo's lens, from `solve_lenses`.
    settings : Settings
        For the standard error of a click.
    template : BodyTemplate
        For the datum points, folds included.

    Returns
    -------
    Registration or RegistrationFailure
        A failure is a value: it says what is wrong and what to click next.
    """
    sighted = Sighted.collect(photo, panel, sightings, template)
    failure = check_sightings(sighted, lens, settings)
    if failure is not None:
        return failure
    fit = fit_panel(sighted.clicked_px, sighted.datum_mm, lens)
    failure = check_fit(sighted, fit, settings)
    if failure is not None:
        return failure
    return _registration(sighted, fit, settings)


def _registration(sighted: Sighted, fit: PanelFit, settings: Settings) -> Registration:
    lens, photo, panel = fit.lens, sighted.photo.id, sighted.panel.id
    matrix = fit.px_to_mm()
    carried, w = apply(matrix, lens.undistort(sighted.clicked_px))
    scale = 1.0 / float(w.mean())
    residual_mm = carried - sighted.datum_mm
    sigma_px = click_sigma(fit, settings)
    clicks, lens_source, moved = _sources(sighted, fit, sigma_px)
    return Registration(
        photo=photo,
        panel=panel,
        lens=lens,
        matrix=matrix * scale,
        w_min=W_SHARE * scale * float(w.min()),
        datum_ids=sighted.ids,
        datum_mm=sighted.datum_mm,
        sighted_px=sighted.clicked_px,
        residual_px=fit.residual_px,
        residual_mm=residual_mm,
        rms_px=_rms(fit.residual_px),
        rms_mm=_rms(residual_mm),
        sigma_px=sigma_px,
        hull_px=sighted.clicked_px[ConvexHull(sighted.clicked_px).vertices],
        method="panel",
        sources=(clicks, lens_source),
        matrix_by_source={label: value * scale for label, value in moved.items()},
        warnings=fit_warnings(sighted, fit, settings),
    )


def _sources(
    sighted: Sighted, fit: PanelFit, sigma_px: float
) -> tuple[ErrorSource, ErrorSource, dict[str, FloatArray]]:
    """Error sources and how the unscaled matrix follows each.

    Estimating ``k1`` together with the eight parameters leaves the two sources
    below independent: the part of ``k1``'s error that comes from these clicks
    lies at right angles to everything the eight parameters can follow.
    """
    clicks = ErrorSource(
        clicks_label(sighted.photo.id, sighted.panel.id),
        sigma_px**2 * np.linalg.inv(fit.jacobian.T @ fit.jacobian),
    )
    lens = ErrorSource(lens_label(fit.lens, sighted.photo.id), np.array([[fit.lens.sigma_k1**2]]))
    by_parameter = fit.px_to_mm_by_parameter()
    followed = -np.linalg.lstsq(fit.jacobian, fit.by_k1)[0]
    return clicks, lens, {clicks.label: by_parameter, lens.label: by_parameter @ followed[:, None]}


def _rms(residual: FloatArray) -> float:
    return float(np.sqrt((residual**2).sum(axis=1).mean()))
