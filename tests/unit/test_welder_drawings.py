"""The welder's drawings read back: SVG by the standard parser and shapely, DXF by GDAL, by ezdxf and by hand."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path
from xml.etree import ElementTree as ET

import ezdxf
import jsonschema
import numpy as np
import pyogrio
import pytest
import shapely
from ezdxf import recover
from shapely.geometry import Polygon, box

from corromap.io.rates import default_rates
from corromap.repair import RepairPlan
from corromap.report.repair_document import repair_schema
from corromap.report.welder_drawing import ZoneDrawing, zone_drawing
from corromap.report.welder_dxf import drawing_dxf
from corromap.report.welder_items import Dimension, Label, Layer
from corromap.report.welder_references import corners_of
from corromap.report.welder_svg import drawing_svg
from corromap.report.welder_tiles import BORDER_MM, PAPER_MM, Tile, tiles_of
from tests.repair_scene import SILL, body, plan_of, rust

MARKS = [
    rust(450, 150, 550, 200),
    rust(720, 120, 740, 140),
    rust(450, 430, 550, 480),
    rust(100, 20, 180, 60, panel=SILL),
]
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def plan() -> RepairPlan:
    return plan_of(MARKS)


@pytest.fixture(scope="module")
def drawings(plan: RepairPlan) -> list[ZoneDrawing]:
    return [zone_drawing(zone, body(), flange_mm=25) for zone in plan.zones]


def rings(svg: str, layer: Layer) -> list[Polygon]:
    """Closed paths of a layer, by a parser that is not ours."""
    found = []
    for path in ET.fromstring(svg.encode()).iter(f"{SVG}path"):
        if path.get("data-layer") == layer.value and path.get("d").endswith("Z"):
            numbers = np.array(re.findall(r"-?[\d.]+", path.get("d")), dtype=float).reshape(-1, 2)
            found.append(Polygon(numbers))
    return found


def pairs_of(dxf: str) -> list[tuple[int, str]]:
    lines = dxf.splitlines()
    return [(int(code), value.strip()) for code, value in zip(lines[::2], lines[1::2], strict=True)]


def polylines(dxf: str, layer: str) -> list[Polygon]:
    """LWPOLYLINEs of a layer, group code by group code (DXF reference: 8 layer, 10 and 20 a vertex)."""
    found, current, where = [], None, ""
    for code, value in pairs_of(dxf):
        if code == 0:
            if current is not None and where == layer and len(current) > 2:
                found.append(Polygon(current))
            current, where = ([] if value == "LWPOLYLINE" else None), ""
        elif current is not None and code == 8:
            where = value
        elif current is not None and code == 10:
            current.append([float(value), 0.0])
        elif current is not None and code == 20:
            current[-1][1] = float(value)
    return found


def test_svg_is_the_plan_in_millimetres(plan: RepairPlan, drawings: list[ZoneDrawing]) -> None:
    for zone, drawing in zip(plan.zones, drawings, strict=True):
        svg = drawing_svg(drawing)
        found = rings(svg, Layer.CUT)
        assert sum(ring.area for ring in found) == pytest.approx(zone.area_mm2)
        assert sum(ring.length for ring in found) == pytest.approx(sum(p.perimeter_mm for p in zone.pieces))
        root = ET.fromstring(svg.encode())
        view = [float(v) for v in root.get("viewBox").split()]
        assert float(root.get("width").removesuffix("mm")) == pytest.approx(view[2]), "one unit is one millimetre"
        assert float(root.get("height").removesuffix("mm")) == pytest.approx(view[3])
        seen = box(view[0], view[1], view[0] + view[2], view[1] + view[3])
        assert all(seen.contains(ring) for ring in found)


def test_dxf_read_back_group_by_group(plan: RepairPlan, drawings: list[ZoneDrawing]) -> None:
    for zone, drawing in zip(plan.zones, drawings, strict=True):
        dxf = drawing_dxf(drawing)
        cut = polylines(dxf, "CUT")
        assert sum(ring.area for ring in cut) == pytest.approx(zone.area_mm2)
        assert sum(ring.length for ring in cut) == pytest.approx(sum(p.perimeter_mm for p in zone.pieces))
        pairs = pairs_of(dxf)
        at = pairs.index((9, "$INSUNITS"))
        assert pairs[at + 1] == (70, "4"), "DXF reference: 4 is millimetres"


def test_dxf_passes_the_audit_and_holds_real_dimensions(drawings: list[ZoneDrawing]) -> None:
    for drawing in drawings:
        document, audit = recover.read(io.BytesIO(drawing_dxf(drawing).encode()))
        assert not audit.errors
        assert not [fix.message for fix in audit.fixes]
        assert document.units == ezdxf.units.MM
        lengths = sorted(round(d.get_measurement(), 3) for d in document.modelspace().query("DIMENSION"))
        assert lengths == sorted(round(i.length, 3) for i in drawing.items if isinstance(i, Dimension))


def test_dxf_read_by_gdal(tmp_path: Path, plan: RepairPlan, drawings: list[ZoneDrawing]) -> None:
    """GDAL's driver reads the cut line as a closed line of the same length."""
    target = tmp_path / "zone.dxf"
    target.write_text(drawing_dxf(drawings[0]), encoding="utf-8")
    fields = pyogrio.raw.read(target, columns=["Layer"])
    lines = shapely.from_wkb(fields[2])
    length = sum(line.length for line, layer in zip(lines, fields[3][0], strict=True) if layer == "CUT")
    assert length == pytest.approx(sum(piece.perimeter_mm for piece in plan.zones[0].pieces))


def test_same_drawing_same_bytes(drawings: list[ZoneDrawing]) -> None:
    assert drawing_dxf(drawings[0]) == drawing_dxf(drawings[0])


def test_dimensions_by_hand(drawings: list[ZoneDrawing]) -> None:
    """The 160 x 110 piece at (420, 120); hole 0 at (150, 60), hole 1 at (850, 60), hole 2 at (500, 320)."""
    drawing = drawings[0]
    first = [corner for corner in drawing.corners if corner.piece == "1A"]
    assert len(first) == 4
    names = {ref.label: ref.name for ref in drawing.references}
    assert names[first[0].first.label] == "hole 2", "the nearest"
    for corner in first:
        u, v = 500 + corner.right_mm, 320 - corner.up_mm  # drawn with v downwards
        assert (round(u), round(v)) in {(420, 120), (580, 120), (580, 230), (420, 230)}
        assert corner.tape_first_mm == pytest.approx(np.hypot(u - 500, v - 320))
        at = {"hole 0": (150, 60), "hole 1": (850, 60)}[names[corner.second.label]]
        assert corner.tape_second_mm == pytest.approx(np.hypot(u - at[0], v - at[1]))
    printed = {round(item.length) for item in drawing.items if isinstance(item, Dimension)}
    assert {160, 110} <= printed


def test_two_tapes_give_back_every_corner(drawings: list[ZoneDrawing]) -> None:
    """Circles around both references meet in the corner."""
    for drawing in drawings:
        for corner in drawing.corners:
            at = np.add(corner.first.at, (corner.right_mm, corner.up_mm))
            assert np.hypot(*(at - np.array(corner.second.at))) == pytest.approx(corner.tape_second_mm)


def test_panel_that_faces_away_is_drawn_as_it_is_seen(drawings: list[ZoneDrawing]) -> None:
    """Seen from below with the front to the right, the car's right is up; the sill's upper edge is up."""
    floor, sill = drawings[0], drawings[-1]
    assert body().panel(floor.panel.id).facing == -1
    assert {floor.right, floor.up} == {"forward", "right"}
    assert sill.up == "up"


def test_zone_without_datum_points_is_measured_from_its_corners(drawings: list[ZoneDrawing]) -> None:
    assert all("of the zone" in ref.name for ref in drawings[-1].references)


def test_corners_of_a_curve_are_not_corners() -> None:
    angle = np.linspace(0, np.pi, 60)
    arch = Polygon(np.stack([300 * np.cos(angle), 300 * np.sin(angle)], axis=1))
    assert len(corners_of(arch)) == 2


def test_text_from_outside_cannot_break_a_drawing(plan: RepairPlan) -> None:
    drawing = zone_drawing(plan.zones[0], body(), flange_mm=25)
    hostile = Label(Layer.TEXT, (0.0, 0.0), '%%c</text><script>&"\x00\n0\nEOF', 8.0)
    object.__setattr__(drawing, "items", (*drawing.items, hostile))
    root = ET.fromstring(drawing_svg(drawing).encode())
    assert not list(root.iter(f"{SVG}script"))
    document, audit = recover.read(io.BytesIO(drawing_dxf(drawing).encode()))
    assert not audit.errors
    assert len(document.modelspace().query("TEXT")) == sum(isinstance(i, Label) for i in drawing.items)


# ---- true size on pages ----


def large(paper: str) -> tuple[ZoneDrawing, tuple[Tile, ...]]:
    plan = plan_of([rust(60, 20, 940, 100, panel=SILL)], rates=default_rates())
    drawing = zone_drawing(plan.zones[0], body(), flange_mm=25, text_mm=4)
    return drawing, tiles_of(drawing, paper)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_pages_cover_every_cut_line_and_overlap(paper: str) -> None:
    drawing, tiles = large(paper)
    assert len(tiles) > 1
    windows = shapely.union_all([box(*tile.window) for tile in tiles])
    cut = shapely.union_all([Polygon(item.points) for item in drawing.items if getattr(item, "layer", "") == Layer.CUT])
    assert windows.covers(cut)
    by_place = {(tile.row, tile.column): tile for tile in tiles}
    for (row, column), tile in by_place.items():
        assert sorted((tile.width_mm, tile.height_mm)) == sorted(PAPER_MM[paper])
        if (row, column + 1) in by_place:
            shared = box(*tile.window).intersection(box(*by_place[row, column + 1].window)).bounds
            assert shared[2] - shared[0] == pytest.approx(10)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_crosses_of_neighbours_are_the_same_points(paper: str) -> None:
    _, tiles = large(paper)
    places = {}
    for tile in tiles:
        cross = ET.fromstring(tile.svg.encode()).find(f".//{SVG}path[@data-layer='CROSS']").get("d")
        centres = re.findall(r"M([\d.]+) ([\d.]+)v", cross)
        left, _, _, top = tile.window
        places[tile.row, tile.column] = {
            (round(float(x) - BORDER_MM + left, 2), round(top - (float(y) + 4 - BORDER_MM), 2)) for x, y in centres
        }
    for (row, column), mine in places.items():
        other = places.get((row, column + 1))
        if other is not None:
            assert len(mine & other) == 2


def test_every_page_has_a_ruler_of_100_mm() -> None:
    for tile in large("A4")[1]:
        root = ET.fromstring(tile.svg.encode())
        assert root.get("viewBox") == f"0 0 {tile.width_mm} {tile.height_mm}"
        ruler = root.find(f".//{SVG}path[@data-layer='RULER']").get("d")
        assert "h100" in ruler


def test_small_piece_takes_one_page(plan: RepairPlan) -> None:
    (tile,) = tiles_of(zone_drawing(plan_of([rust(450, 150, 550, 200)]).zones[0], body(), flange_mm=25), "A4")
    assert (tile.rows, tile.columns) == (1, 1)
    assert "CROSS" not in tile.svg


def test_schema_is_itself_valid() -> None:
    jsonschema.Draft202012Validator.check_schema(repair_schema())
    assert json.dumps(repair_schema())
