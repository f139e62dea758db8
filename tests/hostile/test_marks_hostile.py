"""Outlines nobody should draw, and everybody does."""

from __future__ import annotations

import numpy as np
import pytest

from corromap.errors import InvalidValueError
from corromap.frames import PhotoOutline
from corromap.survey import MarkKind
from tests.geo_scene import FLOOR, HEIGHT, WIDTH, Scene, disc, rect, template, view


def scene_with(ring: np.ndarray, holes: tuple[np.ndarray, ...] = (), *, in_mm: bool = True) -> Scene:
    scene = Scene(template(0.01))
    scene.photo("a", {FLOOR: view(0.6, tilt=-1e-4)})
    scene.mark("a", ring, MarkKind.RUST, mm_on=FLOOR if in_mm else None, holes=holes)
    return scene


def area_and_fate(scene: Scene) -> tuple[float, object]:
    whole = scene.measures().groups[0].affected
    assert whole.low_mm2 <= whole.area_mm2 <= whole.high_mm2
    assert np.isfinite(whole.sigma_mm2)
    return whole.area_mm2, scene.projection().fates[0]


def test_ground_traced_twice_by_one_stroke_stays_in() -> None:
    """Two squares of 10 x 10 in one line share 5 x 6, so 170; even-odd filling would give 140."""
    first, second = [(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)], [(5, 4), (15, 4), (15, 14), (5, 14), (5, 4)]
    assert PhotoOutline(np.array(first + second, dtype=float)).repaired().area == pytest.approx(170)


def test_bow_tie_keeps_both_halves() -> None:
    scene = scene_with(np.array([[100, 100], [200, 200], [200, 100], [100, 200]]))
    area, fate = area_and_fate(scene)
    assert area == pytest.approx(5_000, rel=1e-6)
    assert fate.placed_share == pytest.approx(1.0)
    assert scene.projection().marks[0].was_repaired
    assert scene.measures().groups[0].affected.pieces == 1  # they meet at a point


def test_loop_traced_twice_counts_once() -> None:
    scene = scene_with(np.concatenate([rect(100, 100, 200, 200), rect(100, 100, 200, 200)]))
    assert area_and_fate(scene)[0] == pytest.approx(10_000, rel=1e-6)
    assert scene.projection().marks[0].was_repaired


def test_three_points_on_a_line_enclose_nothing_and_say_so() -> None:
    scene = scene_with(np.array([[10.0, 10.0], [20.0, 20.0], [30.0, 30.0]]), in_mm=False)
    area, fate = area_and_fate(scene)
    assert (area, fate.placed_share, fate.lost_edge_share) == (0.0, 0.0, 1.0)
    assert "encloses nothing" in fate.message


def test_twenty_thousand_points() -> None:
    ring = disc(1000, 700, 400, 20_000) + np.random.default_rng(0).normal(0, 0.01, (20_000, 2))
    area, fate = area_and_fate(scene_with(ring, in_mm=False))
    assert fate.placed_share == pytest.approx(1.0)
    round_one = area_and_fate(scene_with(disc(1000, 700, 400, 200), in_mm=False))[0]
    assert area == pytest.approx(round_one, rel=1e-3)


def test_twenty_thousand_points_of_scribble() -> None:
    """A freehand stroke that crosses itself thousands of times."""
    ring = (WIDTH / 2, HEIGHT / 2) + np.random.default_rng(1).normal(0, 60, (700, 2)).cumsum(axis=0) * 0.2
    area, fate = area_and_fate(scene_with(ring, in_mm=False))
    assert area > 0
    assert fate.placed_share + fate.lost_edge_share + fate.lost_frame_share == pytest.approx(1.0, abs=1e-6)


def test_too_many_points_are_refused_in_a_sentence() -> None:
    with pytest.raises(InvalidValueError, match="20001 points; at most 20000 are taken: simplify the outline"):
        PhotoOutline(disc(0, 0, 1, 20_001))


def test_outline_wholly_off_the_photo() -> None:
    area, fate = area_and_fate(scene_with(rect(-500, -500, -100, -100), in_mm=False))
    assert (area, fate.lost_frame_share) == (0.0, 1.0)


def test_outline_far_larger_than_the_photo() -> None:
    scene = scene_with(rect(-1e6, -1e6, 1e6, 1e6), in_mm=False)
    area, fate = area_and_fate(scene)
    assert area <= 600_000
    assert fate.lost_frame_share > 0.999


@pytest.mark.parametrize(
    ("hole", "area"),
    [
        pytest.param(rect(300, 300, 350, 350), 10_000, id="outside"),
        pytest.param(rect(150, 150, 250, 250), 7_500, id="across"),
        pytest.param(rect(100, 100, 200, 200), 0, id="the whole"),
        pytest.param(rect(0, 0, 500, 500), 0, id="around"),
    ],
)
def test_hole_that_is_not_inside(hole: np.ndarray, area: float) -> None:
    scene = scene_with(rect(100, 100, 200, 200), (hole,))
    found, fate = area_and_fate(scene)
    assert found == pytest.approx(area, rel=1e-6, abs=1e-6)
    if area == 0:
        assert "encloses nothing" in fate.message


def test_needle_and_speck() -> None:
    needle = scene_with(np.array([[100, 100], [900, 100.001], [100, 100.002]]))
    assert 0 <= area_and_fate(needle)[0] < 1.0
    speck = scene_with(rect(100, 100, 100 + 1e-6, 100 + 1e-6))
    assert 0 <= area_and_fate(speck)[0] < 1e-6


def test_a_thousand_marks_on_one_spot() -> None:
    """Every one touches every other: no recursion runs away, and it is one piece."""
    scene = Scene(template(0.01))
    scene.photo("a", {FLOOR: view(0.6)})
    rng = np.random.default_rng(4)
    for x, y in rng.normal((500, 300), 15, (400, 2)):
        scene.mark("a", disc(x, y, 20, 12), MarkKind.RUST, mm_on=FLOOR)
    whole = scene.measures().groups[0].affected
    assert whole.pieces == 1
    assert 1 <= whole.separate < 30


def test_a_long_row_of_touching_marks() -> None:
    scene = Scene(template(0.01))
    scene.photo("a", {FLOOR: view(0.6)})
    for i in range(300):
        scene.mark("a", rect(10 + 3 * i, 100, 13 + 3 * i, 110), MarkKind.RUST, mm_on=FLOOR)
    whole = scene.measures().groups[0].affected
    assert (whole.pieces, whole.separate) == (1, 150)
