"""Degrees of rusting on both sides of every limit of the published tables."""

import math

import pytest
from shapely import Point, box

from corromap.measures.rusting import ISO_4628_3, astm_grade, nearest_picture, rust_degree

# ASTM D610-08 (2012), Table 1: largest per cent of each grade (as printed there)
LIMITS = [(0.01, 10), (0.03, 9), (0.1, 8), (0.3, 7), (1, 6), (3, 5), (10, 4), (16, 3), (33, 2), (50, 1)]


@pytest.mark.parametrize(("percent", "grade"), LIMITS)
def test_each_limit_on_both_sides(percent, grade):
    assert astm_grade(percent) == grade
    assert astm_grade(math.nextafter(percent, 0)) == grade
    assert astm_grade(math.nextafter(percent, 100)) == grade - 1


@pytest.mark.parametrize(("percent", "grade"), LIMITS)
def test_limits_on_synthetic_areas(percent, grade):
    """A round rust spot on a 1 m2 plate, a hair smaller and a hair larger than the limit."""
    plate = box(0, 0, 1000, 1000)
    for factor, expected in ((0.999, grade), (1.001, grade - 1)):
        half = 1000 * math.sqrt(factor * percent / 100) / 2
        spot = box(500 - half, 500 - half, 500 + half, 500 + half)
        assert astm_grade(100 * spot.intersection(plate).area / plate.area) == expected


def test_ends():
    assert astm_grade(0) == 10
    assert astm_grade(100) == 0


@pytest.mark.parametrize(("picture", "percent"), ISO_4628_3)
def test_each_picture_is_nearest_to_itself(picture, percent):
    assert nearest_picture(percent) == picture


@pytest.mark.parametrize(
    ("below", "above"),
    [(("Ri 1", 0.05), ("Ri 2", 0.5)), (("Ri 2", 0.5), ("Ri 3", 1.0)), (("Ri 3", 1.0), ("Ri 4", 8.0))],
)
def test_between_two_pictures_the_nearer_by_ratio(below, above):
    middle = math.sqrt(below[1] * above[1])
    assert nearest_picture(0.999 * middle) == below[0]
    assert nearest_picture(1.001 * middle) == above[0]


def test_a_trace_is_not_no_rust():
    assert nearest_picture(1e-6) == "Ri 1"
    assert nearest_picture(100) == "Ri 5"


def test_interval_of_the_grade_turns_round():
    degree = rust_degree(0.02, 0.008, 0.12)
    assert (degree.grade, degree.low_grade, degree.high_grade) == (5, 3, 6)
    assert degree.picture == "Ri 3"
    spot = Point(0, 0).buffer(10)
    assert rust_degree(spot.area / 1e6, 0, 1).percent == pytest.approx(100 * spot.area / 1e6)
