"""One photo of a network with its sightings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corromap.frames import DatumId, FloatArray, PanelId
from corromap.registration.lens import Lens
from corromap.survey import Photo, Sighting
from corromap.template import BodyTemplate

__all__ = ["View", "counted", "view_of"]


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One photo of the network.

    Parameters
    ----------
    photo : Photo
        The photo.
    lens : Lens
        As known beforehand.
    group : int
        Photos of one camera share lens and focal length.
    ids : tuple of DatumId
        What was clicked.
    clicked_px : ndarray of float64, shape (K, 2)
        Where.
    datum_mm : ndarray of float64, shape (K, 3)
        Where the template has it, car frame.
    weight : ndarray of float64, shape (K,)
        Square of the click error over that of this sighting, at most 1.
    home : ndarray of int64, shape (K,)
        Panel of each point, its position in `NetworkProblem.panels`.
    """

    photo: Photo
    lens: Lens
    group: int
    ids: tuple[DatumId, ...]
    clicked_px: FloatArray
    datum_mm: FloatArray
    weight: FloatArray
    home: NDArray[np.int64]


def counted(sightings: Iterable[Sighting], weights: Mapping[DatumId, float]) -> dict[Sighting, float]:
    """Tell which sightings of a photo count, and for how much.

    Parameters
    ----------
    sightings : iterable of Sighting
        Of the photo, on points that the template knows.
    weights : mapping of DatumId to float
        Those the photo's own camera uses; empty when it has none, then all count in full.

    Returns
    -------
    dict of Sighting to float
        Square of the click error over that of the sighting.
    """
    return {s: weights.get(s.datum, 1.0) for s in sightings if not weights or s.datum in weights}


def view_of(  # noqa: PLR0913, PLR0917 - what a view is made of
    photo: Photo,
    lens: Lens,
    group: int,
    sightings: Mapping[Sighting, float],
    homes: Mapping[PanelId, int],
    template: BodyTemplate,
) -> View:
    """Make a view from a photo's sightings.

    Parameters
    ----------
    photo : Photo
        The photo.
    lens : Lens
        As known beforehand.
    group : int
        Of its camera.
    sightings : mapping of Sighting to float
        What each counts for.
    homes : mapping of PanelId to int
        Positions of panels in the network.
    template : BodyTemplate
        For the datum points.

    Returns
    -------
    View
        With all of them.
    """
    places = [template.datum_points[s.datum] for s in sightings]
    px = np.array([s.at_px for s in sightings], dtype=np.float64).reshape(-1, 2)
    car = np.array([panel.place.to_car(point.at_mm)[0] for panel, point in places]).reshape(-1, 3)
    home = np.array([homes[panel.id] for panel, _ in places], dtype=np.int64)
    weight = np.array(list(sightings.values()), dtype=np.float64)
    return View(photo, lens, group, tuple(s.datum for s in sightings), px, car, weight, home)
