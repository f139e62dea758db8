"""What must hold of every repair plan, whatever was marked."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from corromap.repair import Rates, RepairPlan
from corromap.survey import PatchFixing, RustStage
from corromap.template import BodyTemplate
from tests.repair_scene import FILLER, FLOOR, PATCH, RUST, SILL, Drawn, body, plan_of, projection_of, with_policy

LENGTHS = ("margin", "snap", "gap", "flange", "plug_pitch", "sheet_width", "sheet_length", "cut_gap")
BODY = body()
FEW = settings(max_examples=60, deadline=None)

kinds = st.one_of(
    st.tuples(st.just(RUST), st.sampled_from([None, *RustStage]), st.none()),
    st.tuples(st.just(FILLER), st.none(), st.none()),
    st.tuples(st.just(PATCH), st.none(), st.sampled_from([None, *PatchFixing])),
)


@st.composite
def drawings(draw: st.DrawFn) -> Drawn:
    panel = draw(st.sampled_from([FLOOR, SILL]))
    u, v = draw(st.floats(0, 1000)), draw(st.floats(0, 500 if panel == FLOOR else 120))
    radius, turn = draw(st.floats(2, 90)), draw(st.floats(0, 1))
    angle = turn + np.linspace(0, 2 * np.pi, draw(st.integers(3, 9)), endpoint=False)
    ring = np.stack([u + radius * np.cos(angle), v + radius * np.sin(angle)], axis=1)
    kind, stage, fixing = draw(kinds)
    return Drawn(ring, kind, stage, fixing, panel, draw(st.sampled_from("pq")))


def areas(plan: RepairPlan, template: BodyTemplate = BODY) -> dict[str, float]:
    found = dict.fromkeys((zone.id for zone in template.zones), 0.0)
    return {**found, **{zone.zone: zone.area_mm2 for zone in plan.zones}}


@FEW
@given(st.lists(drawings(), max_size=6), drawings())
def test_more_marks_never_cut_less(marks: list[Drawn], one: Drawn) -> None:
    before, after = areas(plan_of(marks)), areas(plan_of([*marks, one]))
    assert all(after[zone] >= before[zone] - 1e-6 for zone in before)


@FEW
@given(st.lists(drawings(), max_size=8))
def test_everything_to_cut_lies_inside_a_piece_with_its_margin(marks: list[Drawn]) -> None:
    plan = plan_of(marks)
    for projected in projection_of(marks).marks:
        if projected.mark.stage is not RustStage.HOLED:
            continue
        for zone in BODY.panel(projected.panel).zones:
            pieces = shapely.union_all([p.outline for p in plan.pieces if p.zone == zone.id])
            grown = shapely.box(*projected.area.intersection(zone.outline.polygon).bounds).buffer(
                30, join_style="mitre"
            ) if projected.area.intersects(zone.outline.polygon) else shapely.Polygon()  # fmt: skip
            left = grown.intersection(zone.outline.polygon).difference(pieces.buffer(1e-6))
            hit = projected.area.intersection(zone.outline.polygon).area > 0
            assert not hit or left.area < 1e-6


@FEW
@given(st.lists(drawings(), max_size=6))
def test_pieces_of_a_zone_lie_apart_and_inside_it(marks: list[Drawn]) -> None:
    plan = plan_of(marks)
    for zone in plan.zones:
        outline = BODY.zone_by_id[zone.zone].outline.polygon
        assert zone.area_mm2 <= outline.area + 1e-6
        for i, piece in enumerate(zone.pieces):
            assert outline.buffer(1e-6).covers(piece.outline)
            assert all(piece.outline.distance(other.outline) > 50 for other in zone.pieces[i + 1 :])


@FEW
@given(st.lists(drawings(), max_size=5), st.sampled_from([0.5, 2.0, 3.0]))
def test_scale(marks: list[Drawn], k: float) -> None:
    """Template, marks and every length of the policy k times as large: areas k2, runs k, as many pieces and plugs."""
    usual = with_policy()
    rates: Rates = with_policy(**{name: k * usual.policy[name].value for name in LENGTHS})
    one, large = plan_of(marks, rates=usual), plan_of(marks, k=k, rates=rates)
    assert [p.label for p in one.pieces] == [p.label for p in large.pieces]
    assert large.seam_mm == pytest.approx(k * one.seam_mm, abs=5)
    for small, big in zip(one.zones, large.zones, strict=True):
        assert big.area_mm2 == pytest.approx(k * k * small.area_mm2)
        assert big.metal.area == pytest.approx(k * k * small.metal.area)
        assert sum(p.perimeter_mm for p in big.pieces) == pytest.approx(k * sum(p.perimeter_mm for p in small.pieces))


@FEW
@given(st.lists(drawings(), max_size=6), st.floats(0, 10))
def test_ranges_hold_their_middle(marks: list[Drawn], sigma: float) -> None:
    plan = plan_of(marks, sigma_mm=sigma)
    for zone in plan.zones:
        assert zone.area_range_mm2.low <= zone.area_mm2 <= zone.area_range_mm2.high
        assert zone.seam_range_mm.low <= zone.seam_mm <= zone.seam_range_mm.high
        assert 0 <= zone.hours.low <= zone.hours.high
        assert 0 <= zone.cost.low <= zone.cost.high
    for piece in plan.pieces:
        assert piece.area_mm2 <= piece.blank_mm2 <= piece.blank_mm[0] * piece.blank_mm[1] + 1e-6
    for need in plan.sheet:
        assert need.bought_mm2 >= need.net_mm2 - 1e-6
