"""A photo placed through another one: proposed over the template, accepted, taken back."""

from __future__ import annotations

import re

import cv2
import numpy as np
import pytest
from playwright.sync_api import expect

from corromap.frames import PanelId, PhotoId
from corromap.io.photos import encode_jpeg
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.survey import Car, Sighting
from corromap.ui.surveys import key_of
from tests.browser.conftest import REPOSITORY, settled
from tests.browser.test_scale_bar import PlaceCanvas
from tests.rendered_row import RenderedRow, row_cameras

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def row():
    return RenderedRow(row_cameras(2))


@pytest.fixture
def survey(streamlit_server, tmp_path, row):
    """Two overlapping photos, the first placed by clicks: the file, and the page of the second."""
    file = SurveyFile.create(tmp_path / "row.corromap", row.body, default_rules(), Car(label="Grey car"), author="one")
    for name, rendered in zip("ab", row.rendered, strict=True):
        file.add_photo(encode_jpeg(rendered.image, 92), f"{name}.jpg", "seller")
    for click in row.clicks(0, 8):
        file.put_sighting(Sighting(PhotoId("photo-1"), click.datum, click.at_px))
    url = streamlit_server(REPOSITORY / "app.py", {"CORROMAP_SURVEYS": str(tmp_path)}).url
    return file, f"{url}/?survey={key_of(file.path)}&page=place&photo=photo-2"


def brightness(canvas, panel, at_mm):
    """How bright the map is round a place of a panel."""
    x, y = canvas.on_map(panel.map_frame.to_map(np.asarray([at_mm]))[0])
    clip = {"x": x - 6, "y": y - 6, "width": 12, "height": 12}
    picture = cv2.imdecode(np.frombuffer(canvas.page.screenshot(clip=clip), np.uint8), cv2.IMREAD_GRAYSCALE)
    return float(np.median(picture))


def middle_of_photo(row, number, panel):
    """A place of the panel near the middle of what the renderer's own index says the photo shows of it."""
    inside = row.rendered[number].panel == row.body.panels.index(panel)
    target = np.argwhere(inside).mean(axis=0)[::-1]
    grid = np.stack(np.meshgrid(np.arange(40, 1500, 20.0), np.arange(40, 500, 20.0)), axis=-1).reshape(-1, 2)
    return grid[np.argmin(np.hypot(*(row.shown(number, panel.place.to_car(grid)) - target).T))]


def test_a_proposal_lies_over_the_map_and_is_accepted_and_undone_in_one_step(open_page, survey, row):
    file, address = survey
    page = open_page(address)
    canvas = PlaceCanvas(page)
    panel = row.body.panel(PanelId("floor-left"))
    at_mm = middle_of_photo(row, 1, panel)
    expect(page.locator(".cm-shown")).to_be_hidden()
    page.locator(".st-key-link_look button").click()
    expect(page.locator(".st-key-link_accept")).to_be_visible(timeout=90_000)
    canvas = PlaceCanvas(page)
    expect(page.locator(".cm-shown")).to_have_text(re.compile(r"Proposed; residual \d\.\d px, \d\.\d mm"))
    with_photo = brightness(canvas, panel, at_mm)
    assert file.load().survey.ties == ()
    page.locator(".st-key-link_accept button").click()
    expect(page.locator(".cm-shown")).to_have_text(re.compile(r"Shown well by this photo; residual"), timeout=60_000)
    ties = file.load().survey.ties
    assert len(ties) > 1
    canvas = PlaceCanvas(page)
    bare = brightness(canvas, panel, at_mm)
    assert with_photo < bare - 40  # dark metal over the map's light ground
    page.locator('.st-key-lay_on_map [data-testid="stCheckbox"] label').click()
    settled(page)
    canvas = PlaceCanvas(page)
    assert brightness(canvas, panel, at_mm) < bare - 40
    page.locator(".st-key-bar_undo button").first.click()
    expect(page.locator(".st-key-link_accept")).to_be_visible(timeout=60_000)
    assert file.load().survey.ties == ()


def test_a_phone_shows_it_within_its_width(open_page, survey):
    page = open_page(survey[1], width=390, height=844, has_touch=True, is_mobile=True)
    PlaceCanvas(page)
    page.locator(".st-key-link_look button").click()
    expect(page.locator(".st-key-link_accept")).to_be_visible(timeout=90_000)
    PlaceCanvas(page)
    box = page.locator(".cm-shown").bounding_box()
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= 390
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
