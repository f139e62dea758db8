"""The next point to click."""

from __future__ import annotations

import numpy as np
import pytest

from corromap.registration import next_datum
from corromap.template import Panel
from tests.registration_scene import DATUM_MM, Camera, fitted, lens, panel, photo, sightings, template

CAMERA = Camera.at(3, lens())


def asked(points: np.ndarray, clicked: list[int], camera: Camera = CAMERA, on: Panel | None = None) -> str | None:
    on = panel(points) if on is None else on
    seen = sightings(camera.sees(points)[clicked], order=clicked)
    return next_datum(photo(), on, seen, template(on))


def test_first_point_is_the_first_of_the_template():
    assert asked(DATUM_MM, []) == "floor-0"


def test_second_point_is_the_farthest():
    assert asked(DATUM_MM, [0]) == "floor-2"


def test_third_point_makes_the_largest_triangle():
    assert asked(DATUM_MM, [0, 2]) in {"floor-1", "floor-3"}


def test_fourth_point_is_on_no_line_with_two_of_the_others():
    points = np.array([[50, 50], [950, 50], [950, 550], [500, 50], [500, 300], [60, 540]], dtype=float)
    assert asked(points, [0, 1, 2]) == "floor-5"


def test_fifth_point_shrinks_the_error_of_the_fit_most():
    """Against the determinant of the covariance after each candidate is clicked."""
    next_id = asked(DATUM_MM, [0, 1, 2, 3])
    clicks = CAMERA.sees(DATUM_MM)
    volumes = {}
    for candidate in range(4, 8):
        chosen = [0, 1, 2, 3, candidate]
        covariance = fitted(clicks[chosen], order=chosen).sources[0].covariance
        # the parameters depend on the points; the error they make at fixed pixels does not
        moved = fitted(clicks[chosen], order=chosen).sensitivities(clicks[:4])["clicks:photo-1/floor"].reshape(8, 8)
        volumes[f"floor-{candidate}"] = np.linalg.slogdet(moved @ covariance @ moved.T)[1]
    assert next_id == min(volumes, key=volumes.__getitem__)


def test_points_outside_the_photo_are_not_asked_for_once_it_is_placed():
    points = np.vstack([DATUM_MM, [[5000, 300]]])
    on = panel(points)
    assert asked(points, [0, 1, 2, 3], on=on) != "floor-8"
    assert asked(points, list(range(8)), on=on) is None


def test_nothing_is_left_when_all_are_clicked():
    assert asked(DATUM_MM, list(range(8))) is None


def test_points_on_one_line_ask_for_one_off_it():
    points = np.array([[50, 300], [300, 300], [600, 300], [950, 300], [500, 300], [500, 520]], dtype=float)
    assert asked(points, [0, 1, 2, 3]) == "floor-5"


@pytest.mark.parametrize("clicked", [[0, 1], [0, 1, 2]])
def test_points_that_seem_to_lie_outside_come_last_before_it_is_placed(clicked):
    points = np.vstack([DATUM_MM, [[4000, 4000]]])
    assert asked(points, clicked) != "floor-8"


@pytest.mark.parametrize("seed", range(6))
def test_clicking_what_is_asked_for_ends_in_a_good_placing(seed):
    camera, clicked = Camera.at(seed, lens()), []
    while (wanted := asked(DATUM_MM, clicked, camera)) is not None and len(clicked) < 6:
        clicked.append(int(wanted.removeprefix("floor-")))
    placed = fitted(camera.sees(DATUM_MM)[clicked], order=clicked)
    assert len(clicked) == 6
    np.testing.assert_allclose(placed.to_mm(camera.sees(DATUM_MM))[0], DATUM_MM, atol=1e-6)
