"""Each fault of a template is named with its path: two panels folded at a right angle, spoiled one way at a time."""

import copy
import math

import pytest

from corromap.errors import TemplateError
from corromap.io.templates import check_template, parse_template, template_notes


def _zone(name, ring):
    return {"id": name, "name": name, "role": "primary", "sheet_mm": 1.0, "prominence": 1, "outline_mm": ring}


def _point(name, at):
    return {"id": name, "name": name, "description": "A drain hole.", "shape": "round hole", "at_mm": at}


def _panel(name, seen_from, place, map_x, fold, other):
    return {
        "id": name,
        "name": name,
        "part": "sill",
        "side": "left",
        "seen_from": seen_from,
        "outline_mm": [[0, 0], [400, 0], [400, 100], [0, 100]],
        "place": place,
        "map": {"origin_mm": [map_x, 0], "u_axis": [0, -1], "v_axis": [1, 0]},
        "zones": [
            _zone(f"{name}-rear", [[0, 0], [200, 0], [200, 100], [0, 100]]),
            _zone(f"{name}-front", [[200, 0], [400, 0], [400, 100], [200, 100]]),
        ],
        "datum_points": [_point(f"{name}-a", [50, 50]), _point(f"{name}-b", [350, 40])],
        "mountings": [{"id": f"{name}-jack", "name": "Jack", "kind": "jacking", "at_mm": [30, 30]}],
        "folds": [{"other": other, "edge_mm": fold, "other_edge_mm": [[0, 100 - fold[0][1]], [400, 100 - fold[0][1]]]}],
    }


@pytest.fixture
def document():
    below = {"origin_mm": [0, 0, -100], "u_axis": [1, 0, 0], "v_axis": [0, 1, 0]}
    outer = {"origin_mm": [0, 100, -100], "u_axis": [1, 0, 0], "v_axis": [0, 0, 1]}
    return {
        "format": "corromap body template",
        "version": 1,
        "id": "two-faces",
        "name": "Two faces",
        "description": "Underside and outer face of a box.",
        "revision": 1,
        "unit": "mm",
        "scale_sigma": 0.01,
        "panels": [
            _panel("under", "below", below, 0, [[0, 100], [400, 100]], "outer"),
            _panel("outer", "left", outer, 100, [[0, 0], [400, 0]], "under"),
        ],
    }


def _reach(thing, path):
    for step in path[:-1]:
        thing = thing[step]
    return thing, path[-1]


def _with(document, *changes):
    spoiled = copy.deepcopy(document)
    for path, value in changes:
        holder, key = _reach(spoiled, path)
        holder[key] = value
    return spoiled


def test_the_sound_document_has_no_fault(document):
    assert check_template(document) == ()
    assert template_notes(parse_template(document)) == (
        "panel 'under': 2 datum points; a photo needs 4 to be placed on it",
        "panel 'outer': 2 datum points; a photo needs 4 to be placed on it",
    )


P0, P1 = ("panels", 0), ("panels", 1)

FAULTS = [
    pytest.param(
        [(("unit",), "inch")], "unit: unknown unit 'inch': every length must be in millimetres ('mm')", id="unit"
    ),
    pytest.param([(("format",), "x")], "format: expected 'corromap body template', found 'x'", id="format"),
    pytest.param(
        [(("version",), 2)], "version: format version 2 is not one this program reads (1)", id="newer version"
    ),
    pytest.param([(("scale_sigma",), 0.5)], "scale_sigma: expected at most 0.2, found 0.5", id="scale"),
    pytest.param([((*P0, "part"), "wing")], "panels[0].part: expected one of sill, floor", id="part"),
    pytest.param(
        [((*P0, "id"), "Sill A")], "panels[0].id: expected lower-case words joined by hyphens, found 'Sill A'", id="id"
    ),
    pytest.param([((*P0, "colour"), "red")], "panels[0]: unknown entry 'colour'; remove it", id="unknown entry"),
    pytest.param([((*P0, "zones"), [])], "panels[0].zones: expected at least 1 entries, found 0", id="no zone"),
    pytest.param(
        [((*P0, "zones", 1, "sheet_mm"), 0)], "panels[0].zones[1].sheet_mm: expected at least 0.1, found 0", id="sheet"
    ),
    pytest.param([((*P0, "name"), "")], "panels[0].name: expected at least 1 characters, found 0", id="empty name"),
    pytest.param(
        [((*P0, "datum_points", 1, "at_mm"), [1, "2"])],
        "panels[0].datum_points[1].at_mm[1]: expected number, found '2'",
        id="text for a number",
    ),
    pytest.param(
        [((*P0, "zones", 1, "outline_mm"), [[150, 0], [400, 0], [400, 100], [150, 100]])],
        "panels[0].zones[1].outline_mm: overlaps zone 'under-rear' by 50.0 cm2",
        id="overlapping zones",
    ),
    pytest.param(
        [((*P0, "zones", 1, "outline_mm"), [[200, 0], [420, 0], [420, 100], [200, 100]])],
        "panels[0].zones[1].outline_mm: 20.0 cm2 of zone 'under-front' lie outside panel 'under'",
        id="zone outside",
    ),
    pytest.param(
        [((*P0, "zones", 1, "outline_mm"), [[200, 0], [400, 100], [400, 0], [200, 100]])],
        "panels[0].zones[1].outline_mm: outline on panel 'under-front' is not simple",
        id="bow-tie zone",
    ),
    pytest.param(
        [((*P0, "folds", 0, "other"), "roof")], "panels[0].folds[0].other: there is no panel 'roof'", id="missing panel"
    ),
    pytest.param(
        [((*P0, "folds", 0, "other"), "under")],
        "panels[0].folds[0].other: panel 'under' is folded onto itself",
        id="fold on itself",
    ),
    pytest.param(
        [((*P1, "place", "origin_mm"), [0, 103, -100])],
        "panels[0].folds[0]: the ends do not meet panel 'outer': they are 3.0 mm and 3.0 mm apart in the car frame",
        id="fold apart",
    ),
    pytest.param(
        [((*P0, "folds", 0, "edge_mm"), [[400, 100], [0, 100]])],
        "panels[0].folds[0]: the ends do not meet panel 'outer': they are 400.0 mm and 400.0 mm apart",
        id="fold ends exchanged",
    ),
    pytest.param(
        [((*P0, "folds", 0, "edge_mm"), [[0, 100], [0.5, 100]])],
        "panels[0].folds[0].edge_mm: the two ends are the same point",
        id="fold without length",
    ),
    pytest.param(
        [((*P0, "folds", 0, "edge_mm"), [[0, 100], [430, 100]])],
        "panels[0].folds[0].edge_mm: an end lies 30.0 mm off panel 'under'",
        id="fold off panel",
    ),
    pytest.param(
        [((*P1, "folds"), [])],
        "panels[0].folds[0]: panel 'outer' does not name this fold in return; give it on both panels",
        id="fold on one panel only",
    ),
    pytest.param(
        [((*P1, "datum_points", 0, "id"), "under-a")],
        "panels[1].datum_points[0].id: 'under-a' is already the id of panels[0].datum_points[0]",
        id="datum id twice",
    ),
    pytest.param(
        [((*P1, "zones", 0, "id"), "under-rear")],
        "panels[1].zones[0].id: 'under-rear' is already the id of panels[0].zones[0]",
        id="zone id twice",
    ),
    pytest.param(
        [((*P1, "mountings", 0, "id"), "under-jack")],
        "panels[1].mountings[0].id: 'under-jack' is already the id of panels[0].mountings[0]",
        id="mounting id twice",
    ),
    pytest.param([((*P1, "id"), "under")], "panels[1].id: 'under' is already the id of panels[0]", id="panel id twice"),
    pytest.param(
        [((*P0, "datum_points", 0, "at_mm"), [-5, 50])],
        "panels[0].datum_points[0].at_mm: 'under-a' lies 5.0 mm off panel 'under'",
        id="datum off panel",
    ),
    pytest.param(
        [((*P0, "mountings", 0, "at_mm"), [30, 112])],
        "panels[0].mountings[0].at_mm: 'under-jack' lies 12.0 mm off panel 'under'",
        id="mounting off panel",
    ),
    pytest.param(
        [((*P0, "datum_points", 1, "at_mm"), [50, 50.5])],
        "panels[0].datum_points[1].at_mm: same place as datum point 'under-a'",
        id="two datum points in one place",
    ),
    pytest.param(
        [((*P0, "datum_points", 0, "at_mm"), [50, 100]), ((*P1, "datum_points", 0, "at_mm"), [50, 0])],
        "panels[1].datum_points[0].at_mm: same place on the car as datum point 'under-a'",
        id="one place on two panels",
    ),
    pytest.param(
        [((*P0, "seen_from"), "left")],
        "panels[0].seen_from: the panel is edge-on to 'left', so nothing of it can be seen",
        id="edge-on",
    ),
    pytest.param(
        [((*P0, "seen_from"), "above")],
        "panels[0].map: the drawing is mirrored against a view from 'above'; turn one axis round",
        id="mirrored by the wrong side",
    ),
    pytest.param(
        [((*P1, "map", "v_axis"), [-1, 0]), ((*P1, "map", "origin_mm"), [200, 0])],
        "panels[1].map: the drawing is mirrored against a view from 'left'",
        id="mirrored drawing",
    ),
    pytest.param(
        [((*P0, "place", "v_axis"), [0, 0.8, 0])],
        "panels[0].place: place: u_axis and v_axis must be unit vectors at right angles",
        id="short axis",
    ),
    pytest.param(
        [((*P0, "map", "v_axis"), [math.sqrt(0.5), math.sqrt(0.5)])],
        "panels[0].map: map: u_axis and v_axis must be unit vectors at right angles",
        id="oblique map axes",
    ),
    pytest.param(
        [((*P1, "map", "origin_mm"), [90, 0])],
        "panels[1].map: drawn over panel 'under' on the map; move one of them",
        id="map overlap",
    ),
    pytest.param(
        [((*P1, "map", "origin_mm"), [90, 0]), ((*P1, "covers"), ["under"])],
        "panels[1].map: hides part of zone 'under-rear' of panel 'under' on the map",
        id="covering drawing hides a zone",
    ),
    pytest.param(
        [((*P1, "map", "origin_mm"), [90, 0]), ((*P0, "covers"), ["outer"])],
        "panels[0]: covers 'outer' and must come after it in the list",
        id="covering panel listed first",
    ),
    pytest.param(
        [((*P0, "covers"), ["under"])],
        "panels[0].covers[0]: panel 'under' cannot stand in front of itself",
        id="covers itself",
    ),
    pytest.param([((*P0, "covers"), ["roof"])], "panels[0].covers[0]: there is no panel 'roof'", id="covers nothing"),
    pytest.param(
        [((*P0, "covers"), ["outer"]), ((*P1, "covers"), ["under"])],
        "panels[0].covers: the panels stand in front of one another in a ring: under > outer > under",
        id="covers in a ring",
    ),
]


@pytest.mark.parametrize(("changes", "expected"), FAULTS)
def test_a_fault_is_named_with_its_path(document, changes, expected):
    faults = check_template(_with(document, *changes))
    assert any(fault.startswith(expected) for fault in faults), faults


@pytest.mark.parametrize(("changes", "expected"), FAULTS)
def test_a_faulty_document_is_refused_with_every_fault(document, changes, expected):
    with pytest.raises(TemplateError, match="body template has") as caught:
        parse_template(_with(document, *changes))
    assert any(fault.startswith(expected) for fault in caught.value.faults)


@pytest.mark.parametrize(
    "key", ["format", "version", "id", "name", "description", "revision", "unit", "scale_sigma", "panels"]
)
def test_a_missing_entry_is_named(document, key):
    del document[key]
    assert check_template(document) == (f"(root): '{key}' is missing",)


def test_two_missing_entries_of_one_panel_are_both_named(document):
    del document["panels"][1]["place"], document["panels"][1]["map"]
    assert check_template(document) == ("panels[1]: 'place' is missing", "panels[1]: 'map' is missing")


def test_faults_of_several_kinds_are_all_named_in_one_run(document):
    spoiled = _with(
        document,
        (("unit",), "inch"),
        ((*P0, "zones", 1, "outline_mm"), [[150, 0], [400, 0], [400, 100], [150, 100]]),
        ((*P1, "datum_points", 0, "at_mm"), [-5, 50]),
    )
    assert [fault.split(":")[0] for fault in check_template(spoiled)] == [
        "unit",
        "panels[0].zones[1].outline_mm",
        "panels[1].datum_points[0].at_mm",
    ]


def test_a_fold_to_a_faulty_panel_is_not_called_a_fold_to_nowhere(document):
    faults = check_template(_with(document, ((*P1, "part"), "wing")))
    assert len(faults) == 1
    assert faults[0].startswith("panels[1].part: ")


def test_a_covering_panel_may_be_drawn_over_ground_that_is_in_no_zone(document):
    del document["panels"][0]["zones"][1]
    spoiled = _with(document, ((*P1, "map", "origin_mm"), [20, -300]), ((*P1, "covers"), ["under"]))
    # u runs up the map: the drawing of 'outer' covers u 300 to 400 of 'under' only
    assert check_template(spoiled) == ()
    assert "panel 'under': 50.0 % of it is in no zone and is never reported" in template_notes(parse_template(spoiled))


def test_at_most_200_faults_are_listed(document):
    zone = document["panels"][0]["zones"][0]
    document["panels"][0]["zones"] = [{**zone, "role": "none", "sheet_mm": 0, "prominence": 0} for _ in range(100)]
    faults = check_template(document)
    assert len(faults) == 201
    assert faults[-1] == "(root): 100 further faults are not listed"
