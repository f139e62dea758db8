"""From measures and projected marks to the repair plan."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import shapely
from shapely.geometry import MultiPolygon

from corromap.by_hand import HandFinding
from corromap.frames import PanelId
from corromap.measures import Figure, Measures, ZoneMeasure
from corromap.projection import ProjectedMark, Projection
from corromap.repair.costing import sheet_needs
from corromap.repair.cutting import CutPolicy, Cuts, cut
from corromap.repair.metal import PanelMetal, metal_on, polygons_in
from corromap.repair.order import plan_notes, work_order
from corromap.repair.pieces import PanelCuts, join_over_folds, near_mountings, pieces_of
from corromap.repair.rates import Rates
from corromap.repair.result import Piece, Range, RepairPlan, SheetNeed, ZonePlan, add_ranges
from corromap.repair.zoning import Ends, ZoneWork, zone_plan
from corromap.template import BodyTemplate, Role, Zone

__all__ = ["SHOWN_ENOUGH", "plan_repair"]

SHOWN_ENOUGH = 0.8
"""Share of a zone that has to be seen well for the plan to speak of it: the default rules' own limit."""


@dataclass(frozen=True, slots=True, eq=False)
class _ZoneCuts:
    """One zone's cut lines: as marked, and with the margin at the two ends of the interval."""

    zone: Zone
    number: int
    measure: ZoneMeasure
    ground: Ends[_Ground]


@dataclass(frozen=True, slots=True, eq=False)
class _Ground:
    """What has to go in a zone, where it is cut, and the patches that stay."""

    marks: tuple[ProjectedMark, ...]
    metal: MultiPolygon
    cuts: Cuts
    kept: tuple[ProjectedMark, ...]


def plan_repair(
    measures: Measures,
    projection: Projection,
    template: BodyTemplate,
    rates: Rates,
    *,
    findings: Iterable[HandFinding] = (),
) -> RepairPlan:
    """Plan the repair of everything marked.

    Parameters
    ----------
    measures : Measures
        Of the survey: intervals and what was seen.
    projection : Projection
        Its marks in panel millimetres.
    template : BodyTemplate
        The body.
    rates : Rates
        Policy of cuts, rates of work and money.
    findings : iterable of HandFinding
        Established by hand; where a probe went through is cut too.

    Returns
    -------
    RepairPlan
        A lower bound; without zones when nothing affected is marked.
    """
    job = _Job(measures, metal_on(projection.marks, template, findings), template, rates)
    found = job.cut_zones()
    runs = Ends(*(job.pieces(found, end) for end in range(3)))
    runs = runs._replace(central=near_mountings(runs.central, template))
    sheet = sheet_needs(rates, [(template.zone_by_id[p.zone].sheet_mm, p) for p in runs.central])
    works = _with_access([work for one in found if (work := job.work(one, runs, sheet)).has_work])
    return job.plan(tuple(zone_plan(work, rates, template) for work in works), sheet)


@dataclass(frozen=True, slots=True, eq=False)
class _Job:
    """Everything one plan is made from."""

    measures: Measures
    metal: Mapping[PanelId, PanelMetal]
    template: BodyTemplate
    rates: Rates

    def policy(self, name: str) -> float:
        return self.rates.policy[name].value

    def cut_zones(self) -> list[_ZoneCuts]:
        by_zone = {measure.zone: measure for measure in self.measures.zones}
        numbered = [(z, n) for n, z in enumerate(self.template.zones, start=1) if z.panel in self.metal]
        margin = self.policy("margin")
        errors = {zone.id: _edge_error(by_zone[zone.id].affected) for zone, _ in numbered}
        margins = [
            dict.fromkeys(errors, margin),
            {zone: max(0.0, margin - inwards) for zone, (inwards, _) in errors.items()},
            {zone: margin + outwards for zone, (_, outwards) in errors.items()},
        ]
        grounds = [{zone.id: self._settled(zone, given[zone.id]) for zone, _ in numbered} for given in margins]
        return [_ZoneCuts(z, n, by_zone[z.id], Ends(*(ground[z.id] for ground in grounds))) for z, n in numbered]

    def _settled(self, zone: Zone, margin: float) -> _Ground:
        """Cut, and where a cut comes to a patch that could have stayed, take the patch out too, until none is cut."""
        metal, outline = self.metal[zone.panel], zone.outline.polygon
        marks, kept = metal.to_cut(zone), metal.stays(zone)
        policy = CutPolicy(margin, self.policy("snap"), self.policy("gap"), self.policy("whole_share") / 100)
        while True:
            ground = polygons_in(
                shapely.intersection(shapely.union_all([metal.probed, *(m.area for m in marks)]), outline)
            )
            cuts = cut(ground, outline, policy)
            inside = shapely.union_all(list(cuts.pieces))
            met = tuple(m for m in kept if shapely.intersection(m.area, inside).area > 0)
            if not met:
                return _Ground(marks, ground, cuts, kept)
            marks, kept = marks + met, tuple(m for m in kept if m not in met)

    def pieces(self, found: Sequence[_ZoneCuts], end: int) -> tuple[Piece, ...]:
        """Pieces of the whole body at one end of the interval."""
        pieces: list[Piece] = []
        for panel_id in self.metal:
            here = [one for one in found if one.zone.panel == panel_id and one.ground[end].cuts.pieces]
            marks = {id(m): m for one in here for m in one.ground[end].marks}
            zones = tuple((one.zone, one.number, one.ground[end].cuts.pieces) for one in here)
            panel = self.template.panel(panel_id)
            pieces += pieces_of(PanelCuts(panel, self.template, zones, tuple(marks.values()), self.policy("flange")))
        return join_over_folds(pieces, self.template)

    def work(self, one: _ZoneCuts, runs: Ends[tuple[Piece, ...]], sheet: Sequence[SheetNeed]) -> ZoneWork:
        ground, metal = one.ground.central, self.metal[one.zone.panel]
        left = shapely.difference(metal.surface_in(one.zone), shapely.union_all(list(ground.cuts.pieces)))
        waste = next((need.waste_share for need in sheet if need.thickness_mm == one.zone.sheet_mm), 0.0)
        return ZoneWork(
            zone=one.zone,
            panel=self.template.panel(one.zone.panel),
            number=one.number,
            metal=ground.metal,
            pieces=Ends(*(tuple(p for p in run if p.zone == one.zone.id) for run in runs)),
            is_whole=ground.cuts.is_whole,
            clean_mm2=float(left.area),
            kept=tuple(dict.fromkeys(m.mark.id for m in ground.kept)),
            seen_share=one.measure.seen_share,
            sheet_factor=1 / (1 - waste),
            access_share=1.0,
        )

    def plan(self, zones: tuple[ZonePlan, ...], sheet: tuple[SheetNeed, ...]) -> RepairPlan:
        shell = self.rates.work["shell"].range if any(zone.pieces for zone in zones) else Range(0, 0)
        labour = self.rates.work["labour"].range
        outside = _outside(self.metal, self.template)
        not_shown = tuple(
            m.zone
            for m in self.measures.zones
            if m.well_share < SHOWN_ENOUGH and self.template.zone_by_id[m.zone].role is Role.PRIMARY
        )
        return RepairPlan(
            zones=zones,
            sheet=sheet,
            hours=add_ranges(shell, *(zone.hours for zone in zones)),
            cost=add_ranges(shell.times(labour.low, labour.high), *(zone.cost for zone in zones)),
            shell_hours=shell,
            currency=self.rates.currency,
            order=work_order(zones, self.template),
            notes=plan_notes(zones, outside, len(not_shown)),
            outside_mm2=outside,
            not_shown=not_shown,
        )


def _with_access(works: Sequence[ZoneWork]) -> list[ZoneWork]:
    """Share the access to each part and side among its zones: it is laid bare once."""
    count = Counter((work.panel.part, work.panel.side) for work in works)
    return [replace(work, access_share=1 / count[work.panel.part, work.panel.side]) for work in works]


def _edge_error(figure: Figure) -> tuple[float, float]:
    """How far inwards and outwards the marks' edges may lie, mm: the interval of the area over the edge's length."""
    if figure.perimeter_mm <= 0:
        return 0.0, 0.0
    inwards, outwards = figure.area_mm2 - figure.low_mm2, figure.high_mm2 - figure.area_mm2
    return inwards / figure.perimeter_mm, outwards / figure.perimeter_mm


def _outside(metal: Mapping[PanelId, PanelMetal], template: BodyTemplate) -> float:
    """Metal to cut that lies on no zone, mm2."""
    total = 0.0
    for panel_id, found in metal.items():
        ground = shapely.union_all([found.probed, *(m.area for m in found.always)])
        zones = shapely.union_all([zone.outline.polygon for zone in template.panel(panel_id).zones])
        total += float(shapely.difference(ground, zones).area)
    return total
