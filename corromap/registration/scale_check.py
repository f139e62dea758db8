"""A bar or board of known size in a photo, held against the template: an independent scale.

It changes no figure. What it says is compared with what the template, or the
lengths taken on the car, say at its place; when they disagree by more than
their uncertainty the person is told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from corromap.control import ScaleSighting
from corromap.frames import PanelId, PhotoId, ScaleId
from corromap.messages import message
from corromap.registration.result import Registration, RegistrationFailure
from corromap.survey import Survey
from corromap.template import BodyTemplate, Panel
from corromap.uncertainty import COVERAGE_FACTOR

__all__ = ["ScaleCheck", "check_scales"]


@dataclass(frozen=True, slots=True)
class ScaleCheck:
    """What a scale in a photo says.

    Parameters
    ----------
    scale : ScaleId
        The scale.
    photo, panel : PhotoId, PanelId
        Where it lies.
    ratio : float or None
        Its true size over its size as the photo is placed; None when the photo
        is not placed on the panel.
    sigma : float or None
        Standard uncertainty of the ratio, clicks and the placing included.
    expected_sigma : float
        Standard uncertainty of what it is held against, which is 1.
    agrees : bool
        False when they differ by more than their 95 % interval.
    sentence : str
        For the person.
    """

    scale: ScaleId
    photo: PhotoId
    panel: PanelId
    ratio: float | None
    sigma: float | None
    expected_sigma: float
    agrees: bool
    sentence: str


def check_scales(
    survey: Survey,
    template: BodyTemplate,
    registrations: Mapping[tuple[PhotoId, PanelId], Registration | RegistrationFailure],
) -> tuple[ScaleCheck, ...]:
    """Hold every scale of a survey against the template.

    Parameters
    ----------
    survey : Survey
        For its scales and the error of a click.
    template : BodyTemplate
        The body, stretched to the lengths taken on the car.
    registrations : mapping
        From `place_photos`.

    Returns
    -------
    tuple of ScaleCheck
        One a scale, in the survey's order.
    """
    panels = {panel.id for panel in template.panels}
    return tuple(
        _check(one, survey, template, registrations.get((one.photo, one.panel)))
        for one in survey.scales
        if one.panel in panels
    )


def _check(
    scale: ScaleSighting, survey: Survey, template: BodyTemplate, placed: Registration | RegistrationFailure | None
) -> ScaleCheck:
    panel, name = template.panel(scale.panel), survey.photo_by_id[scale.photo].name
    expected = _expected_sigma(panel, template)
    if not isinstance(placed, Registration) or not np.isfinite(placed.to_mm(scale.at_px)[0]).all():
        text = message(
            "The scale on photo '{photo}' says nothing yet: the photo has no place on '{panel}'.",
            photo=name,
            panel=panel.name,
        )
        return ScaleCheck(scale.id, scale.photo, scale.panel, None, None, expected, agrees=True, sentence=text)
    ratio, sigma = _ratio(scale, placed, survey.settings.click_sigma_px)
    together = COVERAGE_FACTOR * float(np.hypot(sigma, expected))
    agrees = abs(ratio - 1.0) <= together
    values = {
        "photo": name,
        "panel": panel.name,
        "percent": 100 * abs(ratio - 1.0),
        "way": message("larger") if ratio > 1 else message("smaller"),
        "within": 100 * together,
        "by": message("the lengths measured on the car") if template.fit else message("the template"),
    }
    if agrees:
        text = message(
            "The scale on photo '{photo}' makes '{panel}' {percent:.1f} % {way} than {by}: they agree within their "
            "uncertainty (± {within:.1f} %).",
            **values,
        )
    else:
        text = message(
            "The scale on photo '{photo}' makes '{panel}' {percent:.1f} % {way} than {by}, more than their uncertainty "
            "explains (± {within:.1f} %). Check that it lay flat on the panel, that its size is right and that the "
            "datum points are; measure a length on the car again. Areas are those by {by}.",
            **values,
        )
    return ScaleCheck(scale.id, scale.photo, scale.panel, ratio, sigma, expected, agrees, text)


def _ratio(scale: ScaleSighting, placed: Registration, click_sigma_px: float) -> tuple[float, float]:
    """Divide true size by placed size, and find its standard uncertainty to first order."""
    at = placed.to_mm(scale.at_px)[0]
    true = scale.at_mm - scale.at_mm.mean(axis=0)
    seen = at - at.mean(axis=0)
    size = float(np.sqrt((true**2).sum() / (seen**2).sum()))
    # d ratio / d seen point: the mean is taken off already
    by_place = -size * seen / (seen**2).sum()
    variance = 0.0
    moved = placed.sensitivities(scale.at_px)
    for source in placed.sources:
        by = np.einsum("ni,nip->p", by_place, moved[source.label])
        variance += float(by @ source.covariance @ by)
    by_click = np.einsum("ni,nij->nj", by_place, placed.jacobian(scale.at_px))
    variance += click_sigma_px**2 * float((by_click**2).sum())
    variance += (size * scale.sigma_mm) ** 2 / float((true**2).sum())
    return size, float(np.sqrt(variance))


def _expected_sigma(panel: Panel, template: BodyTemplate) -> float:
    """Uncertainty of a length on the panel, its two directions counting alike."""
    if template.fit is None:
        return template.scale_sigma
    by_factor = (panel.place.u_axis**2 + panel.place.v_axis**2) / 2.0
    return float(np.sqrt(by_factor @ template.fit.covariance @ by_factor))
