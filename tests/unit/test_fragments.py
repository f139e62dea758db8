"""One plate in parts on several photos, and two plates that must stay two."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corromap.survey import MarkKind, RustStage
from tests.geo_scene import FLOOR, Scene, rect, template, view

PATCH = MarkKind.PATCH
WIDE = 1200.0
"""What a photo shows across, mm, at 0.6 mm a pixel."""


def left_of(edge: float) -> np.ndarray:
    """A photo that shows the floor up to this u and no farther."""
    return view(0.6, at=(edge - WIDE, -150.0))


def right_of(edge: float) -> np.ndarray:
    return view(0.6, at=(edge, -150.0))


def in_two(left_edge: float, right_edge: float, kind: MarkKind = PATCH, stage: RustStage | None = None) -> Scene:
    """A plate from 200 to 500 as far as a photo from the left and one from the right show it."""
    scene = Scene(template())
    scene.photo("left", {FLOOR: left_of(left_edge)})
    scene.photo("right", {FLOOR: right_of(right_edge)})
    scene.mark("left", rect(200, 100, min(left_edge, 500), 200), kind, mm_on=FLOOR, stage=stage)
    scene.mark("right", rect(max(right_edge, 200), 100, 500, 200), kind, mm_on=FLOOR, stage=stage)
    return scene


def patches(scene: Scene) -> tuple[int, int]:
    figure = scene.measures().groups[0].kinds[PATCH]
    return figure.separate, figure.pieces


@pytest.mark.parametrize(("left_edge", "right_edge"), [(330, 370), (300, 420), (340, 345)])
def test_parts_that_end_at_the_photos_edges_may_be_one_plate(left_edge: float, right_edge: float) -> None:
    assert patches(in_two(left_edge, right_edge)) == (1, 2)


def test_parts_farther_apart_than_a_plate_is_long_are_two() -> None:
    assert patches(in_two(280, 440)) == (2, 2)


@pytest.mark.parametrize("margin", [20, 60])
def test_shown_ground_between_tells_two_plates_apart(margin: float) -> None:
    """The left photo shows sound floor beyond its patch."""
    scene = Scene(template())
    scene.photo("left", {FLOOR: left_of(300 + margin)})
    scene.photo("right", {FLOOR: right_of(350)})
    scene.mark("left", rect(200, 100, 300, 200), PATCH, mm_on=FLOOR)
    scene.mark("right", rect(350, 100, 500, 200), PATCH, mm_on=FLOOR)
    assert patches(scene) == (2, 2)


def test_a_photo_that_shows_both_places_tells_them_apart() -> None:
    """Both photos show the floor whole; each has one patch."""
    scene = Scene(template())
    scene.photo("left", {FLOOR: view()})
    scene.photo("right", {FLOOR: view()})
    scene.mark("left", rect(200, 100, 300, 200), PATCH, mm_on=FLOOR)
    scene.mark("right", rect(308, 100, 500, 200), PATCH, mm_on=FLOOR)
    assert patches(scene) == (2, 2)


def test_two_of_one_photo_are_two() -> None:
    scene = Scene(template())
    scene.photo("one", {FLOOR: view()})
    scene.mark("one", rect(200, 100, 300, 200), PATCH, mm_on=FLOOR)
    scene.mark("one", rect(304, 100, 500, 200), PATCH, mm_on=FLOOR)
    assert patches(scene) == (2, 2)


def test_a_photo_of_the_whole_plate_does_not_make_two_of_it() -> None:
    scene = in_two(330, 370)
    scene.photo("whole", {FLOOR: view()})
    scene.mark("whole", rect(200, 100, 500, 200), PATCH, mm_on=FLOOR)
    assert patches(scene) == (1, 1)


def test_two_whole_plates_beside_their_parts_are_two() -> None:
    """The parts may be one plate; a photo that shows both plates whole knows better."""
    scene = in_two(330, 370)
    scene.photo("whole", {FLOOR: view()})
    scene.mark("whole", rect(200, 100, 340, 200), PATCH, mm_on=FLOOR)
    scene.mark("whole", rect(360, 100, 500, 200), PATCH, mm_on=FLOOR)
    assert patches(scene) == (2, 2)


def test_rust_is_not_patches() -> None:
    found = in_two(330, 370, MarkKind.RUST, RustStage.HOLED).measures().groups[0]
    assert found.kinds[MarkKind.RUST].separate == 2


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 2), st.floats(150, 700), st.floats(20, 200)), min_size=1, max_size=7),
    st.integers(0, 6),
)
def test_another_mark_never_lowers_the_count(marks: list[tuple[int, float, float]], later: int) -> None:
    scene = Scene(template())
    for name, matrix in (("0", left_of(400)), ("1", right_of(430)), ("2", view())):
        scene.photo(name, {FLOOR: matrix})
    drawn = [(str(photo), rect(u, 100, u + wide, 200)) for photo, u, wide in marks]
    for photo, ring in drawn[: later or 1]:
        scene.mark(photo, ring, PATCH, mm_on=FLOOR)
    before = patches(scene)[0]
    for photo, ring in drawn[later or 1 :]:
        scene.mark(photo, ring, PATCH, mm_on=FLOOR)
    assert patches(scene)[0] >= before
