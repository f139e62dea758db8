"""Rows of the report's tables, and the evaluation document."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from corromap.evaluation import Evaluation, evaluate
from corromap.frames import PanelId, ZoneId
from corromap.io.rules import default_rules
from corromap.report.document import evaluation_document, evaluation_schema
from corromap.report.drawing import map_svg
from corromap.report.findings import mark_numbers, mark_rows, mounting_rows, patch_rows, rule_row
from corromap.report.sheet import lay_out
from corromap.report.tables import group_rows, zone_rows
from corromap.survey import MarkKind, RustStage
from tests import report_scene
from tests.unit.surveys import TEMPLATE, mark_at, survey_of
from tests.unit.test_report_drawing import ET, SVG, even_odd_area


@pytest.fixture(scope="module")
def scene() -> Evaluation:
    return report_scene.evaluation()


@pytest.fixture(scope="module")
def real() -> Evaluation:
    """A survey that went the whole way through the program."""
    shown = [PanelId("sill-left-underside"), PanelId("floor-left")]
    square = np.array([[300, 30], [380, 30], [380, 90], [300, 90]])
    marks = [
        mark_at("a", shown[0], square, MarkKind.RUST, RustStage.SCALED),
        mark_at("b", shown[0], np.add(square, [200, 0]), MarkKind.PATCH),
        mark_at("c", shown[1], np.add(square, [200, 200]), MarkKind.FILLER),
        mark_at("d", shown[1], np.add(square, [500, 200]), MarkKind.HIDDEN),
    ]
    return evaluate(survey_of(shown, marks), TEMPLATE, default_rules())


def test_zone_rows_keep_the_order_and_numbers_of_the_map(scene: Evaluation) -> None:
    rows = zone_rows(scene)
    assert [row.number for row in rows] == [1, 2, 3, 4, 5]
    assert [row.zone for row in rows] == [zone.id for zone in scene.template.zones]


def test_a_zone_with_marks_is_printed_in_full(scene: Evaluation) -> None:
    row = next(row for row in zone_rows(scene) if row.zone == "floor-left-front")
    assert (row.role, row.sheet, row.is_load_bearing) == ("load-bearing", "1 mm", True)
    found = row.found
    assert (found.affected.value, found.affected.interval, found.affected.share) == (
        "499 cm²",
        "439 to 559 cm²",
        "11.1 %",
    )
    assert found.stages == (("holed", "2.54 cm²"), ("surface", "199 cm²"))
    assert (found.pieces, found.patch_count, found.patch_on_patch) == (3, 1, 1)
    assert (found.seen, found.hidden, found.never_seen) == ("100 %", "0 %", "0 %")


def test_rust_without_a_stage_is_told(scene: Evaluation) -> None:
    measures = scene.measures
    changed = [replace(z, stages=dict(z.stages) | {RustStage.SURFACE: report_scene.NOTHING}) for z in measures.zones]
    rows = zone_rows(replace(scene, measures=replace(measures, zones=tuple(changed))))
    found = next(row.found for row in rows if row.zone == "floor-left-front")
    assert found.stages == (("holed", "2.54 cm²"), ("stage not given", "198.5 cm²"))


@pytest.mark.parametrize(
    ("zone", "cell"),
    [
        pytest.param("floor-right-front", "not seen", id="never shown"),
        pytest.param("sill-left-all", "none", id="shown a little"),
        pytest.param("floor-left-rear", "none", id="shown"),
    ],
)
def test_nothing_marked_reads_none_only_where_something_was_shown(scene: Evaluation, zone: str, cell: str) -> None:
    found = next(row.found for row in zone_rows(scene) if row.zone == zone)
    assert {c.value for c in (found.affected, found.rust, found.filler, found.patch)} == {cell}


def test_groups_are_printed(scene: Evaluation) -> None:
    (whole,) = group_rows(scene)
    assert (whole.id, whole.zones, whole.found.name) == ("all", 5, "Whole underside")


def test_patch_rows_show_the_margin(scene: Evaluation) -> None:
    (row,) = patch_rows(scene)
    assert (row.value, row.limit, row.margin, row.is_house_rule, row.is_reached) == (
        "2",
        "from 4",
        "2 more would reach the limit",
        True,
        False,
    )
    assert row.marks == (3, 4)


def test_rules_reached_and_uncertain_are_worded_apart(scene: Evaluation) -> None:
    rows = [rule_row(result, mark_numbers(scene)) for result in scene.assessment.results]
    margins = ["2 more would reach the limit", "at the limit", "0.1 points below the limit"]
    assert [row.margin for row in rows] == margins
    assert [row.verdict for row in rows] == ["not reached", "reached", "cannot tell: the interval straddles the limit"]
    assert [row.interval for row in rows] == ["", "", "1.6 % to 2.3 %"]


def test_mountings_hold_near_marks_and_near_misses(scene: Evaluation) -> None:
    (row,) = mounting_rows(scene)
    assert (row.mounting, row.kind) == ("Left front pick-up", "Suspension pick-up")
    assert [(near.number, near.mark, near.distance) for near in row.within] == [(4, "Patch", "180 mm")]
    assert [(near.number, near.mark, near.distance) for near in row.beyond] == [(1, "Rust, surface", "368 mm")]


def test_every_mark_is_listed_with_its_fate(scene: Evaluation) -> None:
    rows = mark_rows(scene)
    assert [row.number for row in rows] == list(range(1, 9))
    lost = rows[-1]
    assert (lost.area, lost.placed, lost.lost, lost.panels, lost.is_whole) == (
        "not placed", "0 %", "100 % off the panels placed", "none", False,
    )  # fmt: skip
    assert rows[4].extrapolated == "25 %"
    assert all(row.is_whole for row in rows[:-1])


@pytest.mark.parametrize("which", ["scene", "real"])
def test_document_meets_its_schema(which: str, request: pytest.FixtureRequest) -> None:
    schema = evaluation_schema()
    Draft202012Validator.check_schema(schema)
    text = json.dumps(evaluation_document(request.getfixturevalue(which)), allow_nan=False)
    faults = [f"{list(f.path)}: {f.message}" for f in Draft202012Validator(schema).iter_errors(json.loads(text))]
    assert faults == []


@pytest.mark.parametrize(
    ("key", "value"),
    [("version", 2), ("zones", [{}]), ("outcome", {"kind": "pass"}), ("surprise", 1)],
)
def test_schema_refuses_what_is_not_such_a_document(scene: Evaluation, key: str, value: object) -> None:
    document = json.loads(json.dumps(evaluation_document(scene)))
    document[key] = value
    assert not Draft202012Validator(evaluation_schema()).is_valid(document)


def test_keys_are_the_documented_ones(scene: Evaluation) -> None:
    assert sorted(evaluation_document(scene)) == [
        "body_fit", "document", "groups", "marks", "near_mountings", "outcome", "placements", "program_version",
        "rule_results", "rules", "scales", "structure", "survey", "template", "version", "zones",
    ]  # fmt: skip


def test_document_has_no_clock_in_it(scene: Evaluation) -> None:
    assert json.dumps(evaluation_document(scene)) == json.dumps(evaluation_document(report_scene.evaluation()))


def test_digests_follow_the_content(scene: Evaluation) -> None:
    def digests(evaluation: Evaluation) -> tuple[object, ...]:
        document = evaluation_document(evaluation)
        return tuple(document[part]["sha256"] for part in ("survey", "template", "rules"))  # type: ignore[index]

    moved = replace(scene, survey=replace(scene.survey, id="survey-2"))
    ruled = replace(scene, rules=replace(scene.rules, version=4))
    assert digests(scene) == digests(report_scene.evaluation())
    assert [a == b for a, b in zip(digests(scene), digests(moved), strict=True)] == [False, True, True]
    assert [a == b for a, b in zip(digests(scene), digests(ruled), strict=True)] == [True, True, False]


def test_real_shares_and_fates_sum_to_one(real: Evaluation) -> None:
    document = json.loads(json.dumps(evaluation_document(real)))
    for part in (*document["zones"], *document["groups"]):
        assert part["seen_share"] + part["hidden_share"] + part["never_seen_share"] == pytest.approx(1, abs=3e-6)
    for mark in document["marks"]:
        shares = [mark[f"{name}_share"] for name in ("placed", "lost_horizon", "lost_edge", "lost_frame")]
        assert sum(shares) == pytest.approx(1, abs=1e-5)


def test_map_hatches_what_the_measures_say_was_never_seen(real: Evaluation) -> None:
    """Two ways to one figure: the drawing from the photos' areas, the share from the measures."""
    root = ET.fromstring(map_svg(real.template, real, width=4000))
    scale = lay_out(real.template, width=4000, turn=False).px_per_mm
    share = {measure.zone: measure.never_seen_share for measure in real.measures.zones}
    for panel in real.template.panels:
        title = f"Never seen: {panel.name}"
        paths = [p for p in root.iter(f"{SVG}path") if p.findtext(f"{SVG}title") == title]
        drawn = sum(even_odd_area(p.get("d", "")) for p in paths) / scale**2
        expected = sum(zone.area_mm2 * share[ZoneId(zone.id)] for zone in panel.zones)
        assert drawn == pytest.approx(expected, rel=2e-3, abs=60.0), panel.id
