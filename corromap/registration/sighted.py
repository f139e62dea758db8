"""The sightings of one photo on one panel, as arrays."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from corromap.frames import DatumId, FloatArray, PanelId
from corromap.messages import message
from corromap.survey import Photo, Sighting
from corromap.template import BodyTemplate, Panel

__all__ = [
    "LEAST_POINTS",
    "LINE_SHARE",
    "Sighted",
    "datum_positions",
    "extent",
    "line_widths",
    "lone_datums",
    "lone_point",
    "tried_panels",
]

LEAST_POINTS = 4
"""A plane's map has eight degrees of freedom, a click gives two."""

LINE_SHARE = 0.01
"""Ours: points lie on one line when they stray from it by less than this share of
their extent along it (root mean square)."""


@lru_cache(maxsize=512)
def datum_positions(template: BodyTemplate, panel: PanelId) -> Mapping[DatumId, FloatArray]:
    """Datum points of a panel, folds included; remembered for each template.

    Parameters
    ----------
    template : BodyTemplate
        The template, compared by identity.
    panel : PanelId
        The panel.

    Returns
    -------
    mapping of DatumId to ndarray, shape (2,)
        Positions, mm.
    """
    return template.datum_positions(panel)


def extent(xy: FloatArray) -> float:
    """Diagonal of the box around points.

    Parameters
    ----------
    xy : ndarray of float64, shape (N, 2)
        Points, N >= 1.

    Returns
    -------
    float
        In the points' unit.
    """
    return float(np.hypot(*(xy.max(axis=0) - xy.min(axis=0))))


def line_widths(xy: FloatArray) -> tuple[float, float]:
    """Measure points across and along the line that fits them best.

    Parameters
    ----------
    xy : ndarray of float64, shape (N, 2)
        Points, N >= 2.

    Returns
    -------
    across, along : float
        Root mean square distance from the line, and along it from the centroid.
    """
    along, across = np.linalg.svd(xy - xy.mean(axis=0), compute_uv=False) / np.sqrt(len(xy))
    return float(across), float(along)


def lone_point(xy: FloatArray, least_across: float = 0.0) -> int | None:
    """Find a point without which the others lie on one line.

    Parameters
    ----------
    xy : ndarray of float64, shape (N, 2)
        Points, N >= 3.
    least_across : float
        Points that stray less than this from a line lie on it as well.

    Returns
    -------
    int or None
        None when at least two points lie off every line: a plane is fixed.
    """
    count = len(xy) - 1
    centred = xy - xy.mean(axis=0)
    # moments of the others about their own centroid, for every point left out at once
    outer = centred[:, :, None] * centred[:, None, :]
    moments = (outer.sum(axis=0) - outer * (1.0 + 1.0 / count)) / count
    across, along = np.sqrt(np.maximum(np.linalg.eigvalsh(moments), 0.0)).T
    on_line = np.flatnonzero(across < np.maximum(LINE_SHARE * along, least_across))
    return int(on_line[0]) if len(on_line) else None


@lru_cache(maxsize=16)
def lone_datums(template: BodyTemplate) -> frozenset[DatumId]:
    """Datum points that lie on one panel only, on no fold.

    Parameters
    ----------
    template : BodyTemplate
        The template, compared by identity.

    Returns
    -------
    frozenset of DatumId
        Clicking one of them asks for its panel and no other.
    """
    count = Counter(datum for panel in template.panels for datum in datum_positions(template, panel.id))
    return frozenset(datum for datum, panels in count.items() if panels == 1)


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
        positions = datum_positions(template, panel.id)
        kept = [s for s in sightings if s.photo == photo.id and s.datum in positions]
        clicked_px = np.array([s.at_px for s in kept], dtype=np.float64).reshape(-1, 2)
        datum_mm = np.array([positions[s.datum] for s in kept], dtype=np.float64).reshape(-1, 2)
        return cls(photo, panel, tuple(s.datum for s in kept), clicked_px, datum_mm, template)

    def without(self, index: int) -> Sighted:
        """Leave one sighting out.

        Parameters
        ----------
        index : int
            Position in `ids`.

        Returns
        -------
        Sighted
            The others.
        """
        rest = np.arange(len(self.ids)) != index
        ids = self.ids[:index] + self.ids[index + 1 :]
        return Sighted(self.photo, self.panel, ids, self.clicked_px[rest], self.datum_mm[rest], self.template)

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
        panel, datum = self.template.datum_points[self.ids[index]]
        return point_name(panel.name, datum.name)


def tried_panels(photo: Photo, sightings: Iterable[Sighting], template: BodyTemplate) -> tuple[Panel, ...]:
    """Panels worth placing a photo on.

    Parameters
    ----------
    photo : Photo
        The photo.
    sightings : iterable of Sighting
        Of any photo.
    template : BodyTemplate
        The panels.

    Returns
    -------
    tuple of Panel
        Those with a datum point of their own clicked, or with four points in
        all when those on their folds are counted.
    """
    clicked = {s.datum for s in sightings if s.photo == photo.id}
    if not clicked:
        return ()
    return tuple(
        panel
        for panel in template.panels
        if any(datum.id in clicked for datum in panel.datum_points)
        or len(clicked & datum_positions(template, panel.id).keys()) >= LEAST_POINTS
    )


def point_name(panel: str, datum: str) -> str:
    """Name a datum point in quotes, so that its parts can be said in another language.

    Parameters
    ----------
    panel : str
        Name of its panel.
    datum : str
        Its own name, which may begin with the panel's.

    Returns
    -------
    str
        For example ``'Left floor: front drain hole'``.
    """
    rest = datum.removeprefix(f"{panel}: ")
    if rest == datum:
        return message("'{name}'", name=message(datum))
    return message("'{panel}: {point}'", panel=message(panel), point=message(rest))
