"""The report in another language: every text translated, numbers and lengths as the language writes them."""

from __future__ import annotations

import copy
import pickle
import re
from dataclasses import replace

import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import read_mo
from babel.messages.pofile import read_po
from babel.numbers import format_decimal
from markupsafe import Markup

from corromap.errors import InvalidValueError
from corromap.io.rules import default_rules
from corromap.messages import Message, Sentence, joined, message
from corromap.report import figures
from corromap.report.html import report_html
from corromap.report.language import LANGUAGES, current, language_named, language_of, number, speaking, tr, trn
from corromap.report.pdf import report_pdf
from corromap.report.view import Length
from corromap.settings import Settings
from tests import report_scene
from tests.pdf_reading import Pdf
from tests.report_page import parse
from tools.messages.collect import collect
from tools.messages.update import catalogue_path, missing

OTHERS = [code for code in LANGUAGES if code != "en"]
MADE = "2024-05-02T12:00:00+00:00"


def _key(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


def catalogue(code: str) -> Catalog:
    with catalogue_path(code).open("rb") as file:
        return read_po(file, locale=code)


@pytest.mark.parametrize("code", OTHERS)
def test_every_text_has_a_translation(code: str) -> None:
    """Fails after a text was added: run ``python -m tools.messages.update`` and translate what it lists."""
    known = catalogue(code)
    lacking = [text.id for text in collect() if text.id and not known.get(text.id)]
    assert lacking == []
    assert missing(known) == []


@pytest.mark.parametrize("code", OTHERS)
def test_translations_keep_their_places_for_values(code: str) -> None:
    for text in catalogue(code):
        if text.id:
            ids = text.id if isinstance(text.id, tuple) else (text.id,)
            said = text.string if isinstance(text.string, tuple) else (text.string,)
            for one, other in zip(ids, said, strict=True):
                assert sorted(re.findall(r"\{[^}]*\}", one)) == sorted(re.findall(r"\{[^}]*\}", other)), one


@pytest.mark.parametrize("code", OTHERS)
def test_what_the_program_reads_is_what_was_written(code: str) -> None:
    written = {_key(text.id): text.string for text in catalogue(code) if text.id}
    with catalogue_path(code).with_suffix(".mo").open("rb") as file:
        read = {_key(text.id): text.string for text in read_mo(file) if text.id}
    assert {key: tuple(v) if isinstance(v, (list, tuple)) else v for key, v in read.items()} == written


@pytest.mark.parametrize("code", OTHERS)
@pytest.mark.parametrize("form", ["page", "pdf"])
def test_no_english_sentence_is_left(code: str, form: str) -> None:
    """Of all English sentences of the catalogue, none stands in the other language's report."""
    scene = report_scene.evaluation()
    if form == "page":
        shown = parse(report_html(scene, report_scene.photo_bytes, made_at=MADE, language=code)).text
    else:
        shown = Pdf(report_pdf(scene, report_scene.photo_bytes, made_at=MADE, language=code, length=Length.WELDER)).text
    shown = re.sub(r"\s+", " ", shown)
    given = {
        scene.template.name, scene.template.description, *(z.name for z in scene.template.zones), "common practice"
    }  # fmt: skip
    left = []
    for text in catalogue(code):
        for english in text.id if isinstance(text.id, tuple) else (text.id,):
            long_parts = [part.strip() for part in re.split(r"\{[^}]*\}", english) if len(part.strip()) > 12]
            said = text.string if isinstance(text.string, str) else " ".join(text.string)
            left += [part for part in long_parts if part in shown and part not in said and part not in given]
    assert left == []


def test_a_rules_sentence_names_its_place_in_the_language() -> None:
    """Shipped names are said, a name of somebody's own template stays."""
    rule = next(rule for rule in default_rules().rules if "{zone}" in rule.sentence)
    result = replace(report_scene.evaluation().assessment.outcome.reasons[0], rule=rule)
    with speaking(language_named("de")):
        assert tr(replace(result, zone_name="Left inner sill, front").sentence).startswith("Innenschweller links, vorn")
        assert "My {own} corner" in tr(replace(result, zone_name="My {own} corner").sentence)


def test_the_page_says_its_language() -> None:
    page = parse(report_html(report_scene.evaluation(), report_scene.photo_bytes, made_at=MADE, language="de"))
    assert page.all("html")[0].attributes["lang"] == "de"
    assert "Ergebnis: Reparatur" in page.text
    assert "Was nicht gezeigt wurde" in page.text
    assert "2. Mai 2024, 12:00 Uhr UTC" in page.text
    pdf = Pdf(report_pdf(report_scene.evaluation(), report_scene.photo_bytes, made_at=MADE, language="de",
                         length=Length.ONE_PAGE))  # fmt: skip
    assert pdf.root["/Lang"] == "de"
    assert "Ergebnis: Reparatur" in pdf.headings
    assert "2. Mai 2024, 12:00 Uhr UTC" in re.sub(r"\s+", " ", pdf.text)


def test_what_people_wrote_stays_as_it_is() -> None:
    """Also where it happens to be a word of the catalogue."""
    scene = report_scene.evaluation()
    named = replace(scene, survey=replace(scene.survey, car=replace(scene.survey.car, label="Map", owner="none")))
    page = parse(report_html(named, report_scene.photo_bytes, made_at=MADE, language="de"))
    assert page.all("h1")[0].text.strip() == "Map"
    assert any(found.text == "none" for found in page.all("bdi"))
    assert "Dull when tapped." in page.text


@pytest.mark.parametrize("value", [0.0, 1.5, -2.25, 1234.5, 1234567.891])
@pytest.mark.parametrize("code", sorted(LANGUAGES))
def test_decimal_sign_is_babels(value: float, code: str) -> None:
    """Digits and decimal sign as the Unicode CLDR has them (through Babel); groups by thin spaces (ISO 80000-1)."""
    with speaking(language_named(code)):
        ours = number(value, ",.2f")
    theirs = format_decimal(value, format="0.00", locale=code)
    assert ours.replace("\u202f", "") == theirs


def test_lengths_in_inches() -> None:
    with speaking(language_named("en", "in")):
        assert figures.length(25.4) == "1 in"
        assert figures.length(5.0) == "0.2 in"
        assert figures.zone_area(645.16 * 100) == "100 in²"
        assert figures.plain_area(6451.6) == "10.0 in²"
        assert figures.distance(0.2) == "on it"
    with speaking(language_named("de")):
        assert figures.length(2.5) == "2,5 mm"
        assert figures.zone_area(1234567) == "12\u202f346 cm²"
    scene = report_scene.evaluation()
    inches = replace(scene, survey=replace(scene.survey, settings=replace(scene.survey.settings, length_unit="in")))
    text = parse(report_html(inches, report_scene.photo_bytes, made_at=MADE)).text
    assert "in²" in text
    assert "Lengths and areas are printed in inches" in text


def test_language_ends_with_its_block() -> None:
    with speaking(language_named("de")):
        assert tr("Map") == "Karte"
    assert (tr("Map"), current().code) == ("Map", "en")


def test_a_language_that_is_not_there() -> None:
    with pytest.raises(InvalidValueError, match=r"language 'fr' is not known; choose one of en \(English\), de"):
        language_named("fr")
    assert language_of(Settings(language="fr")).code == "en"
    assert language_of(Settings(language="de", length_unit="in")).unit == "in"


def test_messages_are_strings_that_remember() -> None:
    said = message("{count} points on {panel}; {px:.1f} px", count=3, panel=message("Left floor"), px=1.25)
    assert said == "3 points on Left floor; 1.2 px"
    for again in (copy.deepcopy(said), pickle.loads(pickle.dumps(said))):
        assert (again, again.template, dict(again.values)) == (said, said.template, dict(said.values))
    with speaking(language_named("de")):
        assert tr(message("'{name}'", name=message("Left floor"))) == "'Boden links'"
        assert tr(message("'{name}'", name="Left floor")) == "'Left floor'"
        assert tr(joined(" and ", [message("Map"), "Map"])) == "Karte and Map"
        assert tr(Sentence("{what} anywhere", {"what": message("too dark to judge")})).startswith("Zu dunkel")
        assert trn("{count} patch", "{count} patches", 2) == "2 Flicken"
    assert Sentence("{what}.", {"what": "too dark"}) == "Too dark."
    assert message("{not a name} and {0}") == "{not a name} and {0}"
    assert isinstance(joined(", ", []), str)
    assert isinstance(Message("a"), str)


def test_markup_among_the_values_escapes_the_rest() -> None:
    said = tr("{names} and {count} more", names=Markup("<bdi>a</bdi>"), count="<b>")
    assert said == "<bdi>a</bdi> and &lt;b&gt; more"
    assert isinstance(said, Markup)
