"""What would change the outcome, and what changes with a limit."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from corromap.assessment import OutcomeKind, RuleSet, Supposed, WhatIf, compare, what_would_change
from corromap.evaluation import Evaluation, evaluate
from corromap.frames import MarkId, PanelId
from corromap.io.rules import default_rules
from corromap.measures import Measures, measure
from corromap.projection import project
from corromap.survey import Mark, MarkKind, RustStage
from tests.unit.surveys import TEMPLATE, mark_at, survey_of

FLOOR = PanelId("floor-left")
PANELS = (FLOOR, PanelId("boot-floor"))
RULES = default_rules()


def only(*ids: str) -> RuleSet:
    """The default set with some of its rules."""
    return replace(RULES, rules=tuple(rule for rule in RULES.rules if rule.id in ids))


def square(zone_id: str, side: float) -> list[list[float]]:
    at = TEMPLATE.zone_by_id[zone_id].outline.polygon.representative_point()  # type: ignore[index]
    u, v, half = at.x, at.y, side / 2
    return [[u - half, v - half], [u + half, v - half], [u + half, v + half], [u - half, v + half]]


def judged(marks: list[Mark], rules: RuleSet = RULES) -> Evaluation:
    return evaluate(survey_of(PANELS, marks), TEMPLATE, rules)


def without(evaluation: Evaluation, mark: MarkId) -> Measures:
    survey = replace(evaluation.survey, marks=tuple(m for m in evaluation.survey.marks if m.id != mark))
    return measure(project(survey, TEMPLATE, evaluation.registrations), evaluation.registrations, survey, TEMPLATE)


def test_unseen_zones_clean_or_holed() -> None:
    found = judged([])
    assert found.assessment.outcome.kind is OutcomeKind.NOT_SHOWN
    clean_or_holed = {one.supposed: one for one in what_would_change(found.assessment, found.measures, TEMPLATE)}
    assert clean_or_holed[Supposed.UNSEEN_CLEAN].kind is OutcomeKind.CLEAR
    assert clean_or_holed[Supposed.UNSEEN_CLEAN].zones == found.assessment.outcome.unseen_zones
    assert clean_or_holed[Supposed.UNSEEN_HOLED].kind is OutcomeKind.REPAIR
    assert clean_or_holed[Supposed.UNSEEN_HOLED].zones[0].startswith("sill-")


@pytest.mark.parametrize(
    ("now", "lighter", "heavier"),
    [
        (OutcomeKind.REPAIR, OutcomeKind.NOT_SHOWN, OutcomeKind.STOP),
        (OutcomeKind.NOT_SHOWN, OutcomeKind.CLEAR, OutcomeKind.REPAIR),
        (OutcomeKind.CLEAR, OutcomeKind.NOT_SHOWN, OutcomeKind.STOP),
    ],
)
def test_what_would_make_it_worse_weighs_more_than_what_would_make_it_as_much_better(now, lighter, heavier) -> None:
    one, other = (WhatIf(Supposed.VALUE_HIGH, kind, now) for kind in (lighter, heavier))
    assert one.weight < other.weight


def test_a_value_at_either_end_of_its_interval() -> None:
    zone = TEMPLATE.zone_by_id["floor-left-middle"]  # type: ignore[index]
    rules = only("rust-share-load-bearing")
    for share, supposed, kind in (
        (0.0305, Supposed.VALUE_LOW, OutcomeKind.NOT_SHOWN),
        (0.0295, Supposed.VALUE_HIGH, OutcomeKind.REPAIR),
    ):
        mark = mark_at("m", FLOOR, square(zone.id, math.sqrt(share * zone.area_mm2)), MarkKind.RUST, RustStage.SURFACE)
        found = judged([mark], rules)
        one = next(w for w in what_would_change(found.assessment, found.measures, TEMPLATE) if w.result is not None)
        assert (one.supposed, one.kind, one.zones) == (supposed, kind, (zone.id,))


def test_the_one_mark_everything_hangs_on() -> None:
    marks = [
        mark_at("hole", FLOOR, square("floor-left-middle", 30), MarkKind.RUST, RustStage.HOLED),
        mark_at("spot", FLOOR, square("floor-left-rear", 20), MarkKind.RUST, RustStage.SURFACE),
    ]
    found = judged(marks)
    tried = what_would_change(found.assessment, found.measures, TEMPLATE, lambda mark: without(found, mark))
    assert [one.mark for one in tried if one.supposed is Supposed.MARK_LEFT_OUT] == ["hole"]


def test_two_holes_hang_on_neither() -> None:
    marks = [
        mark_at(name, FLOOR, square(zone, 30), MarkKind.RUST, RustStage.HOLED)
        for name, zone in (("a", "floor-left-middle"), ("b", "floor-left-rear"))
    ]
    found = judged(marks)
    tried = what_would_change(found.assessment, found.measures, TEMPLATE, lambda mark: without(found, mark))
    assert not tried


def test_the_weightiest_comes_first() -> None:
    weights = [one.weight for one in what_would_change(judged([]).assessment, judged([]).measures, TEMPLATE)]
    assert weights == sorted(weights, reverse=True)


def test_a_limit_lowered_shows_what_changes() -> None:
    found = judged([mark_at("p", FLOOR, square("floor-left-middle", 60), MarkKind.PATCH)])
    changed = replace(
        RULES, rules=tuple(replace(r, at_least=1.0) if r.id == "patches-in-zone" else r for r in RULES.rules)
    )
    from corromap.assessment import assess  # noqa: PLC0415

    comparison = compare(found.assessment, assess(found.measures, TEMPLATE, changed))
    assert comparison.outcome_changes
    (change,) = comparison.changes
    assert change.before is not None
    assert (change.shown.rule.id, change.shown.zone) == ("patches-in-zone", "floor-left-middle")
    assert (change.before.is_reached, change.shown.is_reached) == (False, True)
    assert not compare(found.assessment, found.assessment).changes


@pytest.mark.parametrize("is_added", [False, True])
def test_a_rule_left_out_or_added_shows_where_it_is_reached(is_added: bool) -> None:
    marks = [mark_at("h", FLOOR, square("floor-left-middle", 30), MarkKind.RUST, RustStage.HOLED)]
    more, fewer = judged(marks, only("holed-load-bearing", "zone-not-shown")), judged(marks, only("zone-not-shown"))
    pair = (fewer, more) if is_added else (more, fewer)
    (change,) = compare(*(one.assessment for one in pair)).changes
    assert change.shown.rule.id == "holed-load-bearing"
    assert (change.before is None) == is_added
