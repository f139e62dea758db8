"""What becomes of marks that somebody settled, and of places not seen well, in the figures and the outcome."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corromap.assessment import OutcomeKind, Verdict
from corromap.by_hand import SettledView, Settlement
from corromap.evaluation import Evaluation, KeptPhotos, StagedEvaluation, evaluate, smallest_seen
from corromap.evidence.quality import QualityMap
from corromap.evidence.settling import settled_views
from corromap.frames import MarkId, PanelId, PhotoId, SettlementId
from corromap.io.rules import default_rules
from corromap.registration import Registration
from corromap.settings import Settings
from corromap.survey import MarkKind, RustStage, Survey
from tests.unit.surveys import TEMPLATE, mark_at, photo_of, survey_of

FLOOR, SILL = PanelId("floor-left"), PanelId("sill-left-outer")
A, B, C = MarkId("a"), MarkId("b"), MarkId("c")
RULES = default_rules()
VIEWS = tuple(SettledView)


def square(u: float, v: float, side: float = 60.0) -> list[list[float]]:
    return [[u, v], [u + side, v], [u + side, v + side], [u, v + side]]


def settled(*views: tuple[MarkId, SettledView]) -> Survey:
    marks = [
        mark_at("a", FLOOR, square(200, 200), MarkKind.RUST, RustStage.HOLED),
        mark_at("b", FLOOR, square(230, 200), MarkKind.RUST, RustStage.SCALED),
        mark_at("c", FLOOR, square(500, 200), MarkKind.PATCH),
    ]
    said = tuple(
        Settlement(SettlementId(f"s{i}"), mark, PhotoId(f"photo-{SILL}"), view) for i, (mark, view) in enumerate(views)
    )
    return replace(survey_of([FLOOR, SILL], marks), settlements=said)


def evaluated(*views: tuple[MarkId, SettledView]) -> Evaluation:
    return evaluate(settled(*views), TEMPLATE, RULES)


@pytest.fixture(scope="module")
def plain() -> Evaluation:
    return evaluated()


def test_a_withdrawn_mark_leaves_the_figures_but_not_the_record(plain: Evaluation) -> None:
    found = evaluated((A, SettledView.NOT_THERE))
    without = evaluate(replace(settled(), marks=settled().marks[1:]), TEMPLATE, RULES)
    assert [m.mark.id for m in found.projection.withdrawn] == [A]
    assert {m.mark.id for m in found.projection.marks} == {B, C}
    assert {fate.mark for fate in found.projection.fates} == {A, B, C}
    assert [z.affected for z in found.measures.zones] == [z.affected for z in without.measures.zones]
    assert [z.affected for z in found.measures.zones] != [z.affected for z in plain.measures.zones]
    holes = {r.rule.id for r in found.assessment.outcome.reasons}
    assert "holed-load-bearing" not in holes


def test_a_mark_settled_as_there_changes_nothing(plain: Evaluation) -> None:
    found = evaluated((A, SettledView.THERE))
    assert [z.affected for z in found.measures.zones] == [z.affected for z in plain.measures.zones]


def test_a_doubtful_mark_counts_and_the_interval_reaches_down_without_it(plain: Evaluation) -> None:
    found, less = evaluated((A, SettledView.CANNOT_TELL)), evaluated((A, SettledView.NOT_THERE))
    for one, whole, fewer in zip(found.measures.zones, plain.measures.zones, less.measures.zones, strict=True):
        assert one.affected.area_mm2 == whole.affected.area_mm2
        assert one.affected.low_mm2 == min(whole.affected.low_mm2, fewer.affected.low_mm2)
        assert one.affected.high_mm2 == whole.affected.high_mm2
    holed = [r for r in found.assessment.results if r.rule.id == "holed-load-bearing" and r.reading.value > 0]
    assert [r.verdict for r in holed] == [Verdict.CANNOT_TELL]
    assert (holed[0].reading.low, holed[0].reading.value) == (0.0, 1.0)
    assert holed[0].is_reached  # the careful side: it still asks for what it asks for


@given(st.permutations(VIEWS), st.sets(st.sampled_from(VIEWS), min_size=1))
def test_of_several_answers_the_most_careful_holds(order: list[SettledView], some: set[SettledView]) -> None:
    said = [(A, view) for view in order if view in some]
    assert settled_views(settled(*said))[A] is min(some, key=_careful)


def _careful(view: SettledView) -> int:
    return [SettledView.THERE, SettledView.CANNOT_TELL, SettledView.NOT_THERE].index(view)


def dark(photo: PhotoId, panel: PanelId, share: float) -> dict[PhotoId, QualityMap]:
    """Black in a share of its columns."""
    shot = photo_of(panel)
    cells, flat = np.zeros((8, 20)), np.zeros((8, 20))
    cells[:, : round(20 * share)] = 1.0
    return {photo: QualityMap(shot.width_px, shot.height_px, flat + 1.0, cells, flat, flat > 0)}


def test_zones_not_seen_well_bar_clear_although_they_are_shown() -> None:
    """Every panel shown square-on, the photos that show one of them black: shown to all of it, seen well to none."""
    survey = survey_of([panel.id for panel in TEMPLATE.panels])
    lit = evaluate(survey, TEMPLATE, RULES)
    showing = {
        photo for (photo, panel), r in lit.registrations.items() if panel == FLOOR and isinstance(r, Registration)
    }
    black_photos: dict[PhotoId, QualityMap] = {}
    for photo in showing:
        black_photos |= dark(photo, PanelId(photo.removeprefix("photo-")), 1.0)
    black = evaluate(survey, TEMPLATE, RULES, black_photos)
    assert lit.assessment.outcome.kind is OutcomeKind.CLEAR
    assert black.assessment.outcome.kind is OutcomeKind.NOT_SHOWN
    on_floor = [z for z in black.measures.zones if TEMPLATE.zone_by_id[z.zone].panel == FLOOR]
    assert all(z.seen_share > 0.95 and z.well_share == 0.0 for z in on_floor)
    assert {z.zone for z in on_floor} & set(black.assessment.outcome.unseen_zones)
    lit_floor = [z for z in lit.measures.zones if TEMPLATE.zone_by_id[z.zone].panel == FLOOR]
    assert all(z.well_share == pytest.approx(z.seen_share) for z in lit_floor)


def test_groups_carry_the_share_by_area() -> None:
    found = evaluate(survey_of([FLOOR]), TEMPLATE, RULES, dark(PhotoId(f"photo-{FLOOR}"), FLOOR, 0.5)).measures
    by_id = {z.zone: z for z in found.zones}
    for group in found.groups:
        members = [by_id[zone] for zone in group.zones]
        well = sum(z.well_share * z.area_mm2 for z in members) / sum(z.area_mm2 for z in members)
        assert group.well_share == pytest.approx(well, abs=1e-9)
        assert group.well_share <= group.seen_share


@pytest.mark.parametrize(("settings", "well"), [(Settings(smallest_hole_mm=0.9), 0.0), (Settings(), 1.0),
                                                 (Settings(pixels_across=11.0), 0.0)])  # fmt: skip
def test_the_surveys_own_hole_decides(settings: Settings, well: float) -> None:
    """Photos of 0.5 mm per px: two pixels are 1 mm, eleven are 5.5 mm."""
    found = evaluate(replace(survey_of([FLOOR]), settings=settings), TEMPLATE, RULES)
    on_floor = [z for z in found.measures.zones if TEMPLATE.zone_by_id[z.zone].panel == FLOOR]
    assert all(z.well_of_seen == well for z in on_floor)
    assert smallest_seen(settings).size_mm == settings.smallest_hole_mm


def test_kept_cells_give_the_same_evidence() -> None:
    """Stage by stage with what was kept, and anew: marks, settings and quality change in between."""
    kept = KeptPhotos()
    hidden = mark_at("h", FLOOR, square(100, 100, 200), MarkKind.HIDDEN)
    base = survey_of([FLOOR, SILL])
    half = dark(PhotoId(f"photo-{FLOOR}"), FLOOR, 0.5)
    steps = [
        (base, {}),
        (replace(base, marks=(hidden,)), {}),
        (replace(base, marks=(hidden,), settings=Settings(smallest_hole_mm=0.9)), {}),
        (base, half),
        (survey_of([SILL]), half),
        (base, {}),
    ]
    for survey, quality in steps:
        staged = StagedEvaluation(survey, TEMPLATE, RULES, kept, quality)
        assert repr(staged.evidence) == repr(evaluate(survey, TEMPLATE, RULES, quality).evidence)
    assert set(kept.cells) == {PhotoId(f"photo-{FLOOR}"), PhotoId(f"photo-{SILL}")}
