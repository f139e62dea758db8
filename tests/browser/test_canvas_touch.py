"""The canvas on a phone: 390 px wide, fingers only."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.browser.canvas_driver import CanvasDriver, Fingers

pytestmark = pytest.mark.browser
APP = Path(__file__).with_name("harness_app.py")
SQUARE = [(1000, 700), (1900, 700), (1900, 1400), (1000, 1400)]


@pytest.fixture
def phone(open_page, streamlit_server):
    def start(**env):
        page = open_page(streamlit_server(APP, env).url, width=390, height=844, has_touch=True, is_mobile=True)
        canvas = CanvasDriver(page)
        canvas.photo.scroll_into_view_if_needed()
        canvas.settle(300)
        return canvas, Fingers(page)

    return start


def test_taps_draw_an_outline_and_finish_closes_it(phone):
    canvas, fingers = phone()
    for at in SQUARE:
        fingers.tap(canvas.on_photo(at))
    assert canvas.data("points") == "4"
    canvas.button("finish").tap()
    (mark,) = canvas.wait_marks(1)
    np.testing.assert_allclose(mark["exterior"], SQUARE, atol=1.5 * canvas.resolution())


def test_freehand_with_one_finger_and_pinch_with_two(phone):
    canvas, fingers = phone()
    canvas.button("freehand").tap()
    before = canvas.resolution()
    middle = canvas.on_photo((1500, 1000))
    near = [(middle[0] - 30, middle[1]), (middle[0] + 30, middle[1])]
    wide = [(middle[0] - 110, middle[1]), (middle[0] + 110, middle[1])]
    fingers.pinch(near, wide)
    assert canvas.resolution() < 0.6 * before
    assert canvas.facts()["marks"] == []
    canvas.button("whole").tap()
    canvas.settle(400)
    fingers.hold(canvas.on_photo(SQUARE[0]), 30)
    fingers.slide([canvas.on_photo(at) for at in [(1400, 690), *SQUARE[1:], (1000, 1000), (1000, 720)]])
    fingers.lift()
    (mark,) = canvas.wait_marks(1)
    assert len(mark["exterior"]) >= 4


def test_long_press_takes_a_point_away(phone):
    canvas, fingers = phone()
    for at in SQUARE:
        fingers.tap(canvas.on_photo(at))
    canvas.button("finish").tap()
    canvas.wait_marks(1)
    canvas.button("change").tap()
    canvas.photo.scroll_into_view_if_needed()
    fingers.tap(canvas.on_photo((1450, 1000)))
    assert canvas.data("chosen") != ""
    corner = canvas.facts()["marks"][0]["exterior"][2]
    fingers.hold(canvas.on_photo(corner), 800)
    fingers.lift()
    mark = canvas.wait_facts(lambda f: len(f["marks"][0]["exterior"]) == 3)["marks"][0]
    assert corner not in mark["exterior"]


def test_hold_and_slide_aims_with_the_magnifier(phone):
    canvas, fingers = phone(HARNESS_MODE="place", HARNESS_PLACED="0")
    view = canvas.data("view")
    start, end = (1300, 900), (1420, 1010)
    fingers.hold(canvas.on_photo(start), 450)
    assert canvas.page.locator(".cm-loupe").is_visible()
    fingers.slide([canvas.on_photo((1350, 950)), canvas.on_photo(end)])
    fingers.lift()
    facts = canvas.wait_facts(lambda f: f["sightings"])
    (at,) = facts["sightings"].values()
    np.testing.assert_allclose(at, end, atol=1.5 * canvas.resolution())
    assert canvas.data("view") == view, "the photo must stand still while aiming"
    assert not canvas.page.locator(".cm-loupe").is_visible()


def test_everything_fits_and_is_large_enough(phone):
    canvas, _ = phone()
    width = canvas.page.evaluate("document.documentElement.scrollWidth")
    assert width <= 390
    small = canvas.root.locator("button:visible, input:visible, select:visible").evaluate_all(
        "all => all.map(e => [e.title || e.ariaLabel, e.offsetWidth, e.offsetHeight])"
        ".filter(([_, w, h]) => w < 44 || h < 44)"
    )
    assert small == []
    photo, body = canvas.photo.bounding_box(), canvas.map.bounding_box()
    assert body["y"] > photo["y"] + photo["height"], "photo above, map below"
