"""Patchwork, sills and findings by hand on surveys made by hand: every figure known beforehand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.ndimage
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from corromap.by_hand import HandFinding, HandKind, ShellCheck, ShellKind
from corromap.frames import HandFindingId, MarkId, PanelId, PhotoId, ShellCheckId
from corromap.measures import Measures, measure
from corromap.measures.structure import STATION_MM, WallState
from corromap.projection import project
from corromap.registration import place_photos
from corromap.survey import Mark, MarkKind, PatchFixing, RustStage, Survey
from tests.unit.surveys import MM_PER_PX, TEMPLATE, mark_at, survey_of

FLOOR, OUTER, UNDER, INNER = (
    PanelId(p) for p in ("floor-left", "sill-left-outer", "sill-left-underside", "sill-left-inner")
)
PANELS = (FLOOR, OUTER, UNDER, INNER)
HOLED = (MarkKind.RUST, RustStage.HOLED)


def rect(u0: float, v0: float, u1: float, v1: float) -> list[list[float]]:
    return [[u0, v0], [u1, v0], [u1, v1], [u0, v1]]


def patch(name: str, panel: PanelId, ring: list[list[float]], fixing: PatchFixing | None = None) -> Mark:
    return replace(mark_at(name, panel, ring, MarkKind.PATCH), fixing=fixing)


def measured(survey: Survey, template=TEMPLATE) -> Measures:
    placed = place_photos(survey, template)
    return measure(project(survey, template, placed), placed, survey, template)


def of(marks: list[Mark], findings=(), checks=(), panels=PANELS, **sizes) -> Measures:
    survey = survey_of(panels, marks)
    given_settings = replace(survey.settings, **sizes)
    return measured(replace(survey, hand_findings=tuple(findings), shell_checks=tuple(checks), settings=given_settings))


def found(kind: HandKind, panel: PanelId, at: tuple[float, float], name: str = "f", mm: float | None = None):
    return HandFinding(HandFindingId(name), kind, panel, at, mm)


# --- closed sections ---------------------------------------------------------------------------------------------


def test_an_untouched_sill_is_shown_and_closed_nowhere_open() -> None:
    left, right = of([]).structure.continuity
    assert (left.section, right.section) == ("sill-left", "sill-right")
    assert left.open.value == left.unsound.value == 0
    assert left.stretches == ()
    assert left.shown_share > 0.97
    assert right.shown_share == 0
    inside = left.states[[w in {"membrane", "inner-upper", "tread-inner", "tread-outer"} for w in left.walls]]
    assert (inside == WallState.INSIDE).all()


@pytest.mark.parametrize(
    ("panel", "ring", "walls", "closed"),
    [
        pytest.param(OUTER, rect(100, 40, 250, 90), ("outer",), ("inner-cell",), id="outer face"),
        pytest.param(INNER, rect(100, 40, 250, 90), ("inner",), ("outer-cell",), id="inner face"),
        pytest.param(UNDER, rect(100, 10, 250, 40), ("underside-inner",), ("outer-cell",), id="underside, inner half"),
        pytest.param(UNDER, rect(100, 60, 250, 90), ("underside-outer",), ("inner-cell",), id="underside, outer half"),
        pytest.param(UNDER, rect(100, 20, 250, 90), ("underside-inner", "underside-outer"), (), id="across both"),
    ],
)
def test_one_hole_opens_its_wall_over_its_length(panel, ring, walls, closed) -> None:
    sill = of([mark_at("m", panel, ring, *HOLED)]).structure.continuity[0]
    assert sill.open.value == pytest.approx(150, abs=0.01)
    assert sill.unsound.value == pytest.approx(150, abs=0.01)
    (stretch,) = sill.stretches
    assert set(stretch.open_walls) == set(walls)
    assert stretch.closed == closed
    assert (stretch.from_x_mm, stretch.to_x_mm) == (-640, -490)
    assert (sill.states == WallState.HOLED).sum() == len(walls) * 15
    assert 0 < stretch.slit_share < 1


def test_interval_of_the_open_length_by_the_law_of_propagation() -> None:
    """One hand draws both ends 3 px of 0.5 mm too far, the template is 1 % out: sqrt(3^2 + 1.5^2) mm, and clicks."""
    sill = of([mark_at("m", OUTER, rect(100, 40, 250, 90), *HOLED)]).structure.continuity[0]
    least = 1.96 * np.hypot(2 * 3 * MM_PER_PX, 0.01 * 150)
    assert least <= sill.open.high - sill.open.value <= 1.25 * least
    assert sill.open.value - sill.open.low == pytest.approx(sill.open.high - sill.open.value)


def test_interval_of_two_stretches_holds_all_four_ends() -> None:
    """Each outline is drawn 3 px of 0.5 mm too far at both its ends, apart from the other's; 1 % of 300 mm beside."""
    marks = [mark_at(f"m{u}", OUTER, rect(u, 40, u + 150, 90), *HOLED) for u in (100, 600)]
    sill = of(marks).structure.continuity[0]
    one = 2 * 3 * MM_PER_PX
    least = 1.96 * np.hypot(np.hypot(one, one), 0.01 * 300)
    assert least <= sill.open.high - sill.open.value <= 1.1 * least


def test_holes_in_several_faces_count_once_along_the_sill() -> None:
    marks = [
        mark_at("a", OUTER, rect(100, 40, 200, 90), *HOLED),
        mark_at("b", INNER, rect(150, 40, 260, 90), *HOLED),
        mark_at("c", UNDER, rect(600, 60, 650, 90), *HOLED),
    ]
    sill = of(marks).structure.continuity[0]
    assert sill.open.value == pytest.approx(160 + 50, abs=0.01)
    walls = [(set(s.open_walls), s.closed) for s in sill.stretches]
    assert walls == [
        ({"outer"}, ("inner-cell",)),
        ({"outer", "inner"}, ()),
        ({"inner"}, ("outer-cell",)),
        ({"underside-outer"}, ("inner-cell",)),
    ]
    assert set(sill.open_marks) == {"a", "b", "c"}


def test_scale_filler_and_dull_metal_are_unsound_but_not_open() -> None:
    marks = [
        mark_at("scale", OUTER, rect(100, 40, 200, 90), MarkKind.RUST, RustStage.SCALED),
        mark_at("filler", OUTER, rect(300, 40, 340, 90), MarkKind.FILLER),
        mark_at("surface", OUTER, rect(500, 40, 540, 90), MarkKind.RUST, RustStage.SURFACE),
        mark_at("patch", OUTER, rect(700, 40, 760, 90), MarkKind.PATCH),
    ]
    findings = [
        found(HandKind.TAP, OUTER, (900, 60), "dull"),
        found(HandKind.GAUGE, OUTER, (1000, 60), "thin", 0.5),
        found(HandKind.GAUGE, OUTER, (1100, 60), "fine", 0.9),
    ]
    sill = of(marks, findings).structure.continuity[0]
    assert sill.open.value == 0
    assert sill.unsound.value == pytest.approx(100 + 40 + 5 + 5, abs=0.01)
    assert sill.unsound_findings == ("dull", "thin")
    outer = sill.states[sill.walls.index("outer")]
    assert [int((outer == s).sum()) for s in (WallState.UNSOUND, WallState.PATCHED)] == [10 + 4 + 2 + 2, 6]


def test_a_pierced_point_opens_one_station() -> None:
    sill = of([], [found(HandKind.PROBE, OUTER, (105, 60))]).structure.continuity[0]
    assert sill.open.value == pytest.approx(5)
    (stretch,) = sill.stretches
    assert stretch.to_x_mm - stretch.from_x_mm == STATION_MM
    assert sill.open_findings == ("f",)


def test_a_wall_that_was_not_shown_is_not_called_shown() -> None:
    sill = of([mark_at("mud", OUTER, rect(0, 0, 740, 165), MarkKind.HIDDEN)]).structure.continuity[0]
    outer = sill.states[sill.walls.index("outer")]
    assert (outer[:73] == WallState.NOT_SHOWN).all()
    assert (outer[75:-1] == WallState.SHOWN).all()


def test_a_station_shown_in_part_across_is_not_called_shown() -> None:
    """The lower half of the outer face is hidden over 200 mm: 20 stations, though half of each was seen."""
    hidden = mark_at("h", OUTER, rect(400, 0, 600, 80), MarkKind.HIDDEN)
    before, after = (of(marks).structure.continuity[0] for marks in ([], [hidden]))
    outer = before.walls.index("outer")
    lost = (before.states[outer] == WallState.SHOWN) & (after.states[outer] == WallState.NOT_SHOWN)
    assert lost.sum() == 200 / STATION_MM


def test_a_template_without_sections_says_nothing_of_them() -> None:
    bare = replace(TEMPLATE, sections=())
    assert measured(survey_of(PANELS), bare).structure.continuity == ()


# --- patches -----------------------------------------------------------------------------------------------------


def test_patch_over_a_zone_seam() -> None:
    seam = TEMPLATE.zone_by_id["sill-left-outer-front"].outline.exterior_mm[:, 0].min()
    marks = [patch("over", OUTER, rect(seam - 40, 20, seam + 40, 80)), patch("in", OUTER, rect(50, 20, 110, 80))]
    work = of(marks).structure.patchwork_of("all")
    assert work.on_seam.marks == ("over",)
    assert work.on_seam.count == 1
    line = patch(
        "line", OUTER, rect(seam - 40, 20, seam + 0.5, 80)
    )  # a drawn line's width over the seam is no crossing
    assert of([line]).structure.patchwork_of("all").on_seam.count == 0


@pytest.mark.parametrize(
    ("rust", "at", "through"),
    [
        pytest.param(rect(120, 40, 180, 80), 0, 0, id="well inside"),
        pytest.param(rect(302, 40, 340, 80), 0, 0, id="beside it"),
        pytest.param(rect(180, 40, 201, 80), 1, 0, id="up to the edge"),
        pytest.param(rect(180, 40, 230, 80), 1, 1, id="through the edge"),
    ],
)
def test_rust_at_a_patchs_edge(rust, at, through) -> None:
    marks = [patch("p", OUTER, rect(100, 20, 200, 120)), mark_at("r", OUTER, rust, MarkKind.RUST, RustStage.SURFACE)]
    work = of(marks).structure.patchwork_of("all")
    assert (work.rust_at_edge.count, work.rust_through_edge.count) == (at, through)
    assert work.rusted_edge_mm == pytest.approx(at * 44, abs=0.2)  # 40 mm of edge and the tolerance at both ends


def test_mixed_fixings_leave_out_what_is_not_known() -> None:
    marks = [
        patch("a", OUTER, rect(100, 20, 160, 80), PatchFixing.SEAM),
        patch("b", OUTER, rect(200, 20, 260, 80), PatchFixing.RIVETED),
        patch("c", OUTER, rect(300, 20, 360, 80), PatchFixing.UNKNOWN),
        patch("d", OUTER, rect(400, 20, 460, 80)),
    ]
    assert of(marks).structure.patchwork_of("all").fixings == (PatchFixing.SEAM, PatchFixing.RIVETED)


def test_patches_per_metre_of_sill() -> None:
    marks = [
        patch("a", OUTER, rect(100, 20, 160, 80)),
        patch("b", INNER, rect(700, 20, 760, 80)),
        patch("floor", FLOOR, rect(300, 200, 360, 260)),
    ]
    left, right = of(marks).structure.sills
    assert left.patches.count == 2
    assert left.per_metre == pytest.approx(2 / 1.48)
    assert right.patches.count == 0


def test_patches_round_one_mounting() -> None:
    panel, mounting = next((p, m) for p, m in TEMPLATE.mountings if p.id == UNDER)
    u, v = mounting.at_mm
    marks = [
        patch("a", UNDER, rect(u + 20, v - 20, u + 60, v + 20)),
        patch("b", UNDER, rect(u + 100, v - 20, u + 140, v + 20)),
        patch("far", UNDER, rect(u + 330, v - 20, u + 370, v + 20)),
    ]
    around = of(marks).structure.around_mountings[mounting.id]
    assert (around.count, set(around.marks)) == (2, {"a", "b"})
    assert panel.id == UNDER


def test_run_of_edge_and_its_interval() -> None:
    """A hand 3 px out all round lengthens a rectangle by 8 d, the template by 1 %."""
    edge = of([patch("p", OUTER, rect(100, 20, 200, 120))]).structure.patchwork_of("all").edge
    assert edge.value == pytest.approx(400, rel=1e-6)
    least = 1.96 * np.hypot(8 * 3 * MM_PER_PX, 0.01 * 400)
    assert least <= edge.high - edge.value <= 1.2 * least


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 30), st.integers(0, 8), st.integers(1, 6), st.integers(1, 4)), min_size=1, max_size=8
    ),
    st.sampled_from([2.0, 12.0, 17.0]),
)
def test_pieces_of_patches_against_labelled_raster(cells, gap) -> None:
    """scipy.ndimage.label on a raster of 10 mm cells, grown by the gap, counts the same pieces.

    Corners on multiples of 10 mm, so two rectangles are 0, 10, 14.1, 20, ... mm apart: never near 2, 12 or 17 mm.
    """
    rings = [rect(100 + 10 * u, 10 + 10 * v, 100 + 10 * (u + w), 10 + 10 * (v + h)) for u, v, w, h in cells]
    marks = [patch(f"p{i}", OUTER, ring) for i, ring in enumerate(rings)]
    got = of(marks, patch_gap_mm=gap)
    step = 0.5
    grid = np.zeros((int(160 / step), int(520 / step)), dtype=bool)
    for (u0, v0), _, (u1, v1), _ in rings:
        grid[int(v0 / step) : int(v1 / step), int((u0 - 90) / step) : int((u1 - 90) / step)] = True
    grown = scipy.ndimage.distance_transform_edt(~grid, sampling=step) <= gap / 2 + step / 2
    expected = scipy.ndimage.label(grown, structure=np.ones((3, 3)))[1]
    whole = next(group for group in got.groups if group.id == "all")
    assert whole.kinds[MarkKind.PATCH].pieces == expected
    union = shapely.union_all([shapely.Polygon(ring) for ring in rings])
    assert whole.kinds[MarkKind.PATCH].area_mm2 == pytest.approx(union.area, rel=1e-6)
    assert whole.kinds[MarkKind.PATCH].separate >= 1


def test_patch_gap_joins_the_same_patch_on_two_photos() -> None:
    """One patch, placed 15 mm apart by two photos: two patches at 2 mm, one at 20 mm."""
    from tests.unit.surveys import photo_of, to_px  # noqa: PLC0415

    first = patch("a", OUTER, rect(100, 20, 160, 80))
    second = replace(patch("b", OUTER, rect(175, 20, 235, 80)), photo=PhotoId("again"))
    survey = survey_of(PANELS, [first])
    again = replace(photo_of(OUTER), id=PhotoId("again"), name="again.jpg", order=9)
    sights = tuple(replace(s, photo=again.id) for s in survey.sightings if s.photo == f"photo-{OUTER}")
    survey = replace(
        survey, photos=(*survey.photos, again), marks=(first, second), sightings=(*survey.sightings, *sights)
    )
    assert len(to_px(OUTER, [[0, 0]])) == 1
    for gap, count in ((2.0, 2), (20.0, 1)):
        result = measured(replace(survey, settings=replace(survey.settings, patch_gap_mm=gap)))
        assert next(g for g in result.groups if g.id == "all").kinds[MarkKind.PATCH].separate == count


# --- findings by hand ----------------------------------------------------------------------------------------------


def test_findings_are_counted_by_zone_and_gauge_against_its_sheet() -> None:
    findings = [
        found(HandKind.PROBE, OUTER, (100, 60), "p"),
        found(HandKind.TAP, OUTER, (120, 60), "t"),
        found(HandKind.MAGNET, FLOOR, (300, 200), "m"),
        found(HandKind.COVERED, FLOOR, (320, 200), "c"),
        found(HandKind.GAUGE, OUTER, (140, 60), "thin", 0.7),
        found(HandKind.GAUGE, OUTER, (160, 60), "thick", 1.1),
    ]
    by_hand = of([], findings).structure
    sill = by_hand.by_hand_of("sill-left-outer-rear")
    assert (sill.pierced, sill.dull, sill.not_held, sill.covered) == (("p",), ("t",), (), ())
    assert sill.thinnest_mm == 0.7
    assert sill.loss_percent == pytest.approx(30)  # 1.0 mm nominal
    whole = by_hand.by_hand_of("all")
    assert (whole.not_held, whole.covered) == (("m",), ("c",))
    assert by_hand.by_hand_of("floor-right-middle").pierced == ()


def test_a_pierced_point_is_a_hole_and_inside_a_holed_mark_the_same_hole() -> None:
    hole = mark_at("m", OUTER, rect(100, 40, 160, 90), *HOLED)
    inside, outside = found(HandKind.PROBE, OUTER, (120, 60), "in"), found(HandKind.PROBE, OUTER, (300, 60), "out")
    zone = "sill-left-outer-rear"
    assert of([hole], [inside]).structure.patchwork_of(zone).holed.count == 1
    both = of([hole], [inside, outside]).structure.patchwork_of(zone).holed
    assert (both.count, both.marks, both.findings) == (2, (MarkId("m"),), ("in", "out"))


def check(kind: ShellKind, place: str, name: str = "s", **values) -> ShellCheck:
    return ShellCheck(ShellCheckId(name), kind, place, **values)


def test_shell_checks() -> None:
    checks = [
        check(ShellKind.DOOR_GAP, "left top", "a", ground_mm=5, raised_mm=9),
        check(ShellKind.DOOR_GAP, "left bottom", "b", ground_mm=5, raised_mm=4),
        check(ShellKind.DOOR_GAP, "right top", "c", ground_mm=5),
        check(ShellKind.RIDE_HEIGHT, "front left", "d", ground_mm=600),
        check(ShellKind.RIDE_HEIGHT, "front right", "e", ground_mm=612),
        check(ShellKind.RIDE_HEIGHT, "rear left", "f", ground_mm=590),
        check(ShellKind.DOOR_DROPS, "left", "g", found=True),
        check(ShellKind.DOOR_DROPS, "right", "h", found=False),
        check(ShellKind.SILL_DEFLECTION, "right", "i", raised_mm=-3),
    ]
    shell = of([], checks=checks).structure.shell
    assert shell.values == {
        ShellKind.DOOR_GAP: 4,
        ShellKind.DOOR_DROPS: 1,
        ShellKind.SILL_DEFLECTION: 3,
        ShellKind.RIDE_HEIGHT: 12,
    }
    assert shell.places[ShellKind.DOOR_GAP] == "left top"
    assert shell.places[ShellKind.RIDE_HEIGHT] == "front"
    assert shell.checks[ShellKind.RIDE_HEIGHT] == ("d", "e")
    assert ShellKind.DOOR_BINDS not in shell.values


# --- scale ---------------------------------------------------------------------------------------------------------


def test_scaling_the_template_by_k_scales_lengths_by_k() -> None:
    """The same photos on a body k times as large: areas by k^2, lengths by k, counts unchanged."""
    from tests.unit.scaled import scaled_template  # noqa: PLC0415

    marks = [
        mark_at("h", OUTER, rect(100, 40, 250, 90), *HOLED),
        patch("p", OUTER, rect(400, 20, 500, 120)),
        mark_at("r", OUTER, rect(480, 40, 530, 80), MarkKind.RUST, RustStage.SURFACE),
    ]
    survey = survey_of(PANELS, marks)
    one = measured(survey)
    k = 1.5
    large = measured(survey, scaled_template(TEMPLATE, k))
    for a, b in zip(one.zones, large.zones, strict=True):
        assert b.area_mm2 == pytest.approx(k**2 * a.area_mm2)
        for kind in (MarkKind.RUST, MarkKind.PATCH):
            assert b.kinds[kind].area_mm2 == pytest.approx(k**2 * a.kinds[kind].area_mm2, rel=1e-6, abs=1e-6)
            assert b.kinds[kind].share == pytest.approx(a.kinds[kind].share, rel=1e-6, abs=1e-9)
    sill, large_sill = one.structure.continuity[0], large.structure.continuity[0]
    assert large_sill.open.value == pytest.approx(k * sill.open.value, rel=1e-6)
    assert large_sill.open.high == pytest.approx(k * sill.open.high, rel=1e-4)
    work, large_work = one.structure.patchwork_of("all"), large.structure.patchwork_of("all")
    assert large_work.edge.value == pytest.approx(k * work.edge.value, rel=1e-6)
    assert large_work.rust_through_edge.count == work.rust_through_edge.count == 1
