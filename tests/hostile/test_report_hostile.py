"""Whatever a stranger writes into a survey, template or rule set reaches the report as text only."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from corromap.errors import PhotoError
from corromap.frames import PhotoId
from corromap.report.document import evaluation_document
from corromap.report.drawing import map_svg
from corromap.report.html import report_html
from corromap.report.svg import printable
from corromap.report.writing import write_report
from tests import report_scene
from tests.report_page import Page, parse

MADE = "2024-05-02 12:00"

TEXTS = {
    "script": "<script>document.title='owned'</script>",
    "end of script and style": "</script></style></title></svg></textarea><script>document.title='owned'</script>",
    "attribute": "\" onmouseover=\"document.title='owned'\" x='",
    "picture that fails": "<img src=x onerror=\"document.title='owned'\">",
    "drawing": "<svg onload=\"document.title='owned'\"><use href='http://example.invalid/a.svg#b'/></svg>",
    "address": "http://example.invalid/?q=1&copy=2;&lt;b&gt; javascript:document.title='owned'",
    "css": "url(http://example.invalid/x) } body { display: none } @import 'http://example.invalid/y';",
    "template": "{{ 7 * 7 }} {% for i in range(9) %}x{% endfor %} ${7*7} {0.__class__}",
    "formula": '=HYPERLINK("http://example.invalid";"x") +1 -1 @SUM(1) |calc',
    "comment": "<!-- --> --!> <![CDATA[ ]]> <?xml version='1.0'?> <!DOCTYPE x [<!ENTITY a 'b'>]> &a;",
    "right to left": "\u202edessarg sselrac\u202c עברית العربية \u2067abc",
    "emoji": "🚗🔧 👩\u200d🏭 🏴󠁧󠁢󠁳󠁣󠁴󠁿 e\u0301\u0323",
    "control characters": "a\x00b\x08c\x0bd\x1be\x7f\ufffe\uffff",
    "lone surrogate": "a\ud800b\udfffc",
    "long word": "W" * 10_000,
    "long text": "rust on the left sill " * 450,
    "many lines": "one\ntwo\r\nthree\u2028four\u2029five\n" * 200,
}  # fmt: skip


def mixing(text: str) -> Callable[[str], str]:
    return lambda own: f"{own} {text}"


@pytest.fixture(scope="module", params=TEXTS, ids=lambda name: name.replace(" ", "-"))
def hostile(request: pytest.FixtureRequest) -> str:
    return TEXTS[request.param]


@pytest.fixture(scope="module")
def plain_page() -> Page:
    return parse(report_html(report_scene.evaluation(), report_scene.photo_bytes, made_at=MADE))


@pytest.fixture(scope="module")
def html(hostile: str) -> str:
    return report_html(report_scene.evaluation(mixing(hostile)), report_scene.photo_bytes, made_at=MADE)


def test_page_keeps_its_shape(html: str, plain_page: Page) -> None:
    """The same elements with the same attribute names as with harmless texts: nothing got in as markup."""
    page = parse(html)
    assert page.faults == []
    shape = Counter((f.tag, *sorted(f.attributes)) for f in page.elements)
    expected = Counter((f.tag, *sorted(f.attributes)) for f in plain_page.elements)
    assert shape - expected == expected - shape == Counter()
    assert page.styles == plain_page.styles


def test_page_shows_the_text_itself(html: str, hostile: str) -> None:
    def squeezed(text: str) -> str:
        return re.sub(r"\s+", " ", text)

    shown = squeezed(parse(html).text)
    assert squeezed(printable(hostile)).strip() in shown
    assert shown.count(squeezed(printable(hostile)).strip()[:40]) > 20


def test_page_asks_for_nothing(html: str) -> None:
    for kind, address in parse(html).addresses():
        assert address.startswith(("#", "data:image/jpeg;base64,", "data:image/png;base64,")), (kind, address[:80])


def test_page_can_be_written(hostile: str, tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    write_report(report_scene.evaluation(mixing(hostile)), report_scene.photo_bytes, path, made_at=MADE)
    assert "</html>" in path.read_text(encoding="utf-8")


@pytest.mark.parametrize("turn", [False, True])
def test_map_is_still_a_map(hostile: str, turn: bool) -> None:
    scene, harmless = report_scene.evaluation(mixing(hostile)), report_scene.evaluation()
    root = ET.fromstring(map_svg(scene.template, scene, turn=turn, show_datum_points=True))
    expected = ET.fromstring(map_svg(harmless.template, harmless, turn=turn, show_datum_points=True))
    assert [(e.tag, sorted(e.attrib)) for e in root.iter()] == [(e.tag, sorted(e.attrib)) for e in expected.iter()]


def test_photo_drawing_is_still_a_drawing(hostile: str) -> None:
    scene = report_scene.evaluation(mixing(hostile))
    for page, expected in zip(
        report_scene.photo_pages_of(scene),
        report_scene.photo_pages_of(report_scene.evaluation()),
        strict=True,
    ):
        got, want = ET.fromstring(page.svg), ET.fromstring(expected.svg)
        assert [(e.tag, sorted(e.attrib)) for e in got.iter()] == [(e.tag, sorted(e.attrib)) for e in want.iter()]


def test_document_holds_the_text_as_it_was_written(hostile: str) -> None:
    document = evaluation_document(report_scene.evaluation(mixing(hostile)))
    assert document["survey"]["car"]["owner"] == f"A. Owner {hostile}"  # type: ignore[index]


@pytest.mark.parametrize(
    "data", [b"", b"not a picture", report_scene.jpeg()[:400]], ids=["empty", "renamed", "cut short"]
)
def test_a_photo_that_cannot_be_read_is_named_and_the_old_report_stays(data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    path.write_text("the old one", encoding="utf-8")

    def photo_bytes(photo: PhotoId) -> bytes:
        return data if photo == "photo-2" else report_scene.photo_bytes(photo)

    with pytest.raises(PhotoError, match=r"far\.jpg"):
        write_report(report_scene.evaluation(), photo_bytes, path, made_at=MADE)
    assert path.read_text(encoding="utf-8") == "the old one"
    assert [entry.name for entry in tmp_path.iterdir()] == ["report.html"]
