"""What projection yields: marks on panels, what became of each, what was seen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from shapely.geometry import MultiPolygon

from corromap.frames import FloatArray, MarkId, PanelId, PhotoId
from corromap.survey import Mark

__all__ = ["MarkFate", "MovingEdges", "PhotoProjection", "ProjectedMark", "Projection", "SeenArea"]


@dataclass(frozen=True, eq=False)
class MovingEdges:
    """The part of a projected mark's boundary that moves when an error moves.

    An edge cut along the panel's own edge is not among them: it stays where it
    is, whatever the clicks were.

    Parameters
    ----------
    from_mm, to_mm : ndarray of float64, shape (E, 2)
        Ends of each edge on the panel; the mark lies on the left of the way
        from one to the other, in a frame with u right and v up.
    flux_mm2 : mapping of str to ndarray of float64, shape (E, P)
        Area swept outwards by each edge per unit of each error source.
    """

    from_mm: FloatArray
    to_mm: FloatArray
    flux_mm2: Mapping[str, FloatArray]

    @cached_property
    def length_mm(self) -> FloatArray:
        """Length of each edge, shape (E,)."""
        return np.asarray(np.hypot(*(self.to_mm - self.from_mm).T), dtype=np.float64)

    @cached_property
    def total_flux_mm2(self) -> Mapping[str, FloatArray]:
        """Area swept by all edges together: the gradient of the whole mark's area."""
        return {label: flux.sum(axis=0) for label, flux in self.flux_mm2.items()}


@dataclass(frozen=True, slots=True, eq=False)
class ProjectedMark:
    """A mark carried to one panel.

    Parameters
    ----------
    mark : Mark
        The mark.
    panel : PanelId
        The panel.
    area : shapely.MultiPolygon
        In that panel's millimetres; clipped to the photo, the horizon, the
        panel's outline and to panels that stand in front.
    extrapolated_share : float
        Share of `area` outside the hull of the sightings: placed with less
        certainty than the residuals say.
    was_repaired : bool
        Whether the outline as drawn crossed itself or had a stray hole.
    edges : MovingEdges
        What moves, and how far, for the intervals.
    """

    mark: Mark
    panel: PanelId
    area: MultiPolygon
    extrapolated_share: float
    was_repaired: bool
    edges: MovingEdges


@dataclass(frozen=True, slots=True)
class MarkFate:
    """What became of a mark: no part of it is lost without being named.

    The four shares sum to 1. The first is of the outline's area in photo
    pixels; the others divide the rest by area in pixels with the lens taken
    out.

    Parameters
    ----------
    mark : MarkId
        The mark.
    placed_share : float
        Lies on some panel.
    lost_horizon_share : float
        Beyond the horizon of every panel it could lie on.
    lost_edge_share : float
        Off every panel, behind another panel, or on a photo without a place;
        1 for an outline that encloses nothing.
    message : str
        A sentence for the person; empty when all of it was placed.
    lost_frame_share : float
        Drawn off the photo.
    """

    mark: MarkId
    placed_share: float
    lost_horizon_share: float
    lost_edge_share: float
    message: str
    lost_frame_share: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class SeenArea:
    """What one photo shows of one panel well enough to judge.

    Parameters
    ----------
    photo : PhotoId
        The photo.
    panel : PanelId
        The panel.
    area : shapely.MultiPolygon
        In panel millimetres: in the frame, short of the horizon, not coarser
        than the settings allow, not behind another panel.
    hidden : shapely.MultiPolygon
        The part of `area` under the photo's own hidden marks, or, where other
        photos drew the same cover, what they agree on (`projection.covers`).
    """

    photo: PhotoId
    panel: PanelId
    area: MultiPolygon
    hidden: MultiPolygon


@dataclass(frozen=True, slots=True, eq=False)
class PhotoProjection:
    """One photo's share of a `Projection`: unchanged as long as its inputs are.

    Parameters
    ----------
    photo : PhotoId
        The photo.
    marks, fates, seen : tuple
        As in `Projection`.
    """

    photo: PhotoId
    marks: tuple[ProjectedMark, ...]
    fates: tuple[MarkFate, ...]
    seen: tuple[SeenArea, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Projection:
    """Everything the photos say, on the panels.

    Parameters
    ----------
    marks : tuple of ProjectedMark
        One for each mark and panel it has area on.
    fates : tuple of MarkFate
        One for each mark of the survey, placed or not.
    seen : tuple of SeenArea
        One for each photo and panel it is placed on.
    withdrawn : tuple of ProjectedMark
        Marks that a person settled as not there: kept for the record, left
        out of `marks` and of every figure.
    """

    marks: tuple[ProjectedMark, ...]
    fates: tuple[MarkFate, ...]
    seen: tuple[SeenArea, ...]
    withdrawn: tuple[ProjectedMark, ...] = ()
