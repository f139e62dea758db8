"""The report page in a real browser: no script runs, nothing is fetched, it fits, reads and prints."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

from corromap.report.html import report_html
from corromap.report.view import Length
from tests import report_scene
from tests.hostile.test_report_hostile import TEXTS, mixing

pytestmark = pytest.mark.browser

# Contrast of every visible text with the first painted ground behind it: WCAG 2.2, 1.4.3.
CONTRAST = """
() => {
  const parse = c => {
    const m = c.match(/[\\d.]+/g).map(Number);
    return {rgb: m.slice(0, 3), a: m.length > 3 ? m[3] : 1};
  };
  const linear = v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  const lum = rgb => {
    const [r, g, b] = rgb.map(v => linear(v / 255));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = e => {
    for (; e; e = e.parentElement) {
      const c = parse(getComputedStyle(e).backgroundColor);
      if (c.a === 1) return c.rgb;
    }
    return [255, 255, 255];
  };
  const bad = []; let seen = 0;
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || e.closest('svg, style') || !e.getClientRects().length) continue;
    const a = lum(parse(getComputedStyle(e).color).rgb), b = lum(ground(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    seen += 1;
    if (ratio < 4.5) bad.push([ratio, walk.currentNode.data.trim().slice(0, 40)]);
  }
  return [seen, bad];
}
"""
# What sticks out of the page sideways, scrolling boxes left out.
OVERFLOW = """
() => [...document.querySelectorAll('main *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1
  && !e.closest('.scroll') && !e.closest('svg')).map(e => e.tagName + '.' + e.className).slice(0, 5)
"""


@pytest.fixture(scope="module")
def plain_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "report.html"
    page = report_html(report_scene.evaluation(), report_scene.photo_bytes, made_at="2024-05-02 12:00")
    path.write_text(page, encoding="utf-8")
    return path


@pytest.mark.parametrize("name", TEXTS)
def test_hostile_texts_do_nothing(browser: Any, tmp_path: Path, name: str) -> None:
    path = tmp_path / "report.html"
    scene = report_scene.evaluation(mixing(TEXTS[name]))
    path.write_text(report_html(scene, report_scene.photo_bytes, made_at="2024-05-02 12:00"), encoding="utf-8")
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    asked: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: complaints.append(message.text))
    page.on("dialog", lambda dialog: complaints.append(f"dialog: {dialog.message}"))
    page.goto(path.as_uri())
    page.hover("h1")
    assert page.title().startswith("Underside report: Small two-seater")
    assert [url for url in asked if not url.startswith(("data:image/jpeg", path.as_uri()))] == []
    assert complaints == []
    assert page.locator("body").is_visible()
    assert page.locator(".corromap-map:visible").count() == 1
    assert page.evaluate("document.scripts.length") == 0
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    ("width", "which"), [(1440, "for-screen"), (1024, "for-screen"), (390, "for-phone"), (320, "for-phone")]
)
def test_reads_at_every_size_by_day_and_night(
    open_page: Any, plain_file: Path, width: int, which: str, scheme: str
) -> None:
    page = open_page(plain_file.as_uri(), width=width, height=900, color_scheme=scheme)
    seen, bad = page.evaluate(CONTRAST)
    assert seen > 200
    assert bad == []
    assert page.evaluate(OVERFLOW) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert (
        page.evaluate(
            "[...document.querySelectorAll('.map')].filter(e => e.getClientRects().length).map(e => e.className)"
        )
        == [f"map {which}"] * 2
    )  # the map, and how well each place was shown


@pytest.mark.parametrize("length", list(Length))
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
def test_wcag(open_page: Any, tmp_path: Path, length: Length, scheme: str, width: int) -> None:
    """No violation of WCAG 2.2 A and AA, or of axe-core's good practice; what is folded is unfolded first."""
    path = tmp_path / "report.html"
    made = report_html(report_scene.evaluation(), report_scene.photo_bytes, made_at="2024-05-02 12:00", length=length)
    path.write_text(made.replace("<details", "<details open"), encoding="utf-8")
    page = open_page(path.as_uri(), width=width, height=900, color_scheme=scheme)
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}}).response
    assert len(found["passes"]) > 20
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found["violations"]] == []


def test_outcome_reasons_and_next_step_are_on_the_first_screen(open_page: Any, plain_file: Path) -> None:
    page = open_page(plain_file.as_uri(), width=1440, height=900)
    for words in (
        "Outcome: repair",
        "Repair is called for in 1 zone.",
        "Left floor, front: 1 (limit 1).",
        "ISO 9606-1",
    ):
        box = page.get_by_text(words).first.bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= 900, words


def test_photos_are_shown_and_their_outlines_lie_on_them(open_page: Any, plain_file: Path) -> None:
    page = open_page(plain_file.as_uri())
    boxes = page.evaluate(
        "[...document.querySelectorAll('.corromap-photo image')].map(i => i.getBoundingClientRect())"
        ".map(r => [r.width, r.height])"
    )
    assert [round(w / h, 2) for w, h in boxes] == [pytest.approx(4 / 3, abs=0.02), pytest.approx(3 / 4, abs=0.02)]
    decoded = page.evaluate(
        "Promise.all([...document.querySelectorAll('.corromap-photo image')].map(i => new Promise(done => {"
        " const p = new Image(); p.onload = () => done(p.naturalWidth); p.onerror = () => done(0);"
        " p.src = i.href.baseVal; })))"
    )
    assert decoded == [400, 300]


def test_keyboard_reaches_links_and_wide_tables(open_page: Any, plain_file: Path) -> None:
    page = open_page(plain_file.as_uri())
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the outcome"
    assert page.evaluate(
        "[...document.querySelectorAll('.scroll')].every(e => e.tabIndex === 0 && e.getAttribute('aria-label'))"
    )


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_prints(open_page: Any, plain_file: Path, tmp_path: Path, paper: str) -> None:
    page = open_page(plain_file.as_uri(), color_scheme="dark")
    path = tmp_path / "report.pdf"
    page.pdf(path=str(path), format=paper, prefer_css_page_size=False)
    assert path.stat().st_size > 20_000
    if shutil.which("pdftotext") is None:
        pytest.skip("poppler-utils is not installed")
    sheets = (
        subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, check=True)
        .stdout.decode()
        .split("\f")[:-1]
    )
    assert 5 <= len(sheets) <= 18
    assert "Outcome: repair" in sheets[0].replace("OUTCOME: REPAIR", "Outcome: repair")
    assert "ISO 9606-1" in sheets[0]
    map_sheet, detail_sheet = [s for s in sheets if "SEEN FROM BELOW" in s]
    assert "FRONT" in map_sheet
    assert "The body unfolded and seen from below." in map_sheet  # heading and map on one sheet
    assert "How well each place was shown" in detail_sheet
    assert "in no photo" in detail_sheet  # and its key
    assert sum("Cautions" in s for s in sheets) == 1


def test_paper_is_white_also_in_the_dark(open_page: Any, plain_file: Path) -> None:
    page = open_page(plain_file.as_uri(), color_scheme="dark")
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    _, bad = page.evaluate(CONTRAST)
    assert bad == []
