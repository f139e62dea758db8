"""The default rules on surveys whose figures follow from a pencil and paper: one short of the limit, and on it.

Limits with a published text are compared with it: Great Britain, MOT inspection manual, Appendix A (structure within
30 cm of a mounting; patch repairs continuously seam-welded; brazing and bonding not strong enough), as read for this
project. The others are common practice and said to be.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from corromap.assessment import Doubt, RuleResult, Verdict
from corromap.by_hand import HandFinding, HandKind, ShellCheck, ShellKind
from corromap.evaluation import evaluate
from corromap.frames import HandFindingId, PanelId, ShellCheckId
from corromap.io.rules import default_rules
from corromap.survey import Mark, MarkKind, PatchFixing, RustStage
from tests.unit.surveys import TEMPLATE, mark_at, survey_of

OUTER, UNDER, FLOOR = PanelId("sill-left-outer"), PanelId("sill-left-underside"), PanelId("floor-left")
RULES = default_rules()
SILL = next(panel for panel in TEMPLATE.panels if panel.id == OUTER)
SEAM = float(TEMPLATE.zone_by_id["sill-left-outer-front"].outline.exterior_mm[:, 0].min())  # type: ignore[index]
JACK = next(mounting for panel, mounting in TEMPLATE.mountings if panel.id == UNDER)


def rect(u0: float, v0: float, u1: float, v1: float) -> list[list[float]]:
    return [[u0, v0], [u1, v0], [u1, v1], [u0, v1]]


def patches(*at: tuple[float, float, float, float], panel: PanelId = OUTER, fixing: PatchFixing | None = None):
    return [
        replace(mark_at(f"p{i}", panel, rect(*corners), MarkKind.PATCH), fixing=fixing) for i, corners in enumerate(at)
    ]


def rust(*at: tuple[float, float, float, float], stage: RustStage, panel: PanelId = OUTER):
    return [mark_at(f"r{i}", panel, rect(*corners), MarkKind.RUST, stage) for i, corners in enumerate(at)]


def found(kind: HandKind, mm: float | None = None):
    return [HandFinding(HandFindingId("f"), kind, OUTER, (100, 60), mm)]


def check(kind: ShellKind, place: str, name: str = "s", **values):
    return ShellCheck(ShellCheckId(name), kind, place, **values)


def heights(left: float, right: float):
    return [
        check(ShellKind.RIDE_HEIGHT, f"front {side}", side, ground_mm=mm)
        for side, mm in (("left", left), ("right", right))
    ]


def read(rule: str, things: list) -> RuleResult:
    """The rule at the place nearest to its limit."""
    survey = survey_of((OUTER, UNDER, FLOOR), [thing for thing in things if isinstance(thing, Mark)])
    survey = replace(
        survey,
        hand_findings=tuple(thing for thing in things if isinstance(thing, HandFinding)),
        shell_checks=tuple(thing for thing in things if isinstance(thing, ShellCheck)),
    )
    results = evaluate(survey, TEMPLATE, RULES).assessment.results
    return min((r for r in results if r.rule.id == rule), key=lambda r: (r.margin, r.doubt is not None))


SPACED = [(u, 20.0, u + 40.0, 60.0) for u in (20.0, 120.0, 220.0, 320.0, 420.0, 900.0)]
SEAMED, RIVETED = PatchFixing.SEAM, PatchFixing.RIVETED


@pytest.mark.parametrize(
    ("rule", "below", "at", "value"),
    [
        # 5 patches on 1.48 m are 3.4 a metre, 6 are 4.05
        pytest.param("patches-per-metre", patches(*SPACED[:5]), patches(*SPACED), 6 / 1.48, id="a metre"),
        pytest.param(
            "patches-across-seam",
            patches((SEAM + 1, 20, SEAM + 60, 80)),
            patches((SEAM - 40, 20, SEAM + 40, 80)),
            1,
            id="over a seam",
        ),
        # the near edge of the second patch 301 mm and 299 mm from the jacking point, along the sill
        pytest.param(
            "patches-at-mounting",
            patches(*((JACK.at_mm[0] + d, 40, JACK.at_mm[0] + d + 30, 70) for d in (20, 301)), panel=UNDER),
            patches(*((JACK.at_mm[0] + d, 40, JACK.at_mm[0] + d + 30, 70) for d in (20, 299)), panel=UNDER),
            2,
            id="within 300 mm of one mounting",
        ),
        pytest.param(
            "rust-at-patch-edge",
            patches((100, 20, 200, 120)) + rust((210, 40, 240, 80), stage=RustStage.SURFACE),
            patches((100, 20, 200, 120)) + rust((190, 40, 240, 80), stage=RustStage.SURFACE),
            1,
            id="rust at the edge",
        ),
        pytest.param(
            "patch-not-welded", patches(SPACED[0], fixing=SEAMED), patches(SPACED[0], fixing=RIVETED), 1, id="riveted"
        ),
        pytest.param(
            "patch-not-seam-welded",
            patches(SPACED[0]),  # nobody stated how it is held
            patches(SPACED[0], fixing=PatchFixing.SPOT),
            1,
            id="spot-welded",
        ),
        pytest.param(
            "mixed-fixings",
            patches(*SPACED[:2], fixing=SEAMED),
            [*patches(SPACED[0], fixing=SEAMED), replace(patches(SPACED[1])[0], id="q", fixing=RIVETED)],
            2,
            id="two fixings",
        ),
        pytest.param(
            "open-sill",
            rust((100, 40, 250, 90), stage=RustStage.SCALED),
            rust((100, 40, 110, 90), stage=RustStage.HOLED),
            10,
            id="box open over 10 mm",
        ),
        # a third of 1480 mm is 488 mm: 480 mm are 32.4 %, 500 mm are 33.8 %
        pytest.param(
            "unsound-sill",
            rust((100, 40, 580, 90), stage=RustStage.SCALED),
            rust((100, 40, 600, 90), stage=RustStage.SCALED),
            100 * 500 / 1480,
            id="a third of the sill",
        ),
        pytest.param("magnet-load-bearing", found(HandKind.TAP), found(HandKind.MAGNET), 1, id="magnet"),
        pytest.param("dull-tap-load-bearing", found(HandKind.MAGNET), found(HandKind.TAP), 1, id="dull"),
        # 1.0 mm nominal sheet
        pytest.param("thin-load-bearing", found(HandKind.GAUGE, 0.71), found(HandKind.GAUGE, 0.69), 31, id="gauge"),
        pytest.param("holed-load-bearing", found(HandKind.TAP), found(HandKind.PROBE), 1, id="a probe goes through"),
        pytest.param("covered-points", found(HandKind.TAP), found(HandKind.COVERED), 1, id="fresh underseal"),
        pytest.param(
            "door-gap-change",
            [check(ShellKind.DOOR_GAP, "left top", ground_mm=5, raised_mm=7.9)],
            [check(ShellKind.DOOR_GAP, "left top", ground_mm=5, raised_mm=2)],
            3,
            id="door gap",
        ),
        pytest.param(
            "sill-deflection",
            [check(ShellKind.SILL_DEFLECTION, "left", raised_mm=2)],
            [check(ShellKind.SILL_DEFLECTION, "left", raised_mm=-4)],
            4,
            id="sill deflects",
        ),
        pytest.param("ride-height", heights(600, 619), heights(600, 621), 21, id="ride height"),
        pytest.param(
            "doors-drop",
            [check(ShellKind.DOOR_DROPS, "left", found=False)],
            [check(ShellKind.DOOR_DROPS, "left", found=True)],
            1,
            id="door drops",
        ),
        pytest.param(
            "doors-bind",
            [check(ShellKind.DOOR_DROPS, "left", found=True)],
            [check(ShellKind.DOOR_BINDS, "left", found=True)],
            1,
            id="door binds",
        ),
    ],
)
def test_one_short_of_the_limit_and_on_it(rule: str, below: list, at: list, value: float) -> None:
    short, reached = read(rule, below), read(rule, at)
    assert not short.is_reached, short
    assert reached.is_reached, reached
    assert reached.reading.value == pytest.approx(value, rel=1e-3)
    assert reached.verdict in {Verdict.MET, Verdict.CANNOT_TELL}
    assert str(reached.sentence).count("{") == 0


def test_every_new_rule_has_a_case() -> None:
    """So that a rule added to the default set gets a worked example, here or in test_outcome.py."""
    cases = {
        mark.values[0]
        for mark in test_one_short_of_the_limit_and_on_it.pytestmark[0].args[1]  # type: ignore[attr-defined]
    }
    elsewhere = {
        "patches-in-zone", "patch-share-of-zone", "patches-in-all", "patch-on-patch", "affected-share-of-zone",
        "patch-near-mounting", "rust-near-mounting", "scaled-load-bearing", "rust-share-load-bearing",
        "filler-load-bearing", "holed-elsewhere", "zone-not-shown",
    }  # fmt: skip
    assert cases | elsewhere == {rule.id for rule in RULES.rules}


def test_published_limits_are_the_published_ones() -> None:
    by_id = {rule.id: rule for rule in RULES.rules}
    assert "30 cm" in by_id["patch-near-mounting"].source
    for rule in ("patch-not-welded", "patch-not-seam-welded"):
        assert not by_id[rule].house_rule
        assert "MOT inspection manual, Appendix A" in by_id[rule].source
        assert "secondary source" in by_id[rule].source
    assert all("common practice" in rule.source for rule in RULES.rules if rule.house_rule)


def test_not_met_is_said_only_where_enough_was_seen_and_somebody_looked() -> None:
    nothing = evaluate(survey_of((FLOOR,)), TEMPLATE, RULES).assessment.results
    by_place = {(r.rule.id, r.zone): r for r in nothing}
    assert by_place["holed-load-bearing", "floor-left-middle"].verdict is Verdict.NOT_MET
    unseen = by_place["holed-load-bearing", "sill-left-outer-rear"]
    assert (unseen.verdict, unseen.doubt) == (Verdict.CANNOT_TELL, Doubt.COVERAGE)
    for rule, zone in (("door-gap-change", None), ("dull-tap-load-bearing", "floor-left-middle")):
        assert by_place[rule, zone].doubt is Doubt.NOBODY_LOOKED
    assert np.isclose(by_place["open-sill", None].reading.seen_well, 0)
