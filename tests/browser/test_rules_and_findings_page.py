"""On the outcome page in a real browser: a finding placed by a click on the map, and a limit that is changed."""

from __future__ import annotations

import numpy as np
import pytest
from playwright.sync_api import expect

from corromap.by_hand import HandKind
from corromap.frames import MarkId, PhotoId, PhotoOutline
from corromap.io.photos import encode_jpeg
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template
from corromap.survey import Mark, MarkKind, Sighting
from corromap.ui.surveys import key_of
from tests.browser.conftest import REPOSITORY, choose, settled

pytestmark = pytest.mark.browser

PATIENCE = 60_000
"""ms; a busy machine takes its time"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("surveys")


@pytest.fixture
def survey(folder):
    """One photo placed on the left floor with a patch on it."""
    template = load_template("two-seat-open")
    path = folder / "findings.corromap"
    path.unlink(missing_ok=True)
    file = SurveyFile.create(path, template, default_rules(), author="test")
    photo: PhotoId = file.add_photo(encode_jpeg(np.full((900, 1200, 3), 60, dtype=np.uint8)), "floor.jpg", "seller")
    panel = next(p for p in template.panels if p.id == "floor-left")
    for datum, (u, v) in template.datum_positions(panel.id).items():
        file.put_sighting(Sighting(photo, datum, np.array([v * -panel.facing, -u]) / 2.5 + [300, 700]))
    ring = np.array([[310, 400], [330, 400], [330, 420], [310, 420]], dtype=float)
    file.put_mark(Mark(MarkId("patch-1"), photo, MarkKind.PATCH, PhotoOutline(ring)))
    return file


@pytest.fixture
def page(streamlit_server, folder, survey, open_page, request):
    server = streamlit_server(REPOSITORY / "app.py", {"CORROMAP_SURVEYS": str(folder)})
    width = getattr(request, "param", 1440)
    shown = open_page(f"{server.url}/?survey={key_of(survey.path)}&page=outcome", width=width)
    expect(shown.get_by_text("Cautions before any repair")).to_be_visible(timeout=PATIENCE)
    settled(shown)
    return shown


def unfold(page, text):
    block = page.locator("details", has=page.locator("summary", has_text=text)).first
    block.locator("summary").first.scroll_into_view_if_needed()
    block.locator("summary").first.click()
    expect(block).to_have_attribute("open", "", timeout=PATIENCE)
    settled(page)
    return block


@pytest.mark.parametrize("page", [1440, 390], indirect=True, ids=["desk", "phone"])
def test_a_click_on_the_map_places_a_finding(page, survey):
    unfold(page, "Found by hand")
    panel = page.locator(".pick svg [data-panel='sill-left-outer']").first
    expect(panel).to_be_visible(timeout=PATIENCE)
    box = panel.bounding_box()
    # front is up: u runs up, v to the right, from the panel's rear inner corner
    panel.click(position={"x": 0.25 * box["width"], "y": 0.9 * box["height"]}, force=True)
    expect(page.locator(".pick .dot.chosen")).to_have_count(1, timeout=PATIENCE)
    choose(page, "a probe goes through")
    button = page.get_by_role("button", name="Add the finding")
    expect(button).to_be_enabled(timeout=PATIENCE)
    button.click()
    expect(page.get_by_text("holes marked or found by a probe: 1.").first).to_be_visible(timeout=PATIENCE)
    (finding,) = survey.load().survey.hand_findings
    length, height = 1480, 165
    assert (finding.kind, finding.panel) == (HandKind.PROBE, "sill-left-outer")
    assert finding.at_mm == pytest.approx([0.1 * length, 0.25 * height], abs=15)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_changed_limit_says_what_it_changes(page, survey):
    unfold(page, "Rules in force")
    field = page.get_by_label("from, pieces").first  # separate patches in one load-bearing zone
    expect(field).to_be_visible(timeout=PATIENCE)
    field.scroll_into_view_if_needed()
    settled(page)
    field.fill("1")
    field.press("Enter")
    expect(page.locator(".cm-changed")).to_contain_text("Outcome: stop, was", timeout=PATIENCE)
    assert survey.load().rules.rules[0].at_least == 1


def test_a_reason_opens_its_photo_with_the_mark_chosen(page):
    link = page.get_by_role("button", name="Mark 1, floor.jpg").first
    link.scroll_into_view_if_needed()
    settled(page)
    link.click()
    expect(page.locator("[data-chosen='patch-1']")).to_have_count(1, timeout=PATIENCE)
    assert "mark=patch-1" in page.url
