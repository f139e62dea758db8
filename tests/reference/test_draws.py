"""Draws of a placing: against refitting every draw, and against first order."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
import shapely

from corromap.errors import InvalidValueError
from corromap.registration import draw_matrices
from corromap.registration.homography import apply
from tests.registration_scene import DATUM_MM, Camera, fitted, lens

OUTLINE_MM = np.array([[300, 200], [600, 200], [600, 400], [300, 400]], dtype=float)
SCENES = [
    pytest.param(count, seed, k1, id=f"{count} points, camera {seed}, k1 {k1}")
    for count in (4, 6, 8)
    for seed, k1 in ((1, 0.0), (3, -0.15))
]


def scene(count: int, seed: int, k1: float):
    camera = Camera.at(seed, lens(k1))
    clicks = camera.sees(DATUM_MM[:count]) + np.random.default_rng(seed).normal(0, 1.5, (count, 2))
    found = fitted(clicks, lens_=camera.lens)
    return found, found.lens.undistort(camera.sees(OUTLINE_MM)), camera.sees(OUTLINE_MM)


def areas(matrices: np.ndarray, undistorted: np.ndarray) -> np.ndarray:
    return shapely.area(shapely.polygons(np.stack([apply(m, undistorted)[0] for m in matrices])))


@pytest.mark.parametrize(("count", "seed", "k1"), SCENES)
def test_first_order_agrees_with_the_draws(count, seed, k1):
    """Standard deviation of an area within 5 % (4 000 draws: 1.1 % of it is chance)."""
    found, undistorted, outline = scene(count, seed, k1)
    drawn = areas(draw_matrices(found, 4000, seed=5), undistorted)
    corners = found.to_mm(outline)[0]
    across = (np.roll(corners, -1, axis=0) - np.roll(corners, 1, axis=0)) / 2
    by_corner = np.column_stack([across[:, 1], -across[:, 0]])
    source = found.sources[0]
    gradient = np.einsum("ni,nip->p", by_corner, found.sensitivities(outline)[source.label])
    assert np.sqrt(gradient @ source.covariance @ gradient) == pytest.approx(drawn.std(), rel=0.05)


@pytest.mark.parametrize(("count", "seed"), [(4, 1), (8, 1), (8, 4)])
def test_two_chord_steps_come_to_where_a_full_fit_comes(count, seed):
    """Each draw against cv2.findHomography on the same moved clicks (straight lens: the same sum is minimised)."""
    found, undistorted, _ = scene(count, seed, 0.0)
    noise = np.random.default_rng(9).normal(0.0, found.sigma_px, (200, 2 * count)).reshape(-1, count, 2)
    fitted_px = found.sighted_px - found.residual_px
    drawn = draw_matrices(found, 200, seed=9)
    off = []
    for matrix, moved in zip(drawn, noise, strict=True):
        full, _ = cv2.findHomography(found.datum_mm, fitted_px + moved, 0)
        off.append(np.abs(apply(matrix, undistorted)[0] - apply(np.linalg.inv(full), undistorted)[0]).max())
    # a click error of 2 px is some 1.5 mm here
    assert np.max(off) < 0.05


def test_same_seed_same_draws():
    found, _, _ = scene(6, 1, 0.0)
    np.testing.assert_array_equal(draw_matrices(found, 10, seed=3), draw_matrices(found, 10, seed=3))
    assert not np.array_equal(draw_matrices(found, 10, seed=3), draw_matrices(found, 10, seed=4))
    assert draw_matrices(found, 10, seed=3).shape == (10, 3, 3)


def test_draws_lie_around_the_fit():
    found, undistorted, outline = scene(8, 1, -0.15)
    mean = np.mean([apply(m, undistorted)[0] for m in draw_matrices(found, 4000, seed=1)], axis=0)
    np.testing.assert_allclose(mean, found.to_mm(outline)[0], atol=0.1)


def test_intervals_hold_the_truth_as_often_as_they_say():
    """300 clicks of the same photo, six points, sigma as set: 95 % intervals of the area hold 90 to 99 %."""
    camera, held = Camera.at(3, lens()), 0
    outline, random = camera.sees(OUTLINE_MM), np.random.default_rng(11)
    for _ in range(300):
        found = fitted(camera.sees(DATUM_MM[:6]) + random.normal(0, 2, (6, 2)))
        corners = found.to_mm(outline)[0]
        across = (np.roll(corners, -1, axis=0) - np.roll(corners, 1, axis=0)) / 2
        by_corner = np.column_stack([across[:, 1], -across[:, 0]])
        source = found.sources[0]
        gradient = np.einsum("ni,nip->p", by_corner, found.sensitivities(outline)[source.label])
        sigma = np.sqrt(gradient @ source.covariance @ gradient)
        held += abs(shapely.Polygon(corners).area - 60_000.0) < 1.96 * sigma
    assert 270 <= held <= 297


def test_other_methods_are_refused():
    found, _, _ = scene(6, 1, 0.0)
    with pytest.raises(InvalidValueError, match="draws need a fit to one panel, found method 'camera'"):
        draw_matrices(replace(found, method="camera"), 10, seed=1)
