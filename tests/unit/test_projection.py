"""Marks carried to panels: where they land, what is lost, what is seen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from corromap.projection import project, project_one, project_photo
from corromap.registration import place_photos
from corromap.survey import MarkKind, Settings
from tests.geo_scene import BEAM, FLOOR, HEIGHT, SILL, WIDTH, Scene, carry, disc, rect, template, view

RUST = MarkKind.RUST
EVERYTHING = rect(-0.5, -0.5, WIDTH - 0.5, HEIGHT - 0.5)


def floor_scene(**given: float) -> Scene:
    scene = Scene(template())
    scene.photo("a", {FLOOR: view(**given)})
    return scene


def shares(scene: Scene) -> tuple[float, float, float, float]:
    (fate,) = scene.projection().fates
    return fate.placed_share, fate.lost_horizon_share, fate.lost_edge_share, fate.lost_frame_share


@pytest.mark.parametrize(
    "given", [{}, {"tilt": -3e-4}, {"turn": 0.7, "at": (300, -500)}, {"mm_per_px": 2.0, "at": (-900, -900)}]
)
def test_a_mark_lands_where_it_was(given: dict) -> None:
    scene = floor_scene(**given)
    ring = rect(400, 200, 600, 350)
    scene.mark("a", ring, mm_on=FLOOR, holes=(disc(500, 275, 30),))
    (mark,) = scene.projection().marks
    truth = shapely.Polygon(ring, [disc(500, 275, 30)])
    assert mark.area.symmetric_difference(truth).area < 1e-3
    assert not mark.was_repaired


def test_whole_mark_is_placed_in_silence() -> None:
    scene = floor_scene()
    scene.mark("a", rect(400, 200, 600, 350), mm_on=FLOOR)
    assert shares(scene) == (1.0, 0.0, 0.0, 0.0)
    assert scene.projection().fates[0].message == ""


def test_a_mark_over_the_panel_edge_is_cut_and_told() -> None:
    scene = floor_scene()
    scene.mark("a", rect(920, 100, 1080, 200), mm_on=FLOOR)
    placed, horizon, edge, frame = shares(scene)
    assert (placed, horizon, edge, frame) == (pytest.approx(0.5), 0.0, pytest.approx(0.5), pytest.approx(0.0, abs=1e-9))
    assert "50.0 % lies off the panels" in scene.projection().fates[0].message
    assert scene.projection().marks[0].area.area == pytest.approx(8_000)


def test_a_mark_over_the_photo_edge_is_cut_and_told() -> None:
    scene = floor_scene(mm_per_px=0.4, at=(100, 100))
    scene.mark("a", rect(WIDTH - 100.5, 100, WIDTH + 299.5, 200))
    placed, *_, frame = shares(scene)
    assert (placed, frame) == (pytest.approx(0.25), pytest.approx(0.75))
    assert "75.0 % was drawn off the photo" in scene.projection().fates[0].message


def test_a_mark_off_the_photo_is_wholly_lost() -> None:
    scene = floor_scene()
    scene.mark("a", rect(WIDTH + 10, 10, WIDTH + 90, 90))
    assert shares(scene) == (0.0, 0.0, 0.0, 1.0)
    assert "wholly off the photo" in scene.projection().fates[0].message


def horizon_scene() -> Scene:
    """A steep view: w falls from 1 at y = 0 to 0 at y = 1428, and counts down to a quarter of the least clicked."""
    return floor_scene(mm_per_px=0.35, tilt=-7e-4, at=(0, -10))


def test_a_mark_beyond_the_horizon_is_cut_at_w_min_and_told() -> None:
    scene = horizon_scene()
    scene.mark("a", EVERYTHING)
    registration = scene.registrations()["a", FLOOR]
    placed, horizon, edge, frame = shares(scene)
    w_at = lambda y: float(registration.to_mm([[0.0, y]])[1][0])  # noqa: E731
    slope = w_at(1.0) - w_at(0.0)
    beyond = (HEIGHT - 0.5) - (registration.w_min - w_at(0.0)) / slope
    assert horizon == pytest.approx(beyond / HEIGHT, abs=1e-4)
    assert placed + horizon + edge + frame == pytest.approx(1.0, abs=1e-9)
    assert "beyond the horizon" in scene.projection().fates[0].message
    (mark,) = scene.projection().marks
    _, w = registration.to_mm(registration.to_px(shapely.get_coordinates(mark.area)))
    assert w.min() >= registration.w_min


def test_nothing_beyond_the_horizon_lands_mirrored() -> None:
    scene = horizon_scene()
    scene.mark("a", rect(200, 1450, 1800, 1490))
    assert scene.projection().marks == ()
    assert shares(scene)[1] == pytest.approx(1.0)


def test_photo_without_a_place() -> None:
    scene = floor_scene()
    scene.sightings = scene.sightings[:3]
    scene.mark("a", rect(10, 10, 90, 90))
    fate = scene.projection().fates[0]
    assert (fate.placed_share, fate.lost_edge_share) == (0.0, 1.0)
    assert "Photo 'a' is not placed on any panel" in fate.message
    assert scene.projection().seen == ()


def test_marks_keep_to_the_panels_they_name() -> None:
    scene = Scene(template())
    scene.photo("a", {FLOOR: view(), SILL: view(at=(-100, -750))})
    ring = rect(300, 500, 500, 700)  # 100 mm on the floor, 100 on the sill
    scene.mark("a", ring, mm_on=FLOOR)
    scene.mark("a", ring, mm_on=FLOOR, panels=(SILL,))
    scene.mark("a", ring, mm_on=FLOOR, panels=(BEAM,))
    projection = scene.projection()
    landed = [(m.mark.id, m.panel, round(m.area.area)) for m in projection.marks]
    assert sorted(landed) == [("m0", FLOOR, 20_000), ("m0", SILL, 20_000), ("m1", SILL, 20_000)]
    both, sill, none = projection.fates
    assert both.placed_share == pytest.approx(1.0)
    assert (sill.placed_share, sill.lost_edge_share) == (pytest.approx(0.5), pytest.approx(0.5))
    assert (none.placed_share, none.lost_edge_share) == (0.0, 1.0)
    assert "'beam', where photo 'a' is not placed" in none.message


@pytest.mark.parametrize("covering", [False, True])
def test_a_panel_in_front_takes_the_ground_behind_it(covering: bool) -> None:
    """The beam lies over u = 200 to 300 of the floor in the photo."""
    scene = Scene(template(covering=covering))
    scene.photo("a", {FLOOR: view(), BEAM: view(at=(-300, -150))})
    scene.mark("a", rect(150, 100, 350, 200), mm_on=FLOOR)
    projection = scene.projection()
    areas = {m.panel: m.area.area for m in projection.marks}
    seen = {s.panel: s.area.area for s in projection.seen}
    behind = 10_000 if covering else 0
    assert areas == {FLOOR: pytest.approx(20_000 - behind), BEAM: pytest.approx(10_000)}
    assert seen == {FLOOR: pytest.approx(600_000 - 6 * behind), BEAM: pytest.approx(60_000)}
    assert projection.fates[0].placed_share == pytest.approx(1.0)


def test_extrapolated_share_is_outside_the_hull_of_the_clicks() -> None:
    scene = floor_scene()
    scene.mark("a", rect(400, 200, 600, 350), mm_on=FLOOR)
    scene.mark("a", rect(0, 200, 50, 350), mm_on=FLOOR)
    inside, outside = scene.projection().marks
    assert inside.extrapolated_share == pytest.approx(0.0, abs=1e-12)
    assert outside.extrapolated_share == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("limit", [0.9, 1.2, 1.6, 2.5])
def test_seen_area_stops_where_a_pixel_spans_too_much(limit: float) -> None:
    """Against the detail at a dense grid of places."""
    scene = floor_scene(mm_per_px=0.6, tilt=-5e-4)
    scene.settings = Settings(coarsest_mm_per_px=limit)
    (seen,) = scene.projection().seen
    registration = scene.registrations()["a", FLOOR]
    at = np.random.default_rng(1).uniform((0, 0), (1000, 600), (20_000, 2))
    px = registration.to_px(at)
    on_photo = ((px > -0.5) & (px < (WIDTH - 0.5, HEIGHT - 0.5))).all(axis=1)
    fine = on_photo & (registration.detail(px) <= limit)
    held = shapely.contains_xy(seen.area, at)
    # followed by cells: wrong on both sides of the limit by less than half a cell, and no more on one than on the other
    assert np.mean(held != fine) < 0.003
    assert abs(held.mean() - fine.mean()) < 0.001
    assert registration.detail(px)[held].max() < 1.02 * limit


def test_hidden_marks_hide_only_on_their_own_photo_and_panel() -> None:
    scene = floor_scene()
    scene.photo("b", {FLOOR: view()})
    scene.mark("a", rect(100, 100, 300, 300), MarkKind.HIDDEN, mm_on=FLOOR)
    first, second = scene.projection().seen
    assert first.hidden.area == pytest.approx(40_000)
    assert second.hidden.is_empty


def test_lens_is_taken_out_before_anything_else() -> None:
    """A mark drawn on a barrel-distorted photo comes out the size it is, not several per cent off."""
    scene = floor_scene()
    exact = next(iter(scene.registrations().values()))
    lens = replace(exact.lens, k1=-0.15)
    bent = [replace(s, at_px=lens.distort(s.at_px[None])[0]) for s in scene.sightings]
    scene.sightings = bent
    ring = rect(50, 50, 950, 550)
    edge = shapely.get_coordinates(shapely.segmentize(shapely.Polygon(ring), 1.0))
    drawn = lens.distort(carry(np.linalg.inv(view()), edge))
    scene.mark("a", drawn)
    registration = replace(exact, lens=lens, sighted_px=np.array([s.at_px for s in bent]))
    mark, photo = scene.marks[0], scene.photos[0]
    found = project_one(mark, photo, registration, scene.body.panel(FLOOR))
    assert found is not None
    assert found.area.area == pytest.approx(900 * 500, rel=1e-5)
    raw = project_one(mark, photo, exact, scene.body.panel(FLOOR))
    assert raw is not None
    assert abs(raw.area.area / (900 * 500) - 1) > 0.03


def test_project_one_agrees_with_project() -> None:
    scene = Scene(template(covering=True))
    scene.photo("a", {FLOOR: view(), BEAM: view(at=(-300, -150))})
    scene.mark("a", rect(150, 100, 350, 200), mm_on=FLOOR)
    beam_px = carry(np.linalg.inv(scene.matrices["a", BEAM]), rect(0, 0, 100, 600))
    cover = shapely.MultiPolygon([shapely.Polygon(beam_px)])
    registration = scene.registrations()["a", FLOOR]
    one = project_one(scene.marks[0], scene.photos[0], registration, scene.body.panel(FLOOR), cover)
    whole = next(m for m in scene.projection().marks if m.panel == FLOOR)
    assert one is not None
    assert one.area.symmetric_difference(whole.area).area < 1e-2  # mm2 of 10 000: overlays lie on a grid
    elsewhere = project_one(scene.marks[0], scene.photos[0], registration, scene.body.panel(BEAM))
    assert elsewhere is None or elsewhere.panel == BEAM


def test_project_is_its_photos_joined() -> None:
    scene = floor_scene()
    scene.photo("b", {FLOOR: view(0.5)})
    for photo in ("b", "a", "b"):
        scene.mark(photo, rect(100, 100, 300, 300), mm_on=FLOOR)
    survey, found = scene.survey(), place_photos(scene.survey(), scene.body)
    whole = project(survey, scene.body, found)
    mine = [m for m in survey.marks if m.photo == "b"]
    part = project_photo(survey.photos[1], mine, found, scene.body, survey.settings)
    assert [m.mark.id for m in part.marks] == ["m0", "m2"]
    assert [m.mark.id for m in whole.marks] == ["m1", "m0", "m2"]
    assert len(whole.fates) == len(survey.marks)
