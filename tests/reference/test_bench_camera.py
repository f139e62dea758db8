"""The bench renderer's camera, proved on the picture itself.

A chessboard is a panel's skin, rendered like any photo (light, noise, 8 bits); its corners are
found in the pixels by OpenCV's ``findChessboardCorners`` and ``cornerSubPix`` and held against
``cv2.projectPoints`` (OpenCV documentation, "Camera Calibration and 3D Reconstruction"). Holding a
projection against a projection would hide a wrong sign of the half pixel, or of the distortion.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
import shapely

from corromap.io.templates import load_template
from corromap.template import Panel
from tools.demo_scene.camera import Camera
from tools.truth_bench.render import Light, Renderer
from tools.truth_bench.scene import Scene
from tools.truth_bench.texture import flat_skin

COLUMNS, ROWS, SQUARE_MM, PPM = 12, 8, 24.0, 4.0
"""Inner corners; texels of the board are finer than a pixel of the photo."""

TEMPLATE = load_template("two-seat-open")
PANEL = TEMPLATE.panel(next(p.id for p in TEMPLATE.panels if p.id == "floor-left"))
CORNER_MM = np.array([500.0, 60.0])


def board_panel() -> tuple[Panel, Renderer]:
    """A body of one panel whose skin is a chessboard on grey."""
    body = replace(TEMPLATE, panels=(replace(PANEL, folds=(), covers=()),))
    low, high = (f(PANEL.outline.exterior_mm, axis=0) for f in (np.min, np.max))
    cols, rows = np.round((high - low) * PPM).astype(int)
    u, v = (np.arange(cols) + 0.5) / PPM + low[0] - CORNER_MM[0], (np.arange(rows) + 0.5) / PPM + low[1] - CORNER_MM[1]
    i, j = np.floor(u / SQUARE_MM)[None, :], np.floor(v / SQUARE_MM)[:, None]
    on_board = (i >= 0) & (i <= COLUMNS) & (j >= 0) & (j <= ROWS)
    grey = np.where(on_board & ((i + j) % 2 == 0), 0.03, 0.6)
    picture = np.stack([grey, grey, grey, np.ones_like(grey)], axis=2).astype(np.float32)
    return body.panels[0], Renderer(Scene(body, ()), skins={PANEL.id: flat_skin(picture, low, PPM)})


def inner_corners() -> np.ndarray:
    i, j = np.meshgrid(np.arange(1, COLUMNS + 1), np.arange(1, ROWS + 1))
    uv = CORNER_MM + np.stack([i.ravel(), j.ravel()], axis=1) * SQUARE_MM
    return PANEL.place.to_car(uv)


def camera_at(distance: float, oblique_deg: float, dist: tuple[float, ...], focal: float) -> Camera:
    middle = inner_corners().mean(axis=0)
    angle = np.radians(oblique_deg)
    eye = middle + distance * np.array([np.sin(angle), 0.3 * np.sin(angle), -np.cos(angle)])
    return Camera.looking(
        eye, middle + np.array([15.0, -8.0, 0.0]), [0.2, 1.0, 0.0], size=(1600, 1200), focal_px=focal, dist=dist,
        centre_offset=(7.3, -5.1),
    )  # fmt: skip


def test_projection_is_opencvs() -> None:
    """All five terms of distortion, points before, beside and behind the camera."""
    camera = camera_at(500, 25, (-0.15, 0.02, 4e-4, -3e-4, 0.01), 1300.0)
    points = np.random.default_rng(1).normal(0, 900, (500, 3)) + inner_corners().mean(axis=0)
    expected = cv2.projectPoints(points, camera.rvec, camera.tvec, camera.matrix, np.array(camera.dist))[0]
    assert camera.project(points) == pytest.approx(expected.reshape(-1, 2), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("distance", "oblique_deg", "dist", "focal"),
    [
        pytest.param(430, 5, (-0.15, 0.01, 0.0, 0.0, 0.0), 1109.0, id="wide and near, barrel"),
        pytest.param(500, 25, (0.05, -0.01, 4e-4, -3e-4, 0.0), 1300.0, id="pincushion, tangential"),
        pytest.param(560, 40, (-0.08, 0.015, -2e-4, 2e-4, 0.0), 1617.0, id="oblique, longer lens"),
    ],
)
def test_corners_found_in_the_picture_agree_with_opencv(
    distance: float, oblique_deg: float, dist: tuple[float, ...], focal: float
) -> None:
    _, renderer = board_panel()
    camera = camera_at(distance, oblique_deg, dist, focal)
    picture = renderer.render(camera, 5, Light(torch=0.5, ambient=0.6, exposure=0.3, noise=2.0)).image
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    found, corners = cv2.findChessboardCorners(grey, (COLUMNS, ROWS))
    assert found
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 60, 1e-4)
    got = cv2.cornerSubPix(grey, corners.astype(np.float32), (6, 6), (-1, -1), stop).reshape(-1, 2)
    want = camera.project(inner_corners())
    nearest = np.linalg.norm(want[:, None] - got[None], axis=2).argmin(axis=1)
    off = got[nearest] - want
    assert len(set(nearest.tolist())) == COLUMNS * ROWS
    assert np.median(np.hypot(*off.T)) <= 0.1
    # a wrong half pixel is a shift: the mean sees it where the median's bound might not
    assert np.abs(off.mean(axis=0)).max() < 0.05


def test_truth_map_and_depth_agree_with_opencv() -> None:
    panel, renderer = board_panel()
    camera = camera_at(700, 30, (-0.1, 0.01, 0.0, 0.0, 0.0), 1200.0)
    photo = renderer.render(camera, 1)
    inside = shapely.contains_xy(
        panel.outline.polygon.buffer(-5), *np.array([[400.0, 700.0, 620.0], [100.0, 200.0, 300.0]])
    )
    assert inside.all()
    points = panel.place.to_car([[400, 100], [700, 200], [620, 300]])
    px = np.round(camera.project(points)).astype(int)
    depth = (points @ camera.rotation.T + camera.tvec)[:, 2]
    for (x, y), z in zip(px, depth, strict=True):
        assert photo.panel[y, x] == 0
        assert photo.depth_mm[y, x] == pytest.approx(z, rel=2e-3)
