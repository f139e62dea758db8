"""Rows and drawings of patchwork, sills, findings by hand and what would change the outcome."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from corromap.by_hand import HandFinding, HandKind, ShellCheck, ShellKind
from corromap.evaluation import Evaluation, evaluate
from corromap.frames import HandFindingId, PanelId, ShellCheckId
from corromap.io.rules import default_rules
from corromap.report.sill_drawing import section_svg
from corromap.report.structure_rows import StructureView, structure_view
from corromap.survey import MarkKind, PatchFixing, RustStage
from tests.unit.surveys import TEMPLATE, mark_at, survey_of

OUTER, UNDER = PanelId("sill-left-outer"), PanelId("sill-left-underside")
HOLED = (MarkKind.RUST, RustStage.HOLED)


def rect(u0: float, v0: float, u1: float, v1: float) -> list[list[float]]:
    return [[u0, v0], [u1, v0], [u1, v1], [u0, v1]]


@pytest.fixture(scope="module")
def evaluation() -> Evaluation:
    marks = [
        mark_at("h", OUTER, rect(100, 40, 250, 90), *HOLED),
        mark_at("both", UNDER, rect(600, 20, 650, 90), *HOLED),
        replace(mark_at("p", OUTER, rect(700, 20, 800, 120), MarkKind.PATCH), fixing=PatchFixing.SEAM),
        mark_at("r", OUTER, rect(780, 40, 850, 80), MarkKind.RUST, RustStage.SURFACE),
    ]
    survey = survey_of((OUTER, UNDER), marks)
    gauge = HandFinding(HandFindingId("g"), HandKind.GAUGE, OUTER, (140, 60), 0.7, note="<b>thin</b>", author="A. N.")
    checks = (
        ShellCheck(ShellCheckId("a"), ShellKind.DOOR_GAP, "left top", ground_mm=5, raised_mm=9),
        ShellCheck(ShellCheckId("b"), ShellKind.DOOR_DROPS, "left", found=True, at="2026-03-01T10:00:00Z"),
    )
    return evaluate(replace(survey, hand_findings=(gauge,), shell_checks=checks), TEMPLATE, default_rules())


@pytest.fixture(scope="module")
def view(evaluation: Evaluation) -> StructureView:
    return structure_view(evaluation)


def test_sill_says_where_it_is_open_and_what_still_closes(view: StructureView) -> None:
    left = view.sills[0]
    assert (left.name, left.open, left.length) == ("Left sill", "200 mm", "1480 mm")
    assert left.open_interval.startswith("19")
    assert [(s.where, s.walls, s.closed) for s in left.stretches] == [
        (
            "from 100 mm to 250 mm from the rear end",
            "outer face",
            "the inner cell still closes, if the walls inside are sound",
        ),
        (
            "from 600 mm to 650 mm from the rear end",
            "underside, inner half, underside, outer half",
            "nothing closes here",
        ),
    ]
    assert left.marks == (1, 2)
    assert "never" not in view.sills_note
    assert "no figure of strength" in view.sills_note
    assert "short hole loses far less" in view.sills_note


def test_per_cent_comes_first_and_both_scales_follow(view: StructureView) -> None:
    whole = view.degrees[0]
    assert whole.place == "Whole underside"
    assert whole.percent.endswith("%")
    assert whole.grade.startswith("grade ")
    assert whole.picture.startswith("Ri ")
    assert "say nothing about strength" in view.degrees_note


def test_patchwork_of_the_whole_and_of_the_zone(view: StructureView) -> None:
    whole = view.patchwork[0]
    assert (whole.patches, whole.pieces, whole.rust_at_edge, whole.rust_through_edge) == (1, 1, 1, 1)
    assert (whole.fixings, whole.edge, whole.marks) == ("seam", "400 mm", (3,))
    assert whole.rusted_edge == "44 mm"  # 40 mm of edge on rust, and the tolerance at both ends
    assert whole.holes == 2


def test_findings_by_hand_and_checks_of_the_shell(view: StructureView) -> None:
    (gauge,) = view.by_hand
    assert gauge.value == "0.7 mm of 1 mm: 30 % lost"
    assert gauge.place == "Left outer sill, rear"
    assert (gauge.note, gauge.author) == ("<b>thin</b>", "A. N.")
    assert [(row.what, row.place, row.comes_to) for row in view.shell] == [
        ("door gap", "left top", "changes by 4 mm"),
        ("door drops", "left", "yes"),
    ]


def test_what_would_change_names_the_outcome(evaluation: Evaluation, view: StructureView) -> None:
    assert evaluation.assessment.outcome.kind.value == "repair"
    assert view.what_if == ()  # a repair stays a repair, whatever the unseen zones hold
    bare = structure_view(evaluate(survey_of((OUTER, UNDER)), TEMPLATE, default_rules()))
    told = [(row.text, row.outcome) for row in bare.what_if]
    assert told[0][1] == "repair"
    assert told[0][0].startswith("If a hole were found in a zone not shown, for example Left inner sill")
    unseen = len(evaluation.assessment.outcome.unseen_zones)
    assert told[1][0] == f"If the {unseen} load-bearing zones not shown were seen and found clean"
    assert told[1][1] == "clear in what was shown"


def test_drawings_are_well_formed_and_named(view: StructureView) -> None:
    for sill in view.sills:
        drawing = ET.fromstring(sill.strip)
        assert drawing.find("{*}title").text.startswith(sill.name)  # type: ignore[union-attr]
        assert len({e.get("id") for e in drawing.findall(".//{*}pattern")}) == 5
        for stretch in sill.stretches:
            ET.fromstring(stretch.drawing)
    assert len(view.sill_legend) == 6


def test_an_open_wall_is_drawn_broken() -> None:
    section = TEMPLATE.sections[0]
    lines = ET.fromstring(section_svg(section, {"outer"})).findall("{*}path")
    assert len(lines) == len(section.walls)
    assert [line.find("{*}title").text for line in lines if line.get("stroke-dasharray")] == ["outer face"]  # type: ignore[union-attr]
