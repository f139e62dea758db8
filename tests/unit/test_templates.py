"""The templates that come with the program: found, read, written back, and complete enough to be of use."""

import functools
import importlib
import itertools
import json
import sys
from enum import StrEnum
from pathlib import Path

import numpy as np
import pytest

from corromap import template as values
from corromap.errors import TemplateError
from corromap.io.package_data import data_path
from corromap.io.templates import list_templates, load_template, parse_template, read_document, template_document

CHECKOUT = Path(__file__).resolve().parents[2]
load = functools.cache(load_template)
IDS = [template_id for template_id, _ in list_templates()]
POINTS_WANTED = {
    "floor": 8,
    "sill-left-underside": 8,
    "sill-left-outer": 8,
    "sill-right-underside": 8,
    "sill-right-outer": 8,
}


def _file(template_id):
    return data_path("body_templates", f"{template_id}.json")


def test_three_bodies_come_with_the_program():
    assert dict(list_templates()) == {
        "four-door-saloon": "Four-door saloon",
        "small-hatchback": "Small hatchback",
        "two-seat-open": "Small open two-seater",
    }


@pytest.mark.parametrize("template_id", IDS)
def test_every_template_loads_by_id_and_by_path(template_id):
    by_id, by_path = load_template(template_id), load_template(_file(template_id))
    assert by_id.id == template_id
    assert template_document(by_id) == template_document(by_path)


@pytest.mark.parametrize("template_id", IDS)
def test_a_template_written_back_is_the_file(template_id):
    document = read_document(_file(template_id))
    written = template_document(load_template(template_id))
    assert written == document
    assert template_document(parse_template(json.loads(json.dumps(written)))) == document


@pytest.fixture
def maker(monkeypatch):
    monkeypatch.syspath_prepend(str(CHECKOUT / "tools"))
    before = list(sys.path)
    yield importlib.import_module("make_templates")
    sys.path[:] = before


def test_the_committed_templates_are_what_the_generator_writes(maker):
    assert [body.id for body in maker.BODIES] == ["two-seat-open", "four-door-saloon", "small-hatchback"]
    for body in maker.BODIES:
        committed = (CHECKOUT / "body_templates" / f"{body.id}.json").read_text(encoding="utf-8")
        assert maker.text_of(body) == committed, f"{body.id}: run python tools/make_templates.py"


@pytest.mark.parametrize("template_id", IDS)
def test_right_is_the_mirror_image_of_left(template_id):
    template = load(template_id)
    lefts = [panel for panel in template.panels if panel.side is values.Side.LEFT]
    assert len(lefts) > 10
    for left in lefts:
        right = template.panel(left.id.replace("left", "right"))
        flip = [1, -1, 1]
        assert np.allclose(
            left.place.to_car(left.outline.exterior_mm) * flip, right.place.to_car(right.outline.exterior_mm)
        )
        assert np.allclose(left.map_frame.to_map([[7, 3]]) * [-1, 1], right.map_frame.to_map([[7, 3]]))
        assert [zone.name.replace("Left", "Right") for zone in left.zones] == [zone.name for zone in right.zones]
        assert "left" not in " ".join(d.description.lower() for d in right.datum_points)


@pytest.mark.parametrize("template_id", IDS)
def test_every_part_asked_for_is_there(template_id):
    template = load(template_id)
    assert {panel.part for panel in template.panels} == set(values.Part)
    faces = {panel.id for panel in template.panels if panel.part is values.Part.SILL}
    assert faces == {f"sill-{side}-{face}" for side in ("left", "right") for face in ("inner", "underside", "outer")}


def test_every_kind_of_mounting_is_on_some_body():
    kinds = {mounting.kind for template_id in IDS for _, mounting in load(template_id).mountings}
    assert kinds == set(values.MountingKind)


@pytest.mark.parametrize("template_id", IDS)
def test_sills_floors_and_pick_ups_are_shown_first(template_id):
    zones = load(template_id).zones
    first = [zone for zone in zones if zone.prominence <= 3]
    assert zones[: len(first)] == tuple(first)
    assert all(zone.panel.startswith("sill") for zone in zones[:18])
    assert any("pick-up" in zone.name for zone in first)
    assert {zone.role for zone in first if zone.panel.startswith(("sill", "rail"))} == {values.Role.PRIMARY}


@pytest.mark.parametrize("template_id", IDS)
def test_every_panel_has_enough_datum_points(template_id):
    template = load(template_id)
    for panel in template.panels:
        wanted = POINTS_WANTED.get(panel.id, POINTS_WANTED.get(panel.part.value, 6))
        assert len(template.datum_positions(panel.id)) >= wanted, panel.id


@pytest.mark.parametrize("template_id", IDS)
def test_no_three_of_the_first_four_datum_points_are_in_line(template_id):
    template = load(template_id)
    for panel in template.panels:
        first = list(template.datum_positions(panel.id).values())[:4]
        for a, b, c in itertools.combinations(first, 3):
            (ux, uy), (vx, vy) = b - a, c - a
            longest = max(np.linalg.norm(b - a), np.linalg.norm(c - a), np.linalg.norm(c - b))
            height = abs(ux * vy - uy * vx) / longest
            assert height > 12, f"{panel.id}: three points within {height:.1f} mm of a line"


@pytest.mark.parametrize("template_id", IDS)
def test_points_on_a_fold_serve_both_panels(template_id):
    template = load(template_id)
    corner = "floor-left-front-outer"
    on_floor = template.datum_positions("floor-left")[corner]
    on_sill = template.datum_positions("sill-left-inner")[corner]
    in_car = [
        template.panel(panel).place.to_car([at])[0]
        for panel, at in (("floor-left", on_floor), ("sill-left-inner", on_sill))
    ]
    assert np.allclose(in_car[0], in_car[1], atol=1e-6)


@pytest.mark.parametrize("template_id", IDS)
def test_any_600_mm_of_a_sill_or_floor_shows_four_datum_points(template_id):
    """A close photo of the middle of a sill must be placeable; 600 mm is what a phone shows from about half a metre."""
    template = load(template_id)
    for name in ("sill-left-inner", "sill-left-underside", "sill-left-outer", "floor-left"):
        length = template.panel(name).outline.exterior_mm[:, 0].max()
        us = np.array([at[0] for at in template.datum_positions(name).values()])
        for start in np.arange(0, length - 599, 20):
            inside = ((us >= start) & (us <= start + 600)).sum()
            assert inside >= 4, f"{name}: {inside} points from {start:.0f} mm"


@pytest.mark.parametrize(
    ("definition", "entry", "enum"),
    [
        ("zone", "role", values.Role),
        ("datum_point", "shape", values.DatumShape),
        ("mounting", "kind", values.MountingKind),
        ("feature", "kind", values.FeatureKind),
        ("panel", "part", values.Part),
        ("panel", "side", values.Side),
        ("panel", "seen_from", values.SeenFrom),
    ],
)
def test_the_schema_knows_the_same_words_as_the_program(definition, entry, enum: type[StrEnum]):
    schema = json.loads(data_path("body_templates", "template.schema.json").read_text(encoding="utf-8"))
    assert schema["$defs"][definition]["properties"][entry]["enum"] == [member.value for member in enum]


def test_every_entry_of_the_schema_is_described():
    schema = json.loads(data_path("body_templates", "template.schema.json").read_text(encoding="utf-8"))
    for name, definition in {"top": schema, **schema["$defs"]}.items():
        for entry, body in definition.get("properties", {}).items():
            target = schema["$defs"].get(body.get("$ref", "").removeprefix("#/$defs/"), {})
            plural = body.get("items", {}).get("$ref", "").removeprefix("#/$defs/")
            told = (
                body.get("description")
                or target.get("description")
                or schema["$defs"].get(plural, {}).get("description")
            )
            assert told, f"{name}.{entry}"


def test_an_unknown_template_names_those_there_are():
    with pytest.raises(
        TemplateError, match="no body template 'sports': give a JSON file, or one of four-door-saloon, small-"
    ):
        load_template("sports")


def test_a_folder_is_not_a_template(tmp_path):
    with pytest.raises(TemplateError, match="give a JSON file"):
        load_template(tmp_path)
