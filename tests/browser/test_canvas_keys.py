"""Everything on the canvas with the keyboard alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.browser.canvas_driver import CanvasDriver

pytestmark = pytest.mark.browser
APP = Path(__file__).with_name("harness_app.py")


@pytest.fixture
def canvas(open_page, streamlit_server):
    return CanvasDriver(open_page(streamlit_server(APP).url))


def square(canvas, *, start=()):
    """Enter shows the cross in the middle; eight arrow steps a side, Enter sets a point, twice closes."""
    canvas.press("Enter", *start, "Enter")
    for arrow in ("ArrowRight", "ArrowDown", "ArrowLeft"):
        canvas.press(*[arrow] * 8, "Enter")
    canvas.press("Enter")


def test_outline_by_arrows_and_enter(canvas):
    square(canvas)
    (mark,) = canvas.wait_marks(1)
    corners = np.array(mark["exterior"])
    side = 8 * 8 * canvas.resolution()
    np.testing.assert_allclose(np.ptp(corners, axis=0), [side, side], atol=0.1)
    np.testing.assert_allclose(corners[0], [1499.5, 999.5], atol=0.6)


def test_preview_follows_the_cross(canvas):
    canvas.press("Enter", "Enter", *["ArrowRight"] * 6, "Enter", *["ArrowDown"] * 6)
    assert float(canvas.data("preview-mm2")) > 0
    assert canvas.data("panel") == "floor-left"


def test_fine_step_is_one_photo_pixel(canvas):
    canvas.press("Enter")
    x = float(canvas.data("photo-x") or 0)
    canvas.press("Control+ArrowRight", "Control+ArrowRight")
    assert float(canvas.data("photo-x")) == pytest.approx(max(x, 1499.5) + 2)


def test_choose_kind_stage_delete_and_undo(canvas):
    canvas.press("f")
    square(canvas)
    assert canvas.wait_marks(1)[0]["kind"] == "filler"
    canvas.press(".")
    assert canvas.data("chosen") == canvas.facts()["marks"][0]["id"]
    canvas.press("r", "2")
    canvas.wait_facts(lambda f: f["marks"][0]["stage"] == "scaled")
    canvas.press(*["ArrowUp"] * 4, "Delete")  # away from the point under the cross: the whole mark
    canvas.wait_marks(0)
    canvas.press("Control+z")
    canvas.wait_marks(1)
    canvas.press("Control+y")
    canvas.wait_marks(0)


def test_point_is_picked_up_carried_and_put_down(canvas):
    square(canvas)
    before = canvas.wait_marks(1)[0]["exterior"]
    canvas.press(".")
    # the cross is still where the last point was set
    canvas.press("Enter")
    assert "Arrow keys move the point" in canvas.help()
    canvas.press("ArrowLeft", "ArrowLeft", "Enter")
    after = canvas.wait_facts(lambda f: f["marks"][0]["exterior"] != before)["marks"][0]["exterior"]
    moved = np.linalg.norm(np.array(after) - np.array(before), axis=1)
    assert sorted(moved.round(2))[:3] == [0, 0, 0]
    assert moved.max() == pytest.approx(16 * canvas.resolution(), abs=0.05)


def test_point_carried_and_let_go_stays(canvas):
    square(canvas)
    before = canvas.wait_marks(1)[0]["exterior"]
    canvas.press(".", "Enter", "ArrowLeft", "Escape")
    canvas.settle(400)
    assert canvas.facts()["marks"][0]["exterior"] == before


def test_point_is_deleted_at_the_cross(canvas):
    square(canvas)
    canvas.wait_marks(1)
    canvas.press(".", "Delete")
    canvas.wait_facts(lambda f: len(f["marks"][0]["exterior"]) == 3)


def test_backspace_takes_back_the_last_point(canvas):
    canvas.press("Enter", "Enter", *["ArrowRight"] * 4, "Enter")
    assert canvas.data("points") == "2"
    canvas.press("Backspace")
    assert canvas.data("points") == "1"
    canvas.press("Escape")
    assert canvas.data("points") == "0"


def test_typing_in_a_field_does_not_draw(canvas):
    canvas.press("p")
    select = canvas.page.locator(".cm-field select")
    select.focus()
    canvas.page.keyboard.press("Enter")
    canvas.page.keyboard.press("Escape")
    canvas.page.keyboard.press("r")
    canvas.settle(200)
    canvas.expect_pressed("patch")
    assert canvas.data("points") == "0"
