"""How patches lie and are held: over seams, on rust, along a sill, round a mounting.

Every count is the largest number of marks no two of which touch
(`corromap.measures.touching.most_separate`), so that one patch on several
photos counts once and no count falls when a mark is added.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.by_hand import HandFinding, HandKind
from corromap.frames import MarkId, MountingId, PanelId, ZoneId
from corromap.measures.ground import Ground
from corromap.measures.hand import zone_of
from corromap.measures.layers import LAYERS, kind_layer, stage_layer
from corromap.measures.layout import SCALE_LABEL
from corromap.measures.result import Figure, MountingDistance
from corromap.measures.structure import Counted, Patchwork, SillPatches, Span
from corromap.measures.totals import Totals
from corromap.measures.touching import TOUCHING_MM, most_separate
from corromap.survey import MarkKind, PatchFixing, RustStage, Survey
from corromap.template import BodyTemplate, Part, Side
from corromap.uncertainty import COVERAGE_FACTOR, sigma_of

__all__ = ["around_mountings", "patchwork_of", "sill_patches"]

THROUGH_SHARE = 0.05
"""Share of a rust mark that must lie on either side of a patch's edge for it to go through; ours."""

_LAYER = {layer.name: i for i, layer in enumerate(LAYERS)}
_PATCH, _HOLED = _LAYER[kind_layer(MarkKind.PATCH)], _LAYER[stage_layer(RustStage.HOLED)]

_STATED = frozenset(PatchFixing) - {PatchFixing.UNKNOWN}
_NOT_SEAM = _STATED - {PatchFixing.SEAM}
_NOT_WELDED = frozenset({PatchFixing.BRAZED, PatchFixing.BONDED, PatchFixing.RIVETED})

Node = MarkId | tuple[str, str]
"""A mark, or a pierced point as (``probe``, id)."""


@dataclass(frozen=True, eq=False)
class _RustyEdge:
    """Where rust meets the edge of one patch."""

    patch: MarkId
    zone: int
    length_mm: float
    goes_through: bool


def patchwork_of(
    grounds: Sequence[Ground],
    totals: Totals,
    figures: Mapping[str, tuple[NDArray[np.intp], Figure]],
    survey: Survey,
    template: BodyTemplate,
) -> Mapping[str, Patchwork]:
    """Find how patches lie and are held, by zone and by group.

    Parameters
    ----------
    grounds : sequence of Ground
        Panels with marks.
    totals : Totals
        Of the same marks.
    figures : mapping of str to (ndarray of int, Figure)
        For each zone and group, by id: its zones by index, and the figure of
        its patches.
    survey : Survey
        Points a probe went through count as holes.
    template : BodyTemplate
        The body.

    Returns
    -------
    mapping of str to Patchwork
        Those with anything to tell.
    """
    row = {zone.id: i for i, zone in enumerate(template.zones)}
    fixing = {m.mark.id: m.mark.fixing for ground in grounds for m in ground.marks}
    edges = [edge for ground in grounds for edge in _rusty_edges(ground, row)]
    patches = _marks_by_zone(totals, _PATCH)
    count = patches_over(patches)
    holes = _Holes(grounds, totals, survey.hand_findings, template)
    found: dict[str, Patchwork] = {}
    for place, (zones, figure) in figures.items():
        members = set(zones.tolist())
        here = [edge for edge in edges if edge.zone in members]
        marks = _in(patches, members)
        holed = holes.counted(members)
        if not (here or marks or holed.count):
            continue
        stated = {mark: fixing[mark] for mark in marks}
        found[place] = Patchwork(
            place,
            on_seam=_counted((m for m in marks if count[m] > 1), totals),
            rust_at_edge=_counted({edge.patch for edge in here}, totals),
            rust_through_edge=_counted({edge.patch for edge in here if edge.goes_through}, totals),
            rusted_edge_mm=sum(edge.length_mm for edge in here),
            fixings=tuple(kind for kind in PatchFixing if kind in stated.values() and kind in _STATED),
            not_seam_welded=_counted((m for m, kind in stated.items() if kind in _NOT_SEAM), totals),
            not_welded=_counted((m for m, kind in stated.items() if kind in _NOT_WELDED), totals),
            edge=_edge_span(figure, totals),
            holed=holed,
        )
    return found


def patches_over(patches: Mapping[int, Sequence[MarkId]]) -> dict[MarkId, int]:
    """Count the zones each patch lies in.

    Parameters
    ----------
    patches : mapping of int to sequence of MarkId
        Marks with enough ground in each zone to count there.

    Returns
    -------
    dict of MarkId to int
        More than one: it crosses a seam.
    """
    count: dict[MarkId, int] = {}
    for marks in patches.values():
        for mark in marks:
            count[mark] = count.get(mark, 0) + 1
    return count


def _marks_by_zone(totals: Totals, layer: int) -> dict[int, list[MarkId]]:
    return {
        zone: [mark for mark, counts in marks.items() if counts]
        for (at, zone), marks in totals.marks.items()
        if at == layer
    }


def _in(marks: Mapping[int, Sequence[MarkId]], zones: set[int]) -> list[MarkId]:
    return list(dict.fromkeys(mark for zone, here in marks.items() if zone in zones for mark in here))


def _counted(marks: Iterable[MarkId], totals: Totals) -> Counted:
    chosen = tuple(dict.fromkeys(marks))
    return Counted(most_separate(chosen, totals.touching, totals.memo), chosen)


def _rusty_edges(ground: Ground, row: Mapping[ZoneId, int]) -> list[_RustyEdge]:
    """Where a patch's own edge lies on or at rust; a cut along the panel is not its edge."""
    kinds = np.array([m.mark.kind for m in ground.marks], dtype=object)
    found = []
    for i, j in ground.touching:
        if kinds[i] is not MarkKind.PATCH or kinds[j] is not MarkKind.RUST:
            continue
        own = ground.marks[i].edges
        edge = shapely.MultiLineString(np.stack([own.from_mm, own.to_mm], axis=1).tolist())
        rust = ground.areas[j]
        if not shapely.dwithin(edge, rust, TOUCHING_MM):
            continue
        at_rust = shapely.intersection(edge, shapely.buffer(rust, TOUCHING_MM))
        inside = float(shapely.area(shapely.intersection(rust, ground.areas[i])))
        goes_through = THROUGH_SHARE < inside / max(float(ground.sizes[j]), 1e-9) < 1.0 - THROUGH_SHARE
        for zone in ground.panel.zones:
            part = shapely.intersection(at_rust, zone.outline.polygon)
            if not shapely.is_empty(part):
                length = float(shapely.length(part))
                found.append(_RustyEdge(ground.marks[i].mark.id, row[zone.id], length, bool(goes_through)))
    return found


def _edge_span(figure: Figure, totals: Totals) -> Span:
    """Run of edge with its interval.

    Scaling an outline scales its edge as the root of its area; drawing it
    wider all round by d adds 8 d a piece (exact for a rectangle). Clicks, lens
    and template scale do the first, the drawing hand the second.
    """
    area, edge = figure.area_mm2, figure.perimeter_mm
    if area <= 0 or edge <= 0:
        return Span()
    by_scale, by_hand = edge / (2.0 * area), min(8.0 * figure.pieces / edge, edge / (2.0 * area))
    gradient = {
        label: part * (by_hand if label.startswith("outline:") else by_scale)
        for label, part in figure.gradient.items()
        if label != SCALE_LABEL
    }
    gradient[SCALE_LABEL] = np.array([edge])
    reach = COVERAGE_FACTOR * sigma_of(gradient, totals.layout.sources)
    return Span(edge, max(0.0, edge - reach), edge + reach)


class _Holes:
    """Holed marks and pierced points, counted together: a point inside a mark is that mark's hole."""

    def __init__(
        self, grounds: Sequence[Ground], totals: Totals, findings: Sequence[HandFinding], template: BodyTemplate
    ) -> None:
        self._marks = _marks_by_zone(totals, _HOLED)
        self._probes = [finding for finding in findings if finding.kind is HandKind.PROBE]
        row = {zone.id: i for i, zone in enumerate(template.zones)}
        zones = [zone_of(probe.panel, probe.at_mm.tolist(), template) for probe in self._probes]
        self._zone = [row[zone] if zone is not None else -1 for zone in zones]
        self._near: dict[Node, frozenset[Node]] = {mark: frozenset(near) for mark, near in totals.touching.items()}
        by_panel = {ground.panel.id: ground for ground in grounds}
        for probe in self._probes:
            for mark in self._marks_at(probe, by_panel.get(probe.panel)):
                node: Node = ("probe", probe.id)
                self._near[node] = self._near.get(node, frozenset()) | {mark}
                self._near[mark] = self._near.get(mark, frozenset()) | {node}

    def _marks_at(self, probe: HandFinding, ground: Ground | None) -> list[MarkId]:
        if ground is None:
            return []
        holed = np.array([m.mark.stage is RustStage.HOLED for m in ground.marks], dtype=bool)
        at = shapely.dwithin(ground.areas, shapely.Point(probe.at_mm), TOUCHING_MM) & holed
        return [ground.marks[i].mark.id for i in np.flatnonzero(at)]

    def counted(self, zones: set[int]) -> Counted:
        """Count the holes of some zones."""
        probes = [p for p, at in zip(self._probes, self._zone, strict=True) if at in zones]
        marks = _in(self._marks, zones)
        nodes: list[Node] = [*marks, *(("probe", probe.id) for probe in probes)]
        return Counted(most_separate(nodes, self._near, {}), tuple(marks), tuple(p.id for p in probes))


def sill_patches(totals: Totals, template: BodyTemplate) -> tuple[SillPatches, ...]:
    """Count the patches along each sill.

    Parameters
    ----------
    totals : Totals
        Of the marks.
    template : BodyTemplate
        The body; a sill is every panel of that part on one side.

    Returns
    -------
    tuple of SillPatches
        Left, then right; none for a body without sills.
    """
    patches = _marks_by_zone(totals, _PATCH)
    found = []
    for side in (Side.LEFT, Side.RIGHT):
        panels = [p for p in template.panels if p.part is Part.SILL and p.side is side]
        if not panels:
            continue
        along = np.concatenate([p.place.to_car(p.outline.exterior_mm)[:, 0] for p in panels])
        own = _zones_on({p.id for p in panels}, template)
        marks = dict.fromkeys(mark for zone in own for mark in patches.get(int(zone), ()))
        found.append(SillPatches(side.value, float(np.ptp(along)), _counted(marks, totals)))
    return tuple(found)


def _zones_on(panels: set[PanelId], template: BodyTemplate) -> NDArray[np.intp]:
    return np.flatnonzero([zone.panel in panels for zone in template.zones])


def around_mountings(distances: Sequence[MountingDistance], totals: Totals) -> Mapping[MountingId, Counted]:
    """Count the patches within the prescribed distance of each mounting.

    Parameters
    ----------
    distances : sequence of MountingDistance
        Of every affected mark.
    totals : Totals
        Of the same marks.

    Returns
    -------
    mapping of MountingId to Counted
        Mountings without a patch near are left out.
    """
    near: dict[MountingId, list[MarkId]] = {}
    for distance in distances:
        if distance.kind is MarkKind.PATCH and distance.is_within_prescribed:
            near.setdefault(distance.mounting, []).append(distance.mark)
    return {mounting: _counted(marks, totals) for mounting, marks in near.items()}
