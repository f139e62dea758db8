"""Closed sections of a template: read, written back, every fault with its path."""

import copy

import pytest

from corromap.io.package_data import data_path
from corromap.io.templates import (
    check_template,
    list_templates,
    load_template,
    parse_template,
    read_document,
    template_document,
)
from corromap.measures.thin_walled import section_state

BODIES = [template_id for template_id, _ in list_templates()]


@pytest.fixture(scope="module")
def packaged():
    return read_document(data_path("body_templates", "two-seat-open.json"))


@pytest.fixture
def document(packaged):
    return copy.deepcopy(packaged)


@pytest.mark.parametrize("body", BODIES)
def test_every_body_states_both_sills_over_their_whole_length(body):
    template = load_template(body)
    assert [section.id for section in template.sections] == ["sill-left", "sill-right"]
    for section in template.sections:
        outer = template.panel(f"{section.id}-outer")
        x = outer.place.to_car(outer.outline.exterior_mm)[:, 0]
        assert (section.from_x_mm, section.to_x_mm) == (x.min(), x.max())
        assert {wall.panel for wall in section.walls if wall.panel} == {
            f"{section.id}-{face}" for face in ("inner", "outer", "underside")
        }


@pytest.mark.parametrize("body", BODIES)
def test_left_and_right_are_alike(body):
    left, right = load_template(body).sections
    for slit in ((), ("outer",), ("inner",), ("inner", "outer")):
        assert section_state(left, slit).j_mm4 == pytest.approx(section_state(right, slit).j_mm4)


def test_written_back_as_read(document):
    assert template_document(parse_template(document))["sections"] == document["sections"]


def test_a_template_without_sections_is_as_good_as_ever(document):
    del document["sections"]
    assert check_template(document) == ()
    template = parse_template(document)
    assert template.sections == ()
    assert "sections" not in template_document(template)


def _spoil(document, path, value):
    thing = document["sections"][0]
    for key in path[:-1]:
        thing = thing[key]
    thing[path[-1]] = value


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        (("walls", 6, "panel"), "no-such", "sections[0].walls[6].panel: no panel 'no-such'"),
        (("walls", 0, "panel"), "sill-left-outer", "sections[0].walls[0].panel: wall 'inner' leaves panel"),
        (("walls", 0, "sheet_mm"), 0, "sections[0].walls[0].sheet_mm: expected at least 0.1, found 0"),
        (
            ("walls", 0, "from_mm"),
            [0, 0],
            "sections[0]: section 'sill-left', cell 'inner-cell': its walls do not close",
        ),
        (("cells", 0, "walls", 0), "roof", "sections[0]: section 'sill-left', cell 'inner-cell': no wall 'roof'"),
        (("from_x_mm",), 5000, "sections[0]: section 'sill-left': from_x_mm must be less than to_x_mm"),
        (("to_x_mm",), 900, "leaves panel 'sill-left-inner' by 160.0 mm"),
        (("id",), "sill-right", "sections[1].id: section 'sill-right' is there twice"),
        (("colour",), "red", "sections[0]: unknown entry 'colour'; remove it"),
    ],
)
def test_each_fault_has_its_path(document, path, value, message):
    _spoil(document, path, value)
    assert any(message in fault for fault in check_template(document)), check_template(document)
