"""Intervals against published formulas and against brute force.

Sources: law of propagation of uncertainty, JCGM 100:2008, 5.1.2 and 5.2.2;
Monte Carlo as the check of it, JCGM 101:2008. Polygon-area variance
``(s^2 / 4) sum |P[i+1] - P[i-1]|^2 + n s^4 / 2``, from the cross products of
the shoelace formula: 141.43 mm2 for a 100 mm square at s = 1 mm.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from corromap.frames import PhotoId, PhotoOutline
from corromap.measures import measure
from corromap.projection import project
from corromap.registration import Lens, place_photo
from corromap.survey import MarkKind, Settings, Survey
from corromap.uncertainty import add_gradients, sigma_of
from tests.geo_scene import FLOOR, Scene, disc, rect, template, view

RUST, PATCH = MarkKind.RUST, MarkKind.PATCH


def overlapping_scene(scale_sigma: float = 0.0, settings: Settings | None = None) -> Scene:
    """Two tilted photos whose marks overlap each other, a zone seam and the panel's edge."""
    scene = Scene(template(scale_sigma), settings)
    scene.photo("a", {FLOOR: view(0.6, tilt=-2e-4)})
    scene.photo("b", {FLOOR: view(0.7, tilt=1e-4, turn=0.2, at=(-60, -260))})
    scene.mark("a", disc(480, 300, 90), RUST, mm_on=FLOOR)
    scene.mark("b", disc(560, 330, 80), RUST, mm_on=FLOOR)
    scene.mark("a", rect(200, -40, 320, 120), RUST, mm_on=FLOOR)
    scene.mark("b", rect(430, 250, 640, 330), PATCH, mm_on=FLOOR)
    scene.mark("a", disc(800, 200, 40), PATCH, mm_on=FLOOR, holes=(disc(800, 200, 15),))
    return scene


def drawn(survey: Survey, rng: np.random.Generator) -> Survey:
    """One draw: every click and every outline as another hand would have made them."""
    sigma = survey.settings
    sightings = tuple(replace(s, at_px=s.at_px + rng.normal(0, sigma.click_sigma_px, 2)) for s in survey.sightings)
    marks = []
    for mark in survey.marks:
        outline = shapely.Polygon(mark.outline.exterior_px, mark.outline.holes_px)
        moved = outline.buffer(rng.normal(0, sigma.outline_sigma_px), join_style="mitre")
        rings = [np.array(r.coords) for r in (moved.exterior, *moved.interiors)]
        marks.append(replace(mark, outline=PhotoOutline(rings[0], tuple(rings[1:]))))
    return replace(survey, sightings=sightings, marks=tuple(marks))


def figures(scene: Scene, survey: Survey, lenses: dict[PhotoId, Lens]) -> dict[str, float]:
    """Areas that the draw's photos give, in mm2."""
    panel = scene.body.panel(FLOOR)
    found = {
        (photo.id, FLOOR): place_photo(photo, panel, survey.sightings, lenses[photo.id], survey.settings, scene.body)
        for photo in survey.photos
    }
    measures = measure(project(survey, scene.body, found), found, survey, scene.body)
    areas = {f"{z.zone} {kind}": z.kinds[kind].area_mm2 for z in measures.zones for kind in (RUST, PATCH)}
    areas |= {f"{z.zone} resolved": z.resolved[PATCH].area_mm2 for z in measures.zones}
    areas |= {f"{z.zone} affected": z.affected.area_mm2 for z in measures.zones}
    return areas | {"all": measures.groups[0].affected.area_mm2}


def sigmas(scene: Scene) -> dict[str, float]:
    measures = scene.measures()
    found = {f"{z.zone} {kind}": z.kinds[kind].sigma_mm2 for z in measures.zones for kind in (RUST, PATCH)}
    found |= {f"{z.zone} resolved": z.resolved[PATCH].sigma_mm2 for z in measures.zones}
    found |= {f"{z.zone} affected": z.affected.sigma_mm2 for z in measures.zones}
    return found | {"all": measures.groups[0].affected.sigma_mm2}


@pytest.mark.slow
def test_first_order_agrees_with_brute_force() -> None:
    """Every click, lens and outline drawn afresh, photos placed, marks projected and joined anew each time."""
    scene = overlapping_scene(settings=Settings(click_sigma_px=2.0, outline_sigma_px=2.0))
    survey, rng = scene.survey(), np.random.default_rng(20260101)
    lenses = {photo: r.lens for (photo, _), r in scene.registrations().items()}
    draws = [
        figures(
            scene,
            drawn(survey, rng),
            {photo: replace(lens, k1=lens.k1 + rng.normal(0, lens.sigma_k1)) for photo, lens in lenses.items()},
        )
        for _ in range(300)
    ]
    expected = sigmas(scene)
    for name, sigma in expected.items():
        spread = float(np.std([d[name] for d in draws], ddof=1))
        if spread < 1.0:
            assert sigma < 1.0, name
        else:
            # 300 draws know a standard deviation to 4.1 %; 12 % is three of those
            assert sigma == pytest.approx(spread, rel=0.12), name


def test_errors_of_one_photo_stay_together() -> None:
    """Adding the marks' variances as if independent understates the total by more than half."""
    scene = Scene(template(), Settings(click_sigma_px=2.0, outline_sigma_px=0.01))
    scene.photo("a", {FLOOR: view(0.6, tilt=-2e-4)})
    rng = np.random.default_rng(3)
    for x, y in rng.uniform((40, 40), (960, 560), (30, 2)):
        scene.mark("a", disc(x, y, 12), RUST, mm_on=FLOOR)
    measures = scene.measures()
    whole = measures.groups[0].kinds[RUST]
    apart = [Scene.measures(_only(scene, i)).groups[0].kinds[RUST].sigma_mm2 for i in range(len(scene.marks))]
    understated = float(np.sqrt(np.sum(np.square(apart))))
    assert whole.sigma_mm2 / understated > 2.0


def _only(scene: Scene, i: int) -> Scene:
    alone = Scene(scene.body, scene.settings)
    alone.photos, alone.sightings, alone.matrices = scene.photos, scene.sightings, scene.matrices
    alone.marks = [scene.marks[i]]
    return alone


def test_group_gradient_is_the_sum_of_its_zones() -> None:
    scene = overlapping_scene(0.01)
    measures = scene.measures()
    summed = add_gradients(z.affected.gradient for z in measures.zones)
    assert sigma_of(summed, measures.sources) == pytest.approx(measures.groups[0].affected.sigma_mm2)
    assert dict(measures.groups[0].affected.gradient).keys() == summed.keys()


def test_template_scale_moves_every_area_twice_as_much() -> None:
    """dA/ds = 2A: with nothing else in error, sigma is 2 A sigma_s and the share has none."""
    scene = Scene(template(0.02), Settings(click_sigma_px=1e-6, outline_sigma_px=1e-6))
    scene.with_lens_error = False
    scene.photo("a", {FLOOR: view()})
    scene.mark("a", rect(100, 100, 300, 250), RUST, mm_on=FLOOR)
    rear = next(z for z in scene.measures().zones if z.zone == "rear").kinds[RUST]
    assert rear.sigma_mm2 == pytest.approx(2 * 30_000 * 0.02, rel=1e-4)
    assert rear.high_share - rear.low_share < 1e-5
    assert rear.low_mm2 == pytest.approx(30_000 - 1.959964 * 1200, rel=1e-4)


def test_outline_error_is_perimeter_times_shift() -> None:
    """In a square-on photo: dA = perimeter x shift, here 400 mm x 3 px x 0.6 mm/px."""
    scene = Scene(template(), Settings(click_sigma_px=1e-6, outline_sigma_px=3.0))
    scene.with_lens_error = False
    scene.photo("a", {FLOOR: view(0.6)})
    scene.mark("a", rect(100, 100, 200, 200), RUST, mm_on=FLOOR)
    assert scene.measures().groups[0].kinds[RUST].sigma_mm2 == pytest.approx(400 * 3 * 0.6, rel=1e-4)


def test_cut_edges_do_not_move() -> None:
    """A mark that fills a panel and more has the panel's area, whatever the clicks."""
    scene = Scene(template())
    scene.photo("a", {FLOOR: view(0.6, at=(-100, -150))})
    scene.mark("a", rect(-50, -50, 1050, 650), RUST, mm_on=FLOOR)
    whole = scene.measures().groups[0].kinds[RUST]
    assert whole.area_mm2 == pytest.approx(600_000)
    assert whole.sigma_mm2 == pytest.approx(0.0, abs=1e-6)


def test_vertex_noise_matches_the_published_variance() -> None:
    """The boundary integral with the four corners free is the formula's first-order term.

    Each corner of a 100 mm square moves both its edges; an edge's outward
    movement is linear between its ends, so the integral gives half the edge to
    each end. Full formula with the second-order term: 141.43; Monte Carlo of
    10^6 draws: 141.47.
    """
    square = rect(0, 0, 100, 100)
    after, before = np.roll(square, -1, axis=0), np.roll(square, 1, axis=0)
    first_order = 0.25 * np.sum((after - before) ** 2)
    published = np.sqrt(first_order + 4 * 1.0 / 2)
    assert published == pytest.approx(141.43, abs=0.005)
    by_integral = np.zeros((4, 2))
    for i in range(4):
        edge = after[i] - square[i]
        outward = np.array([edge[1], -edge[0]])
        by_integral[i] += outward / 2
        by_integral[(i + 1) % 4] += outward / 2
    assert np.sqrt(np.sum(by_integral**2)) == pytest.approx(np.sqrt(first_order))
    rng = np.random.default_rng(5)
    x, y = np.moveaxis(square + rng.normal(size=(200_000, 4, 2)), -1, 0)
    areas = 0.5 * np.sum(x * np.roll(y, -1, axis=1) - np.roll(x, -1, axis=1) * y, axis=1)
    assert float(areas.std()) == pytest.approx(published, rel=0.01)


def test_four_clicks_on_the_corners_of_a_mark_give_the_published_variance() -> None:
    """Photo placed by exactly the four corners of the mark: the area's error is that of its corners.

    Clicks at 1 px and 1 mm/px; the mark's pixels are fixed and the panel moves
    under them, which to first order is the formula with the sign turned.
    """
    scene = Scene(template(), Settings(click_sigma_px=1.0, outline_sigma_px=1e-6))
    scene.with_lens_error = False
    scene.photo("a", {FLOOR: view(1.0)})
    corners = np.array([p.at_mm for p in scene.body.panel(FLOOR).datum_points[:4]])
    scene.sightings = scene.sightings[:4]
    scene.mark("a", corners, RUST, mm_on=FLOOR)
    expected = np.sqrt(0.25 * np.sum((np.roll(corners, -1, axis=0) - np.roll(corners, 1, axis=0)) ** 2))
    assert scene.measures().groups[0].kinds[RUST].sigma_mm2 == pytest.approx(expected, rel=1e-3)
