"""Drawing and changing marks with the mouse, in a real browser against a real server."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
import shapely
from playwright.sync_api import expect

from corromap.projection.view import straighten, view_of
from corromap.registration import place_photos
from tests.browser import harness_scene as scene
from tests.browser.canvas_driver import CanvasDriver

pytestmark = pytest.mark.browser
APP = Path(__file__).with_name("harness_app.py")

SQUARE = [(1300, 900), (1600, 900), (1600, 1200), (1300, 1200)]
NEXT = [(1590, 950), (1800, 950), (1800, 1150), (1590, 1150)]
INNER = [(1390, 990), (1500, 990), (1500, 1100), (1390, 1100)]


@pytest.fixture
def canvas(open_page, streamlit_server):
    return CanvasDriver(open_page(streamlit_server(APP).url))


def area(mark):
    return shapely.Polygon(mark["exterior"], mark["holes"]).area


def test_outline_by_clicks_reaches_python_as_drawn(canvas):
    canvas.outline(SQUARE)
    (mark,) = canvas.wait_marks(1)
    assert (mark["kind"], mark["stage"], mark["photo"]) == ("rust", None, "photo-floor")
    # a click lands on a whole screen pixel: no corner may be off by more than one of them
    np.testing.assert_allclose(mark["exterior"], SQUARE, atol=1.01 * canvas.resolution())


def test_cross_on_the_map_is_where_python_says(canvas):
    body = scene.template()
    registration = place_photos(scene.survey(), body)["photo-floor", scene.PANEL]
    panel = body.panel(scene.PANEL)
    for at in [(1400, 700), (1250, 1500), (1900, 1000), (1500, 1810)]:
        canvas.move(at)
        px = [float(canvas.data("photo-x")), float(canvas.data("photo-y"))]
        mm, _ = registration.to_mm([px])
        expected = panel.map_frame.to_map(mm)[0]
        assert canvas.data("panel") == scene.PANEL
        np.testing.assert_allclose([float(canvas.data("map-x")), float(canvas.data("map-y"))], expected, atol=1e-6)


def test_pointer_on_the_map_is_shown_on_the_photo(canvas):
    body = scene.template()
    registration = place_photos(scene.survey(), body)["photo-floor", scene.PANEL]
    panel = body.panel(scene.PANEL)
    at_mm = np.array([[700.0, 200.0]])
    target = panel.map_frame.to_map(at_mm)[0]
    canvas.page.mouse.move(*canvas.on_map(target))
    canvas.settle()
    found = [float(canvas.data("back-x")), float(canvas.data("back-y"))]
    # one screen pixel of the map is a few millimetres, and so a few photo pixels
    np.testing.assert_allclose(found, registration.to_px(at_mm)[0], atol=12)


def floor_area_mm2(exterior):
    """What an outline covers of the floor by the photo's place on it, whatever stands in front."""
    body, survey = scene.template(), scene.survey()
    registration = place_photos(survey, body)["photo-floor", scene.PANEL]
    floor = view_of(survey.photos[0], registration, body.panel(scene.PANEL))
    drawn = straighten(shapely.Polygon(exterior), registration.lens)
    return floor.to_mm(shapely.intersection(floor.shown_px, drawn)).area


def test_preview_follows_the_pen_and_python_agrees(canvas):
    for at in SQUARE[:3]:
        canvas.click(at)
        canvas.settle(280)
    canvas.move(SQUARE[3])
    assert canvas.data("points") == "3"
    shown = float(canvas.data("preview-mm2"))
    canvas.press("Enter")
    # the point under the pointer is not part of the outline: three points remain
    (mark,) = canvas.wait_marks(1)
    assert len(mark["exterior"]) == 3
    canvas.press("Control+z")
    canvas.wait_marks(0)
    canvas.outline(SQUARE)
    canvas.wait_marks(1)
    assert shown == pytest.approx(floor_area_mm2(canvas.facts()["marks"][0]["exterior"]), rel=0.01)


def test_freehand_is_thinned_and_keeps_its_area(canvas):
    canvas.button("freehand").click()
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    circle = np.column_stack([1500 + 250 * np.cos(angle), 1000 + 250 * np.sin(angle)])
    canvas.drag([tuple(at) for at in circle], steps=3)
    (mark,) = canvas.wait_marks(1)
    assert 10 <= len(mark["exterior"]) < 60
    assert area(mark) == pytest.approx(np.pi * 250**2, rel=0.03)


def test_hole_split_and_undo(canvas):
    canvas.outline(SQUARE)
    whole = area(canvas.wait_marks(1)[0])
    canvas.button("hole").click()
    canvas.outline(INNER)
    facts = canvas.wait_facts(lambda f: f["marks"][0]["holes"])
    assert len(facts["marks"]) == 1
    with_hole = area(facts["marks"][0])
    assert with_hole == pytest.approx(whole - 110 * 110, rel=0.02)
    canvas.button("split").click()
    canvas.outline([(1450, 850), (1450, 1250)])
    pieces = canvas.wait_marks(2)
    assert sum(area(piece) for piece in pieces) == pytest.approx(with_hole, rel=1e-6)
    canvas.button("undo").click()
    canvas.wait_marks(1)
    canvas.button("redo").click()
    canvas.wait_marks(2)


def test_join_of_touching_marks_and_refusal_of_others(canvas):
    canvas.outline(SQUARE)
    canvas.wait_marks(1)
    canvas.outline(NEXT)
    both = canvas.wait_marks(2)
    union = shapely.union_all([shapely.Polygon(mark["exterior"]) for mark in both]).area
    canvas.button("join").click()
    canvas.click((1400, 1000))
    canvas.click((1750, 1000))
    (joined,) = canvas.wait_marks(1)
    assert area(joined) == pytest.approx(union, rel=1e-6)

    canvas.button("outline").click()
    canvas.outline([(2200, 700), (2300, 700), (2300, 800)])
    canvas.wait_marks(2)
    canvas.button("join").click()
    canvas.click((1400, 1000))
    canvas.click((2270, 730))
    expect(canvas.page.locator(".cm-alert")).to_contain_text("do not touch")
    assert len(canvas.facts()["marks"]) == 2


def test_points_are_moved_added_and_taken_away(canvas):
    canvas.outline(SQUARE)
    canvas.wait_marks(1)
    canvas.button("change").click()
    canvas.click((1450, 1050))
    canvas.drag([SQUARE[2], (1700, 1300)])
    moved = canvas.wait_facts(lambda f: abs(f["marks"][0]["exterior"][2][0] - 1700) < 6)["marks"][0]
    canvas.drag([(1450, 900), (1450, 800)])
    added = canvas.wait_facts(lambda f: len(f["marks"][0]["exterior"]) == 5)["marks"][0]
    assert area(added) > area(moved)
    canvas.move((1450, 800))
    canvas.page.keyboard.down("Alt")
    canvas.click((1450, 800))
    canvas.page.keyboard.up("Alt")
    gone = canvas.wait_facts(lambda f: len(f["marks"][0]["exterior"]) == 4)["marks"][0]
    assert area(gone) == pytest.approx(area(moved), rel=0.01)


def test_kind_stage_fixing_and_delete(canvas):
    canvas.press("p")
    canvas.expect_pressed("patch")
    canvas.outline(SQUARE)
    assert canvas.wait_marks(1)[0]["kind"] == "patch"
    canvas.button("change").click()
    canvas.click((1450, 1050))
    canvas.page.locator(".cm-field select").select_option("riveted")
    canvas.wait_facts(lambda f: f["marks"][0]["fixing"] == "riveted")
    canvas.press("r", "3")
    canvas.wait_facts(lambda f: (f["marks"][0]["kind"], f["marks"][0]["stage"]) == ("rust", "holed"))
    canvas.press("Delete")
    canvas.wait_marks(0)


def test_escape_drops_the_sketch_and_too_few_points_are_told(canvas):
    canvas.click(SQUARE[0])
    canvas.settle(280)
    canvas.click(SQUARE[1])
    canvas.press("Enter")
    assert "at least three points" in canvas.alert()
    canvas.press("Escape")
    assert canvas.data("points") == "0"
    assert canvas.facts()["marks"] == []


def test_half_drawn_outline_survives_rerun_and_reload(canvas):
    for at in SQUARE[:3]:
        canvas.click(at)
        canvas.settle(280)
    canvas.page.get_by_role("button", name="Run again").click()
    canvas.wait_facts(lambda f: "rerun" in f["log"])
    canvas.settle(300)
    assert canvas.data("points") == "3"
    canvas.page.reload()
    again = CanvasDriver(canvas.page)
    again.settle(300)
    assert again.data("points") == "3"
    again.click(SQUARE[3])
    again.settle(280)
    again.press("Enter")
    (mark,) = again.wait_marks(1)
    np.testing.assert_allclose(mark["exterior"], SQUARE, atol=1.01 * again.resolution())


def test_turned_photo_is_drawn_on_in_photo_pixels(canvas):
    canvas.button("turn").click()
    canvas.settle(400)
    canvas.outline(SQUARE)
    (mark,) = canvas.wait_marks(1)
    np.testing.assert_allclose(mark["exterior"], SQUARE, atol=1.01 * canvas.resolution())


def test_dark_areas_are_lifted(canvas):
    def brightness():
        shot = canvas.photo.screenshot()
        return _mean_at(shot, canvas, (300, 1000))

    expect(canvas.root).to_have_attribute("data-drawn", "photo-floor", timeout=20_000)
    before = brightness()
    canvas.page.locator(".cm-lift input").fill("100")
    canvas.settle(300)
    assert brightness() > 1.8 * before


def _mean_at(png, canvas, at):
    image = cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_GRAYSCALE)
    box = canvas.photo.bounding_box()
    x, y = canvas.on_photo(at)
    x, y = round(x - box["x"]), round(y - box["y"])
    return float(image[y - 15 : y + 15, x - 15 : x + 15].mean())


def test_next_photo_and_back_keep_each_photos_marks(canvas):
    canvas.outline(SQUARE)
    canvas.wait_marks(1)
    canvas.button("next").click()
    canvas.wait_facts(lambda f: f["photo"] == "photo-other")
    expect(canvas.root).to_have_attribute("data-marks", "0")
    canvas.button("before").click()
    canvas.wait_facts(lambda f: f["photo"] == "photo-floor")
    expect(canvas.root).to_have_attribute("data-marks", "1")


def test_many_quick_marks_arrive_once_each(canvas):
    canvas.button("freehand").click()
    for i in range(6):
        x, y = 1000 + 150 * i, 1100
        canvas.drag([(x, y), (x + 90, y), (x + 90, y + 90), (x, y + 90)], steps=2)
    marks = canvas.wait_marks(6)
    assert len({mark["id"] for mark in marks}) == 6
    assert canvas.facts()["log"].count("MarkAdded") == 6
