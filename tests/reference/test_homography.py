"""Plane-to-plane maps against published figures and other people's code."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import shapely
from skimage.transform import ProjectiveTransform

from corromap.registration.homography import apply, direct_linear, normaliser
from corromap.registration.panel_fit import fit_panel
from tests.opencv_pictures import opencv_sample
from tests.registration_scene import DATUM_MM, Camera, lens

# Debian opencv-doc 4.6.0, examples/data/H1to3p.xml: maps graf1.png to graf3.png
GRAFFITI = np.array(
    [[0.76285898, -0.29922929, 225.67123], [0.33443473, 1.0143901, -76.999973], [3.4663091e-4, -1.4364524e-5, 1.0]]
)


def fitted_matrix(source: np.ndarray, target: np.ndarray) -> np.ndarray:
    """Map from source to target, last entry 1: panel mm stand for the source, photo px for the target."""
    matrix = np.linalg.inv(fit_panel(target, source, lens()).px_to_mm())
    return matrix / matrix[2, 2]


def test_scikit_image_s_documented_example():
    """scikit-image 0.26, docstring of ProjectiveTransform: src and dst of its four-point example."""
    source = np.array([[0, 0], [0, 50], [300, 50], [300, 0]], dtype=float)
    target = np.array([[155, 15], [65, 40], [260, 130], [360, 95]], dtype=float)
    ours = fitted_matrix(source, target)
    published = [
        [0.467219589, -1.85339652, 155.0],
        [0.209636651, 0.4671406, 15.0],
        [-6.00315956e-4, -8.21484992e-4, 1.0],
    ]
    np.testing.assert_allclose(ours, published, rtol=1e-7)
    theirs = ProjectiveTransform.from_estimate(source, target).params
    np.testing.assert_allclose(ours, theirs / theirs[2, 2], rtol=1e-9, atol=1e-12)
    # the centre goes to where the target's diagonals cross, whatever the map
    centre = apply(ours, np.array([[150.0, 25.0]]))[0][0]
    diagonals = [shapely.LineString(target[[0, 2]]), shapely.LineString(target[[1, 3]])]
    crossing = shapely.intersection(*diagonals)
    np.testing.assert_allclose(centre, [crossing.x, crossing.y], atol=1e-9)
    np.testing.assert_allclose(centre, [200.97247, 65.35080], atol=5e-6)


@pytest.mark.parametrize("count", [4, 6, 8])
@pytest.mark.parametrize("seed", range(5))
def test_fit_agrees_with_opencv(count, seed):
    """cv2.findHomography(method 0) minimises the same sum, errors in the target, when the lens is straight."""
    clicks = Camera.at(seed, lens()).sees(DATUM_MM[:count]) + np.random.default_rng(seed).normal(0, 2, (count, 2))
    ours = fitted_matrix(DATUM_MM[:count], clicks)
    theirs, _ = cv2.findHomography(DATUM_MM[:count], clicks, 0)
    grid = np.stack(np.meshgrid(np.linspace(0, 1000, 5), np.linspace(0, 600, 5)), axis=-1).reshape(-1, 2)
    # OpenCV stops its refinement at about 1e-4 px
    np.testing.assert_allclose(apply(ours, grid)[0], apply(theirs, grid)[0], atol=0.02)
    missed = [((apply(m, DATUM_MM[:count])[0] - clicks) ** 2).sum() for m in (ours, theirs)]
    assert missed[0] <= missed[1] + 1e-9


@pytest.mark.parametrize("seed", range(3))
def test_linear_start_agrees_with_scikit_image(seed):
    """scikit-image's estimate is the same transform, normalised by the root mean square distance, not the mean."""
    source = DATUM_MM
    target = Camera.at(seed, lens()).sees(source) + np.random.default_rng(seed).normal(0, 3, source.shape)
    a, b = normaliser(source), normaliser(target)
    ours = np.linalg.inv(b) @ direct_linear(apply(a, source)[0], apply(b, target)[0]) @ a
    theirs = ProjectiveTransform.from_estimate(source, target).params
    np.testing.assert_allclose(apply(ours, source)[0], apply(theirs, source)[0], atol=1e-3)


def test_graffiti_square_of_200_px():
    """40 000 px2 of graf1 cover 24 129.66 px2 of graf3."""
    storage = cv2.FileStorage(str(opencv_sample("H1to3p.xml")), cv2.FILE_STORAGE_READ)
    published = storage.getNode("H13").mat()
    np.testing.assert_allclose(published, GRAFFITI, rtol=1e-8)
    corners = np.array([[0, 0], [799, 0], [799, 639], [0, 639]], dtype=float)
    square = np.array([[200, 200], [400, 200], [400, 400], [200, 400]], dtype=float)
    ours = fitted_matrix(corners, apply(published, corners)[0])
    np.testing.assert_allclose(ours, published, rtol=1e-8, atol=1e-12)
    np.testing.assert_allclose(
        apply(ours, corners)[0],
        [[225.67, -77.00], [654.05, 148.96], [507.97, 661.32], [34.78, 576.49]],
        atol=0.006,
    )
    assert shapely.Polygon(apply(ours, square)[0]).area == pytest.approx(24129.66, abs=0.005)


@pytest.mark.parametrize(("x", "y", "radius"), [(300, 300, 100), (100, 500, 80), (650, 150, 140)])
def test_circle_under_a_projective_map(x, y, radius):
    """A circle maps to the conic H^-T C H^-1; the area of a conic is closed form.

    For the conic q = [[A, b], [b', c]] it is pi |b' A^-1 b - c| / sqrt(det A).
    """
    circle = np.array([[1, 0, -x], [0, 1, -y], [-x, -y, x * x + y * y - radius * radius]], dtype=float)
    back = np.linalg.inv(GRAFFITI)
    conic = back.T @ circle @ back
    quadratic, linear, constant = conic[:2, :2], conic[:2, 2], conic[2, 2]
    exact = np.pi * abs(linear @ np.linalg.solve(quadratic, linear) - constant) / np.linalg.det(quadratic) ** 0.5
    turn = np.linspace(0, 2 * np.pi, 20_000, endpoint=False)
    outline = np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])
    assert shapely.Polygon(apply(GRAFFITI, outline)[0]).area == pytest.approx(exact, rel=1e-6)


def test_horizon_is_told_by_w_where_libraries_return_a_mirrored_place():
    """scikit-image 0.26 and OpenCV 5.0 both give a finite place beyond the horizon; w tells."""
    horizon = np.array([[1, 0, 0], [0, 1, 0], [0, -0.01, 1.0]])  # at y = 100
    points = np.array([[10.0, 99.0], [10.0, 100.0], [10.0, 101.0]])
    theirs = cv2.perspectiveTransform(points[None], horizon)[0]
    assert np.isfinite(theirs).all()
    mapped, w = apply(horizon, points)
    assert list(np.sign(np.round(w, 9))) == [1, 0, -1]
    assert np.isnan(mapped[1]).all() or abs(w[1]) < 1e-15
