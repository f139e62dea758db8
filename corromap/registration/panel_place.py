"""Placing a photo on one panel, by the panel's own points."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np
from scipy.spatial import ConvexHull

from corromap.frames import FloatArray, PanelId
from corromap.registration.by_camera import W_SHARE, root_mean_square
from corromap.registration.fit_checks import check_fit, fit_warnings
from corromap.registration.guards import check_sightings
from corromap.registration.homography import apply
from corromap.registration.influence import click_sigma
from corromap.registration.lens import Lens
from corromap.registration.panel_fit import PanelFit, fit_panel, least_squares
from corromap.registration.result import Registration, RegistrationFailure, clicks_label, lens_label
from corromap.registration.sighted import Sighted, tried_panels
from corromap.survey import Photo, Settings, Sighting
from corromap.template import BodyTemplate, Panel
from corromap.uncertainty import ErrorSource

__all__ = ["OwnFits", "place_photo"]


class OwnFits(Mapping[PanelId, Registration | RegistrationFailure]):
    """A photo's place on each panel by that panel's own points, worked out when asked for.

    Where the photo has a camera, most of them never are.

    Parameters
    ----------
    photo : Photo
        The photo.
    sightings : sequence of Sighting
        Its own.
    lens : Lens
        Its lens.
    settings : Settings
        For the standard error of a click.
    template : BodyTemplate
        The body.
    """

    def __init__(
        self, photo: Photo, sightings: Sequence[Sighting], lens: Lens, settings: Settings, template: BodyTemplate
    ) -> None:
        self._of = photo, tuple(sightings), lens, settings, template
        self._panels = {panel.id: panel for panel in tried_panels(photo, sightings, template)}
        self._found: dict[PanelId, Registration | RegistrationFailure] = {}

    def __getitem__(self, panel: PanelId) -> Registration | RegistrationFailure:
        """Place the photo on a panel.

        Raises
        ------
        KeyError
            If the panel was not tried.
        """
        if panel not in self._found:
            photo, sightings, lens, settings, template = self._of
            self._found[panel] = place_photo(photo, self._panels[panel], sightings, lens, settings, template)
        return self._found[panel]

    def __contains__(self, panel: object) -> bool:
        """Whether a panel was tried; nothing is worked out."""
        return panel in self._panels

    def __iter__(self) -> Iterator[PanelId]:
        """Panels that were tried, in the template's order."""
        return iter(self._panels)

    def __len__(self) -> int:
        """How many."""
        return len(self._panels)


def place_photo(  # noqa: PLR0913, PLR0917 - the contract between modules
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
        rms_px=root_mean_square(fit.residual_px),
        rms_mm=root_mean_square(residual_mm),
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

    Estimating the lens together with the eight parameters leaves the two sources
    below independent: the part of its error that comes from these clicks lies at
    right angles to everything the eight parameters can follow.
    """
    clicks = ErrorSource(
        clicks_label(sighted.photo.id, sighted.panel.id),
        np.asarray(sigma_px**2 * np.linalg.inv(fit.jacobian.T @ fit.jacobian), dtype=np.float64),
    )
    lens = ErrorSource(lens_label(fit.lens, sighted.photo.id), fit.lens.covariance)
    by_parameter = fit.px_to_mm_by_parameter()
    followed = -least_squares(fit.jacobian, fit.by_lens)
    return clicks, lens, {clicks.label: by_parameter, lens.label: by_parameter @ followed}
