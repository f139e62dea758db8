"""Marks in millimetres on a small invented body, for tests of the repair plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from corromap.frames import DatumId, MarkId, MountingId, PanelId, PanelOutline, PhotoId, PhotoOutline, ZoneId
from corromap.io.rates import default_rates
from corromap.measures import Figure, Measures, ZoneMeasure
from corromap.projection import MovingEdges, ProjectedMark, Projection
from corromap.repair import Rates, RepairPlan, plan_repair
from corromap.survey import Mark, MarkKind, PatchFixing, RustStage
from corromap.template import (
    BodyTemplate,
    DatumPoint,
    DatumShape,
    Fold,
    Frame2D,
    Mounting,
    MountingKind,
    Panel,
    Part,
    Place,
    Role,
    SeenFrom,
    Side,
    Zone,
)

FLOOR, SILL = PanelId("floor"), PanelId("sill")
MIDDLE, FRONT, EDGE, WALL = ZoneId("middle"), ZoneId("front"), ZoneId("edge"), ZoneId("wall")
RUST, FILLER, PATCH = MarkKind.RUST, MarkKind.FILLER, MarkKind.PATCH
HOLED, SCALED, SURFACE = RustStage.HOLED, RustStage.SCALED, RustStage.SURFACE


def rect(u0: float, v0: float, u1: float, v1: float) -> np.ndarray:
    return np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]], dtype=float)


def body(k: float = 1.0, role: Role = Role.PRIMARY) -> BodyTemplate:
    """A floor, 1000 x 500, with a 600 x 150 zone away from every edge; a sill folded to its v = 500 edge."""

    def zone(panel: PanelId, name: ZoneId, ring: np.ndarray, sheet: float) -> Zone:
        return Zone(name, str(name), role, sheet, 1, PanelOutline(panel, k * ring))

    datums = tuple(
        DatumPoint(DatumId(f"d{i}"), f"hole {i}", "a hole", DatumShape.ROUND_HOLE, k * np.array(at))
        for i, at in enumerate([(150.0, 60.0), (850.0, 60.0), (500.0, 320.0)])
    )
    floor = Panel(
        FLOOR, "Floor", Part.FLOOR, Side.LEFT, SeenFrom.BELOW, PanelOutline(FLOOR, k * rect(0, 0, 1000, 500)),
        Place([0, 0, 0], [1, 0, 0], [0, 1, 0]), Frame2D([0, 0], [1, 0], [0, 1]),
        zones=(zone(FLOOR, MIDDLE, rect(200, 100, 800, 250), 0.9), zone(FLOOR, FRONT, rect(800, 100, 950, 250), 0.9),
               zone(FLOOR, EDGE, rect(200, 350, 800, 500), 0.9)),
        datum_points=datums,
        mountings=(Mounting(MountingId("belt"), "Seat belt", MountingKind.BELT, k * np.array([100.0, 175.0])),),
        folds=(Fold(SILL, k * np.array([[0.0, 500.0], [1000.0, 500.0]]), k * np.array([[0.0, 0.0], [1000.0, 0.0]])),),
    )  # fmt: skip
    sill = Panel(
        SILL, "Sill", Part.SILL, Side.LEFT, SeenFrom.LEFT, PanelOutline(SILL, k * rect(0, 0, 1000, 120)),
        Place([0, 500 * k, 0], [1, 0, 0], [0, 0, 1]), Frame2D([0, 600], [1, 0], [0, 1]),
        zones=(zone(SILL, WALL, rect(0, 0, 1000, 120), 1.2),),
        folds=(Fold(FLOOR, k * np.array([[0.0, 0.0], [1000.0, 0.0]]), k * np.array([[0.0, 500.0], [1000.0, 500.0]])),),
    )  # fmt: skip
    return BodyTemplate("plate", "plate", "invented", 1, 0.0, (floor, sill))


@dataclass(frozen=True, eq=False)
class Drawn:
    """One mark as it lies on a panel."""

    ring: np.ndarray
    kind: MarkKind = RUST
    stage: RustStage | None = HOLED
    fixing: PatchFixing | None = None
    panel: PanelId = FLOOR
    photo: str = "p"


def rust(u0: float, v0: float, u1: float, v1: float, **given: object) -> Drawn:
    return Drawn(rect(u0, v0, u1, v1), **given)  # type: ignore[arg-type]


def patch(u0: float, v0: float, u1: float, v1: float, fixing: PatchFixing | None, **given: object) -> Drawn:
    return Drawn(rect(u0, v0, u1, v1), PATCH, None, fixing, **given)  # type: ignore[arg-type]


def projection_of(drawn: Sequence[Drawn], k: float = 1.0) -> Projection:
    nothing = MovingEdges(np.empty((0, 2)), np.empty((0, 2)), {})
    marks = []
    for number, one in enumerate(drawn):
        mark = Mark(MarkId(f"m{number}"), PhotoId(one.photo), one.kind, PhotoOutline(one.ring), one.stage, one.fixing)
        marks.append(ProjectedMark(mark, one.panel, MultiPolygon([Polygon(k * one.ring)]), 0.0, False, nothing))
    return Projection(tuple(marks), (), ())


def measures_of(projection: Projection, template: BodyTemplate, sigma_mm: float = 0.0, seen: float = 1.0) -> Measures:
    """Affected area of each zone with the interval that edges uncertain by 1.96 `sigma_mm` give."""
    zones = []
    for zone in template.zones:
        marks = [m for m in projection.marks if m.panel == zone.panel]
        ground = shapely.intersection(shapely.union_all([m.area for m in marks]), zone.outline.polygon)
        away, area = 1.96 * sigma_mm * ground.length, ground.area
        figure = Figure(area, away / 1.96, area - away, area + away, area / zone.area_mm2, 0, 1, 1, ground.length, ())
        zones.append(ZoneMeasure(zone.id, zone.area_mm2, {}, {}, {}, figure, seen, 0.0, 1 - seen, 0))
    return Measures(tuple(zones), (), ())


def plan_of(drawn: Sequence[Drawn], *, k: float = 1.0, sigma_mm: float = 0.0, seen: float = 1.0,
            rates: Rates | None = None, template: BodyTemplate | None = None) -> RepairPlan:  # fmt: skip
    template = template or body(k)
    projection = projection_of(drawn, k)
    return plan_repair(
        measures_of(projection, template, sigma_mm, seen), projection, template, rates or default_rates()
    )


def with_policy(**values: float) -> Rates:
    rates = default_rates()
    policy = {n: replace(s, value=values.get(n, s.value)) for n, s in rates.policy.items()}
    return replace(rates, policy=policy)
