"""What a registration answers: places, horizon, derivatives, detail."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from corromap.errors import InvalidValueError
from corromap.registration import Registration
from tests.registration_scene import DATUM_MM, Camera, fitted, lens

WIDE = lens(-0.12, (0.01, -0.02), sigma_k1=0.03)
TILTED = Camera.at(7, WIDE, tilt=0.6)
CLICKS = TILTED.sees(DATUM_MM)
PROBES = TILTED.sees([[200, 150], [500, 310], [800, 420], [350, 500]])


@pytest.fixture(scope="module")
def found() -> Registration:
    return fitted(CLICKS + np.random.default_rng(0).normal(0, 1.5, CLICKS.shape), lens_=WIDE)


def test_exact_clicks_give_the_panel_back():
    exact = fitted(CLICKS, lens_=WIDE)
    points = np.array([[10, 20], [990, 20], [500, 590.0]])
    np.testing.assert_allclose(exact.to_mm(TILTED.sees(points))[0], points, atol=1e-6)
    np.testing.assert_allclose(exact.to_px(points), TILTED.sees(points), atol=1e-6)
    assert exact.rms_px < 1e-8


def test_w_is_about_one_at_the_sightings(found):
    w = found.to_mm(found.sighted_px)[1]
    assert w.mean() == pytest.approx(1.0)
    assert (w > found.w_min).all()
    assert found.w_min == pytest.approx(0.25 * w.min())


def test_residuals_are_clicked_minus_fitted(found):
    np.testing.assert_allclose(found.sighted_px - found.to_px(found.datum_mm), found.residual_px, atol=1e-8)
    np.testing.assert_allclose(found.to_mm(found.sighted_px)[0] - found.datum_mm, found.residual_mm, atol=1e-8)
    assert found.rms_px == pytest.approx(np.sqrt((found.residual_px**2).sum(axis=1).mean()))


def test_points_beyond_the_horizon_are_nan_and_told_by_w():
    steep = fitted(Camera.at(0, lens()).sees(DATUM_MM))
    # the horizon of the panel: walk along the gradient of w until it has passed
    gradient = steep.matrix[2, :2] / np.hypot(*steep.matrix[2, :2])
    walk = steep.sighted_px.mean(axis=0) - np.linspace(0, 20_000, 200)[:, None] * gradient
    xy_mm, w = steep.to_mm(walk)
    assert w[0] > 0 > w[-1]
    np.testing.assert_array_equal(np.isnan(xy_mm).any(axis=1), w < steep.w_min)
    np.testing.assert_array_equal(np.isnan(steep.detail(walk)), w < steep.w_min)
    assert np.isnan(steep.jacobian(walk)[-1]).all()
    assert all(np.isnan(part[-1]).all() for part in steep.sensitivities(walk).values())


def test_points_behind_the_camera_are_nan(found):
    inverse = np.linalg.inv(found.matrix)
    away = found.datum_mm.mean(axis=0) - np.linspace(0, 1e5, 50)[:, None] * inverse[2, :2] / np.hypot(*inverse[2, :2])
    behind = away @ inverse[2, :2] + inverse[2, 2] <= 0
    assert behind.any()
    np.testing.assert_array_equal(np.isnan(found.to_px(away)).any(axis=1), behind)


def test_jacobian_agrees_with_differences(found):
    jacobian = found.jacobian(PROBES)
    for axis, step in enumerate(1e-3 * np.eye(2)):
        difference = (found.to_mm(PROBES + step)[0] - found.to_mm(PROBES - step)[0]) / 2e-3
        np.testing.assert_allclose(jacobian[:, :, axis], difference, atol=1e-8)


def test_detail_is_the_largest_singular_value(found):
    largest = np.linalg.svd(found.jacobian(PROBES), compute_uv=False)[:, 0]
    np.testing.assert_allclose(found.detail(PROBES), largest, rtol=1e-12)


def test_sources_name_the_clicks_and_the_lens(found):
    assert [s.label for s in found.sources] == ["clicks:photo-1/floor", "lens:photo-1"]
    shapes = {label: part.shape for label, part in found.sensitivities(PROBES).items()}
    assert shapes == {"clicks:photo-1/floor": (4, 2, 8), "lens:photo-1": (4, 2, 3)}


def test_click_covariance_is_well_conditioned(found):
    assert np.linalg.cond(found.sources[0].covariance) < 1e4


@pytest.mark.parametrize("count", [4, 8])
@pytest.mark.parametrize("axis", [0, 1, 2], ids=["k1", "centre across", "centre down"])
def test_lens_sensitivity_includes_the_refit(count, axis):
    """Against refitting the same clicks with a slightly different lens."""
    clicks = CLICKS[:count]
    step = np.eye(3)[axis] * 1e-5
    moved = [
        fitted(clicks, lens_=lens(-0.12 + s[0], np.array([0.01, -0.02]) + s[1:])).to_mm(PROBES)[0]
        for s in (step, -step)
    ]
    ours = fitted(clicks, lens_=WIDE).sensitivities(PROBES)["lens:photo-1"][:, :, axis]
    np.testing.assert_allclose(ours, (moved[0] - moved[1]) / 2e-5, rtol=2e-4, atol=2e-2)


def test_click_sensitivity_is_that_of_moved_clicks():
    """Summed over the sources, the covariance of a place equals that from moving each click alone."""
    exact = fitted(CLICKS, lens_=WIDE)
    step, columns = 1e-3, []
    for change in (step * np.eye(CLICKS.size)).reshape(-1, *CLICKS.shape):
        plus, minus = fitted(CLICKS + change, lens_=WIDE), fitted(CLICKS - change, lens_=WIDE)
        columns.append((plus.to_mm(PROBES)[0] - minus.to_mm(PROBES)[0]) / (2 * step))
    by_click = np.stack(columns, axis=-1)
    expected = np.einsum("nip,njp->nij", by_click, by_click) * exact.sigma_px**2
    clicks = exact.sources[0]
    moved = exact.sensitivities(PROBES)[clicks.label]
    np.testing.assert_allclose(moved @ clicks.covariance @ np.swapaxes(moved, 1, 2), expected, rtol=1e-4, atol=1e-7)


@pytest.mark.parametrize(("spread_px", "count", "estimated"), [(0.5, 8, False), (5.0, 8, True), (5.0, 4, False)])
def test_sigma_is_the_larger_of_set_and_seen(spread_px, count, estimated):
    clicks = CLICKS[:count] + np.random.default_rng(2).normal(0, spread_px, (count, 2))
    placed = fitted(clicks, lens_=WIDE)
    seen = np.sqrt((placed.residual_px**2).sum() / max(2 * count - 8, 1))
    assert placed.sigma_px == pytest.approx(seen if estimated else 2.0)


def test_hull_holds_every_click(found):
    assert {tuple(p) for p in found.hull_px} <= {tuple(p) for p in found.sighted_px}
    assert len(found.hull_px) >= 4


def test_arrays_cannot_be_written_to(found):
    with pytest.raises(ValueError, match="read-only"):
        found.matrix[0, 0] = 1.0


def test_a_sighting_beyond_the_horizon_cannot_be_registered(found):
    with pytest.raises(InvalidValueError, match="photo 'photo-1' on panel 'floor': a sighting lies beyond the horizon"):
        replace(found, matrix=-found.matrix)
