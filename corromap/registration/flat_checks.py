"""What a camera from one plane has to pass before it is used."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from corromap.frames import PanelId
from corromap.registration.cameras import PlacedCamera
from corromap.registration.network.hits import first_panels
from corromap.registration.result import FailureReason, Registration, RegistrationFailure
from corromap.template import BodyTemplate

__all__ = ["may_be_used"]

SAME_PLACE_MM, LEAST_SHOWN = 5.0, 0.25
"""Ours: so large a share of its points the camera has to see with nothing before them."""


def may_be_used(
    camera: PlacedCamera, told: Mapping[PanelId, Registration | RegistrationFailure], template: BodyTemplate
) -> bool:
    """Tell whether a camera from one plane may be used.

    Parameters
    ----------
    camera : PlacedCamera
        From points of one plane.
    told : mapping of PanelId to Registration or RegistrationFailure
        What the panels' own fits say of the same points.
    template : BodyTemplate
        The body.

    Returns
    -------
    bool
        The plane's own fit has to pass every look at its points, but for a poor
        fit where the camera says which click is to blame; and enough of the
        points have to be what the camera sees first on their lines of sight.
    """
    failed = {answer.reason for answer in told.values() if isinstance(answer, RegistrationFailure)}
    if not camera.found.bad and FailureReason.POOR_FIT in failed:
        return False
    placed = any(isinstance(answer, Registration) for answer in told.values())
    if not failed <= {FailureReason.TOO_FEW, FailureReason.POOR_FIT} or not (placed or camera.found.bad):
        return False
    fit = camera.found.fit
    index, at_mm = first_panels(fit.pose, camera.lens, fit.problem.clicked_px - fit.residual_px, template)
    hit = np.full_like(fit.problem.car_mm, np.inf)
    for i in np.flatnonzero(index >= 0):
        hit[i] = template.panels[index[i]].place.to_car(at_mm[i])[0]
    shown = np.linalg.norm(hit - fit.problem.car_mm, axis=1) < SAME_PLACE_MM
    return bool(shown.mean() >= LEAST_SHOWN)
