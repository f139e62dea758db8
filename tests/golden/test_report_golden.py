"""The report of a small evaluation made by hand, as text.

Numbers may differ in the last printed digit between machines, so they are
compared within 0.02; everything else must be equal. To accept a change, run
with ``CORROMAP_UPDATE_GOLDEN=1`` and read the difference before committing it.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from corromap.assessment import Caution, OutcomeKind
from corromap.report import model
from corromap.report.drawing import datum_sketch_svg, map_svg
from corromap.report.html import report_html
from corromap.template import DatumShape
from tests import report_scene

FOLDER = Path(__file__).with_name("report")
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def lines(markup: str) -> str:
    """One element a line, pictures and digests left out: they depend on the encoders."""
    markup = re.sub(r"data:image/(jpeg|png);base64,[A-Za-z0-9+/=]+", r"\1", markup)
    markup = re.sub(r"\b[0-9a-f]{64}\b", "SHA256", markup)
    return markup.replace("><", ">\n<")


def compare(name: str, markup: str) -> None:
    path, got = FOLDER / name, lines(markup)
    if os.environ.get("CORROMAP_UPDATE_GOLDEN"):
        path.write_text(got, encoding="utf-8")
    expected = path.read_text(encoding="utf-8")
    assert NUMBER.sub("#", got) == NUMBER.sub("#", expected)
    pairs = zip(NUMBER.findall(got), NUMBER.findall(expected), strict=True)
    assert [(a, b) for a, b in pairs if abs(float(a) - float(b)) > 0.02] == []


@pytest.fixture
def own_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """Texts of other modules are replaced: rewording them is not a change of the report."""
    monkeypatch.setattr(model, "ADVICE", dict.fromkeys(OutcomeKind, ("Do this first.",)))
    monkeypatch.setattr(model, "ALWAYS", ("This always holds.",))
    monkeypatch.setattr(model, "CAUTIONS", (Caution("one", "One caution", "Mind this.", "common practice"),))
    monkeypatch.setattr(model, "default_rules", report_scene.rules)


@pytest.mark.usefixtures("own_words")
def test_page() -> None:
    page = report_html(report_scene.evaluation(), report_scene.photo_bytes, made_at="2024-05-02 12:00")
    compare("report.html.txt", page)


@pytest.mark.parametrize("turn", [False, True], ids=["upright", "turned"])
def test_map(turn: bool) -> None:
    scene = report_scene.evaluation()
    compare(
        f"map-{'turned' if turn else 'upright'}.svg", map_svg(scene.template, scene, turn=turn, show_datum_points=True)
    )


def test_photo() -> None:
    compare("photo.svg", report_scene.photo_pages_of(report_scene.evaluation())[0].svg)


def test_sketches() -> None:
    compare("sketches.svg", "\n".join(map(datum_sketch_svg, DatumShape)))
