"""What stands between a camera and a panel, against rays cast one by one."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from corromap.projection import occlusion, project
from corromap.projection.occlusion import ABOVE_MM, faces_of, standing_in_front
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


def test_faces_told_by_their_corners_are_those_that_are_in_the_way(monkeypatch):
    """Cameras so near that faces reach behind them: the same ground is hidden as with every face cut."""
    random, partly = np.random.default_rng(5), 0
    for _ in range(40):
        at = random.uniform([-700, 350, -60], [500, 620, 0])
        shot = Shot(eye_mm=tuple(at + random.uniform([-400, -400, -500], [400, 300, -150])), at_mm=tuple(at))
        for panel_id, view in views_of(shot).items():
            pose = view.registration.camera
            if pose is None or view.shown_px.is_empty:
                continue
            panel, box = BODY.panel(panel_id), shapely.box(*view.shown_px.bounds)
            with monkeypatch.context() as patched:
                told = standing_in_front(panel, view.shown_px, view.registration, pose, BODY)
                patched.setattr(occlusion, "_perhaps_before", lambda template, *_: list(faces_of(template)))
                every = standing_in_front(panel, view.shown_px, view.registration, pose, BODY)
            apart = shapely.symmetric_difference(told, every, grid_size=0.01).intersection(box)
            assert apart.area < 1.0, (panel_id, shot)
            partly += 0 < every.intersection(box).area < box.area
    assert partly > 20


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
    assert all(seen[panel] <= shown[panel] * (1 + 1e-6) for panel in seen)
    assert any(seen[panel] < 0.9 * shown[panel] for panel in seen)


IMAGES_OF_ONE_PHOTO = [
    [
        (886.513524339094, 1196.2822142875443),
        (1125.1649290801781, 1215.1095248393767),
        (1114.8390442503176, 1430.1052927652613),
        (722.2100297197264, 1400.094740388641),
    ],
    [
        (776.4338392690717, 1382.3169973735162),
        (1150.7301350541395, 1411.0192959996746),
        (1163.6316013569572, 1149.627036818492),
        (976.3556069485619, 1134.7066718829929),
    ],
    [
        (746.4179392235769, 1221.3484449479874),
        (2565.2236273878657, 1364.0904535176605),
        (2537.0236813071097, 1349.4881170410285),
        (795.5186823187607, 1212.563224835532),
    ],
    [
        (107.37896717488103, 1335.686796589669),
        (2927.7549718391415, 1551.8143824870058),
        (3002.566172099425, 1590.55269479771),
        (-26.322874895820643, 1359.609043749042),
    ],
    [
        (795.5186823187605, 1212.563224835532),
        (2537.0236813071097, 1349.4881170410285),
        (2558.191772101317, 1141.4960109083247),
        (956.9431265512411, 1011.7151068807163),
    ],
    [
        (-26.322874895821034, 1359.609043749042),
        (3002.566172099425, 1590.55269479771),
        (3045.6107079392373, 1233.3828094063078),
        (248.21363200731093, 1008.3590262755343),
    ],
    [
        (2786.681632360807, 687.3172681146987),
        (2779.8180778798146, 558.3102818015896),
        (2731.589267539151, 429.33335947845126),
        (2643.1901598217646, 305.31150893354624),
        (2517.4080120054787, 191.1332978843137),
        (2358.6045525751556, 91.44666760000258),
        (2172.6362370926404, 10.453113184695605),
        (1966.6706463540252, -48.31776853812954),
        (1748.9055441983123, -82.21246958446639),
        (1528.224190370516, -89.606033033899),
        (1313.769954451408, -70.03638041484088),
        (1114.4821487059673, -24.234736927350617),
        (1028.480205257343, 10.06320551326836),
        (248.21363200731093, 1008.3590262755343),
        (2730.1806791409635, 1208.009486825855),
    ],
]
"""What stood in front of a floor in truth bench survey 700010: a union without a grid raises on these seven."""


def test_images_that_share_an_edge_but_for_rounding_are_joined(monkeypatch):
    shapes = [shapely.Polygon(ring) for ring in IMAGES_OF_ONE_PHOTO]
    with pytest.raises(shapely.errors.GEOSException):
        shapely.union_all(shapes)
    view = views_of(Shot())[SEEN[0]]
    given = iter(shapes)
    monkeypatch.setattr(occlusion, "_image_of", lambda *_: next(given, None))
    wide = shapely.MultiPolygon([shapely.box(-100, -100, 3100, 1600)])
    found = standing_in_front(view.panel, wide, view.registration, view.registration.camera, BODY)
    assert shapely.is_valid(found)
    # each place is in the union when it is in one of them (shapely.contains_xy on the parts)
    at = np.random.default_rng(4).uniform((-100, -100), (3100, 1600), (4000, 2)).T
    assert np.array_equal(shapely.contains_xy(found, *at), np.any([shapely.contains_xy(s, *at) for s in shapes], 0))
