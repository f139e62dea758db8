"""Whatever a stranger writes is text in every export, and nothing else."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree as ET

import openpyxl
import pytest

from corromap.exports.annotations import annotation_page, write_annotations
from corromap.exports.geopackage import write_geopackage
from corromap.exports.tables import write_csv_folder, write_xlsx
from tests import report_scene
from tests.hostile.test_report_hostile import TEXTS

HARD = {
    "formula": "=cmd|' /C calc'!A0",
    "plus": "+1+cmd",
    "minus": "-2+3",
    "at": "@SUM(1:9)",
    "tab": "\t=1+1",
    "typesetter": '#eval("panic()") $x$ @label <tag> \\n *bold* _it_ `raw` //',
} | {name: TEXTS[name] for name in ("script", "right to left", "emoji", "control characters", "long word")}  # fmt: skip


@pytest.fixture(scope="module", params=HARD, ids=lambda name: name.replace(" ", "-"))
def text(request: pytest.FixtureRequest) -> str:
    return HARD[request.param]


def test_csv_cells_never_begin_like_a_formula_and_keep_the_text(text: str, tmp_path: Path) -> None:
    found = report_scene.evaluation(lambda own: f"{text} {own}")
    for path in write_csv_folder(found, tmp_path / "t"):
        raw = path.read_bytes().decode("utf-8-sig")
        for row in csv.reader(io.StringIO(raw, newline="")):
            for cell in row:
                starts = cell.startswith(("=", "+", "@", "\t", "\r"))
                is_number = cell.lstrip("-").replace(".", "", 1).replace("e-", "", 1).isdigit()
                assert not starts
                assert is_number or not cell.startswith("-")
    zones = (tmp_path / "t" / "zones.csv").read_text("utf-8-sig")
    assert text.splitlines()[0].replace('"', '""').replace("\0", "\ufffd")[:60] in zones


def test_workbook_holds_strings_and_no_formula_or_link(text: str, tmp_path: Path) -> None:
    found = report_scene.evaluation(lambda own: f"{text} {own}")
    write_xlsx(found, tmp_path / "t.xlsx")
    book = openpyxl.load_workbook(tmp_path / "t.xlsx", data_only=False)
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type in {"s", "n", "inlineStr"}
                assert cell.hyperlink is None


def test_annotations_stay_json_with_selectors_that_are_well_formed(text: str, tmp_path: Path) -> None:
    found = report_scene.evaluation(lambda own: f"{text} {own}")
    write_annotations(found, tmp_path / "m.jsonld")
    document = json.loads((tmp_path / "m.jsonld").read_text("ascii"))
    assert document == json.loads(json.dumps(annotation_page(found)))
    for item in document["items"]:
        root = ET.fromstring(item["target"]["selector"][0]["value"])
        assert [child.tag.rpartition("}")[2] for child in root] == ["path"]


def test_geopackage_keeps_texts_as_texts(text: str, tmp_path: Path) -> None:
    found = report_scene.evaluation(lambda own: f"{text} {own}")
    write_geopackage(found, tmp_path / "m.gpkg")
    with closing(sqlite3.connect(tmp_path / "m.gpkg")) as conn:
        names = [name for (name,) in conn.execute("SELECT name FROM zones")]
        tables = {name for (name,) in conn.execute("SELECT table_name FROM gpkg_contents")}
    assert tables == {"panels", "zones", "marks", "seen", "datum_points", "mountings"}
    assert all(text.replace("\0", "\ufffd") in name for name in names)
