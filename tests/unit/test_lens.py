"""One radial term: there and back, against OpenCV, far out, and its derivatives."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from corromap.errors import InvalidValueError
from corromap.registration import Lens
from tests.registration_scene import FOCAL, MIDDLE, lens

GRID = np.stack(np.meshgrid(np.linspace(0, 1999, 15), np.linspace(0, 1499, 13)), axis=-1).reshape(-1, 2)
TERMS = [pytest.param(k1, id=f"k1={k1}") for k1 in (-0.35, -0.1, 0.0, 0.2)]


@pytest.mark.parametrize("k1", TERMS)
def test_undistort_undoes_distort(k1):
    wide = lens(k1, (0.02, -0.01))
    np.testing.assert_allclose(wide.distort(wide.undistort(GRID)), GRID, atol=1e-9)


@pytest.mark.parametrize("k1", [-0.2, -0.05, 0.15])
def test_distort_is_opencv_s_first_radial_term(k1):
    wide = lens(k1, (0.01, 0.02))
    undistorted = wide.undistort(GRID)
    rays = np.column_stack([(undistorted - wide.centre_px) / FOCAL, np.ones(len(GRID))])
    matrix = np.array([[FOCAL, 0, wide.centre_px[0]], [0, FOCAL, wide.centre_px[1]], [0, 0, 1]])
    there, _ = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), matrix, np.array([k1, 0, 0, 0, 0]))
    np.testing.assert_allclose(there.reshape(-1, 2), GRID, atol=1e-8)


def test_no_pixel_is_without_a_place_where_the_cubic_turns_back():
    fisheye = lens(-0.5)  # the cubic turns at r = 0.82; the corner of this photo lies at r = 0.83
    outwards = MIDDLE + np.linspace(0, 3 * FOCAL, 400)[:, None] * [0.8, 0.6]
    distance = np.hypot(*(fisheye.undistort(outwards) - MIDDLE).T)
    assert (np.diff(distance) > 0).all()
    np.testing.assert_allclose(fisheye.distort(fisheye.undistort(outwards)), outwards, atol=1e-8)


@pytest.mark.parametrize("k1", TERMS)
@pytest.mark.parametrize("way", ["distort", "undistort"])
def test_jacobians_agree_with_differences(k1, way):
    wide = lens(k1, (0.03, 0.01))
    move, jacobian = getattr(wide, way), getattr(wide, f"{way}_jacobian")
    step = 1e-3
    for axis in (0, 1):
        change = step * np.eye(2)[axis]
        difference = (move(GRID + change) - move(GRID - change)) / (2 * step)
        np.testing.assert_allclose(jacobian(GRID)[:, :, axis], difference, atol=1e-6)


@pytest.mark.parametrize("way", ["distort", "undistort"])
def test_derivatives_by_the_lens_agree_with_differences(way):
    def moved(change):
        return getattr(lens(-0.3 + change[0], np.array([0.02, 0.01]) + change[1:]), way)(GRID)

    wide = lens(-0.3, (0.02, 0.01))
    by_lens = wide.distort_by_lens(GRID) if way == "distort" else wide.undistort_by_lens_at(wide.undistort(GRID))
    for axis, change in enumerate(1e-6 * np.eye(3)):
        difference = (moved(change) - moved(-change)) / 2e-6
        # at k1 = -0.3 the farthest corner lies beyond the last radius: the continued part is tested too
        np.testing.assert_allclose(by_lens[:, :, axis], difference, rtol=1e-5, atol=1e-4)


def test_the_centre_stays_where_it_is():
    wide = lens(-0.2)
    np.testing.assert_array_equal(wide.undistort(MIDDLE), MIDDLE[None])
    np.testing.assert_allclose(wide.undistort_jacobian(MIDDLE), np.eye(2)[None])


@pytest.mark.parametrize(
    ("focal", "k1", "sigma", "text"),
    [
        (0.0, 0.0, 0.0, "focal length 0.0 px"),
        (100.0, 0.0, -0.1, "sigma of k1 -0.1"),
        (100.0, float("nan"), 0.1, "must be finite"),
    ],
)
def test_impossible_lenses_are_refused(focal, k1, sigma, text):
    with pytest.raises(InvalidValueError, match=text):
        Lens(None, MIDDLE, focal, k1, sigma, "")


def test_covariance_and_sigma_must_agree():
    with pytest.raises(InvalidValueError, match=r"covariance 0\.04 of k1, but sigma 0\.1"):
        Lens(None, MIDDLE, 100.0, 0.0, 0.1, "", np.diag([0.04, 0, 0]))
