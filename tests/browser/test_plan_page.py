"""The repair plan's page in a browser, on a desk and on a phone."""

from __future__ import annotations

import io
import zipfile

import numpy as np
import pytest
from playwright.sync_api import expect
from pypdf import PdfReader

from corromap.frames import MarkId, PanelId, PhotoOutline
from corromap.io.photos import encode_jpeg
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template
from corromap.survey import Car, Mark, MarkKind, RustStage, Sighting
from corromap.ui.surveys import key_of
from tests.browser.conftest import REPOSITORY, settled

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def address(streamlit_server, tmp_path_factory):
    """The plan's page of a survey with one photo straight down and one hole."""
    folder = tmp_path_factory.mktemp("surveys")
    template = load_template("two-seat-open")
    file = SurveyFile.create(folder / "blue.corromap", template, default_rules(), Car(label="Blue car"), author="one")
    photo = file.add_photo(encode_jpeg(np.full((900, 1200, 3), 60, dtype=np.uint8)), "floor.jpg", "seller")
    panel = template.panel(PanelId("floor-left"))
    for datum, (u, v) in template.datum_positions(panel.id).items():
        file.put_sighting(Sighting(photo, datum, np.array([v * -panel.facing, -u]) / 2.5 + [300, 700]))
    ring = np.array([[340, 400], [380, 400], [380, 440], [340, 440]], dtype=float)
    file.put_mark(Mark(MarkId("m1"), photo, MarkKind.RUST, PhotoOutline(ring), stage=RustStage.HOLED))
    server = streamlit_server(REPOSITORY / "app.py", {"CORROMAP_SURVEYS": str(folder)})
    return f"{server.url}/?survey={key_of(file.path)}&page=plan"


def ready(page):
    expect(page.get_by_role("heading", name="For the welder", exact=True)).to_be_visible(timeout=60_000)
    settled(page)


def test_the_welder_gets_true_pages_and_drawings(open_page, address):
    page = open_page(address)
    ready(page)
    expect(page.get_by_text("This plan is a lower bound")).to_be_visible()
    with page.expect_download() as sheet:
        page.locator('a[data-get="welder"]').click()
    assert sheet.value.suggested_filename == "blue-car-welders-sheet.pdf"
    pages = PdfReader(sheet.value.path()).pages
    assert "100 mm: check with a rule" in pages[-1].extract_text()
    with page.expect_download() as drawings:
        page.locator('a[data-get="dxf"]').click()
    with zipfile.ZipFile(io.BytesIO(drawings.value.path().read_bytes())) as packed:
        assert [name.rsplit(".", 1)[1] for name in packed.namelist()] == ["dxf"] * len(packed.namelist())


def test_on_a_phone_nothing_runs_off_the_side(open_page, address):
    page = open_page(address, width=390, height=844)
    ready(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    drawing = page.locator(".cm-plan svg")
    box = drawing.bounding_box()
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= 390
    assert box["width"] > 250
