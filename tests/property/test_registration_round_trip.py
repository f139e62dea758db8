"""What holds for every placing: there and back, scale, order, horizon."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from corromap.registration import Lens, Registration, RegistrationFailure
from tests.registration_scene import DATUM_MM, FOCAL, MIDDLE, Camera, lens, panel, placed

cameras = st.builds(
    Camera.at,
    st.integers(0, 10_000),
    st.builds(lens, st.floats(-0.3, 0.15), st.tuples(st.floats(-0.03, 0.03), st.floats(-0.03, 0.03))),
    st.floats(0.0, 0.6),
)
inside_mm = st.lists(st.tuples(st.floats(0, 1000), st.floats(0, 600)), min_size=1, max_size=12)
noise = st.integers(0, 10_000).map(lambda seed: np.random.default_rng(seed).normal(0, 2, DATUM_MM.shape))
counts = st.integers(4, len(DATUM_MM))


def usable(camera: Camera, count: int, shaken: np.ndarray) -> Registration:
    found = placed(camera.sees(DATUM_MM[:count]) + shaken[:count], lens_=camera.lens)
    assume(isinstance(found, Registration))
    return found


@settings(deadline=None)  # the machine may be busy
@given(cameras, counts, noise, inside_mm)
def test_mm_to_px_and_back(camera, count, shaken, points):
    found = usable(camera, count, shaken)
    xy_mm, w = found.to_mm(found.to_px(points))
    near = w >= found.w_min
    np.testing.assert_allclose(xy_mm[near], np.array(points)[near], atol=1e-6)


@settings(deadline=None)  # the machine may be busy
@given(cameras, counts, noise, inside_mm)
def test_px_to_mm_and_back(camera, count, shaken, points):
    found = usable(camera, count, shaken)
    xy_px = camera.sees(points)
    xy_mm, w = found.to_mm(xy_px)
    near = w >= found.w_min
    np.testing.assert_allclose(found.to_px(xy_mm[near]), xy_px[near], atol=1e-6)
    assert np.isnan(xy_mm[~near]).all()


@settings(deadline=None)  # the machine may be busy
@given(cameras, counts, noise)
def test_every_sighting_lies_before_the_horizon_and_the_right_way_round(camera, count, shaken):
    found = usable(camera, count, shaken)
    w = found.to_mm(found.sighted_px)[1]
    assert (w > found.w_min).all()
    assert (np.sign(np.linalg.det(found.jacobian(found.sighted_px))) == -panel().facing).all()


@settings(deadline=None)  # the machine may be busy
@given(cameras, st.floats(0.3, 3.0), noise)
def test_a_panel_k_times_as_large_has_areas_k_squared_times_as_large(camera, scale, shaken):
    clicks = camera.sees(DATUM_MM) + shaken
    small = placed(clicks, lens_=camera.lens)
    large = placed(clicks, lens_=camera.lens, on=panel(DATUM_MM * scale))
    assume(isinstance(small, Registration))
    assume(isinstance(large, Registration))
    outline = camera.sees([[200, 200], [700, 220], [650, 480], [240, 450]])
    ratio = shapely.Polygon(large.to_mm(outline)[0]).area / shapely.Polygon(small.to_mm(outline)[0]).area
    np.testing.assert_allclose(ratio, scale**2, rtol=1e-7)


@settings(deadline=None)  # the machine may be busy
@given(cameras, noise, st.permutations(range(len(DATUM_MM))))
def test_order_of_the_clicks_does_not_matter(camera, shaken, order):
    clicks = camera.sees(DATUM_MM) + shaken
    found = placed(clicks, lens_=camera.lens)
    other = placed(clicks[list(order)], order=order, lens_=camera.lens)
    assert type(found) is type(other)
    if isinstance(found, Registration):
        probe = camera.sees([[300, 200], [600, 400]])
        np.testing.assert_allclose(found.to_mm(probe)[0], other.to_mm(probe)[0], atol=1e-6)
        assert set(found.warnings) == set(other.warnings)


@settings(deadline=None)  # the machine may be busy
@given(
    st.lists(st.tuples(st.floats(0, 1999), st.floats(0, 1499)), min_size=0, max_size=8, unique=True),
    st.floats(-0.3, 0.3),
)
def test_clicks_at_random_end_in_a_placing_or_a_sentence(clicks, k1):
    """No arrangement of clicks raises, and every refusal ends in what to do."""
    found = placed(np.array(clicks).reshape(-1, 2), lens_=Lens(None, MIDDLE, FOCAL, k1, 0.0, ""))
    if isinstance(found, RegistrationFailure):
        assert found.message.startswith("Photo 'photo-1.jpg' on panel 'Left floor': ")
        assert found.message.endswith(".")
        assert any(verb in found.message for verb in ("click", "check", "remove", "use a photo"))
    else:
        assert np.isfinite(found.sources[0].covariance).all()
        assert (found.to_mm(found.sighted_px)[1] > found.w_min).all()
