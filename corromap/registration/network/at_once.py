"""A linked photo placed at once after a click on it, before all photos are adjusted again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from corromap.frames import DatumId
from corromap.registration.by_camera import hull_of
from corromap.registration.network.linked import LinkedCamera, adjusted_lens, lenses_by_group, shared_errors
from corromap.registration.network.solve import adjust_one
from corromap.registration.network.view import counted, view_of
from corromap.survey import Sighting
from corromap.template import BodyTemplate

__all__ = ["linked_at_once"]


def linked_at_once(
    camera: LinkedCamera, sightings: Sequence[Sighting], weights: Mapping[DatumId, float], template: BodyTemplate
) -> LinkedCamera | None:
    """Take a photo's sightings as they are now into a network adjusted before.

    Parameters
    ----------
    camera : LinkedCamera
        The photo's camera as adjusted before.
    sightings : sequence of Sighting
        All of the photo, as they are now.
    weights : mapping of DatumId to float
        What the photo's own camera uses; empty when it has none.
    template : BodyTemplate
        The body.

    Returns
    -------
    LinkedCamera or None
        All of its error is the photo's own, so that it is good for this photo alone. None when a point lies on a panel
        that the network does not know.
    """
    before, known = camera.view, template.datum_points
    homes = {panel.id: i for i, panel in enumerate(camera.network.problem.panels)}
    used = counted((s for s in sightings if s.datum in known), weights)
    if any(known[s.datum][0].id not in homes for s in used):
        return None
    view = view_of(before.photo, before.lens, before.group, used, homes, template)
    moved = adjust_one(camera.network, camera.index, view)
    return replace(
        camera,
        network=moved,
        errors=shared_errors(moved, camera.errors.label, most=0),
        lenses=lenses_by_group(moved),
        lens=adjusted_lens(moved, view),
        missed_px=moved.missed_px(camera.index),
        hull_px=hull_of(np.vstack([view.clicked_px, camera.tied_px])),
        warnings=(),
    )
