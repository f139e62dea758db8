"""Printing loses no truth: text survives escaping, numbers stay inside their rounding."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from xml.etree import ElementTree as ET

from hypothesis import given
from hypothesis import strategies as st

from corromap.measures import Figure
from corromap.report import figures
from corromap.report.svg import element, number, plain, printable, shortened, text_element


class _Text(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[str] = []
        self.tags: list[str] = []

    def handle_data(self, data: str) -> None:
        self.found.append(data)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)


ANY_TEXT = st.text(st.characters(exclude_categories=()), max_size=200)


@given(ANY_TEXT)
def test_any_text_comes_back_from_an_xml_parser_as_text(text: str) -> None:
    root = ET.fromstring(text_element(text, 1, 2))
    assert len(root) == 0
    # XML 1.0, 2.11: a parser turns every line end into one line feed
    assert (root.text or "") == re.sub("\r\n?", "\n", printable(text))


@given(ANY_TEXT)
def test_any_text_comes_back_from_an_html_parser_as_text(text: str) -> None:
    parser = _Text()
    parser.feed(f"<p>{plain(text)}</p>")
    parser.close()
    assert parser.tags == ["p"]
    assert "".join(parser.found) == printable(text)


@given(ANY_TEXT)
def test_any_attribute_stays_one_attribute(text: str) -> None:
    root = ET.fromstring(element("g", data_zone=text))
    assert list(root.attrib) == ["data-zone"]


@given(ANY_TEXT, st.integers(1, 80))
def test_shortened_text_fits_and_is_one_line(text: str, most: int) -> None:
    cut = shortened(text, most)
    assert len(cut) <= max(most, 1)
    assert "\n" not in cut


@given(st.floats(-1e6, 1e6))
def test_coordinates_keep_two_decimals(value: float) -> None:
    written = number(value)
    assert abs(float(written) - value) <= 0.005001
    assert written != "-0"


@given(st.floats(1e-3, 1e8), st.floats(1e-4, 2.0))
def test_printed_area_lies_within_a_tenth_of_its_half_width(area: float, relative: float) -> None:
    half = area * relative
    low, high = max(area - half, 0.0), area + half
    figure = Figure(area, half / 2, low, high, 0.1, 0.1, 0.1, 1, 0.0, ())
    printed = figures.area(figure).replace("\u202f", "").removesuffix(" cm²")
    if printed.startswith("under"):
        assert area < 1.0
    else:
        assert abs(float(printed) - area / 100) <= max(0.05 * (high - low) / 2 / 100, 0.005) * 1.0001


@given(st.floats(0, 1))
def test_coverage_says_all_or_none_only_when_it_is(share: float) -> None:
    printed = figures.fraction(share)
    if printed == "100 %":
        assert share > 0.99998
    if printed == "0 %":
        assert share < 0.00002
