"""Exports say what the evaluation says, read back by libraries that did not write them."""

from __future__ import annotations

import base64
import csv
import io
import json
import re
import sqlite3
import warnings
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import openpyxl
import pytest
import rdflib
import shapely
from PIL import Image

from corromap.errors import OutputError
from corromap.evaluation import Evaluation
from corromap.exports.annotations import annotation_page, write_annotations
from corromap.exports.geopackage import write_geopackage
from corromap.exports.marked_photos import write_marked_photos
from corromap.exports.tables import tables_of, write_csv_folder, write_xlsx
from corromap.frames import MarkId, PhotoId, PhotoOutline
from corromap.io.photos import encode_jpeg
from corromap.report.findings import mark_rows
from corromap.report.html import report_html
from corromap.survey import Mark, MarkKind
from tests import report_scene

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def found() -> Evaluation:
    return report_scene.evaluation()


# GeoPackage, read by SQLite and by shapely's WKB reader


@pytest.fixture(scope="module")
def gpkg(found: Evaluation, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("map") / "map.gpkg"
    write_geopackage(found, path)
    return path


def rows(path: Path, sql: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(path)) as conn:
        return conn.execute(sql).fetchall()


def shape_of(blob: bytes) -> shapely.Geometry:
    """Geometry of a GeoPackage blob: OGC 12-128r17, 2.1.3.1: header, then WKB."""
    envelope = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}[(blob[3] >> 1) & 7]
    return shapely.from_wkb(blob[8 + envelope :])


def test_geopackage_is_one_and_every_layer_is_undefined_cartesian(gpkg: Path) -> None:
    assert rows(gpkg, "PRAGMA application_id") == [(0x47504B47,)]  # 'GPKG', OGC 12-128r17, 1.1.1.1.1
    layers = dict(rows(gpkg, "SELECT table_name, srs_id FROM gpkg_contents"))
    assert set(layers) == {"panels", "zones", "marks", "seen", "datum_points", "mountings"}
    assert set(layers.values()) == {-1}
    told = rows(gpkg, "SELECT organization, definition FROM gpkg_spatial_ref_sys WHERE srs_id = -1")
    assert told == [("NONE", "undefined")]


def test_geopackage_zones_carry_their_figures_and_ground(gpkg: Path, found: Evaluation) -> None:
    by_zone = {measure.zone: measure for measure in found.measures.zones}
    stored = rows(gpkg, "SELECT zone, affected_mm2, affected_low_mm2, seen_share, shape FROM zones")
    assert len(stored) == len(by_zone)
    for zone, affected, low, seen, blob in stored:
        measure = by_zone[zone]
        assert (affected, low, seen) == (measure.affected.area_mm2, measure.affected.low_mm2, measure.seen_share)
        assert shape_of(blob).area == pytest.approx(measure.area_mm2)


def test_geopackage_marks_keep_their_area_and_the_left_lies_on_the_right(gpkg: Path, found: Evaluation) -> None:
    stored = rows(gpkg, "SELECT mark, panel, area_mm2, shape FROM marks")
    expected = {(p.mark.id, p.panel): p.area.area for p in found.projection.marks}
    assert {(mark, panel): shape_of(blob).area for mark, panel, _, blob in stored} == pytest.approx(expected)
    centre = {panel: shape_of(blob).centroid for panel, blob in rows(gpkg, "SELECT panel, shape FROM panels")}
    assert centre["floor-left"].x > centre["floor-right"].x  # seen from below
    front = {zone: shape_of(blob).centroid.y for zone, blob in rows(gpkg, "SELECT zone, shape FROM zones")}
    assert front["floor-left-front"] > front["floor-left-rear"]  # y up, front at the top


# Tables, read by the csv module and by openpyxl


def test_csv_and_workbook_hold_the_same_plain_numbers(found: Evaluation, tmp_path: Path) -> None:
    write_csv_folder(found, tmp_path / "csv")
    write_xlsx(found, tmp_path / "all.xlsx")
    book = openpyxl.load_workbook(tmp_path / "all.xlsx", data_only=False)
    assert book.sheetnames == ["zones", "groups", "marks", "rules", "photos"]
    for table in tables_of(found):
        text = (tmp_path / "csv" / f"{table.name}.csv").read_text("utf-8-sig")
        read = list(csv.reader(io.StringIO(text, newline=""), quoting=csv.QUOTE_NONNUMERIC))
        sheet = [list(row) for row in book[table.name].iter_rows(values_only=True)]
        assert tuple(read[0]) == tuple(sheet[0]) == table.columns
        assert len(read) == len(sheet) == len(table.rows) + 1
        for from_csv, from_sheet, row in zip(read[1:], sheet[1:], table.rows, strict=True):
            for one, other, cell in zip(from_csv, from_sheet, row, strict=True):
                if isinstance(cell, float | int):
                    assert one == cell
                    assert other == pytest.approx(cell, abs=0, rel=1e-14)  # the workbook's writer keeps 16 digits
                else:
                    assert (one or None, other or None) == (cell or None, cell or None)


def test_zone_table_says_what_the_measures_say(found: Evaluation) -> None:
    zones = tables_of(found)[0]
    column = zones.columns.index("affected area mm2")
    by_zone = {row[0]: row[column] for row in zones.rows}
    assert by_zone == {measure.zone: measure.affected.area_mm2 for measure in found.measures.zones}


# Annotations, read by rdflib as JSON-LD, the selectors as SVG

TERMS = {
    "oa": "http://www.w3.org/ns/oa#", "as": "http://www.w3.org/ns/activitystreams#",
    "dcterms": "http://purl.org/dc/terms/", "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "id": "@id", "type": "@type", "Annotation": "oa:Annotation", "AnnotationPage": "as:OrderedCollectionPage",
    "SpecificResource": "oa:SpecificResource", "SvgSelector": "oa:SvgSelector",
    "FragmentSelector": "oa:FragmentSelector",
    "TextualBody": "oa:TextualBody", "Software": "as:Application", "items": {"@id": "as:items", "@container": "@list"},
    "body": "oa:hasBody", "target": "oa:hasTarget", "source": {"@id": "oa:hasSource", "@type": "@id"},
    "selector": "oa:hasSelector", "value": "rdf:value", "format": "dcterms:format",
    "conformsTo": {"@id": "dcterms:conformsTo", "@type": "@id"},
    "motivation": {"@id": "oa:motivatedBy", "@type": "@vocab"}, "purpose": {"@id": "oa:hasPurpose", "@type": "@vocab"},
    "classifying": "oa:classifying", "describing": "oa:describing", "commenting": "oa:commenting",
    "generator": "as:generator", "name": "as:name",
}  # fmt: skip
"""The terms used, as the W3C context maps them (Web Annotation Vocabulary, appendix A; from memory)."""


def test_annotations_are_json_ld_of_the_web_annotation_vocabulary(found: Evaluation, tmp_path: Path) -> None:
    write_annotations(found, tmp_path / "marks.jsonld")
    document = json.loads((tmp_path / "marks.jsonld").read_text("ascii"))
    assert document["@context"] == "http://www.w3.org/ns/anno.jsonld"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # the reader's own
        graph = rdflib.Graph().parse(data=json.dumps(document | {"@context": TERMS}), format="json-ld")
    oa = rdflib.Namespace(TERMS["oa"])
    marks = set(graph.subjects(rdflib.RDF.type, oa.Annotation))
    assert {str(mark) for mark in marks} == {f"urn:corromap:mark:{mark.id}" for mark in found.survey.marks}
    for mark in marks:
        target = graph.value(mark, oa.hasTarget)
        kinds = {graph.value(s, rdflib.RDF.type) for s in graph.objects(target, oa.hasSelector)}
        assert kinds == {oa.SvgSelector, oa.FragmentSelector}


def test_annotation_selectors_enclose_the_outline_as_drawn(found: Evaluation) -> None:
    marks = found.survey.mark_by_id
    for item in annotation_page(found)["items"]:
        mark = marks[item["id"].removeprefix("urn:corromap:mark:")]
        svg, rectangle = item["target"]["selector"]
        path = ET.fromstring(svg["value"]).find(f"{SVG}path").attrib["d"]
        first = path.split("Z")[0].replace("M", "").split("L")
        ring = np.array([[float(n) for n in point.split()] for point in first])
        assert ring == pytest.approx(mark.outline.exterior_px + 0.5, abs=0.01)
        x, y, width, height = map(int, rectangle["value"].removeprefix("xywh=pixel:").split(","))
        assert x <= ring[:, 0].min()
        assert y <= ring[:, 1].min()
        assert (ring[:, 0].max() <= x + width, ring[:, 1].max() <= y + height) == (True, True)


# Marked photos


def test_marked_photos_show_the_outline_in_its_colour_and_carry_no_metadata(found: Evaluation, tmp_path: Path) -> None:
    written = write_marked_photos(found, report_scene.photo_bytes, tmp_path / "photos")
    assert len(written) == len(found.survey.photos)
    for path, photo in zip(written, found.survey.photos, strict=True):
        with Image.open(path) as image:
            assert (image.format, image.size) == ("JPEG", (photo.width_px, photo.height_px))
            assert dict(image.getexif()) == {}
            drawn = np.asarray(image).astype(int)
        with Image.open(io.BytesIO(report_scene.photo_bytes(photo.id))) as image:
            before = np.asarray(image.convert("RGB")).astype(int)
        marked = [mark for mark in found.survey.marks if mark.photo == photo.id]
        changed = np.abs(drawn - before).max(axis=2) > 60
        assert changed.any() == bool(marked)
        reach = shapely.union_all([mark.outline.repaired() for mark in marked]).buffer(30) if marked else None
        ys, xs = np.nonzero(changed)
        assert reach is None or shapely.contains_xy(reach, xs, ys).all()


# What cannot be written


@pytest.mark.parametrize(
    ("write", "name", "told"),
    [
        pytest.param(write_geopackage, "map.txt", "ends in .gpkg", id="geopackage"),
        pytest.param(write_xlsx, "tables.xls", "ends in .xlsx", id="workbook"),
    ],
)
def test_another_ending_is_refused(found: Evaluation, tmp_path: Path, write: object, name: str, told: str) -> None:
    with pytest.raises(OutputError, match=told):
        write(found, tmp_path / name)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("write", [write_geopackage, write_xlsx, write_annotations], ids=["gpkg", "xlsx", "jsonld"])
def test_a_folder_in_the_way_leaves_everything_as_it_was(found: Evaluation, tmp_path: Path, write: object) -> None:
    target = tmp_path / {"write_geopackage": "a.gpkg", "write_xlsx": "a.xlsx"}.get(write.__name__, "a.jsonld")
    (target / "kept").mkdir(parents=True)
    with pytest.raises(OutputError, match=r"could not be written.*what stood there before is untouched"):
        write(found, target)
    assert [p.name for p in tmp_path.iterdir()] == [target.name]
    assert (target / "kept").is_dir()


# Blur marks


def pictures_of(page: str) -> list[np.ndarray]:
    found = []
    for coded in re.findall(r"data:image/jpeg;base64,([A-Za-z0-9+/=]+)", page):
        with Image.open(io.BytesIO(base64.b64decode(coded))) as image:
            found.append(np.asarray(image.convert("L")).astype(int))
    return found


def test_a_blurred_place_is_gone_from_every_picture_of_the_report_and_from_its_numbers(found: Evaluation) -> None:
    photo = found.survey.photos[0]
    stripes = np.zeros((photo.height_px, photo.width_px, 3), dtype=np.uint8)
    stripes[:, ::2] = 255  # what must not be seen fills the photo

    def load(asked: PhotoId) -> bytes:
        return encode_jpeg(stripes, quality=95) if asked == photo.id else report_scene.photo_bytes(asked)

    frame = [[0, 0], [photo.width_px, 0], [photo.width_px, photo.height_px], [0, photo.height_px]]
    blur = Mark(MarkId("all"), photo.id, MarkKind.BLUR, PhotoOutline(frame))
    hidden = replace(found, survey=replace(found.survey, marks=(blur, *found.survey.marks)))
    page = report_html(hidden, load, made_at="2026-01-02")
    assert "Blurred when handed out" not in page
    assert [row.number for row in mark_rows(hidden)] == [row.number for row in mark_rows(found)]
    contrasts = [np.abs(np.diff(picture[20:-20, 20:-20], axis=1)).mean() for picture in pictures_of(page)]
    shown = [np.abs(np.diff(picture[20:-20, 20:-20], axis=1)).mean()
             for picture in pictures_of(report_html(found, load, made_at="2026-01-02"))]  # fmt: skip
    assert max(shown) > 60
    assert max(contrasts) < 20  # edges of the report's own drawings
