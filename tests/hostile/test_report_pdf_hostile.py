"""Whatever a stranger writes reaches the PDF as text only: no typesetting, no link, no script."""

from __future__ import annotations

import re

import pytest

from corromap.report.pdf import report_pdf
from corromap.report.typeset import settable
from corromap.report.view import Length
from tests import report_scene
from tests.hostile.test_report_hostile import TEXTS, mixing
from tests.pdf_reading import Pdf

MADE = "2024-05-02T12:00:00+00:00"
TYPESETTER = {
    "typesetter code": '#panic("owned") #include "main.typ" #eval("1+1") #read("/etc/passwd") #image("x.svg")',
    "typesetter markup": "= Heading *bold* _slanted_ `code` $x^2$ @label <label> \\ ~ --- // no /* no */ #[x] [y]",
    "typesetter strings": '"); panic(" \\u{41} \\" #"x" \\n #{ let a = 1 }',
    "another typesetter": r"\input{/etc/passwd} \def\x{\x} % $ & ^ _ ~ { } \write18{ls}",
}
FORBIDDEN = {"/JS", "/JavaScript", "/OpenAction", "/AA", "/Launch", "/EmbeddedFiles", "/URI", "/SubmitForm", "/GoToR"}


def squeezed(text: str) -> str:
    return re.sub(r"[\s\u200b-\u200f\u2066-\u2069\u202a-\u202e]+", "", text)


@pytest.mark.parametrize("name", [*TEXTS, *TYPESETTER])
def test_texts_stay_texts(name: str) -> None:
    written = (TEXTS | TYPESETTER)[name]
    scene = report_scene.evaluation(mixing(written))
    # long ones fill dozens of pages there; the outcome on one page cuts them
    length = Length.ONE_PAGE if name.startswith(("long", "many")) else Length.WELDER
    pdf = Pdf(report_pdf(scene, report_scene.photo_bytes, made_at=MADE, length=length))
    if length is Length.ONE_PAGE:
        assert len(pdf.reader.pages) == 1
        return
    assert pdf.keys() & FORBIDDEN == set()
    plain = [heading for heading in pdf.headings if heading in {"Map", "Findings", "Repair plan", "Cautions"}]
    assert plain == ["Map", "Repair plan", "Findings", "Cautions"]
    assert not {"owned", "Heading"} & set(pdf.headings)
    if name not in {"right to left", "emoji"}:  # pypdf puts such letters into an order of its own
        assert squeezed(settable(written))[:300] in squeezed(pdf.text)


def test_letters_of_any_direction_are_there() -> None:
    scene = report_scene.evaluation(mixing(TEXTS["right to left"]))
    text = Pdf(report_pdf(scene, report_scene.photo_bytes, made_at=MADE, length=Length.ONE_PAGE)).text
    for letters in ("עברית", "abc"):
        assert letters in text or letters[::-1] in text
