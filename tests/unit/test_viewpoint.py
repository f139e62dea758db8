"""From where a photo looks that is placed on one panel alone, against cameras by OpenCV's own projection."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from corromap.frames import DatumId, MarkId, PanelId, PhotoOutline
from corromap.projection import project_photo
from corromap.projection.seen import seen_area
from corromap.projection.view import panel_views
from corromap.registration import Registration, place_photo, place_photos, solve_lenses
from corromap.registration.viewpoint import seen_from, viewpoints_of
from corromap.survey import Mark, MarkKind, Settings
from tests.unit.surveys import TEMPLATE, survey_of
from tests.unit.test_occlusion import is_blocked
from tests.whole_car_scene import BODY, Shot, in_frame, photo, survey

FLOOR = PanelId("floor-left")
SQUARE_ON = Shot(eye_mm=(150.0, 350.0, -900.0), at_mm=(150.0, 351.0, 0.0))
TILTED = Shot(eye_mm=(-150.0, 250.0, -800.0), at_mm=(200.0, 380.0, 0.0))
FLAT = Shot(eye_mm=(-700.0, 300.0, -420.0), at_mm=(200.0, 350.0, 0.0))
FAR = Shot(eye_mm=(-500.0, 250.0, -1500.0), at_mm=(200.0, 380.0, 0.0))


def is_seen(shot: Shot, datum: DatumId) -> bool:
    floor, point = BODY.datum_points[datum]
    at = np.asarray(floor.place.to_car(point.at_mm))[0]
    return not is_blocked(at, np.array(shot.eye_mm), floor.place.normal * floor.facing, floor.id)


def fitted(clicks: dict[DatumId, np.ndarray], noise_px: float, seed: int, panel: PanelId = FLOOR) -> Registration:
    """By a panel's own fit, whether a camera could be had or not."""
    given = survey(clicks, noise_px=noise_px, seed=seed)
    lens = solve_lenses(given, BODY)[photo().id]
    found = place_photo(photo(), BODY.panel(panel), given.sightings, lens, given.settings, BODY)
    assert isinstance(found, Registration)
    assert found.camera is None
    return found


def floor_points(shot: Shot) -> dict[DatumId, np.ndarray]:
    clicks = in_frame(shot, (FLOOR,))
    return {d: px for d, px in clicks.items() if BODY.datum_points[d][0].id == FLOOR and is_seen(shot, d)}


def placed(shot: Shot, noise_px: float = 0.0, seed: int = 0) -> Registration:
    """On the floor alone, by those of its points that can be seen: they lie in one plane."""
    return fitted(floor_points(shot), noise_px, seed)


@pytest.mark.parametrize("shot", [SQUARE_ON, TILTED, FLAT])
def test_exact_clicks_give_the_eye(shot: Shot) -> None:
    """The lens is only half known here: k1 is -0.06, and the focal length free by its prior."""
    found = viewpoints_of(photo(), BODY.panel(FLOOR), placed(shot))[0]
    normal = BODY.panel(FLOOR).place.normal
    off = np.degrees(np.arccos(np.clip(found.rotation @ normal @ (shot.rotation @ normal), -1, 1)))
    assert off < 1.5
    assert np.linalg.norm(found.eye_mm - shot.eye_mm) < 40


@pytest.mark.parametrize("seed", range(6))
def test_erring_clicks_give_the_tilt_to_some_degrees(seed: int) -> None:
    found = viewpoints_of(photo(), BODY.panel(FLOOR), placed(TILTED, 2.0, seed))[0]
    normal = BODY.panel(FLOOR).place.normal
    assert found.rotation @ normal @ (TILTED.rotation @ normal) > np.cos(np.radians(4.0))


def test_a_solved_camera_is_taken_as_it_is() -> None:
    every = place_photos(survey(in_frame(TILTED)), BODY)
    by_camera = next(r for r in every.values() if isinstance(r, Registration) and r.camera is not None)
    assert viewpoints_of(photo(), BODY.panel(by_camera.panel), by_camera) == (by_camera.camera,)
    assert seen_from(by_camera.camera, BODY.panel(by_camera.panel), by_camera) is by_camera


SIDE = (PanelId("rail-left-rear-outer"), PanelId("arch-left-rear"))
BESIDE = Shot(eye_mm=(-1300.0, 1250.0, -60.0), at_mm=(-1150.0, 400.0, 60.0))


def test_two_panels_are_looked_at_from_one_place() -> None:
    """Rail and arch lie side by side, each placed alone; points of both tell the eye better (exact projection)."""
    alone, both = [], []
    for seed in range(12):
        clicks = in_frame(BESIDE, SIDE)
        own = [(BODY.panel(p), fitted(clicks, 2.0, seed, p)) for p in SIDE]
        eyes = [viewpoints_of(photo(), *one, tuple(own))[0].eye_mm for one in own]
        assert eyes[0] == pytest.approx(eyes[1], abs=1.0)
        both.append(float(np.linalg.norm(eyes[0] - BESIDE.eye_mm)))
        alone += [float(np.linalg.norm(viewpoints_of(photo(), *one)[0].eye_mm - BESIDE.eye_mm)) for one in own]
    assert np.median(both) < 0.75 * np.median(alone)
    assert max(both) < max(alone)


def test_a_panel_no_common_place_fits_is_looked_at_from_its_own() -> None:
    clicks = in_frame(BESIDE, SIDE)
    own, other = ((BODY.panel(p), fitted(clicks, 0.0, 0, p)) for p in SIDE)
    wrong = fitted({datum: at + np.array([300.0, 0.0]) for datum, at in clicks.items()}, 0.0, 0, SIDE[1])
    assert viewpoints_of(photo(), *own, (own, (other[0], wrong)))[0].eye_mm == pytest.approx(
        viewpoints_of(photo(), *own)[0].eye_mm
    )


@pytest.mark.parametrize("shot", [TILTED, FLAT])
def test_what_stands_before_a_panel_that_is_placed_alone(shot: Shot) -> None:
    """Rays to places on the floor, cast one by one: crossmembers and tunnel stand in the way, sighted or not."""
    floor = BODY.panel(FLOOR)
    view = panel_views(photo(), {FLOOR: placed(shot)}, BODY)[FLOOR]
    assert view.visible_px.area < 0.97 * view.shown_px.area
    low, high = np.array(floor.outline.polygon.bounds).reshape(2, 2)
    uv = np.random.default_rng(2).uniform(low, high, (200, 2))
    straight = view.registration.lens.undistort(view.registration.to_px(uv))
    tried = shapely.contains_xy(view.shown_px, *straight.T)
    tried &= shapely.distance(view.visible_px.boundary, shapely.points(straight)) > 12.0
    assert tried.sum() > 50
    eye, towards = np.array(shot.eye_mm), floor.place.normal * floor.facing
    blocked = [is_blocked(floor.place.to_car(at)[0], eye, towards, FLOOR) for at in uv[tried]]
    assert any(blocked)
    assert np.array_equal(~np.array(blocked), shapely.contains_xy(view.visible_px, *straight[tried].T))


def test_a_viewpoint_that_hides_what_was_clicked_is_not_believed() -> None:
    """An inner sill square on from 1.5 m, beyond the tunnel, each of its points clicked: no tunnel is there."""
    inner = PanelId("sill-left-inner")
    given = survey_of([inner])
    found = place_photos(given, TEMPLATE)[given.photos[0].id, inner]
    assert isinstance(found, Registration)
    view = panel_views(given.photos[0], {inner: found}, TEMPLATE)[inner]
    assert view.visible_px.area == pytest.approx(view.shown_px.area)


FEW = 5


def near_together(shot: Shot, seed: int) -> Registration:
    """By a few points of the floor near to one another, clicked 2 px off."""
    own = floor_points(shot)
    ids, at = list(own), np.array(list(own.values()))
    away = np.hypot(*np.moveaxis(at[:, None] - at, -1, 0))
    start = int(np.argmin(np.sort(away, axis=1)[:, FEW - 1]))
    return fitted({ids[i]: own[ids[i]] for i in np.argsort(away[start])[:FEW]}, 2.0, seed)


def test_what_is_seen_is_placed_by_the_viewpoint_where_clicks_are_few() -> None:
    """Far from few clicks the six numbers of the viewpoint err less than the eight of the fit (exact projection)."""
    floor = BODY.panel(FLOOR)
    low, high = np.array(floor.outline.polygon.bounds).reshape(2, 2)
    uv = np.random.default_rng(3).uniform(low, high, (400, 2))
    px = TILTED.sees(np.asarray(floor.place.to_car(uv)))
    off_fit, off_pose = [], []
    for seed in range(12):
        own = near_together(TILTED, seed)
        view = panel_views(photo(), {FLOOR: own}, BODY)[FLOOR]
        assert view.by_viewpoint
        for found, placing in ((off_fit, own), (off_pose, view.by_viewpoint[0].registration)):
            found.append(np.nanmedian(np.hypot(*(placing.to_mm(px)[0] - uv).T)))
    assert np.median(off_pose) < 0.7 * np.median(off_fit)
    assert max(off_pose) < max(off_fit)


def test_where_two_viewpoints_are_likely_what_both_show_is_seen() -> None:
    doubtful = 0
    for seed in range(12):
        view = panel_views(photo(), {FLOOR: near_together(FAR, seed)}, BODY)[FLOOR]
        seen = seen_area(photo().id, view, (), 2.5).area
        each = [seen_area(photo().id, one, (), 2.5).area for one in view.by_viewpoint]
        for area in each:
            assert shapely.difference(seen, area).area < 1.0
        doubtful += len(each) == 2 and seen.area < min(area.area for area in each) - 1000.0
    assert doubtful >= 2


def hiding(outline_px: np.ndarray) -> Mark:
    return Mark(MarkId("cover"), photo().id, MarkKind.HIDDEN, PhotoOutline(outline_px), panels=(FLOOR,))


@pytest.mark.parametrize("seed", range(4))
def test_nothing_is_bare_where_a_cover_fills_the_photo(seed: int) -> None:
    """Cover and ground are placed alike, by the viewpoint: the fit's edges lie elsewhere."""
    own = near_together(TILTED, seed)
    frame = np.array([(-0.5, -0.5), (1999.5, -0.5), (1999.5, 1499.5), (-0.5, 1499.5)])
    seen = project_photo(photo(), [hiding(frame)], {(photo().id, FLOOR): own}, BODY, Settings()).seen[0]
    assert seen.area.area > 10_000
    assert shapely.difference(seen.area, seen.hidden).area < 1.0


def test_a_cover_is_placed_by_the_viewpoint_where_clicks_are_few() -> None:
    """A rectangle of the floor as it falls in the photo (exact projection) covers that rectangle."""
    floor, by_fit, by_pose = BODY.panel(FLOOR), [], []
    true = shapely.box(500.0, 100.0, 700.0, 250.0)
    edge = shapely.get_coordinates(shapely.segmentize(true, 20.0))[:-1]
    mark = hiding(TILTED.sees(np.asarray(floor.place.to_car(edge))))
    for seed in range(12):
        found = project_photo(photo(), [mark], {(photo().id, FLOOR): near_together(TILTED, seed)}, BODY, Settings())
        shown = shapely.intersection(true, found.seen[0].area)
        by_pose.append(shapely.symmetric_difference(shown, found.seen[0].hidden).area)
        by_fit.append(shapely.symmetric_difference(true, found.marks[0].area).area)
    assert np.median(by_pose) < 0.8 * np.median(by_fit)
