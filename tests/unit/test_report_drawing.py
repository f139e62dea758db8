"""The map, the photo drawing and the sketches as SVG."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from corromap.errors import InvalidValueError
from corromap.frames import MarkId, ZoneId
from corromap.report.body_drawing import body_drawing
from corromap.report.drawing import datum_sketch_svg, map_svg
from corromap.report.photo_page import letter_of
from corromap.report.sheet import lay_out
from corromap.template import DatumShape
from tests import report_scene

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module", params=[False, True], ids=["upright", "turned"])
def turn(request: pytest.FixtureRequest) -> bool:
    return bool(request.param)


def drawn(**options: object) -> ET.Element:
    scene = report_scene.evaluation()
    return ET.fromstring(map_svg(scene.template, scene, **options))  # type: ignore[arg-type]


def rings(path: str) -> list[np.ndarray]:
    """Corners of each closed ring of path data made of M, L and Z."""
    parts = [part for part in re.split("[MZ]", path) if part.strip()]
    return [np.array([[float(n) for n in pair.split()] for pair in part.split("L")]) for part in parts]


def even_odd_area(path: str) -> float:
    """Area by the shoelace formula; holes run the other way (shapely normalises neither, so signs are made here)."""
    polygons = [Polygon(ring) for ring in rings(path)]
    total = Polygon()
    for polygon in polygons:
        total = shapely.symmetric_difference(total, polygon)
    return float(total.area)


def named(root: ET.Element, words: str) -> list[ET.Element]:
    return [path for path in root.iter(f"{SVG}path") if (path.findtext(f"{SVG}title") or "").startswith(words)]


def test_bare_template_has_no_marks_and_no_hatching() -> None:
    root = ET.fromstring(map_svg(report_scene.template()))
    assert not [e for e in root.iter() if "data-mark" in e.attrib]
    assert not named(root, "Never seen")
    assert "No photos are drawn in." in (root.findtext(f"{SVG}desc") or "")


def test_sides_and_view_are_written_where_they_are(turn: bool) -> None:
    root = drawn(turn=turn)
    texts = {t.text: t for t in root.iter(f"{SVG}text")}
    assert {"LEFT", "RIGHT", "FRONT", "SEEN FROM BELOW", "500 mm"} <= set(texts)
    sheet = lay_out(report_scene.template(), width=760, turn=turn)
    left = sheet.at(report_scene.PanelId("floor-left"), np.array([800.0, 280.0]))
    right = sheet.at(report_scene.PanelId("floor-right"), np.array([800.0, 280.0]))
    front = sheet.at(report_scene.PanelId("floor-left"), np.array([1600.0, 280.0]))
    if turn:
        assert left[1] < right[1]  # left at the top
        assert front[0] < left[0]  # front to the left
        assert float(texts["LEFT"].get("y", 0)) < float(texts["RIGHT"].get("y", 0))
    else:
        assert left[0] > right[0]  # seen from below: the car's left is on the right
        assert front[1] < left[1]  # front at the top


@pytest.mark.parametrize("width", [320.0, 760.0, 1180.0])
def test_never_seen_ground_is_hatched_to_scale(turn: bool, width: float) -> None:
    root = drawn(turn=turn, width=width)
    scale = lay_out(report_scene.template(), width=width, turn=turn).px_per_mm
    hatched = {path.findtext(f"{SVG}title"): even_odd_area(path.get("d", "")) for path in named(root, "Never seen")}
    expected = {"Left floor": 240 * 560, "Right floor": 1600 * 560, "Left sill, underside": 1600 * 120}
    assert hatched == {f"Never seen: {k}": pytest.approx(v * scale**2, rel=0.01) for k, v in expected.items()}


def test_marks_are_drawn_to_scale_where_they_are(turn: bool) -> None:
    root = drawn(turn=turn, width=1180)
    sheet = lay_out(report_scene.template(), width=1180, turn=turn)
    paths = {p.get("data-mark"): p for p in root.iter(f"{SVG}path") if "data-mark" in p.attrib}
    for projected in report_scene.evaluation().projection.marks:
        if projected.mark.kind is report_scene.MarkKind.HIDDEN:
            assert projected.mark.id not in paths  # drawn as evidence, not as a mark
            continue
        path = paths[projected.mark.id]
        assert even_odd_area(path.get("d", "")) == pytest.approx(projected.area.area * sheet.px_per_mm**2, rel=0.02)
        middle = rings(path.get("d", ""))[0].mean(axis=0)
        centre = shapely.get_coordinates(projected.area.centroid)[0]
        assert middle == pytest.approx(sheet.at(projected.panel, centre), abs=0.5)


def test_ground_marked_on_several_photos_is_filled_once() -> None:
    root = drawn(width=1180)
    (patch,) = named(root, "Patch: Left floor")
    one, other = (
        p.area for p in report_scene.evaluation().projection.marks if p.mark.kind is report_scene.MarkKind.PATCH
    )
    scale = lay_out(report_scene.template(), width=1180, turn=False).px_per_mm
    assert patch.get("fill") == "url(#m-patch)"
    assert even_odd_area(patch.get("d", "")) == pytest.approx(one.union(other).area * scale**2, rel=0.01)
    filled = [p for p in root.iter(f"{SVG}path") if "data-mark" in p.attrib and p.get("fill") != "none"]
    assert filled == []


def test_a_small_mark_gets_a_ring() -> None:
    def rings_around(width: float) -> list[str | None]:
        (panels,) = [g for g in drawn(width=width).iter(f"{SVG}g") if g.get("class") == "panels"]
        return [circle.get("stroke") for circle in panels.iter(f"{SVG}circle")]

    assert rings_around(430) == ["#33142B"]
    assert rings_around(1500) == []


def test_patch_on_patch_is_drawn_and_explained() -> None:
    root = drawn()
    (overlap,) = named(root, "Patch on patch")
    assert overlap.get("fill") == "url(#m-patch-on-patch)"
    assert "Patch on patch" in {t.text for t in root.iter(f"{SVG}text")}


def test_legend_explains_only_what_is_drawn() -> None:
    labels = {t.text for t in drawn().iter(f"{SVG}text")}
    assert "Rust, stage not given" not in labels  # mark 8 has no stage but is not on the map
    assert {"Rust, surface", "Rust, holed", "Filler", "Patch", "Hidden", "Looked at, sound", "Never seen"} <= labels
    assert {"Belt anchorage", "Suspension pick-up", "Jacking point"} <= labels
    assert "Spring mounting" not in labels


def test_every_pattern_used_is_defined(turn: bool) -> None:
    text = map_svg(report_scene.template(), report_scene.evaluation(), turn=turn, prefix="abc")
    used = set(re.findall(r"url\(#([^)]*)\)", text))
    defined = set(re.findall(r'<pattern id="([^"]*)"', text))
    assert used <= defined
    assert all(name.startswith("abc-") for name in defined)


def test_panel_groups_tell_how_to_place_a_pointer(turn: bool) -> None:
    root = drawn(turn=turn)
    sheet = lay_out(report_scene.template(), width=760, turn=turn)
    for group in (g for g in root.iter(f"{SVG}g") if "data-panel" in g.attrib):
        a, b, c, d, e, f = map(float, group.get("data-uv-to-svg", "").split(","))
        at = a * 300 + c * 70 + e, b * 300 + d * 70 + f
        panel = report_scene.PanelId(group.get("data-panel", ""))
        assert at == pytest.approx(sheet.at(panel, np.array([300.0, 70.0])), abs=0.01)


def test_a_panel_in_front_is_drawn_after_what_lies_behind(turn: bool) -> None:
    order = [g.get("data-panel") for g in drawn(turn=turn).iter(f"{SVG}g") if "data-panel" in g.attrib]
    assert order == [panel.id for panel in report_scene.template().panels]


def test_the_body_is_drawn_once_for_a_template_and_size() -> None:
    body = report_scene.template()
    first = body_drawing(body, 760.0, turn=False)
    assert body_drawing(body, 760.0, turn=False) is first
    assert body_drawing(body, 760.0, turn=True) is not first
    assert body_drawing(report_scene.template(), 760.0, turn=False) is not first


@pytest.mark.parametrize("chosen", [ZoneId("sill-left-all"), MarkId("mark-3")])
def test_highlight_draws_a_heavy_line(chosen: str) -> None:
    plain_map, lit = drawn(), drawn(highlight=chosen)
    accent = [p for p in lit.iter(f"{SVG}path") if p.get("stroke") == "#1F5FA8"]
    assert len(accent) == 1
    assert float(accent[0].get("stroke-width", 0)) >= 3
    assert not [p for p in plain_map.iter(f"{SVG}path") if p.get("stroke") == "#1F5FA8"]


def test_datum_points_are_drawn_on_demand() -> None:
    crosses = [g for g in drawn(show_datum_points=True).iter(f"{SVG}g") if "data-datum" in g.attrib]
    assert {g.get("data-datum") for g in crosses} == {"d1", "d2", "d3", "d4", "d5"}


def test_zone_lines_are_heavier_for_load_bearing_zones() -> None:
    widths = {
        p.get("data-zone"): float(p.get("stroke-width", 0))
        for p in drawn().iter(f"{SVG}path")
        if "data-zone" in p.attrib
    }
    assert widths["sill-left-all"] == widths["floor-left-front"] > widths["floor-left-rear"]


def test_numbers_stand_inside_their_zones(turn: bool) -> None:
    body = report_scene.template()
    sheet = lay_out(body, width=760, turn=turn)
    (numbers,) = [g for g in drawn(turn=turn).iter(f"{SVG}g") if g.get("class") == "numbers"]
    for text in numbers.iter(f"{SVG}text"):
        label = text.find(f"{SVG}title")
        assert label is not None
        zone = next(z for z in body.zones if z.name == label.text)
        assert body.zones.index(zone) + 1 == int(label.tail or "0")
        corners = np.array([sheet.at(zone.panel, corner) for corner in zone.outline.exterior_mm])
        assert Polygon(corners).contains(shapely.Point(float(text.get("x", 0)), float(text.get("y", 0)) - 4))


@pytest.mark.parametrize("prefix", ["", "1a", 'm"><script>', "a b"])
def test_prefix_must_be_a_plain_name(prefix: str) -> None:
    with pytest.raises(InvalidValueError, match="map: prefix must be a letter"):
        map_svg(report_scene.template(), prefix=prefix)


@pytest.mark.parametrize("width", [0.0, -5.0, float("nan"), 1e9])
def test_width_must_make_sense(width: float) -> None:
    with pytest.raises(InvalidValueError, match="map: width must be 200 to 10"):
        map_svg(report_scene.template(), width=width)


@pytest.mark.parametrize("shape", DatumShape)
def test_every_shape_has_a_sketch_of_its_own(shape: DatumShape) -> None:
    root = ET.fromstring(datum_sketch_svg(shape))
    assert (root.findtext(f"{SVG}title") or "").startswith(shape.value.capitalize())
    target = root.find(f"{SVG}circle")
    assert target is not None
    assert 7 <= float(target.get("cx", 0)) <= 113
    assert 7 <= float(target.get("cy", 0)) <= 83


def test_no_two_sketches_are_alike() -> None:
    assert len({re.sub("<title>.*</title>", "", datum_sketch_svg(shape)) for shape in DatumShape}) == len(DatumShape)


def test_photo_outlines_lie_where_they_were_drawn() -> None:
    pages = report_scene.photo_pages_of(report_scene.evaluation())
    root = ET.fromstring(pages[0].svg)
    assert root.get("viewBox") == "0 0 1000 750"
    first = next(p for p in root.iter(f"{SVG}path") if p.get("fill") == "url(#p1-rust-surface)")
    mark = report_scene.survey().marks[0]
    expected = (mark.outline.exterior_px + 0.5) * 2.5  # pixel centres are whole numbers; 400 px are 1000 units
    got = rings(first.get("d", ""))[0]
    assert sorted(map(tuple, got)) == [pytest.approx(xy, abs=0.01) for xy in sorted(map(tuple, expected))]


def test_photo_pages_tell_how_each_was_placed() -> None:
    first, second = report_scene.photo_pages_of(report_scene.evaluation())
    assert [p.is_placed for p in (*first.placements, *second.placements)] == [True, False]
    assert first.placements[0].warnings == ("The points lie close together: the far end is less certain.",)
    assert first.marks == (1, 2, 3, 4, 5, 6, 7)
    assert second.marks == (8,)
    assert second.size == "300 × 400 px"


@pytest.mark.parametrize(("index", "letter"), [(0, "A"), (25, "Z"), (26, "A2"), (52, "A3")])
def test_letters_of_sightings_do_not_run_out(index: int, letter: str) -> None:
    assert letter_of(index) == letter


def test_a_sighting_the_template_does_not_know_is_still_listed() -> None:
    scene = report_scene.evaluation()
    stray = report_scene.Sighting(report_scene.PhotoId("photo-1"), report_scene.DatumId("gone"), (10, 10))
    survey = replace(scene.survey, sightings=(*scene.survey.sightings, stray))
    first, _ = report_scene.photo_pages_of(replace(scene, survey=survey))
    assert [group.panel for group in first.sightings] == ["Left floor", "Not on this template"]
    assert first.sightings[1].points == (("F", "gone"),)


def test_panels_glimpsed_beside_a_placed_one_are_listed_shortly() -> None:
    scene = report_scene.evaluation()
    first, sill = report_scene.PhotoId("photo-1"), report_scene.PanelId("sill-left")
    few = report_scene.RegistrationFailure(first, sill, report_scene.FailureReason.TOO_FEW, "2 of the 4 points needed.")
    both = replace(scene, registrations=dict(scene.registrations) | {(first, sill): few})
    page, _ = report_scene.photo_pages_of(both)
    assert page.glimpsed == ("Left sill, underside",)
    assert [placement.is_placed for placement in page.placements] == [True]
    alone = replace(scene, registrations={(first, sill): few})
    page, _ = report_scene.photo_pages_of(alone)
    assert page.glimpsed == ()
    assert page.placements[0].summary == "2 of the 4 points needed."


def test_an_outline_that_encloses_nothing_keeps_its_number() -> None:
    scene = report_scene.evaluation()
    line = report_scene.PhotoOutline([[10, 10], [60, 10], [30, 10]])
    marks = (replace(scene.survey.marks[0], outline=line), *scene.survey.marks[1:])
    page, _ = report_scene.photo_pages_of(replace(scene, survey=replace(scene.survey, marks=marks)))
    root = ET.fromstring(page.svg)
    assert not [p for p in root.iter(f"{SVG}path") if p.get("fill") == "url(#p1-rust-surface)"]
    assert "1" in {t.text for t in root.iter(f"{SVG}text")}
