"""The report page: order, structure, honesty, and how it is written to disk."""

from __future__ import annotations

import os
import re
import resource
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from corromap.errors import OutputError
from corromap.report import html as report_page
from corromap.report.html import report_html
from corromap.report.view import Length
from corromap.report.writing import write_report
from tests import report_scene
from tests.report_page import Page, parse

SECTIONS = (
    "outcome-h",
    "not-shown",
    "map",
    "zones",
    "patches",
    "mountings",
    "detail",
    "whole",
    "photos",
    "marks",
    "method",
    "cautions",
)


@pytest.fixture(scope="module")
def html() -> str:
    return report_html(report_scene.evaluation(), report_scene.photo_bytes, made_at="2024-05-02 12:00")


@pytest.fixture(scope="module")
def page(html: str) -> Page:
    return parse(html)


def test_is_well_formed(page: Page) -> None:
    assert page.faults == []
    assert len(set(page.ids)) == len(page.ids)


def test_sections_come_in_their_order(page: Page) -> None:
    places = [page.ids.index(name) for name in SECTIONS]
    assert places == sorted(places)


def test_headings_do_not_skip_a_level(page: Page) -> None:
    levels = [int(f.tag[1]) for f in page.elements if re.fullmatch("h[1-6]", f.tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def of_length(length: Length) -> Page:
    scene, photo_bytes = report_scene.evaluation(), report_scene.photo_bytes
    return parse(report_html(scene, photo_bytes, made_at="2024-05-02 12:00", length=length))


@pytest.mark.parametrize("length", Length)
def test_every_inner_link_leads_somewhere(length: Length) -> None:
    page = of_length(length)
    targets = [f.attributes["href"] for f in page.all("a")]
    assert targets
    assert {t[1:] for t in targets} <= set(page.ids)
    assert any(t.startswith("#mark-") for t in targets) == (length is not Length.ONE_PAGE)


def test_one_page_names_no_mark_that_it_does_not_list(page: Page) -> None:
    named = re.compile(r"\b[Mm]arks? \d")
    assert named.search(page.text)
    assert not named.search(of_length(Length.ONE_PAGE).text)


def test_every_table_has_headers_with_scope(page: Page) -> None:
    headers = page.all("th")
    assert len(page.all("table")) >= 7
    assert all(h.attributes.get("scope") in {"col", "row", "rowgroup"} for h in headers)
    assert all(h.text.strip() for h in headers)


def test_every_drawing_has_a_name_and_says_what_it_shows(page: Page) -> None:
    drawings = page.all("svg")
    requests = [d for d in drawings if d.attributes.get("class") == "viewpoint"]
    assert [d.attributes["aria-label"] for d in requests] == [
        f"Where to hold the camera for photo {i}" for i in range(1, len(requests) + 1)
    ]
    assert requests
    crops, locators = ([d for d in drawings if d.attributes.get("class") == kind] for kind in ("crop", "locator"))
    assert len(crops) == len(locators) == 3
    # maps, detail maps, photos, whole picture, findings twice, one zone to repair
    assert len(drawings) == 3 + 3 + 2 + 1 + 3 + 3 + 1 + len(requests)
    assert all(d.attributes["role"] == "img" for d in drawings)
    maps = [d for d in drawings if "corromap-map" in d.attributes.get("class", "")]
    for drawing in maps:
        named = drawing.attributes["aria-labelledby"].split()
        words = " ".join(f.text for f in page.elements if f.attributes.get("id") in named)
        assert "seen from below" in words
        assert "Rust in 1 zone: Left floor, front." in words
        assert "2 of 5 zones were never shown" in words


def test_nothing_is_fetched_from_anywhere(page: Page) -> None:
    for kind, address in page.addresses():
        assert address.startswith(("#", "data:image/jpeg;base64,", "data:image/png;base64,")), (kind, address[:80])
    assert page.all("script") == page.all("iframe") == page.all("object") == page.all("link") == page.all("form") == []


def test_policy_forbids_everything_but_own_pictures_and_styles(page: Page) -> None:
    policy = next(m for m in page.all("meta") if m.attributes.get("http-equiv") == "Content-Security-Policy")
    assert policy.attributes["content"].startswith("default-src 'none'; img-src data:; style-src 'unsafe-inline'")


@pytest.mark.parametrize(
    "words",
    [
        "Outcome: repair",
        "Repair is called for in 1 zone.",
        "ISO 9606-1 or the local equivalent",
        "house rule",
        "499 cm²",
        "439 to 559 cm²",
        "2 load-bearing zones were not shown well enough",
        "5 datum points; residual 0.5 px or 2.1 mm (root mean square), largest 0.6 px.",
        "Two points are swapped: check 'Bolt'.",
        "100 % off the panels placed",
        "25 % of it lies outside the datum points clicked",
        "2 more would reach the limit",
        "within 30 cm",
        "Dull when tapped.",
        "An area nobody has shown is not clean",
        "Photos show a lower bound",
        "made 2 May 2024, 12:00",
        "Under the car",
        "Asbestos",
        "Fire watch",
    ],
)
def test_says(page: Page, words: str) -> None:
    assert words in re.sub(r"\s+", " ", page.text)


@pytest.mark.parametrize("word", ["safe", "safely", "roadworthy", "pass", "passed", "guarantee"])
def test_never_says(page: Page, word: str) -> None:
    assert not re.search(rf"\b{word}\b", page.text, re.IGNORECASE)


def test_a_zone_that_was_not_seen_is_not_called_free_of_anything(page: Page) -> None:
    rows = [f.text for f in page.all("tr") if "Right floor" in f.text]
    assert not any("none" in row for row in rows)
    listed = [f.text for f in page.all("li") if "Right floor" in f.text and f.attributes.get("class") != "ask"]
    assert {re.sub(r"\s+", " ", text).strip() for text in listed} == {"3 Right floor, front", "5 Right floor, rear"}


def test_equal_input_gives_equal_bytes(html: str) -> None:
    again = report_html(report_scene.evaluation(), report_scene.photo_bytes, made_at="2024-05-02 12:00")
    assert again == html


def test_written_page_is_the_page(html: str, tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    write_report(report_scene.evaluation(), report_scene.photo_bytes, path, made_at="2024-05-02 12:00")
    assert path.read_text(encoding="utf-8") == html
    assert [entry.name for entry in tmp_path.iterdir()] == ["report.html"]


def test_without_a_time_the_present_is_printed(tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    write_report(report_scene.evaluation(), report_scene.photo_bytes, path)
    assert re.search(
        r'made <time datetime="\d{4}-\d\d-\d\d \d\d:\d\d\+00:00">\d+ [A-Z][a-z]+ \d{4}, \d\d:\d\d UTC</time>',
        path.read_text(encoding="utf-8"),
    )


@pytest.fixture
def old_report(tmp_path: Path) -> Iterator[Path]:
    path = tmp_path / "report.html"
    path.write_text("the old one", encoding="utf-8")
    yield path
    tmp_path.chmod(0o755)
    assert path.read_text(encoding="utf-8") == "the old one"
    assert [entry.name for entry in tmp_path.iterdir()] == ["report.html"]


@pytest.mark.parametrize("step", ["write", "fsync", "replace"])
def test_a_full_disk_leaves_the_old_report(old_report: Path, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    if step == "replace":
        monkeypatch.setattr(Path, "replace", full)
    elif step == "fsync":
        monkeypatch.setattr(report_page.os, "fsync", full)
    else:
        opener = report_page.tempfile.NamedTemporaryFile

        def limited(**options: object) -> object:
            file = opener(**options)
            monkeypatch.setattr(file, "write", full)
            return file

        monkeypatch.setattr(report_page.tempfile, "NamedTemporaryFile", limited)
    with pytest.raises(
        OutputError, match=r"report 'report\.html' could not be written: No space left on device; an older"
    ):
        write_report(report_scene.evaluation(), report_scene.photo_bytes, old_report)


def test_a_limit_of_the_system_leaves_the_old_report(old_report: Path) -> None:
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, hard))  # the kernel itself refuses: nothing is faked
    try:
        with pytest.raises(OutputError, match="could not be written: File too large"):
            write_report(report_scene.evaluation(), report_scene.photo_bytes, old_report)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"'report\.html' could not be written: No such file or directory"):
        write_report(report_scene.evaluation(), report_scene.photo_bytes, tmp_path / "gone" / "report.html")


def test_a_read_only_folder_keeps_the_old_report(old_report: Path) -> None:
    old_report.parent.chmod(0o555)
    if os.access(old_report.parent, os.W_OK):
        pytest.skip("this user may write anywhere")
    with pytest.raises(OutputError, match="could not be written"):
        write_report(report_scene.evaluation(), report_scene.photo_bytes, old_report)
