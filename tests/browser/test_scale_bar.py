"""A rule in the photo: its ends clicked, its length given, and what it says of the template."""

from __future__ import annotations

import re

import cv2
import numpy as np
import pytest
from playwright.sync_api import expect

from corromap.frames import PanelId
from corromap.io.photos import encode_jpeg
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template
from corromap.survey import Car, Sighting
from corromap.ui.surveys import key_of
from tests.browser.canvas_driver import CanvasDriver, Fingers
from tests.browser.conftest import REPOSITORY, settled

pytestmark = pytest.mark.browser

PANEL = PanelId("floor-left")
PX_PER_MM = 1.6
RULE_MM = np.array([[300.0, 150.0], [600.0, 150.0]])
"""Ends of a rule of 300 mm on the panel."""


def on_photo(at_mm):
    """The photo looks straight at the panel: turned a quarter, to scale, so that its truth is plain."""
    return np.stack([at_mm[..., 1], -at_mm[..., 0]], axis=-1) * PX_PER_MM + [120.0, 1300.0]


@pytest.fixture
def survey(streamlit_server, tmp_path_factory, request):
    """A placed photo with a rule drawn on it: the file, and its page's address."""
    folder = tmp_path_factory.getbasetemp() / "scale-bars"
    folder.mkdir(exist_ok=True)
    stem = re.sub(r"[^a-z0-9]+", "-", request.node.name.lower()).strip("-")
    template = load_template("two-seat-open")
    picture = np.full((1400, 1100, 3), 90, dtype=np.uint8)
    ends = np.rint(on_photo(RULE_MM)).astype(int)
    cv2.line(picture, ends[0].tolist(), ends[1].tolist(), (230, 230, 60), 9)
    file = SurveyFile.create(
        folder / f"{stem}.corromap", template, default_rules(), Car(label="Blue car"), author="one"
    )
    photo = file.add_photo(encode_jpeg(picture), "floor.jpg", "inspector")
    for datum, at_mm in template.datum_positions(PANEL).items():
        at = on_photo(np.asarray(at_mm)) * [-template.panel(PANEL).facing, 1]
        file.put_sighting(Sighting(photo, datum, at))
    url = streamlit_server(REPOSITORY / "app.py", {"CORROMAP_SURVEYS": str(folder)}).url
    return file, f"{url}/?survey={key_of(file.path)}&page=place"


class PlaceCanvas(CanvasDriver):
    """The canvas on the page where photos are placed."""

    def __init__(self, page):
        self.page = page
        page.wait_for_selector(".cm-root[data-view][data-map-view]", timeout=60_000)
        self.root = page.locator(".cm-root")
        self.photo = page.locator(".cm-photo")
        self.map = page.locator(".cm-map")
        settled(page)
        self.photo.evaluate("e => e.scrollIntoView({block: 'center'})")
        self.settle(300)


def scales_of(page, file, what, timeout=15_000):
    """Wait until the file's scales are as wanted."""
    for _ in range(timeout // 100):
        found = file.load().survey.scales
        if what(found):
            return found
        page.wait_for_timeout(100)
    raise AssertionError(f"the survey's scales did not become as expected: {found}")


def test_ends_are_clicked_the_length_given_and_the_screen_says_what_follows(open_page, survey):
    file, address = survey
    page = open_page(address)
    canvas = PlaceCanvas(page)
    canvas.button("scale bar").click()
    assert canvas.data("clicks") == "bars"
    first, second = on_photo(RULE_MM)
    canvas.click(tuple(first))
    assert "other end" in canvas.help()
    expect(page.locator(".cm-loupe")).to_be_visible()
    canvas.settle(300)
    canvas.click(tuple(second))
    assert re.search(r"it is (29[89]|30[012]) mm long", canvas.help()), canvas.help()
    assert file.load().survey.scales == ()  # no length yet
    sightings = len(file.load().survey.sightings)
    canvas.button("300 mm").click()
    (bar,) = scales_of(page, file, lambda found: len(found) == 1)
    np.testing.assert_allclose(bar.at_px, [first, second], atol=1.2 * canvas.resolution())
    assert (bar.panel, bar.length_mm) == (PANEL, 300)
    expect(page.locator(".cm-said")).to_contain_text("agree within their uncertainty")
    expect(page.locator(".cm-said")).to_have_class(re.compile("cm-agrees"))
    expect(page.get_by_text("Scales on this photo: 1")).to_be_visible()

    # a rule that is not 300 mm long: told at the photo, and under it
    canvas.root.locator(".cm-length input").fill("330")
    canvas.root.locator(".cm-length input").press("Enter")
    scales_of(page, file, lambda found: found[0].length_mm == 330)
    expect(page.locator(".cm-said")).to_contain_text("more than their uncertainty explains")
    percent = float(re.search(r"(\d+\.\d) % larger", page.locator(".cm-said").inner_text()).group(1))
    assert percent == pytest.approx(10, abs=0.8)  # 330 for 300, clicked in screen pixels

    settled(page)
    canvas.drag([tuple(second), tuple(np.add(second, (40, 30)))])
    (moved,) = scales_of(page, file, lambda found: abs(found[0].at_px[1] - bar.at_px[1]).max() > 10)
    np.testing.assert_allclose(moved.at_px, [bar.at_px[0], np.add(second, (40, 30))], atol=2 * canvas.resolution())
    assert moved.id == bar.id
    assert len(file.load().survey.sightings) == sightings  # a click set no datum point

    page.locator(".st-key-bar_undo button").first.click()
    scales_of(page, file, lambda found: (found[0].at_px == bar.at_px).all())
    settled(page)
    canvas.button("delete").click()
    scales_of(page, file, lambda found: found == ())
    expect(page.locator(".cm-said")).to_be_hidden()


def test_on_a_phone_with_a_finger(open_page, survey):
    file, address = survey
    page = open_page(address, width=390, height=844, has_touch=True, is_mobile=True)
    canvas = PlaceCanvas(page)
    canvas.button("scale bar").tap()
    canvas.photo.evaluate("e => e.scrollIntoView({block: 'center'})")
    canvas.settle(300)
    finger = Fingers(page)
    first, second = on_photo(RULE_MM)
    finger.tap(canvas.on_photo(first))
    x, y = canvas.on_photo(second)
    finger.hold((x + 25, y - 20), 400)  # held, then slid under the magnifier
    finger.slide([(x + 10, y - 8), (x, y)])
    expect(page.locator(".cm-loupe")).to_be_visible()
    finger.lift()
    assert "How long is it?" in canvas.help()
    canvas.root.locator(".cm-length input").fill("300")
    canvas.root.locator(".cm-length input").blur()
    (bar,) = scales_of(page, file, lambda found: len(found) == 1)
    np.testing.assert_allclose(bar.at_px, [first, second], atol=2.5 * canvas.resolution())
    expect(page.locator(".cm-said")).to_be_visible()
    settled(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_by_keyboard_alone_and_half_a_bar_outlives_a_reload(open_page, survey):
    file, address = survey
    page = open_page(address)
    canvas = PlaceCanvas(page)
    canvas.press("b", "Enter", "Enter")  # the cross appears in the middle, then sets an end
    assert "other end" in canvas.help()
    page.reload()
    canvas = PlaceCanvas(page)
    assert canvas.data("clicks") == "bars"
    assert "other end" in canvas.help()
    canvas.press("Enter", *["Shift+ArrowRight"] * 3, "Enter")
    assert "How long is it?" in canvas.help()
    canvas.press("Control+z")  # takes the end back, not the survey's last change
    assert "other end" in canvas.help()
    canvas.press("Enter")
    canvas.root.locator(".cm-length input").fill("212.5")
    canvas.root.locator(".cm-length input").press("Enter")
    (bar,) = scales_of(page, file, lambda found: len(found) == 1)
    assert bar.length_mm == 212.5
    assert bar.at_px[1, 0] > bar.at_px[0, 0]
