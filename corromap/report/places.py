"""Findings as places: marks of one kind that lie on each other, from whichever photos, are one."""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from corromap.evaluation import Evaluation
from corromap.frames import MarkId, PanelId, ZoneId
from corromap.projection import ProjectedMark
from corromap.registration import Registration
from corromap.survey import Mark, MarkKind, RustStage

__all__ = ["FoundPlace", "found_places"]

SHOWN_KINDS = (MarkKind.RUST, MarkKind.FILLER, MarkKind.PATCH)
STAGES = (RustStage.HOLED, RustStage.SCALED, RustStage.SURFACE, None)
LEAST_ZONE_MM2 = 25.0
"""A zone on which less of a place lies is not named with it."""


@dataclass(frozen=True, slots=True, eq=False)
class FoundPlace:
    """One place on the body that is marked.

    Parameters
    ----------
    marks : tuple of Mark
        All marks of the kind that lie on it, the one with the finest picture
        first; on its photo the place is shown.
    worst : Mark
        The mark of the worst stage.
    areas : dict of PanelId to shapely geometry
        Union of the marks on each panel, mm.
    zones : tuple of ZoneId
        Zones it lies in, in the template's order.
    """

    marks: tuple[Mark, ...]
    worst: Mark
    areas: dict[PanelId, BaseGeometry]
    zones: tuple[ZoneId, ...]

    @property
    def area_mm2(self) -> float:
        """Ground of the union."""
        return float(sum(area.area for area in self.areas.values()))


def found_places(evaluation: Evaluation) -> tuple[FoundPlace, ...]:
    """Group the marks of a survey into places.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.

    Returns
    -------
    tuple of FoundPlace
        Rust before filler before patches, holes before scale before surface,
        then the largest first. Marks that reached no panel are in none.
    """
    placed = [p for p in evaluation.projection.marks if p.mark.kind in SHOWN_KINDS and not p.area.is_empty]
    places = [_place(evaluation, group) for group in _groups(placed)]
    places.sort(key=lambda place: (*_rank(place.worst), -place.area_mm2))
    return tuple(places)


def _rank(mark: Mark) -> tuple[int, int]:
    return SHOWN_KINDS.index(mark.kind), STAGES.index(mark.stage)


def _groups(placed: list[ProjectedMark]) -> list[list[ProjectedMark]]:
    """Join what is one mark on two panels and what touches on one, within each kind."""
    leader = list(range(len(placed)))

    def root(index: int) -> int:
        while leader[index] != index:
            leader[index] = leader[leader[index]]
            index = leader[index]
        return index

    first: dict[MarkId, int] = {}
    for index, projected in enumerate(placed):
        leader[root(index)] = root(first.setdefault(projected.mark.id, index))
    by_ground: dict[tuple[PanelId, MarkKind], list[int]] = {}
    for index, projected in enumerate(placed):
        by_ground.setdefault((projected.panel, projected.mark.kind), []).append(index)
    for members in by_ground.values():
        areas = [placed[index].area for index in members]
        tree = shapely.STRtree(areas)
        for a, b in tree.query(areas, predicate="intersects").T:
            leader[root(members[a])] = root(members[b])
    groups: dict[int, list[ProjectedMark]] = {}
    for index, projected in enumerate(placed):
        groups.setdefault(root(index), []).append(projected)
    return list(groups.values())


def _place(evaluation: Evaluation, group: list[ProjectedMark]) -> FoundPlace:
    marks = list({projected.mark.id: projected.mark for projected in group}.values())
    areas: dict[PanelId, BaseGeometry] = {
        panel: shapely.union_all([p.area for p in group if p.panel == panel])
        for panel in dict.fromkeys(p.panel for p in group)
    }
    fineness = {p.mark.id: 0.0 for p in group}
    for projected in group:
        found = evaluation.registrations.get((projected.mark.photo, projected.panel))
        if isinstance(found, Registration):
            pixels = projected.mark.outline.repaired().area
            fineness[projected.mark.id] = max(fineness[projected.mark.id], pixels / max(projected.area.area, 1.0))
    worst = min(marks, key=_rank)
    # of equally bad marks, the finest picture; a hole is shown where the hole is marked
    marks.sort(key=lambda mark: (_rank(mark) != _rank(worst), -fineness[mark.id]))
    zones = [
        zone.id
        for zone in evaluation.template.zones
        if zone.panel in areas and areas[zone.panel].intersection(zone.outline.polygon).area >= LEAST_ZONE_MM2
    ]
    return FoundPlace(tuple(marks), worst, areas, tuple(zones))
