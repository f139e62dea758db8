"""What the photos show and what to ask for, on a desk and on a phone: nothing cut off, a next step in reach."""

from __future__ import annotations

import numpy as np
import pytest
from playwright.sync_api import expect

from corromap.frames import MarkId, PanelId, PhotoOutline
from corromap.io.photos import encode_jpeg
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template
from corromap.survey import Car, Mark, MarkKind, RustStage, Sighting
from corromap.ui.surveys import key_of
from tests.browser.conftest import REPOSITORY, settled

pytestmark = pytest.mark.browser

NAMELESS = """() => {
  const named = e => e.innerText || e.ariaLabel || e.title || e.alt || e.placeholder || e.labels?.[0]?.innerText
    || (e.getAttribute('aria-labelledby') || '').split(' ').map(id => document.getElementById(id)?.textContent).join('')
  const controls = document.querySelectorAll(
    '[data-testid=stMain] :is(button, a[href], input:not([type=hidden]), select, textarea, summary, img, [role=img])')
  if (controls.length < 10) return [`only ${controls.length} controls: the page is not there`]
  return [...controls].filter(e => e.checkVisibility() && !(named(e) || '').trim()).map(e => e.outerHTML.slice(0, 160))
}"""
"""Controls and pictures without a name a screen reader could say."""

DESK, PHONE = (1440, 1000), (390, 844)


@pytest.fixture(scope="module")
def address(streamlit_server, tmp_path_factory):
    """A survey with rust of every stage, filler and a patch in one zone: the widest rows there are."""
    folder = tmp_path_factory.mktemp("surveys")
    template = load_template("two-seat-open")
    file = SurveyFile.create(folder / "blue.corromap", template, default_rules(), Car(label="Blue car"), author="one")
    noise = np.random.default_rng(7).integers(60, 200, (900, 1200, 3), dtype=np.uint8)
    photo = file.add_photo(encode_jpeg(noise), "floor.jpg", "seller")
    panel = template.panel(PanelId("floor-left"))
    for datum, (u, v) in template.datum_positions(panel.id).items():
        file.put_sighting(Sighting(photo, datum, np.array([v * -panel.facing, -u]) / 2.5 + [300, 700]))
    kinds = [*((MarkKind.RUST, stage) for stage in RustStage), (MarkKind.FILLER, None), (MarkKind.PATCH, None)]
    for number, (kind, stage) in enumerate(kinds):
        x = 330 + 16 * number
        ring = np.array([[x, 400], [x + 12, 400], [x + 12, 440], [x, 440]], dtype=float)
        file.put_mark(Mark(MarkId(f"m{number}"), photo, kind, PhotoOutline(ring), stage=stage))
    server = streamlit_server(REPOSITORY / "app.py", {"CORROMAP_SURVEYS": str(folder)})
    return f"{server.url}/?survey={key_of(file.path)}"


def opened(open_page, address, name, title, size):
    page = open_page(f"{address}&page={name}", width=size[0], height=size[1])
    expect(page.get_by_role("heading", name=title, exact=True)).to_be_visible(timeout=60_000)
    settled(page)
    return page


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_no_title_of_a_step_is_cut(open_page, address, size):
    page = opened(open_page, address, "car", "The car", size)
    cut = page.evaluate("""() => [...document.querySelectorAll('.st-key-cm_steps button')].filter(button => {
      const title = button.querySelector('strong').getBoundingClientRect()
      const box = button.querySelector('[data-testid="stMarkdownContainer"]').getBoundingClientRect()
      return title.right > box.right + 0.5 || title.bottom > box.bottom + 0.5
    }).map(button => button.innerText)""")
    assert cut == []
    assert page.locator(".st-key-cm_steps button").count() == 7


def test_on_a_phone_the_steps_fill_two_rows(open_page, address):
    page = opened(open_page, address, "car", "The car", PHONE)
    boxes = [button.bounding_box() for button in page.locator(".st-key-cm_steps button").all()]
    rows = sorted({round(box["y"]) for box in boxes})
    assert [sum(round(box["y"]) == row for box in boxes) for row in rows] == [4, 3]
    ends = [max(box["x"] + box["width"] for box in boxes if round(box["y"]) == row) for row in rows]
    assert ends[0] == pytest.approx(ends[1], abs=1)


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_coverage_stands_in_sight_beside_each_figure(open_page, address, size):
    page = opened(open_page, address, "outcome", "Zones and outcome", size)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    out = page.evaluate("""() => [...document.querySelectorAll('.cm-scroll')]
      .filter(box => box.scrollWidth > box.clientWidth + 1).map(box => box.innerText.slice(0, 80))""")
    assert out == []
    bars = page.locator(".cm-bar3").all()
    assert len(bars) > 3
    assert min(bar.bounding_box()["width"] for bar in bars) > 60


def test_every_control_of_the_evidence_pages_has_a_name(open_page, address):
    for name, title in (("photos", "Photos"), ("mark", "Mark what the photos show"), ("outcome", "Zones and outcome")):
        page = opened(open_page, address, name, title, PHONE)
        if name == "mark":
            page.get_by_text("Settle where photos disagree").click()
            settled(page)
        assert page.evaluate(NAMELESS) == []


def test_what_is_missing_is_asked_for_in_two_taps(open_page, address):
    page = opened(open_page, address, "outcome", "Zones and outcome", PHONE)
    with page.context.expect_page() as new:
        page.locator("a[data-get=requests]").click()
    listed = new.value
    expect(listed.get_by_role("heading", name="Photos to take of the underside and the sills")).to_be_visible()
    assert listed.evaluate("document.documentElement.scrollWidth <= innerWidth")
    drawings = [drawing.bounding_box() for drawing in listed.locator("svg.viewpoint").all()]
    assert len(drawings) > 3
    assert min(box["width"] for box in drawings) > 300  # one column: a drawing is legible
    page.get_by_text("Show a message to a seller").click()
    expect(page.get_by_text("thank you for showing me the car")).to_be_visible()


def test_another_page_begins_at_its_top(open_page, address):
    page = opened(open_page, address, "outcome", "Zones and outcome", PHONE)
    page.get_by_role("button", name="Next: repair plan").click()
    expect(page.get_by_role("heading", name="Repair plan", exact=True)).to_be_in_viewport(timeout=20_000)
    settled(page)
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollTop") == 0
