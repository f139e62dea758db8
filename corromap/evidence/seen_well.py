"""What was seen of each zone, and how well: the photos asked cell by cell."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from corromap.evidence.detail import FIVE_MM_HOLE, SmallestSeen, look_at, well_enough
from corromap.evidence.grid import PanelGrid, grid_of
from corromap.evidence.quality import QualityMap
from corromap.frames import FloatArray, PanelId, PhotoId, ZoneId
from corromap.projection import Projection, Registrations, SeenArea
from corromap.registration.result import Registration
from corromap.template import BodyTemplate, Panel

__all__ = [
    "PanelEvidence",
    "PhotoCells",
    "Showing",
    "ZoneEvidence",
    "cells_of",
    "panel_evidence",
    "photo_cells",
    "zone_evidence",
    "zones_from_cells",
]

STEP_MM = 10.0
JUDGED_FIRST = 1e6
"""What cannot be judged there ranks this much behind whatever can."""


@dataclass(frozen=True, slots=True, eq=False)
class Showing:
    """What the photos of a survey show.

    Parameters
    ----------
    projection : Projection
        What each photo shows and hides.
    registrations : mapping of (PhotoId, PanelId) to Registration or RegistrationFailure
        From `corromap.registration.place_photos`.
    quality : mapping of PhotoId to QualityMap
        Photos that were judged; others count as sharp and well lit.
    """

    projection: Projection
    registrations: Registrations
    quality: Mapping[PhotoId, QualityMap] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class PhotoCells:
    """What one photo shows of the cells of one panel, whatever is marked on it.

    Parameters
    ----------
    shown : ndarray of bool, shape (N,)
        In the photo's seen area.
    good : ndarray of bool, shape (N,)
        ... and well enough for the smallest thing.
    mm_per_px, angle_deg : ndarray of float32, shape (N,)
        Detail and angle; NaN where not shown.
    """

    shown: NDArray[np.bool_]
    good: NDArray[np.bool_]
    mm_per_px: NDArray[np.float32]
    angle_deg: NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class PanelEvidence:
    """What all photos together show of the cells of one panel.

    Parameters
    ----------
    grid : PanelGrid
        The cells.
    shown, unhidden, well : ndarray of bool, shape (N,)
        In some photo; in some photo and not under its hidden marks; seen well
        enough by some photo.
    best_mm_per_px, best_angle_deg : ndarray of float64, shape (N,)
        Of the photo with the finest usable detail there; NaN where none.
    best_photo : ndarray of int, shape (N,)
        Index into `photos`; -1 where none.
    photos : tuple of PhotoId
        Photos that show something of the panel.
    """

    grid: PanelGrid
    shown: NDArray[np.bool_]
    unhidden: NDArray[np.bool_]
    well: NDArray[np.bool_]
    best_mm_per_px: FloatArray
    best_angle_deg: FloatArray
    best_photo: NDArray[np.intp]
    photos: tuple[PhotoId, ...]


@dataclass(frozen=True, slots=True)
class ZoneEvidence:
    """How well one zone was shown.

    Parameters
    ----------
    zone : ZoneId
        The zone.
    well_share : float
        Seen well enough for the smallest thing.
    seen_share : float
        Shown and not hidden, well enough or not.
    hidden_share : float
        Shown, but under a hidden mark in every photo that shows it.
    never_share : float
        Shown by none; with the two before it sums to 1.
    median_mm_per_px, median_angle_deg : float
        Over the cells seen; NaN if there is none.
    """

    zone: ZoneId
    well_share: float
    seen_share: float
    hidden_share: float
    never_share: float
    median_mm_per_px: float
    median_angle_deg: float

    @property
    def well_of_seen(self) -> float:
        """Share of what was seen that was seen well enough; 0 where no cell was seen: the careful side."""
        return self.well_share / self.seen_share if self.seen_share > 0 else 0.0


def photo_cells(
    grid: PanelGrid, seen: SeenArea, registration: Registration, quality: QualityMap | None, smallest: SmallestSeen
) -> PhotoCells:
    """Ask one photo about the cells of one panel.

    Parameters
    ----------
    grid : PanelGrid
        The cells.
    seen : SeenArea
        What the photo shows of the panel; its hidden marks are not asked for.
    registration : Registration
        The photo's place on the panel.
    quality : QualityMap or None
        Of the photo; None when it was not examined.
    smallest : SmallestSeen
        What has to be seen.

    Returns
    -------
    PhotoCells
        By cell; stays the same whatever is marked.
    """
    shown = grid.inside(seen.area)
    good = np.zeros(len(shown), dtype=bool)
    detail, angle = (np.full(len(shown), np.nan, dtype=np.float32) for _ in range(2))
    if shown.any():
        look = look_at(registration, grid.uv_mm[shown])
        good[shown] = well_enough(look, quality, smallest)
        detail[shown], angle[shown] = look.mm_per_px, look.angle_deg
    return PhotoCells(shown, good, detail, angle)


def panel_evidence(grid: PanelGrid, showing: Showing, smallest: SmallestSeen = FIVE_MM_HOLE) -> PanelEvidence:
    """Ask of every cell of a panel what the photos show of it.

    Parameters
    ----------
    grid : PanelGrid
        The cells.
    showing : Showing
        What the photos show.
    smallest : SmallestSeen
        What has to be seen.

    Returns
    -------
    PanelEvidence
        By cell.
    """
    return _joined(grid, [(seen, cells) for seen, cells in _asked(grid, showing, smallest)])


def _asked(grid: PanelGrid, showing: Showing, smallest: SmallestSeen) -> Iterable[tuple[SeenArea, PhotoCells]]:
    for seen in showing.projection.seen:
        registration = showing.registrations.get((seen.photo, seen.panel))
        if seen.panel == grid.panel.id and not seen.area.is_empty and isinstance(registration, Registration):
            yield seen, photo_cells(grid, seen, registration, showing.quality.get(seen.photo), smallest)


def _joined(grid: PanelGrid, asked: Sequence[tuple[SeenArea, PhotoCells]]) -> PanelEvidence:
    count = len(grid.uv_mm)
    shown, unhidden, well = (np.zeros(count, dtype=bool) for _ in range(3))
    best, angle = np.full(count, np.inf), np.full(count, np.nan)
    photo = np.full(count, -1, dtype=np.intp)
    for index, (seen, cells) in enumerate(asked):
        clear = cells.shown & ~grid.inside(seen.hidden)
        good = clear & cells.good
        rank = np.where(clear, cells.mm_per_px * np.where(good, 1.0, JUDGED_FIRST), np.inf)
        better = np.nan_to_num(rank, nan=np.inf) < best
        best[better], angle[better], photo[better] = rank[better], cells.angle_deg[better], index
        shown, unhidden, well = shown | cells.shown, unhidden | clear, well | good
    best = np.where(best >= JUDGED_FIRST / 10, best / JUDGED_FIRST, best)
    return PanelEvidence(
        grid, shown, unhidden, well, np.where(np.isfinite(best), best, np.nan), angle, photo,
        tuple(seen.photo for seen, _ in asked),
    )  # fmt: skip


def zone_evidence(
    template: BodyTemplate,
    showing: Showing,
    smallest: SmallestSeen = FIVE_MM_HOLE,
    step_mm: float = STEP_MM,
) -> tuple[ZoneEvidence, ...]:
    """Say for every zone how well it was shown.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    showing : Showing
        What the photos show.
    smallest : SmallestSeen
        What has to be seen.
    step_mm : float
        Side of a cell.

    Returns
    -------
    tuple of ZoneEvidence
        In the order of ``template.zones``.
    """
    asked = {
        (seen.photo, seen.panel): cells
        for panel in template.panels
        for seen, cells in _asked(cells_of(panel, step_mm), showing, smallest)
    }
    return zones_from_cells(template, showing.projection.seen, asked, step_mm)


@lru_cache(maxsize=256)
def cells_of(panel: Panel, step_mm: float = STEP_MM) -> PanelGrid:
    """Cut a panel into cells once.

    Parameters
    ----------
    panel : Panel
        The panel, compared by identity.
    step_mm : float
        Side of a cell.

    Returns
    -------
    PanelGrid
        As from `corromap.evidence.grid.grid_of`.
    """
    return grid_of(panel, step_mm)


def zones_from_cells(
    template: BodyTemplate,
    seen: Sequence[SeenArea],
    asked: Mapping[tuple[PhotoId, PanelId], PhotoCells],
    step_mm: float = STEP_MM,
) -> tuple[ZoneEvidence, ...]:
    """Put together what each photo was asked before.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    seen : sequence of SeenArea
        What each photo shows, and hides by now.
    asked : mapping of (PhotoId, PanelId) to PhotoCells
        From `photo_cells` on `cells_of` the panel; a photo that is not in it
        shows nothing.
    step_mm : float
        Side of a cell.

    Returns
    -------
    tuple of ZoneEvidence
        In the order of ``template.zones``.
    """
    found: dict[ZoneId, ZoneEvidence] = {}
    for panel in template.panels:
        here = [(s, asked[s.photo, s.panel]) for s in seen if s.panel == panel.id and (s.photo, s.panel) in asked]
        if here:
            found |= {z.zone: z for z in _by_zone(_joined(cells_of(panel, step_mm), here))}
    nan = float("nan")
    return tuple(found.get(z.id, ZoneEvidence(z.id, 0.0, 0.0, 0.0, 1.0, nan, nan)) for z in template.zones)


def _by_zone(evidence: PanelEvidence) -> Sequence[ZoneEvidence]:
    rows = []
    for index, zone in enumerate(evidence.grid.panel.zones):
        here = evidence.grid.zone == index
        if not here.any():
            continue  # smaller than a cell: it stays never seen, the careful side
        seen = evidence.unhidden[here]
        best, angle = evidence.best_mm_per_px[here][seen], evidence.best_angle_deg[here][seen]
        rows.append(
            ZoneEvidence(
                zone=zone.id,
                well_share=float(evidence.well[here].mean()),
                seen_share=float(seen.mean()),
                hidden_share=float((evidence.shown[here] & ~seen).mean()),
                never_share=float(1.0 - evidence.shown[here].mean()),
                median_mm_per_px=float(np.median(best)) if seen.any() else float("nan"),
                median_angle_deg=float(np.median(angle)) if seen.any() else float("nan"),
            )
        )
    return rows
