"""Every panel of every packaged body, photographed from its stated side, can be placed; from behind it is refused.

The camera is built in the car frame (ISO 8855), apart from the panel's own (u, v): a wrong
axis, side or facing in a template or in the guards shows here.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from corromap.frames import PhotoId
from corromap.io.templates import list_templates
from corromap.io.templates import load_template as read_template
from corromap.registration import FailureReason, Registration, place_photos
from corromap.registration.sighted import datum_positions
from corromap.survey import Photo, Sighting, Survey
from corromap.template import BodyTemplate, Panel

load_template = cache(read_template)
WIDTH, HEIGHT, FOCAL = 4000, 3000, 3000.0
PANELS = [(body, panel.id) for body, _ in list_templates() for panel in load_template(body).panels]


def shot(panel: Panel, points_car: np.ndarray, *, behind: bool, seed: int) -> np.ndarray:
    """Pixels of points in the car frame, seen square-on to within some 15 degrees."""
    random = np.random.default_rng(seed)
    towards = panel.place.normal * panel.facing * (-1 if behind else 1)
    towards = towards + random.normal(0, 0.12, 3)
    forward = -towards / np.linalg.norm(towards)
    right = np.cross(forward, random.normal(0, 1, 3))
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)  # right, down, forward: right-handed as in OpenCV's camera
    centre = points_car.mean(axis=0)
    span = np.linalg.norm(points_car - centre, axis=1).max()
    relative = points_car - (centre - forward * 2.6 * span)
    x, y, z = relative @ right, relative @ down, relative @ forward
    return np.column_stack([x / z, y / z]) * FOCAL + [(WIDTH - 1) / 2, (HEIGHT - 1) / 2]


def survey_of(body: BodyTemplate, panel: Panel, *, behind: bool, noise_px: float = 0.0) -> tuple[Survey, np.ndarray]:
    positions = datum_positions(body, panel.id)
    car = panel.place.to_car(np.array(list(positions.values())))
    clicks = (
        shot(panel, car, behind=behind, seed=len(panel.id))
        + np.random.default_rng(1).normal(0, 1, (len(car), 2)) * noise_px
    )
    seen = tuple(Sighting(PhotoId("p"), datum, at) for datum, at in zip(positions, clicks, strict=True))
    photo = Photo(PhotoId("p"), "p.jpg", "0" * 64, WIDTH, HEIGHT, focal_px=FOCAL)
    return Survey("s", photos=(photo,), sightings=seen), clicks


@pytest.mark.parametrize(("body_id", "panel_id"), PANELS)
def test_from_its_stated_side(body_id, panel_id):
    body = load_template(body_id)
    survey, clicks = survey_of(body, body.panel(panel_id), behind=False)
    found = place_photos(survey, body)[PhotoId("p"), panel_id]
    assert isinstance(found, Registration), found.message
    expected = np.array(list(datum_positions(body, panel_id).values()))
    np.testing.assert_allclose(found.to_mm(clicks)[0], expected, atol=1e-5)


@pytest.mark.parametrize(("body_id", "panel_id"), PANELS)
def test_with_clicks_of_2_px(body_id, panel_id):
    body = load_template(body_id)
    survey, _ = survey_of(body, body.panel(panel_id), behind=False, noise_px=2.0)
    found = place_photos(survey, body)[PhotoId("p"), panel_id]
    assert isinstance(found, Registration), found.message
    assert found.rms_px < 6


@pytest.mark.parametrize(("body_id", "panel_id"), PANELS)
def test_from_behind(body_id, panel_id):
    body = load_template(body_id)
    survey, _ = survey_of(body, body.panel(panel_id), behind=True)
    assert place_photos(survey, body)[PhotoId("p"), panel_id].reason is FailureReason.MIRRORED
