"""From measures to an outcome: the table of rules, on surveys made by hand."""

from __future__ import annotations

import copy
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corromap.assessment import OutcomeKind, RuleSet, Verdict
from corromap.evaluation import Evaluation, evaluate
from corromap.frames import PanelId
from corromap.io.rules import default_rules
from corromap.survey import Mark, MarkKind, RustStage
from corromap.template import Role
from tests.unit.surveys import TEMPLATE, mark_at, survey_of

FLOOR = PanelId("floor-left")
EVERY_PANEL = tuple(panel.id for panel in TEMPLATE.panels)
RULES = default_rules()


def square(at: tuple[float, float], side: float) -> list[list[float]]:
    u, v, half = *at, side / 2
    return [[u - half, v - half], [u + half, v - half], [u + half, v + half], [u - half, v + half]]


def judged(marks: list[Mark], panels: tuple[PanelId, ...] = EVERY_PANEL, rules: RuleSet = RULES) -> Evaluation:
    return evaluate(survey_of(panels, marks), TEMPLATE, rules)


def centre(zone_id: str) -> tuple[float, float]:
    point = TEMPLATE.zone_by_id[zone_id].outline.polygon.representative_point()  # type: ignore[index]
    return point.x, point.y


def met(evaluation: Evaluation) -> set[str]:
    return {reason.rule.id for reason in evaluation.assessment.outcome.reasons}


@pytest.fixture(scope="module")
def whole() -> Evaluation:
    return judged([])


def test_everything_shown_and_nothing_marked_is_clear(whole: Evaluation) -> None:
    # square on from 1.5 m, a rail stands before the upper toe-boards and a wheel arch before a strip of the rail
    assert all(zone.seen_share > 0.93 or zone.zone.startswith("toe-board") for zone in whole.measures.zones)
    assert whole.assessment.outcome.kind is OutcomeKind.CLEAR
    assert "lower bound" in whole.assessment.outcome.headline


def test_nothing_shown_is_never_clear() -> None:
    result = evaluate(survey_of([]), TEMPLATE, RULES).assessment.outcome
    primary = [zone for zone in TEMPLATE.zones if zone.role is Role.PRIMARY]
    assert result.kind is OutcomeKind.NOT_SHOWN
    assert set(result.unseen_zones) == {zone.id for zone in primary}


def test_one_panel_shown_leaves_the_others_open() -> None:
    result = judged([], panels=(FLOOR,)).assessment.outcome
    assert result.kind is OutcomeKind.NOT_SHOWN
    assert not any(TEMPLATE.zone_by_id[zone].panel == FLOOR for zone in result.unseen_zones)


def test_unseen_bars_clear_even_without_an_evidence_rule() -> None:
    document = RULES.to_document()
    document["rule"] = [rule for rule in document["rule"] if rule["family"] != "evidence"]  # type: ignore[attr-defined]
    result = judged([], panels=(FLOOR,), rules=RuleSet.from_document(document)).assessment.outcome
    assert result.kind is OutcomeKind.NOT_SHOWN


@pytest.mark.parametrize(
    ("kind", "stage", "rule"),
    [
        pytest.param(MarkKind.RUST, RustStage.HOLED, "holed-load-bearing", id="hole"),
        pytest.param(MarkKind.RUST, RustStage.SCALED, "scaled-load-bearing", id="scale"),
        pytest.param(MarkKind.FILLER, None, "filler-load-bearing", id="filler"),
    ],
)
def test_one_mark_on_a_load_bearing_zone_asks_for_repair(kind: MarkKind, stage: RustStage | None, rule: str) -> None:
    result = judged([mark_at("m", FLOOR, square(centre("floor-left-edge-front"), 40), kind, stage)])
    assert rule in met(result)
    assert result.assessment.outcome.kind is OutcomeKind.REPAIR


def test_a_little_surface_rust_reaches_no_limit() -> None:
    spot = mark_at("m", FLOOR, square(centre("floor-left-middle"), 20), MarkKind.RUST, RustStage.SURFACE)
    assert judged([spot]).assessment.outcome.kind is OutcomeKind.CLEAR


def test_counts_up_to_the_limit_and_margin() -> None:
    u, v = centre("floor-left-edge-middle")
    limit = next(rule for rule in RULES.rules if rule.id == "patches-in-zone").at_least
    for count in range(1, 5):
        marks = [mark_at(f"p{i}", FLOOR, square((u + 45 * (i - 1.5), v), 30), MarkKind.PATCH) for i in range(count)]
        result = judged(marks)
        near = result.assessment.margins("too many patches")[0]
        assert near.reading.value == count
        assert near.margin == limit - count
        assert (result.assessment.outcome.kind is OutcomeKind.STOP) == (count >= limit)
    assert "Too much patching" in result.assessment.outcome.headline


def test_plate_that_bridges_four_patches_does_not_undo_the_stop() -> None:
    u, v = centre("floor-left-edge-middle")
    marks = [mark_at(f"p{i}", FLOOR, square((u + 45 * (i - 1.5), v), 30), MarkKind.PATCH) for i in range(4)]
    bridge = [[u - 90, v - 3], [u + 90, v - 3], [u + 90, v + 3], [u - 90, v + 3]]
    result = judged([*marks, mark_at("bridge", FLOOR, bridge, MarkKind.PATCH)])
    figure = next(z for z in result.measures.zones if z.zone == "floor-left-edge-middle").kinds[MarkKind.PATCH]
    assert figure.pieces == 1
    assert figure.separate >= 4
    assert result.assessment.outcome.kind is OutcomeKind.STOP


def test_a_count_at_the_limit_meets_it() -> None:
    limit = next(rule for rule in RULES.rules if rule.id == "holed-load-bearing").at_least
    result = judged([mark_at("m", FLOOR, square(centre("floor-left-middle"), 60), MarkKind.RUST, RustStage.HOLED)])
    place = next(r for r in result.assessment.outcome.reasons if r.rule.id == "holed-load-bearing")
    assert (place.reading.value, place.verdict) == (limit, Verdict.MET)


def test_scaled_and_holed_ground_are_added() -> None:
    u, v = centre("floor-left-middle")
    marks = [
        mark_at("scaled", FLOOR, square((u, v), 100), MarkKind.RUST, RustStage.SCALED),
        mark_at("holed", FLOOR, square((u, v), 40), MarkKind.RUST, RustStage.HOLED),
        mark_at("apart", FLOOR, square((u - 150, v), 30), MarkKind.RUST, RustStage.HOLED),
    ]
    place = next(r for r in judged(marks).assessment.outcome.reasons if r.rule.id == "scaled-load-bearing")
    assert place.reading.value == pytest.approx(100 + 9, rel=1e-6)  # cm2: the hole in the scale counts once
    assert place.reading.low < place.reading.value < place.reading.high


def test_interval_that_straddles_the_limit_cannot_tell() -> None:
    zone = TEMPLATE.zone_by_id["floor-left-middle"]  # type: ignore[index]
    side = math.sqrt(0.031 * zone.area_mm2)  # 3.1 % against a limit of 3 %
    result = judged([mark_at("m", FLOOR, square(centre(zone.id), side), MarkKind.RUST, RustStage.SURFACE)])
    place = next(r for r in result.assessment.results if r.rule.id == "rust-share-load-bearing" and r.zone == zone.id)
    assert place.verdict is Verdict.CANNOT_TELL
    assert place.is_reached
    assert place in result.assessment.outcome.uncertain


def test_three_hundred_millimetres_from_a_mounting() -> None:
    """Prescribed area: within 30 cm of the mounting (MOT inspection manual, Appendix A s.2)."""
    panel = PanelId("sill-left-outer")
    belt = [(p.id, m) for p, m in TEMPLATE.mountings if p.id == FLOOR and m.kind.value in {"seat", "belt"}]
    assert belt, "the floor carries mountings"
    at = belt[0][1].at_mm
    near = mark_at("near", FLOOR, square((at[0], at[1]), 30), MarkKind.PATCH)
    result = judged([near])
    assert "patch-near-mounting" in met(result)
    assert min(d.distance_mm for d in result.measures.near_mountings if d.mark == "near") == 0
    assert panel in EVERY_PANEL


def test_hole_in_a_closing_zone_is_named_as_such() -> None:
    zone = next(zone for zone in TEMPLATE.zones if zone.role is not Role.PRIMARY)
    result = judged([mark_at("m", zone.panel, square(centre(zone.id), 30), MarkKind.RUST, RustStage.HOLED)])
    reason = next(r for r in result.assessment.outcome.reasons if r.rule.id == "holed-elsewhere")
    assert "not load-bearing by the template" in reason.sentence


def test_hidden_ground_is_not_shown() -> None:
    ring = TEMPLATE.zone_by_id["floor-left-edge-front"].outline.exterior_mm  # type: ignore[index]
    result = judged([mark_at("mud", FLOOR, ring, MarkKind.HIDDEN)])
    assert result.assessment.outcome.kind is OutcomeKind.NOT_SHOWN
    assert "floor-left-edge-front" in result.assessment.outcome.unseen_zones


def test_changed_limit_changes_the_outcome() -> None:
    document = copy.deepcopy(RULES.to_document())
    for rule in document["rule"]:  # type: ignore[attr-defined]
        if rule["id"] == "patches-in-zone":
            rule["at_least"] = 1
    patch = mark_at("p", FLOOR, square(centre("floor-left-middle"), 60), MarkKind.PATCH)
    assert judged([patch]).assessment.outcome.kind is not OutcomeKind.STOP
    assert judged([patch], rules=RuleSet.from_document(document)).assessment.outcome.kind is OutcomeKind.STOP


def test_no_text_promises_what_nobody_can(whole: Evaluation) -> None:
    from corromap.assessment import ADVICE, ALWAYS, CAUTIONS  # noqa: PLC0415

    texts = [*ALWAYS, *(t for advice in ADVICE.values() for t in advice), *(c.text for c in CAUTIONS)]
    texts += [rule.sentence for rule in RULES.rules] + [whole.assessment.outcome.headline]
    assert not [text for text in texts if "roadworthy" in text.lower() or " safe " in f" {text.lower()} "]


_spot = st.tuples(
    st.sampled_from(["floor-left-edge-front", "floor-left-middle", "floor-left-edge-middle", "floor-left-rear"]),
    st.floats(-60, 60),
    st.floats(-40, 40),
    st.floats(10, 120),
    st.sampled_from([*((MarkKind.RUST, stage) for stage in RustStage), (MarkKind.PATCH, None), (MarkKind.FILLER, None),
                     (MarkKind.HIDDEN, None), (MarkKind.SOUND, None)]),
)  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(st.lists(_spot, min_size=1, max_size=7))
def test_more_marks_never_give_a_milder_outcome(spots: list) -> None:
    marks = [
        mark_at(f"m{i}", FLOOR, square(tuple(np.add(centre(zone), (du, dv))), side), *what)
        for i, (zone, du, dv, side, what) in enumerate(spots)
    ]
    severities = [judged(marks[:n], panels=(FLOOR,)).assessment.outcome.kind.severity for n in range(len(marks) + 1)]
    assert severities == sorted(severities)
