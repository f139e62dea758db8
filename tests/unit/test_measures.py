"""Figures by zone and group: unions, precedence, pieces, patches, coverage, mountings."""

from __future__ import annotations

import numpy as np
import pytest

from corromap.errors import InvalidValueError
from corromap.measures import Figure, GroupMeasure, Measures, ZoneMeasure, measure
from corromap.survey import MEASURED_KINDS, RustStage
from corromap.uncertainty import sigma_of
from tests.geo_scene import FLOOR, SILL, Scene, disc, rect, template, view

RUST, FILLER, PATCH, HIDDEN, SOUND = MEASURED_KINDS


def floor_scene(photos: str = "ab", scale_sigma: float = 0.01) -> Scene:
    scene = Scene(template(scale_sigma))
    for i, name in enumerate(photos):
        scene.photo(name, {FLOOR: view(0.6 + 0.05 * i, tilt=-1e-4 * i)})
    return scene


def zone(measures: Measures, name: str) -> ZoneMeasure:
    return next(z for z in measures.zones if z.zone == name)


def group(measures: Measures, name: str) -> GroupMeasure:
    return next(g for g in measures.groups if g.id == name)


def test_nothing_marked_is_nothing_with_no_width() -> None:
    measures = floor_scene().measures()
    assert [z.zone for z in measures.zones] == ["rear", "front", "sill-all", "beam-all"]
    for z in measures.zones:
        assert set(z.kinds) == set(MEASURED_KINDS)
        assert z.affected == Figure(0, 0, 0, 0, 0, 0, 0, 0, 0, ())
    assert measures.near_mountings == ()


def test_the_same_ground_on_two_photos_counts_once() -> None:
    scene = floor_scene()
    for photo in "ab":
        scene.mark(photo, rect(100, 100, 200, 200), mm_on=FLOOR)
    figure = zone(scene.measures(), "rear").kinds[RUST]
    assert figure.area_mm2 == pytest.approx(10_000)
    assert figure.share == pytest.approx(10_000 / 300_000)
    assert (figure.pieces, figure.separate, figure.marks) == (1, 1, ("m0", "m1"))
    assert figure.perimeter_mm == pytest.approx(400)
    assert figure.low_mm2 < 10_000 < figure.high_mm2


def test_each_kind_keeps_its_own_figure_and_each_place_goes_to_the_first() -> None:
    """Three 100 x 100 squares, each 50 further on: rust before filler before patch."""
    scene = floor_scene()
    for i, kind in enumerate((PATCH, FILLER, RUST)):
        scene.mark("a", rect(100 + 50 * i, 100, 200 + 50 * i, 200), kind, mm_on=FLOOR)
    rear = zone(scene.measures(), "rear")
    assert [rear.kinds[k].area_mm2 for k in (RUST, FILLER, PATCH)] == pytest.approx([10_000] * 3)
    assert [rear.resolved[k].area_mm2 for k in (RUST, FILLER, PATCH)] == pytest.approx([10_000, 5_000, 5_000])
    assert rear.affected.area_mm2 == pytest.approx(20_000)
    assert sum(f.area_mm2 for f in rear.resolved.values()) == pytest.approx(rear.affected.area_mm2)


def test_patch_wholly_under_rust_has_nothing_left_of_its_own() -> None:
    scene = floor_scene()
    scene.mark("a", rect(120, 120, 180, 180), PATCH, mm_on=FLOOR)
    scene.mark("b", rect(100, 100, 200, 200), RUST, mm_on=FLOOR)
    rear = zone(scene.measures(), "rear")
    assert rear.kinds[PATCH].area_mm2 == pytest.approx(3_600)
    assert rear.resolved[PATCH] == Figure(0, 0, 0, 0, 0, 0, 0, 0, 0, ())


def test_worst_stage_has_the_place() -> None:
    scene = floor_scene()
    scene.mark("a", rect(100, 100, 300, 300), RUST, stage=RustStage.SURFACE, mm_on=FLOOR)
    scene.mark("b", rect(150, 150, 250, 250), RUST, stage=RustStage.SCALED, mm_on=FLOOR)
    scene.mark("a", disc(200, 200, 20, 400), RUST, stage=RustStage.HOLED, mm_on=FLOOR)
    scene.mark("a", rect(400, 400, 450, 450), RUST, mm_on=FLOOR)
    rear = zone(scene.measures(), "rear")
    hole = rear.stages[RustStage.HOLED].area_mm2
    assert hole == pytest.approx(np.pi * 400, rel=1e-3)
    assert rear.stages[RustStage.SCALED].area_mm2 == pytest.approx(10_000 - hole)
    assert rear.stages[RustStage.SURFACE].area_mm2 == pytest.approx(30_000)
    assert rear.kinds[RUST].area_mm2 == pytest.approx(42_500)


def test_sound_and_hidden_are_not_affected() -> None:
    scene = floor_scene()
    scene.mark("a", rect(100, 100, 200, 200), SOUND, mm_on=FLOOR)
    scene.mark("a", rect(300, 100, 400, 200), HIDDEN, mm_on=FLOOR)
    rear = zone(scene.measures(), "rear")
    assert rear.affected.area_mm2 == 0
    assert rear.kinds[SOUND].area_mm2 == pytest.approx(10_000)
    assert rear.kinds[HIDDEN].area_mm2 == pytest.approx(10_000)


@pytest.mark.parametrize(("gap", "pieces"), [(-10, 1), (0, 1), (1.9, 1), (2.1, 2), (30, 2)])
def test_a_gap_of_two_millimetres_closes(gap: float, pieces: int) -> None:
    scene = floor_scene()
    scene.mark("a", rect(100, 100, 200, 200), mm_on=FLOOR)
    scene.mark("b", rect(200 + gap, 100, 300 + gap, 200), mm_on=FLOOR)
    figure = zone(scene.measures(), "rear").kinds[RUST]
    assert (figure.pieces, figure.separate) == (pieces, pieces)


def test_a_piece_over_a_zone_seam_counts_once_in_the_group() -> None:
    scene = floor_scene()
    scene.mark("a", rect(450, 100, 550, 200), PATCH, mm_on=FLOOR)
    scene.mark("a", rect(700, 100, 800, 200), PATCH, mm_on=FLOOR)
    measures = scene.measures()
    assert [zone(measures, z).kinds[PATCH].pieces for z in ("rear", "front")] == [1, 2]
    for name in ("all", "side:left", "part:floor"):
        figure = group(measures, name).kinds[PATCH]
        assert (figure.pieces, figure.separate, figure.area_mm2) == (2, 2, pytest.approx(20_000))
        assert figure.perimeter_mm == pytest.approx(800)
    assert group(measures, "role:secondary").kinds[PATCH].pieces == 2
    assert zone(measures, "rear").kinds[PATCH].perimeter_mm == pytest.approx(200)


@pytest.mark.parametrize(("shift", "pieces"), [(0.0, 1), (90.0, 1), (101.5, 1), (103.0, 2)])
def test_a_piece_over_a_fold_counts_once_in_the_group(shift: float, pieces: int) -> None:
    """Floor and sill meet at v = 600; the sill's mark is shifted along the fold."""
    scene = Scene(template())
    scene.photo("a", {FLOOR: view()})
    scene.photo("b", {SILL: view(at=(-100, -400))})
    scene.mark("a", rect(300, 550, 400, 599.5), mm_on=FLOOR)
    scene.mark("b", rect(300 + shift, 0.5, 400 + shift, 50), mm_on=SILL)
    measures = scene.measures()
    assert group(measures, "all").kinds[RUST].pieces == pieces
    assert group(measures, "all").kinds[RUST].separate == pieces
    assert group(measures, "part:floor").kinds[RUST].pieces == 1


def test_a_mark_on_both_sides_of_a_fold_is_one() -> None:
    scene = Scene(template())
    scene.photo("a", {FLOOR: view(), SILL: view(at=(-100, -750))})
    scene.mark("a", rect(300, 500, 400, 700), PATCH, mm_on=FLOOR)
    measures = scene.measures()
    whole = group(measures, "all").kinds[PATCH]
    assert (whole.pieces, whole.separate, whole.area_mm2) == (1, 1, pytest.approx(20_000))
    assert whole.perimeter_mm == pytest.approx(600)  # the fold is not an edge


def test_a_plate_that_bridges_patches_does_not_lower_their_number() -> None:
    scene = floor_scene()
    for u in (60, 160, 260, 360):
        scene.mark("a", rect(u, 100, u + 60, 160), PATCH, mm_on=FLOOR)
    before = zone(scene.measures(), "rear").kinds[PATCH]
    scene.mark("b", rect(50, 120, 450, 140), PATCH, mm_on=FLOOR)
    after = zone(scene.measures(), "rear").kinds[PATCH]
    assert (before.pieces, before.separate) == (4, 4)
    assert (after.pieces, after.separate) == (1, 4)


def test_two_patches_that_meet_on_one_photo_are_two() -> None:
    scene = floor_scene()
    scene.mark("a", rect(100, 100, 200, 200), PATCH, mm_on=FLOOR)
    scene.mark("a", rect(200, 100, 300, 200), PATCH, mm_on=FLOOR)
    figure = zone(scene.measures(), "rear").kinds[PATCH]
    assert (figure.pieces, figure.separate) == (1, 2)
    assert zone(scene.measures(), "rear").patch_on_patch == 0


def test_a_sliver_over_a_seam_is_not_a_patch_there() -> None:
    scene = floor_scene()
    scene.mark("a", rect(400, 100, 500.5, 200), PATCH, mm_on=FLOOR)
    front = zone(scene.measures(), "front").kinds[PATCH]
    assert (front.separate, front.marks) == (0, ("m0",))
    assert front.area_mm2 == pytest.approx(50)


class TestPatchOnPatch:
    """The stated definition, which has to survive two photos of the same patch."""

    def count(self, scene: Scene) -> int:
        measures = scene.measures()
        assert group(measures, "all").patch_on_patch == zone(measures, "rear").patch_on_patch
        return zone(measures, "rear").patch_on_patch

    def test_one_patch_on_two_photos_is_not_one_on_the_other(self) -> None:
        scene = floor_scene()
        scene.mark("a", rect(100, 100, 200, 200), PATCH, mm_on=FLOOR)
        scene.mark("b", rect(104, 97, 203, 198), PATCH, mm_on=FLOOR)
        assert self.count(scene) == 0
        assert zone(scene.measures(), "rear").kinds[PATCH].separate == 1

    def test_half_of_a_patch_on_another_photo_is_not_either(self) -> None:
        scene = floor_scene()
        scene.mark("a", rect(100, 100, 200, 200), PATCH, mm_on=FLOOR)
        scene.mark("b", rect(100, 100, 130, 200), PATCH, mm_on=FLOOR)
        assert self.count(scene) == 0

    @pytest.mark.parametrize(("overlap", "count"), [(0, 0), (15, 0), (25, 1), (60, 1)])
    def test_two_on_one_photo_that_overlap_by_a_fifth(self, overlap: float, count: int) -> None:
        scene = floor_scene()
        scene.mark("a", rect(100, 100, 200, 200), PATCH, mm_on=FLOOR)
        scene.mark("a", rect(200 - overlap, 100, 300 - overlap, 200), PATCH, mm_on=FLOOR)
        assert self.count(scene) == count

    def test_a_small_one_inside_a_large_one(self) -> None:
        scene = floor_scene()
        scene.mark("a", rect(100, 100, 300, 300), PATCH, mm_on=FLOOR)
        scene.mark("a", rect(150, 150, 200, 200), PATCH, mm_on=FLOOR)
        assert self.count(scene) == 1

    def test_outlined_twice_by_mistake(self) -> None:
        scene = floor_scene()
        scene.mark("a", rect(100, 100, 200, 200), PATCH, mm_on=FLOOR)
        scene.mark("a", rect(103, 102, 202, 203), PATCH, mm_on=FLOOR)
        assert self.count(scene) == 0

    def test_the_same_place_on_two_photos_counts_once(self) -> None:
        scene = floor_scene()
        for photo, off in (("a", 0), ("b", 4)):
            scene.mark(photo, rect(100 + off, 100, 300 + off, 300), PATCH, mm_on=FLOOR)
            scene.mark(photo, rect(150 + off, 150, 200 + off, 200), PATCH, mm_on=FLOOR)
        assert self.count(scene) == 1

    def test_two_places_on_one_photo_count_twice(self) -> None:
        scene = floor_scene()
        scene.mark("a", rect(100, 100, 300, 300), PATCH, mm_on=FLOOR)
        scene.mark("a", rect(120, 120, 170, 170), PATCH, mm_on=FLOOR)
        scene.mark("a", rect(230, 230, 280, 280), PATCH, mm_on=FLOOR)
        assert self.count(scene) == 2

    def test_rust_on_a_patch_is_no_patch(self) -> None:
        scene = floor_scene()
        scene.mark("a", rect(100, 100, 300, 300), PATCH, mm_on=FLOOR)
        scene.mark("a", rect(150, 150, 200, 200), RUST, mm_on=FLOOR)
        assert self.count(scene) == 0


class TestCoverage:
    def shares(self, scene: Scene, name: str = "rear") -> tuple[float, float, float]:
        z = zone(scene.measures(), name)
        assert z.seen_share + z.hidden_share + z.never_seen_share == pytest.approx(1.0, abs=1e-12)
        return z.seen_share, z.hidden_share, z.never_seen_share

    def test_no_photo_shows_nothing(self) -> None:
        assert self.shares(floor_scene(), "sill-all") == (0.0, 0.0, 1.0)

    def test_one_photo_of_all(self) -> None:
        assert self.shares(floor_scene("a")) == (1.0, 0.0, 0.0)

    def test_hidden_on_the_only_photo(self) -> None:
        scene = floor_scene("a")
        scene.mark("a", rect(100, 100, 250, 300), HIDDEN, mm_on=FLOOR)
        assert self.shares(scene) == pytest.approx((0.9, 0.1, 0.0))

    def test_hidden_on_one_photo_but_seen_on_another(self) -> None:
        scene = floor_scene("ab")
        scene.mark("a", rect(100, 100, 250, 300), HIDDEN, mm_on=FLOOR)
        assert self.shares(scene) == pytest.approx((1.0, 0.0, 0.0))

    def test_hidden_on_both_where_both_hide_it(self) -> None:
        scene = floor_scene("ab")
        scene.mark("a", rect(100, 100, 250, 300), HIDDEN, mm_on=FLOOR)
        scene.mark("b", rect(200, 100, 350, 300), HIDDEN, mm_on=FLOOR)
        assert self.shares(scene)[1] == pytest.approx(50 * 200 / 300_000)

    def test_part_of_a_zone_and_a_group_by_area(self) -> None:
        scene = Scene(template())
        scene.photo("a", {FLOOR: view(0.3, at=(0, 0))})  # 600 x 450 mm from the rear inner corner
        assert self.shares(scene)[0] == pytest.approx(500 * 449.85 / 300_000, abs=1e-4)
        floor = group(scene.measures(), "part:floor")
        assert floor.seen_share == pytest.approx(599.85 * 449.85 / 600_000, abs=1e-4)
        assert group(scene.measures(), "all").never_seen_share > 0.5


class TestMountings:
    """The spring mounting is at (250, 450) on the floor."""

    def test_near_marks_are_listed_nearest_first_with_kind_and_stage(self) -> None:
        scene = floor_scene()
        scene.mark("a", rect(350, 440, 400, 460), PATCH, mm_on=FLOOR)
        scene.mark("a", rect(240, 440, 260, 460), RUST, stage=RustStage.HOLED, mm_on=FLOOR)
        scene.mark("a", rect(690, 440, 720, 460), FILLER, mm_on=FLOOR)
        scene.mark("a", rect(900, 10, 950, 60), RUST, mm_on=FLOOR)
        scene.mark("a", rect(240, 440, 260, 460), SOUND, mm_on=FLOOR)
        near = scene.measures().near_mountings
        assert [(d.mark, d.kind, d.stage) for d in near] == [
            ("m1", RUST, RustStage.HOLED), ("m0", PATCH, None), ("m2", FILLER, None),
        ]  # fmt: skip
        assert [d.distance_mm for d in near] == pytest.approx([0, 100, 440])
        assert [d.is_within_prescribed for d in near] == [True, True, False]

    def test_over_the_fold(self) -> None:
        """150 mm to the fold, 50 up the sill."""
        scene = Scene(template())
        scene.photo("b", {SILL: view(at=(-100, -400))})
        scene.mark("b", rect(240, 50, 260, 80), mm_on=SILL)
        assert [d.distance_mm for d in scene.measures().near_mountings] == pytest.approx([200])


def test_measures_know_every_source_they_name() -> None:
    scene = floor_scene()
    scene.mark("a", rect(100, 100, 200, 200), mm_on=FLOOR)
    measures = scene.measures()
    figure = zone(measures, "rear").kinds[RUST]
    assert set(figure.gradient) <= set(measures.sources)
    assert {label.split(":")[0] for label in figure.gradient} == {"clicks", "lens", "outline", "template scale"}
    assert sigma_of(figure.gradient, measures.sources) == pytest.approx(figure.sigma_mm2)


def test_registrations_of_another_survey_are_refused() -> None:
    scene = floor_scene()
    scene.mark("a", rect(100, 100, 200, 200), mm_on=FLOOR)
    with pytest.raises(InvalidValueError, match="no registration has the error source 'clicks:a/floor'"):
        measure(scene.projection(), {}, scene.survey(), scene.body)
