"""What stands between a camera and a panel, against rays cast one by one."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from corromap.projection import project
from corromap.projection.occlusion import ABOVE_MM, faces_of
from corromap.projection.view import panel_views
from corromap.registration import Registration, place_photos
from tests.whole_car_scene import BODY, SEEN, Shot, in_frame, photo, survey

OBLIQUE = Shot(eye_mm=(-200.0, -250.0, -700.0), at_mm=(150.0, 450.0, -40.0))
SHOTS = (Shot(), OBLIQUE, Shot(eye_mm=(900.0, 60.0, -800.0), at_mm=(650.0, 330.0, 40.0)))
PANELS = tuple(panel.id for panel in BODY.panels)


def views_of(shot: Shot, panels: tuple[str, ...] = SEEN):
    placed = place_photos(survey(in_frame(shot, panels)), BODY)
    found = {panel: r for (_, panel), r in placed.items() if isinstance(r, Registration)}
    return panel_views(photo(), found, BODY)


def is_blocked(point: np.ndarray, eye: np.ndarray, towards: np.ndarray, own: str) -> bool:
    """Cast a ray: whether it meets another face before the point, well above the panel's plane."""
    for face in faces_of(BODY):
        if face.panel == own and not face.is_wall:
            continue
        normal = face.place.normal
        along = (point - eye) @ normal
        if abs(along) < 1e-9:
            continue
        t = ((face.place.origin_mm - eye) @ normal) / along
        if not 0 < t < 1:
            continue
        hit = eye + t * (point - eye)
        if (hit - point) @ towards <= ABOVE_MM:
            continue
        uv = [(hit - face.place.origin_mm) @ face.place.u_axis, (hit - face.place.origin_mm) @ face.place.v_axis]
        if shapely.contains_xy(shapely.Polygon(face.ring_mm), *uv):
            return True
    return False


@pytest.mark.parametrize("shot", SHOTS)
def test_visible_ground_is_what_rays_reach(shot):
    random, checked, wrong = np.random.default_rng(1), 0, 0
    eye = np.array(shot.eye_mm)
    for panel_id, view in views_of(shot).items():
        panel = BODY.panel(panel_id)
        low, high = np.array(panel.outline.polygon.bounds).reshape(2, 2)
        uv = random.uniform(low, high, (60, 2))
        straight = view.registration.lens.undistort(shot.sees(panel.place.to_car(uv)))
        inside = shapely.contains_xy(view.shown_px, *straight.T)
        near_edge = shapely.distance(view.visible_px.boundary, shapely.points(straight)) < 3.0
        for at, px in zip(uv[inside & ~near_edge], straight[inside & ~near_edge], strict=True):
            blocked = is_blocked(panel.place.to_car(at)[0], eye, panel.place.normal * panel.facing, panel_id)
            checked += 1
            wrong += blocked == bool(shapely.contains_xy(view.visible_px, *px))
    assert checked > 60
    assert wrong == 0


def test_inner_sill_behind_the_sill_s_lower_edge_is_not_seen():
    """From outboard of the car and below, the sill stands in front of the floor beside it."""
    shot = Shot(eye_mm=(0.0, 1100.0, -420.0), at_mm=(0.0, 560.0, -60.0))
    views = views_of(shot, ("floor-left", "sill-left-underside", "sill-left-outer"))
    seen = views["floor-left"]
    assert seen.visible_px.area < 0.9 * seen.shown_px.area
    assert "sill-left-inner" not in views  # faces the centre line


def test_nothing_behind_another_panel_counts_as_seen():
    given = survey(in_frame(OBLIQUE))
    placed = place_photos(given, BODY)
    seen = {s.panel: s.area.area for s in project(given, BODY, placed).seen}
    shown = {panel: view.to_mm(view.shown_px).area for panel, view in views_of(OBLIQUE).items()}
    assert all(seen[panel] <= shown[panel] * (1 + 1e-9) for panel in seen)
    assert any(seen[panel] < 0.9 * shown[panel] for panel in seen)
