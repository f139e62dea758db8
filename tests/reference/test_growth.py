"""How much a union of erring outlines grows: order statistics, and discs drawn many times."""

from __future__ import annotations

import numpy as np
import pytest

from corromap.frames import MarkId, PhotoId
from corromap.measures import measure
from corromap.measures.growth import expected_largest
from corromap.projection import project
from corromap.registration import place_photos
from corromap.survey import MarkKind, Photo, Sighting, Survey
from tests.unit.surveys import MM_PER_PX, TEMPLATE, mark_at, survey_of

PANEL = "floor-left"
SIGMA_PX, RADIUS_MM = 3.0, 60.0


@pytest.mark.parametrize(
    ("count", "expected"), [(1, 0.0), (2, 1 / np.sqrt(np.pi)), (3, 1.5 / np.sqrt(np.pi)), (5, 1.16296), (10, 1.53875)]
)
def test_mean_of_the_largest_of_normal_numbers(count, expected):
    """Harter, Expected values of normal order statistics (1961); values from memory, two and three in closed form."""
    assert expected_largest(count) == pytest.approx(expected, abs=1e-4)


def disc(radius_mm: float) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    return [600.0, 225.0] + radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])


def survey_with(radii_mm: list[float]) -> Survey:
    """One disc on as many photos as radii."""
    one = survey_of([PANEL])
    first = one.photos[0]
    photos = [
        Photo(PhotoId(f"p{i}"), f"p{i}.jpg", "0" * 64, first.width_px, first.height_px, focal_px=3000.0)
        for i in range(len(radii_mm))
    ]
    sightings = [Sighting(p.id, s.datum, s.at_px) for p in photos for s in one.sightings]
    drawn = [mark_at(f"m{i}", PANEL, disc(r), MarkKind.PATCH) for i, r in enumerate(radii_mm)]
    marks = [type(m)(MarkId(m.id), p.id, m.kind, m.outline) for m, p in zip(drawn, photos, strict=True)]
    return Survey("s", photos=tuple(photos), marks=tuple(marks), sightings=tuple(sightings))


def figure(survey: Survey):
    placed = place_photos(survey, TEMPLATE)
    return measure(project(survey, TEMPLATE, placed), placed, survey, TEMPLATE).groups[0].kinds[MarkKind.PATCH]


def test_one_photo_has_a_symmetric_interval():
    found = figure(survey_with([RADIUS_MM]))
    assert found.high_mm2 - found.area_mm2 == pytest.approx(found.area_mm2 - found.low_mm2, rel=1e-9)


def test_intervals_of_many_photos_hold_the_truth():
    """Five photos of one disc, each outline in or out by 3 px: the union is too large, its interval is not."""
    random, held, too_large = np.random.default_rng(3), [], []
    true = 0.5 * 60 * np.sin(2 * np.pi / 60) * RADIUS_MM**2
    for _ in range(25):
        found = figure(survey_with(list(RADIUS_MM + SIGMA_PX * MM_PER_PX * random.standard_normal(5))))
        held.append(found.low_mm2 <= true <= found.high_mm2)
        too_large.append(found.area_mm2 > true)
    assert np.mean(too_large) > 0.85
    assert np.mean(held) >= 0.88
