"""The sightings of one photo on one panel, as arrays."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from corromap.frames import DatumId, FloatArray
from corromap.registration.homography import PanelFit
from corromap.survey import Photo, Settings, Sighting
from corromap.template import BodyTemplate, Panel

__all__ = ["LEAST_POINTS", "POINTS_FOR_SIGMA", "Sighted", "click_sigma"]

LEAST_POINTS = 4
"""A plane's map has eight degrees of freedom, a click gives two."""

POINTS_FOR_SIGMA = 6
"""Ours: from so many sightings on, four degrees of freedom are left and the
residuals say something of the error of a click."""


@dataclass(frozen=True, slots=True, eq=False)
class Sighted:
    """The sightings of one photo on one panel.

    Parameters
    ----------
    photo : Photo
        The photo.
    panel : Panel
        The panel.
    ids : tuple of DatumId
        What was clicked, in the order given.
    clicked_px : ndarray of float64, shape (N, 2)
        Where, pixels of the photo.
    datum_mm : ndarray of float64, shape (N, 2)
        Where the template has it on the panel.
    template : BodyTemplate
        For the names of the datum points and what else could be clicked.
    """

    photo: Photo
    panel: Panel
    ids: tuple[DatumId, ...]
    clicked_px: FloatArray
    datum_mm: FloatArray
    template: BodyTemplate

    @classmethod
    def collect(cls, photo: Photo, panel: Panel, sightings: Iterable[Sighting], template: BodyTemplate) -> Sighted:
        """Pick the sightings that count for a photo and a panel.

        Parameters
        ----------
        photo : Photo
            The photo.
        panel : Panel
            The panel.
        sightings : iterable of Sighting
            Any; those of other photos and panels are passed over.
        template : BodyTemplate
            For the datum points on the panel, folds included.

        Returns
        -------
        Sighted
            In the order given.
        """
        positions = template.datum_positions(panel.id)
        kept = [s for s in sightings if s.photo == photo.id and s.datum in positions]
        return cls(
            photo,
            panel,
            tuple(s.datum for s in kept),
            np.array([s.at_px for s in kept], dtype=np.float64).reshape(-1, 2),
            np.array([positions[s.datum] for s in kept], dtype=np.float64).reshape(-1, 2),
            template,
        )

    def name(self, index: int) -> str:
        """Name of a sighted datum point, quoted, as on its button.

        Parameters
        ----------
        index : int
            Position in `ids`.

        Returns
        -------
        str
            For example ``'Front jacking hole'``.
        """
        return f"'{self.template.datum_points[self.ids[index]][1].name}'"


def click_sigma(fit: PanelFit, settings: Settings) -> float:
    """Standard error of a click, per axis, that a fit's covariance stands on.

    Parameters
    ----------
    fit : PanelFit
        The fit.
    settings : Settings
        For the error that is always allowed for.

    Returns
    -------
    float
        The setting, or from six sightings on the larger of the setting and
        ``sqrt(sum of squared residuals / (2 N - 8))``, px.
    """
    if len(fit.residual_px) < POINTS_FOR_SIGMA:
        return settings.click_sigma_px
    return max(settings.click_sigma_px, float(np.sqrt(fit.square_sum_px2 / fit.freedom)))
