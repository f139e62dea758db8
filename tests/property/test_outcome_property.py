"""More marks and more findings never improve anything; an unseen load-bearing zone never gives clear."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from corromap.assessment import OutcomeKind
from corromap.by_hand import SHELL_PLACES, HandFinding, HandKind, ShellCheck, ShellKind
from corromap.evaluation import Evaluation, evaluate
from corromap.frames import HandFindingId, PanelId, ShellCheckId
from corromap.io.rules import default_rules
from corromap.survey import Mark, MarkKind, PatchFixing, RustStage
from corromap.template import Role
from tests.unit.surveys import TEMPLATE, mark_at, survey_of

PANELS = tuple(PanelId(name) for name in ("sill-left-outer", "sill-left-underside"))
RULES = default_rules()

_kinds = st.sampled_from(
    [
        *((MarkKind.RUST, stage, None) for stage in RustStage),
        *((MarkKind.PATCH, None, fixing) for fixing in (None, PatchFixing.SEAM, PatchFixing.SPOT, PatchFixing.RIVETED)),
        (MarkKind.FILLER, None, None),
        (MarkKind.HIDDEN, None, None),
        (MarkKind.SOUND, None, None),
    ]
)
_mark = st.tuples(st.sampled_from(PANELS), st.integers(0, 1200), st.integers(0, 60), st.integers(5, 300), _kinds)
_finding = st.tuples(st.sampled_from(PANELS), st.integers(0, 1200), st.integers(0, 90), st.sampled_from(HandKind))
_check = st.tuples(st.sampled_from(ShellKind), st.integers(0, 1), st.integers(0, 30))


def _make(number: int, thing: tuple) -> Mark | HandFinding | ShellCheck:
    if len(thing) == 5:
        panel, u, v, width, (kind, stage, fixing) = thing
        ring = [[u, v], [u + width, v], [u + width, v + 30], [u, v + 30]]
        return replace(mark_at(f"m{number}", panel, ring, kind, stage), fixing=fixing)
    if len(thing) == 4:
        panel, u, v, kind = thing
        thickness = 0.5 if kind is HandKind.GAUGE else None
        return HandFinding(HandFindingId(f"f{number}"), kind, panel, (u, v), thickness)
    kind, place, value = thing
    values = {"ground_mm": 5.0, "raised_mm": 5.0 + value} if kind.is_length else {"found": value > 10}
    return ShellCheck(ShellCheckId(f"s{number}"), kind, SHELL_PLACES[kind][place], **values)


def _judged(things: list) -> Evaluation:
    survey = survey_of(PANELS, [thing for thing in things if isinstance(thing, Mark)])
    return evaluate(
        replace(
            survey,
            hand_findings=tuple(thing for thing in things if isinstance(thing, HandFinding)),
            shell_checks=tuple(thing for thing in things if isinstance(thing, ShellCheck)),
        ),
        TEMPLATE,
        RULES,
    )


@settings(max_examples=20, deadline=None)
@given(st.lists(st.one_of(_mark, _mark, _finding, _check), min_size=1, max_size=5))
def test_more_marks_and_findings_never_improve_anything(drawn: list) -> None:
    things = [_make(number, thing) for number, thing in enumerate(drawn)]
    before = _judged([])
    for count in range(1, len(things) + 1):
        after = _judged(things[:count])
        assert after.assessment.outcome.kind.severity >= before.assessment.outcome.kind.severity
        known = {(r.rule.id, r.zone): r for r in before.assessment.results}
        for result in after.assessment.results:
            assert result.reading.value >= known[result.rule.id, result.zone].reading.value - 1e-6, result
        before = after


@settings(max_examples=10, deadline=None)
@given(st.sets(st.sampled_from([panel.id for panel in TEMPLATE.panels])))
def test_an_unseen_load_bearing_zone_never_gives_clear(panels: set[PanelId]) -> None:
    result = evaluate(survey_of(sorted(panels)), TEMPLATE, RULES)
    outcome = result.assessment.outcome
    unseen = {
        zone.zone
        for zone in result.measures.zones
        if zone.well_share < 0.8 and TEMPLATE.zone_by_id[zone.zone].role is Role.PRIMARY
    }
    assert set(outcome.unseen_zones) == unseen
    assert (outcome.kind is OutcomeKind.CLEAR) == (not unseen)
