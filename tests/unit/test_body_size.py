"""Lengths taken on the car stretch the template; scales in photos check it."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from corromap.control import MeasuredLength, ScaleSighting
from corromap.evaluation import evaluate
from corromap.frames import DatumId, LengthId, MarkId, PanelId, PhotoOutline, ScaleId
from corromap.io.photos import encode_jpeg
from corromap.io.rules import default_rules
from corromap.io.templates import list_templates, load_template
from corromap.registration import place_photos
from corromap.registration.body_size import fit_body, fitted_template
from corromap.registration.scale_check import check_scales
from corromap.report.document import evaluation_document
from corromap.report.html import report_html
from corromap.survey import Mark, MarkKind, Survey
from corromap.template import FOLD_TOLERANCE_MM, BodyTemplate
from tests.whole_car_scene import BODY, Shot, in_frame, survey

CAR = {d: panel.place.to_car(point.at_mm)[0] for d, (panel, point) in BODY.datum_points.items()}
FRONT = max(CAR, key=lambda d: CAR[d][0])
REAR = min(CAR, key=lambda d: CAR[d][0])
LEFT = max(CAR, key=lambda d: CAR[d][1])
RIGHT = min(CAR, key=lambda d: CAR[d][1])


def length(
    first: DatumId, second: DatumId, factors: tuple[float, float, float], *, error_mm: float = 0.0, key: str = ""
):
    true = float(np.linalg.norm((CAR[first] - CAR[second]) * factors))
    return MeasuredLength(LengthId(key or f"{first}-{second}"), first, second, true + error_mm, 2.0)


def two_lengths(factors: tuple[float, float, float]) -> list[MeasuredLength]:
    return [length(FRONT, REAR, factors), length(LEFT, RIGHT, factors)]


def test_without_lengths_the_template_is_itself() -> None:
    assert fitted_template(BODY, ()) is BODY
    stranger = MeasuredLength(LengthId("x"), DatumId("nowhere"), FRONT, 500.0)
    assert fitted_template(BODY, (stranger,)) is BODY


@given(x=st.floats(0.985, 1.015), y=st.floats(0.985, 1.015))
def test_two_lengths_give_back_the_factors_of_the_car(x: float, y: float) -> None:
    fit = fit_body(BODY, two_lengths((x, y, 1.0)))
    assert fit.left_out == ()
    assert np.allclose(fit.factors[:2], [x, y], atol=0.004)
    assert (np.diag(fit.covariance) <= BODY.scale_sigma**2 * (1 + 1e-9)).all()
    assert fit.covariance[0, 0] < 0.1 * BODY.scale_sigma**2


def test_factors_are_calibrated() -> None:
    """Lengths with 2 mm of the tape and 2 mm at each end: the factors lie within 95 % as often as they should."""
    random, inside = np.random.default_rng(1), 0
    ends = [(FRONT, REAR), (LEFT, RIGHT), (FRONT, LEFT), (REAR, RIGHT)]
    shared = BODY.scale_sigma**2 * (0.5 * np.ones((3, 3)) + 0.5 * np.eye(3))
    for _ in range(200):
        factors = random.multivariate_normal(np.ones(3), shared)
        error = random.normal(0, np.sqrt(12.0), len(ends))
        taken = [length(a, b, tuple(factors), error_mm=e) for (a, b), e in zip(ends, error, strict=True)]
        fit = fit_body(BODY, taken)
        miss = fit.factors - factors
        inside += float(miss @ np.linalg.solve(fit.covariance, miss)) < 7.815  # chi-square, 3 degrees of freedom
    assert 180 <= inside <= 198


@pytest.mark.parametrize("name", [i for i, _ in list_templates()])
def test_a_stretched_body_still_holds_together(name: str) -> None:
    """Folds meet, points keep their places, zones and panels are stretched alike."""
    body = load_template(name)
    car = {d: panel.place.to_car(point.at_mm)[0] for d, (panel, point) in body.datum_points.items()}
    ends = (max(car, key=lambda d: car[d][0]), min(car, key=lambda d: car[d][0]))
    true = 1.02 * float(np.linalg.norm(car[ends[0]] - car[ends[1]]))
    fitted = fitted_template(body, (MeasuredLength(LengthId("a"), *ends, true),))
    assert fitted is fitted_template(body, (MeasuredLength(LengthId("a"), *ends, true),))
    assert fitted_template(fitted, (MeasuredLength(LengthId("a"), *ends, true),)) is fitted
    factors = fitted.fit.factors
    for d, (panel, point) in fitted.datum_points.items():
        assert np.allclose(panel.place.to_car(point.at_mm)[0], car[d] * factors, atol=1e-6)
    for panel in fitted.panels:
        for fold in panel.folds:
            here = panel.place.to_car(fold.edge_mm)
            there = fitted.panel(fold.other).place.to_car(fold.other_edge_mm)
            assert np.hypot.reduce((here - there).T).max() < FOLD_TOLERANCE_MM
        was = body.panel(panel.id)
        grown = panel.outline.area_mm2 / was.outline.area_mm2
        for zone, before in zip(panel.zones, was.zones, strict=True):
            assert zone.area_mm2 / before.area_mm2 == pytest.approx(grown, rel=1e-6)
    assert fitted.scale_sigma < body.scale_sigma


def test_a_wrong_length_is_left_out_and_named() -> None:
    wrong = length(FRONT, LEFT, (1, 1, 1), error_mm=400.0, key="wrong")
    fit = fit_body(BODY, [*two_lengths((1.005, 1.0, 1.0)), wrong])
    assert fit.left_out == ("wrong",)
    assert fit.used == tuple(one.id for one in two_lengths((1, 1, 1)))
    name = BODY.datum_points[FRONT][1].name
    assert fit.messages[0].startswith(f"The length from '{name}' to ")
    assert "the template and the other lengths make it" in fit.messages[0]


def test_one_impossible_length_alone_leaves_the_template_as_it_is() -> None:
    wrong = length(FRONT, REAR, (1, 1, 1), error_mm=900.0)
    fit = fit_body(BODY, [wrong])
    assert fit.used == ()
    assert np.allclose(fit.factors, 1.0)
    assert "check which points it goes between, and that this is the right body." in fit.messages[0]


def test_a_car_far_from_the_template_is_told() -> None:
    small = replace(BODY, scale_sigma=0.002)
    lengths = [length(a, b, (1.007, 1.0, 1.0), key=f"{i}") for i, (a, b) in enumerate(pairwise([FRONT, REAR, FRONT]))]
    fit = fit_body(small, [replace(one, sigma_mm=0.5) for one in lengths])
    assert any("check that 'Open two-seater" in text or "is the right body" in text for text in fit.messages)


def placed_survey(body: BodyTemplate = BODY) -> Survey:
    return survey(in_frame(Shot()))


def test_areas_follow_the_stretched_body_and_are_known_better() -> None:
    """A car 1.5 % longer and wider: the same clicks and outline, 3 % more area, a narrower interval."""
    seen = placed_survey()
    ring = Shot().sees(BODY.panel(PanelId("floor-left")).place.to_car(
        np.array([[300.0, 150.0], [420.0, 150.0], [420.0, 260.0], [300.0, 260.0]])
    ))  # fmt: skip
    mark = Mark(MarkId("m"), seen.photos[0].id, MarkKind.PATCH, PhotoOutline(ring))
    plain = replace(seen, marks=(mark,))
    measured = replace(plain, lengths=tuple(two_lengths((1.015, 1.015, 1.0))))
    rules = default_rules()
    before, after = (evaluate(one, BODY, rules) for one in (plain, measured))
    area = [next(g for g in e.measures.groups if g.id == "all").affected for e in (before, after)]
    factors = after.template.fit.factors
    assert area[1].area_mm2 / area[0].area_mm2 == pytest.approx(factors[0] * factors[1], rel=2e-3)
    assert after.template.scale_sigma < 0.5 * BODY.scale_sigma
    assert before.template is BODY


@pytest.mark.parametrize(("grown", "agrees"), [(1.0, True), (1.06, False)])
def test_a_bar_in_a_photo_is_held_against_the_template(grown: float, agrees: bool) -> None:
    seen = placed_survey()
    panel = BODY.panel(PanelId("floor-left"))
    ends = np.array([[300.0, 200.0], [600.0, 230.0]])
    px = Shot().sees(panel.place.to_car(ends))
    true = float(np.linalg.norm(ends[1] - ends[0])) * grown
    bar = ScaleSighting(ScaleId("bar"), seen.photos[0].id, panel.id, px, np.array([[0.0, 0.0], [true, 0.0]]))
    survey_ = replace(seen, scales=(bar,))
    (check,) = check_scales(survey_, BODY, place_photos(survey_, BODY))
    assert check.ratio == pytest.approx(grown, abs=0.006)
    assert 0.0005 < check.sigma < 0.02
    assert check.agrees is agrees
    if agrees:
        assert "they agree within their uncertainty" in check.sentence
    else:
        assert f"makes '{panel.name}'" in check.sentence
        assert "more than their uncertainty explains" in check.sentence
        assert check.sentence.endswith("Areas are those by the template.")
    assert evaluate(survey_, BODY, default_rules()).scales[0].sentence == check.sentence


def test_a_scale_on_a_photo_without_a_place_says_nothing_yet() -> None:
    seen = placed_survey()
    px = np.array([[100.0, 100.0], [200.0, 100.0]])
    bar = ScaleSighting(ScaleId("bar"), seen.photos[0].id, PanelId("boot-floor"), px, np.array([[0.0, 0], [100.0, 0]]))
    (check,) = check_scales(replace(seen, scales=(bar,)), BODY, place_photos(seen, BODY))
    assert check.ratio is None
    assert "says nothing yet" in check.sentence


def test_spread_of_bars_is_what_their_uncertainty_says() -> None:
    """Thirty clicks of one bar and its photo: the ratio strays as its standard uncertainty says."""
    panel, clean = BODY.panel(PanelId("floor-left")), in_frame(Shot())
    ends = np.array([[300.0, 200.0], [600.0, 230.0]])
    true = float(np.linalg.norm(ends[1] - ends[0]))
    standard = []
    for seed in range(30):
        seen = survey(clean, noise_px=2.0, seed=seed)
        px = Shot().sees(panel.place.to_car(ends)) + np.random.default_rng(seed + 99).normal(0, 2.0, (2, 2))
        bar = ScaleSighting(ScaleId("bar"), seen.photos[0].id, panel.id, px, np.array([[0.0, 0.0], [true, 0.0]]))
        one = replace(seen, scales=(bar,))
        (check,) = check_scales(one, BODY, place_photos(one, BODY))
        standard.append((check.ratio - 1.0) / check.sigma)
    assert 0.5 < float(np.std(standard)) < 1.4


def test_the_stretched_outline_is_the_outline_stretched() -> None:
    fitted = fitted_template(BODY, tuple(two_lengths((1.01, 0.99, 1.0))))
    panel, was = fitted.panel(PanelId("floor-left")), BODY.panel(PanelId("floor-left"))
    ring = shapely.Polygon(panel.place.to_car(panel.outline.exterior_mm)[:, :2])
    expected = shapely.Polygon((was.place.to_car(was.outline.exterior_mm) * fitted.fit.factors)[:, :2])
    assert ring.symmetric_difference(expected).area < 1.0


def test_report_and_document_say_what_does_not_fit() -> None:
    seen = placed_survey()
    wrong = length(FRONT, LEFT, (1, 1, 1), error_mm=400.0, key="wrong")
    lengths = (*two_lengths((1.01, 1.01, 1.0)), wrong)
    evaluation = evaluate(replace(seen, lengths=lengths), BODY, default_rules())
    document = evaluation_document(evaluation)
    assert document["body_fit"]["left_out"] == ["wrong"]
    assert document["body_fit"]["factors"][0] == pytest.approx(1.01, abs=0.003)
    assert document["scales"] == []
    page = report_html(evaluation, lambda _: encode_jpeg(np.zeros((1500, 2000, 3), dtype=np.uint8)), made_at="today")
    assert "Stretched to this car along, across and up" in page
    assert "was left out" in page
    plain = evaluation_document(evaluate(seen, BODY, default_rules()))
    assert plain["body_fit"] is None
    assert plain["template"]["sha256"] == document["template"]["sha256"]
    assert plain["survey"]["sha256"] != document["survey"]["sha256"]
