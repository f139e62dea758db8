"""The repair plan against examples worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import MultiPolygon, Polygon, box

from corromap.by_hand import HandFinding, HandKind
from corromap.frames import HandFindingId, PanelOutline
from corromap.io.rates import default_rates
from corromap.repair import EdgeKind, Joint, Method, Rates, plan_repair
from corromap.repair.cutting import CutPolicy, cut
from corromap.repair.nesting import nest
from corromap.repair.pieces import letters
from corromap.survey import PatchFixing
from corromap.template import Role
from tests.repair_scene import (
    EDGE,
    FILLER,
    FLOOR,
    FRONT,
    MIDDLE,
    SCALED,
    SILL,
    SURFACE,
    WALL,
    body,
    measures_of,
    patch,
    plan_of,
    projection_of,
    rust,
    with_policy,
)

HOLE = rust(450, 150, 550, 200)
"""100 x 50 mm in the middle of a 600 x 150 mm zone."""


def test_one_hole_by_hand() -> None:
    """30 mm of margin all round 100 x 50: 160 x 110 mm, 540 mm of seam, 176 cm2 of sheet."""
    plan = plan_of([HOLE])
    (zone,) = plan.zones
    (piece,) = zone.pieces
    assert piece.outline.bounds == pytest.approx((420, 120, 580, 230))
    assert piece.label == "1A"
    assert zone.method is Method.PIECES
    assert (zone.seam_mm, zone.plug_mm, zone.plugs) == (pytest.approx(540), 0, 0)
    assert zone.area_mm2 == pytest.approx(17_600)
    assert zone.sound_mm2 == pytest.approx(17_600 - 5_000)
    assert piece.blank_mm == pytest.approx((160, 110))
    assert [edge.kind for edge in piece.edges] == [EdgeKind.CUT] * 4
    (need,) = plan.sheet
    assert (need.thickness_mm, need.sheets, need.waste_share) == (0.9, 1, pytest.approx(0))


def test_hours_and_cost_by_hand() -> None:
    """Every rate once: access 1.5 to 4, piece 1.5 to 3.5, 0.54 m of seam, protection; the shell once a car."""
    plan = plan_of([HOLE])
    (zone,) = plan.zones
    low = 1.5 + 1.5 + 0.54 * 0.25 + 0.5
    high = 4 + 3.5 + 0.54 * 0.85 + 1.5
    assert (zone.hours.low, zone.hours.high) == (pytest.approx(low), pytest.approx(high))
    money = (low * 60 + 0.0176 * 25 + 0.54 * 4 + 10, high * 110 + 0.0176 * 55 + 0.54 * 9 + 25)
    assert (zone.cost.low, zone.cost.high) == pytest.approx(money)
    assert (plan.hours.low, plan.hours.high) == pytest.approx((low + 6, high + 16))
    assert (plan.cost.low, plan.cost.high) == pytest.approx((money[0] + 6 * 60, money[1] + 16 * 110))
    assert plan.currency == "EUR"


@pytest.mark.parametrize(
    ("u0", "v0", "expected"),
    [
        pytest.param(450, 144, (420, 100, 580, 224), id="14 mm strip is taken"),
        pytest.param(450, 147, (420, 117, 580, 227), id="17 mm strip stays"),
        pytest.param(700, 150, (670, 120, 800, 230), id="cut stops at the zone's edge"),
    ],
)
def test_snapping_to_the_zone(u0: float, v0: float, expected: tuple[float, ...]) -> None:
    (piece,) = plan_of([rust(u0, v0, u0 + 100, v0 + 50)]).pieces
    assert piece.outline.bounds == pytest.approx(expected)


def test_pieces_nearer_than_the_gap_are_one() -> None:
    """Margins of 30 on both sides: marks 110 mm apart leave 50, marks 111 mm apart 51."""
    near = plan_of([rust(300, 170, 310, 180), rust(420, 170, 430, 180)])
    apart = plan_of([rust(300, 170, 310, 180), rust(421, 170, 431, 180)])
    assert [piece.outline.bounds for piece in near.pieces] == [pytest.approx((270, 140, 460, 210))]
    assert [piece.label for piece in apart.pieces] == ["1A", "1B"]


@pytest.mark.parametrize(("apart", "pieces"), [(20.0, 1), (25.0, 2)])
def test_the_gap_is_measured_corner_to_corner(apart: float, pieces: int) -> None:
    """20 and 20 mm are 28.3 mm across the corner, 25 and 25 mm 35.4: either side of a gap of 30 mm."""
    two = MultiPolygon([box(100, 100, 150, 150), box(150 + apart, 150 + apart, 250, 250)])
    cuts = cut(two, box(0, 0, 1000, 1000), CutPolicy(margin=0.0, snap=0.0, gap=30.0, whole_share=1.0))
    assert len(cuts.pieces) == pieces


def test_a_third_of_the_zone_means_the_whole_zone() -> None:
    """600 x 150: a third is 29 700 mm2 at 33 %; 270 x 110 is just that."""
    below, reached = plan_of([rust(300, 150, 509, 200)]), plan_of([rust(300, 150, 510, 200)])
    assert below.zones[0].method is Method.PIECES
    assert reached.zones[0].method is Method.WHOLE_ZONE
    assert reached.zones[0].area_mm2 == pytest.approx(90_000)
    assert reached.zones[0].whole_cost is None


def test_blank_of_a_whole_zone_has_its_flanges_whichever_way_its_outline_runs() -> None:
    """600 x 150 with one edge on the fold: 600 x 175, also when the template lists the corners clockwise."""
    usual = body()
    floor, sill = usual.panels
    turned = tuple(replace(z, outline=PanelOutline(z.panel, z.outline.exterior_mm[::-1])) for z in floor.zones)
    for template in (usual, replace(usual, panels=(replace(floor, zones=turned), sill))):
        (piece,) = plan_of([rust(250, 380, 750, 480)], template=template).pieces
        assert piece.blank_mm == pytest.approx((600, 175))
        assert piece.blank_mm2 == pytest.approx(600 * 175)


def test_many_pieces_cost_more_than_the_zone() -> None:
    rates = with_policy(whole_share=100)
    marks = [rust(250 + 130 * i, 172, 251 + 130 * i, 178) for i in range(5)]
    (zone,) = plan_of(marks, rates=rates).zones
    assert len(zone.pieces) == 5
    assert zone.is_whole_cheaper
    assert any("whole zone costs less" in note for note in zone.notes)
    assert any("More than 3 pieces" in note for note in zone.notes)
    (one,) = plan_of(marks[:1], rates=rates).zones
    assert not one.is_whole_cheaper


def test_fold_is_lapped_and_plug_welded() -> None:
    """A mark 20 mm from the fold: the piece reaches the fold, 160 mm of flange, 6 plugs at 30 mm."""
    (zone,) = plan_of([rust(450, 430, 550, 480)]).zones
    (piece,) = zone.pieces
    assert zone.zone == EDGE
    assert piece.outline.bounds == pytest.approx((420, 400, 580, 500))
    assert {edge.kind for edge in piece.edges} == {EdgeKind.CUT, EdgeKind.FOLD}
    assert piece.run_mm(Joint.LAP) == pytest.approx(160)
    assert piece.run_mm(Joint.BUTT) == pytest.approx(360)
    assert zone.plugs == 6
    assert piece.blank_mm == pytest.approx((160, 125))
    assert piece.blank_mm2 == pytest.approx(16_000 + 160 * 25)


def test_piece_that_goes_on_over_the_fold_shares_its_flange() -> None:
    plan = plan_of([rust(450, 430, 550, 500), rust(450, 0, 550, 40, panel=SILL)])
    floor, wall = plan.pieces
    assert {(e.neighbour, e.shared) for e in floor.edges if e.kind is EdgeKind.FOLD} == {(wall.label, 0.5)}
    assert floor.run_mm(Joint.LAP) == wall.run_mm(Joint.LAP) == pytest.approx(80)


def test_pieces_of_two_zones_share_their_seam() -> None:
    plan = plan_of([rust(700, 150, 900, 200)])
    assert [zone.zone for zone in plan.zones] == [MIDDLE, FRONT]
    seams = [edge for piece in plan.pieces for edge in piece.edges if edge.kind is EdgeKind.SHARED]
    assert {edge.neighbour for edge in seams} == {"1A", "2A"}
    # the front zone is cut whole (150 x 150), its neighbour 110 mm high: only those 110 mm are one joint
    assert sum(edge.length_mm * edge.shared for edge in seams) == pytest.approx(110)


def test_edges_sum_to_the_outline() -> None:
    plan = plan_of([rust(700, 150, 900, 200), rust(450, 430, 550, 480), rust(10, 20, 60, 90, panel=SILL)])
    for piece in plan.pieces:
        assert sum(edge.length_mm for edge in piece.edges) == pytest.approx(piece.perimeter_mm)


@pytest.mark.parametrize(
    ("fixing", "role", "is_cut"),
    [
        pytest.param(PatchFixing.SEAM, Role.PRIMARY, False, id="seam stays"),
        pytest.param(PatchFixing.SPOT, Role.PRIMARY, True, id="spot on load-bearing"),
        pytest.param(PatchFixing.PLUG, Role.SECONDARY, False, id="plug where no load"),
        pytest.param(PatchFixing.BRAZED, Role.SECONDARY, True, id="brazed"),
        pytest.param(PatchFixing.RIVETED, Role.CLOSING, True, id="riveted"),
        pytest.param(PatchFixing.UNKNOWN, Role.PRIMARY, True, id="unknown"),
        pytest.param(None, Role.CLOSING, True, id="not said"),
    ],
)
def test_which_patch_stays(fixing: PatchFixing | None, role: Role, is_cut: bool) -> None:
    plan = plan_of([patch(450, 150, 550, 200, fixing)], template=body(role=role))
    assert bool(plan.pieces) is is_cut


def test_sound_patch_goes_when_rust_touches_it() -> None:
    sound = patch(450, 150, 550, 200, PatchFixing.SEAM)
    (zone,) = plan_of([sound, rust(551, 150, 580, 200, stage=SCALED)]).zones
    assert zone.metal.area == pytest.approx(5_000 + 29 * 50)
    assert zone.kept_patches == ()


def test_sound_patch_goes_when_a_cut_comes_to_it() -> None:
    sound = patch(450, 150, 550, 200, PatchFixing.SEAM)
    near, far = plan_of([sound, rust(570, 150, 600, 200)]), plan_of([sound, rust(590, 150, 600, 200)])
    assert near.zones[0].kept_patches == ()
    assert near.pieces[0].outline.bounds == pytest.approx((420, 120, 630, 230))
    assert far.zones[0].kept_patches == ("m0",)


def test_patch_on_patch_goes() -> None:
    plan = plan_of([patch(400, 150, 500, 200, PatchFixing.SEAM), patch(460, 150, 560, 200, PatchFixing.SEAM)])
    assert plan.zones[0].metal.area == pytest.approx(160 * 50)
    two_photos = plan_of(
        [patch(400, 150, 500, 200, PatchFixing.SEAM), patch(460, 150, 560, 200, PatchFixing.SEAM, photo="q")]
    )
    assert not two_photos.zones


def test_surface_rust_is_cleaned_and_filler_cut() -> None:
    (clean,) = plan_of([rust(450, 150, 550, 200, stage=SURFACE)]).zones
    assert (clean.method, clean.clean_mm2, clean.pieces) == (Method.CLEAN, pytest.approx(5_000), ())
    (both,) = plan_of([rust(300, 150, 700, 200, stage=SURFACE), replace(HOLE, kind=FILLER, stage=None)]).zones
    assert len(both.pieces) == 1
    assert both.clean_mm2 == pytest.approx((400 - 160) * 50)


def test_rust_without_a_stage_is_cut() -> None:
    assert plan_of([replace(HOLE, stage=None)]).pieces


def test_interval_moves_the_cut() -> None:
    """Edges uncertain by 4 mm (95 %): margins of 26 and 34, so 152 x 102 to 168 x 118 mm; 508 to 572 mm of seam."""
    (zone,) = plan_of([HOLE], sigma_mm=4 / 1.96).zones
    assert (zone.area_range_mm2.low, zone.area_range_mm2.high) == (pytest.approx(15_504), pytest.approx(19_824))
    assert (zone.seam_range_mm.low, zone.seam_range_mm.high) == (pytest.approx(508), pytest.approx(572))
    # 1 mm more and the strip beside the piece is 15 mm: it is taken, and the cut is as high as the zone
    (wider,) = plan_of([HOLE], sigma_mm=5 / 1.96).zones
    assert wider.area_range_mm2.high == pytest.approx(170 * 150)


def test_access_is_counted_once_for_a_part_and_side() -> None:
    one, two = plan_of([HOLE]), plan_of([HOLE, rust(450, 400, 460, 410)])
    access = 1.5 + 4
    extra = sum(zone.hours.low + zone.hours.high for zone in two.zones) - sum(
        zone.hours.low + zone.hours.high for zone in one.zones
    )
    zone = two.zones[1]
    alone = zone.hours.low + zone.hours.high + access / 2
    assert extra == pytest.approx(alone - access)


def test_what_is_not_shown_is_said() -> None:
    plan = plan_of([HOLE], seen=0.5)
    assert set(plan.not_shown) == {MIDDLE, FRONT, EDGE, WALL}
    assert any("says nothing of them, and they are not clean" in note for note in plan.notes)
    assert any("lower bound" in note for note in plan.notes)
    assert any("ISO 9606-1" in note for note in plan.notes)


def test_no_marks_no_work() -> None:
    plan = plan_of([])
    assert (plan.zones, plan.pieces, plan.order, plan.hours.high, plan.cost.high) == ((), (), (), 0, 0)
    assert any("lower bound" in note for note in plan.notes)


def test_metal_outside_every_zone_is_told() -> None:
    plan = plan_of([rust(300, 270, 400, 330)])
    assert plan.outside_mm2 == pytest.approx(6_000)
    assert any("60 cm²" in note for note in plan.notes)


def test_belt_anchorage_near_a_piece_is_named() -> None:
    (near,) = plan_of([rust(300, 150, 350, 200)]).zones
    assert near.pieces[0].near_mountings == (("Seat belt", pytest.approx(170)),)
    assert any("Seat-belt anchorage near" in note for note in near.notes)
    (far,) = plan_of([rust(500, 150, 550, 200)]).zones
    assert far.pieces[0].near_mountings == ()


def test_mounting_beyond_a_fold_counts_along_the_body() -> None:
    """Anchorage 30 mm from the fold, piece 16 mm beyond it and straight above: 46 mm of metal between them."""
    usual = body()
    floor, sill = usual.panels
    belt = replace(floor.mountings[0], at_mm=np.array([100.0, 470.0]))
    template = replace(usual, panels=(replace(floor, mountings=(belt,)), sill))
    (piece,) = plan_of([rust(90, 46, 110, 50, panel=SILL)], template=template).pieces
    assert piece.outline.bounds[1] == pytest.approx(16)
    assert piece.near_mountings == (("Seat belt", pytest.approx(46)),)


def test_order_of_work() -> None:
    plan = plan_of([HOLE, rust(450, 50, 550, 70, panel=SILL)])
    titles = [step.title for step in plan.order]
    assert titles == [
        "Record", "Secure the car", "Strip", "Find the end of it", "Support and brace",
        "Left side: sill", "Left side: floor", "Check", "Protect", "Record again",
    ]  # fmt: skip
    assert "Finish and check this side before the other is cut" in plan.order[5].text


def test_zone_with_a_curved_edge_keeps_the_curve() -> None:
    angle = np.linspace(0, np.pi, 30)
    arch = Polygon(np.stack([300 * np.cos(angle), 300 * np.sin(angle)], axis=1))
    found = cut(MultiPolygon([box(-20, 250, 20, 290)]), arch, CutPolicy(30, 15, 50, 0.9))
    (piece,) = found.pieces
    assert piece.within(arch.buffer(1e-6))
    assert piece.covers(box(-20, 250, 20, 290))


def test_a_box_the_zone_cuts_in_two_keeps_only_parts_with_metal() -> None:
    two_legs = box(0, 0, 300, 100).difference(box(100, 20, 200, 100))
    found = cut(MultiPolygon([box(60, 60, 90, 70)]), two_legs, CutPolicy(150, 0, 0, 1))
    assert len(found.pieces) == 1


@pytest.mark.parametrize(("number", "word"), [(0, "A"), (25, "Z"), (26, "AA"), (51, "AZ"), (52, "BA"), (701, "ZZ")])
def test_letters(number: int, word: str) -> None:
    assert letters(number) == word


def test_nesting_by_hand() -> None:
    """Three 400 x 300 on a 1000 mm sheet: two on a shelf 300 high (805 wide), the third on a second one."""
    found = nest([(400, 300)] * 3, 1000, 2000, 5)
    assert found.bought_mm2 == pytest.approx(805 * 605)
    assert (found.sheets, found.oversize) == (1, 0)
    assert nest([], 1000, 2000, 5).bought_mm2 == 0
    big = nest([(2500, 100), (1500, 400)], 1000, 2000, 5)
    assert (big.oversize, big.sheets) == (1, 1)
    assert nest([(1000, 1200)] * 2, 1000, 2000, 5).sheets == 2


def test_thickness_decides_the_price() -> None:
    rates = default_rates()
    assert rates.sheet_rate(0.9).high == 55
    assert rates.sheet_rate(1.2).high == 65
    assert rates.sheet_rate(9.0) == rates.sheet_rate(3.0)
    plan = plan_of([HOLE, rust(450, 50, 550, 70, panel=SILL)])
    assert [need.thickness_mm for need in plan.sheet] == [0.9, 1.2]


def test_rates_survive_a_round_trip_and_tell_departures() -> None:
    rates = default_rates()
    assert Rates.from_document(rates.to_document()) == rates
    changed = with_policy(margin=20)
    assert changed.departures_from(rates) == ("margin: 20 mm instead of 30",)
    dearer = replace(rates, currency="SEK", work={**rates.work, "labour": replace(rates.work["labour"], high=900.0)})
    assert dearer.departures_from(rates) == (
        "currency: SEK, not EUR",
        "labour: 60 to 900 money/h instead of 60 to 110",
    )


def test_every_default_has_a_source() -> None:
    rates = default_rates()
    entries = [*rates.policy.values(), *rates.work.values(), *rates.access.values(), *(s.rate for s in rates.sheet)]
    assert all(entry.source for entry in entries)
    assert FLOOR in {panel.id for panel in body().panels}


def test_where_a_probe_went_through_is_cut() -> None:
    found = [HandFinding(HandFindingId(f"h{i}"), kind, FLOOR, at, photo=None) for i, (kind, at) in enumerate(
        [(HandKind.PROBE, (500, 175)), (HandKind.MAGNET, (300, 175))])]  # fmt: skip
    projection, template = projection_of([]), body()
    plan = plan_repair(measures_of(projection, template), projection, template, default_rates(), findings=found)
    (piece,) = plan.pieces
    assert piece.outline.bounds == pytest.approx((465, 140, 535, 210))
