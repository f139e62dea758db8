"""What is likely where several photos draw one thing: closed forms, and discs drawn many times.

Sources: the weighted mean of repeated measurements, JCGM 100:2008, F.1.2.3; mean of the largest of
n normal numbers (Harter, Expected values of normal order statistics, 1961; two and three in closed form).
"""

from __future__ import annotations

import numpy as np
import pytest

from corromap.frames import MarkId, PhotoId
from corromap.measures import Figure, measure
from corromap.projection import project
from corromap.registration import place_photos
from corromap.survey import MarkKind, Photo, RustStage, Settings, Sighting, Survey
from tests.geo_scene import FLOOR, Scene, disc, rect, template, view
from tests.unit.surveys import MM_PER_PX, TEMPLATE, mark_at, survey_of

PANEL = "floor-left"
SIGMA_PX, RADIUS_MM = 3.0, 60.0
CORNERS = 60
ROUND = 0.5 * CORNERS * np.sin(2 * np.pi / CORNERS)
"""Area of the polygon of 60 corners over the square of its radius."""

RUST, PATCH = MarkKind.RUST, MarkKind.PATCH


def ring(radius_mm: float) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi, CORNERS, endpoint=False)
    return [600.0, 225.0] + radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])


def survey_with(radii_mm: list[float]) -> Survey:
    """One disc on as many photos as radii, all photos taken from one place."""
    one = survey_of([PANEL])
    first = one.photos[0]
    photos = [
        Photo(PhotoId(f"p{i}"), f"p{i}.jpg", "0" * 64, first.width_px, first.height_px, focal_px=3000.0)
        for i in range(len(radii_mm))
    ]
    sightings = [Sighting(p.id, s.datum, s.at_px) for p in photos for s in one.sightings]
    drawn = [mark_at(f"m{i}", PANEL, ring(r), PATCH) for i, r in enumerate(radii_mm)]
    marks = [type(m)(MarkId(m.id), p.id, m.kind, m.outline) for m, p in zip(drawn, photos, strict=True)]
    return Survey("s", photos=tuple(photos), marks=tuple(marks), sightings=tuple(sightings))


def figure(survey: Survey) -> Figure:
    placed = place_photos(survey, TEMPLATE)
    return measure(project(survey, TEMPLATE, placed), placed, survey, TEMPLATE).groups[0].kinds[PATCH]


def test_one_photo_is_its_own_mean() -> None:
    found = figure(survey_with([RADIUS_MM]))
    assert found.likely_mm2 == found.area_mm2
    assert found.high_mm2 - found.area_mm2 == pytest.approx(found.area_mm2 - found.low_mm2, rel=1e-9)


@pytest.mark.parametrize("radii", [[60.0, 57.0], [58.0, 60.0, 62.0], [60.5, 57.0, 61.0, 59.0, 58.5]])
def test_photos_from_one_place_count_alike(radii: list[float]) -> None:
    """Equal variances: the edge moves in by the largest less the mean radius, all the way round."""
    found = figure(survey_with(radii))
    assert found.area_mm2 == pytest.approx(ROUND * max(radii) ** 2, rel=1e-6)
    perimeter = 2 * CORNERS * np.sin(np.pi / CORNERS) * max(radii)
    inwards = (max(radii) - np.mean(radii)) * np.cos(np.pi / CORNERS)
    assert found.area_mm2 - found.likely_mm2 == pytest.approx(perimeter * inwards, rel=0.01)
    assert found.likely_mm2 == pytest.approx(ROUND * np.mean(radii) ** 2, rel=2e-3)
    assert found.low_mm2 < found.likely_mm2 < found.area_mm2 <= found.high_mm2


def test_many_hands_err_less_than_one() -> None:
    """Five photos from one place: hands are five, so their part of the variance is a fifth."""
    without = Settings(click_sigma_px=1e-6, outline_sigma_px=SIGMA_PX)
    scene = Scene(template(), without)
    scene.with_lens_error = False
    sigma = []
    for count in (1, 5):
        for i in range(count):
            if f"p{i}" not in {p.id for p in scene.photos}:
                scene.photo(f"p{i}", {FLOOR: view(0.6)})
                scene.mark(f"p{i}", rect(100, 100, 200, 200), RUST, mm_on=FLOOR)
        sigma.append(scene.measures().groups[0].kinds[RUST].sigma_mm2)
    assert sigma[0] == pytest.approx(400 * SIGMA_PX * 0.6, rel=1e-4)
    assert sigma[1] == pytest.approx(sigma[0] / np.sqrt(5), rel=0.02)


def test_the_finer_photo_has_more_of_a_say() -> None:
    """0.3 and 0.6 mm a pixel: weights 4 to 1."""
    scene = Scene(template(), Settings(click_sigma_px=1e-6, outline_sigma_px=SIGMA_PX))
    scene.with_lens_error = False
    scene.photo("fine", {FLOOR: view(0.3)})
    scene.photo("coarse", {FLOOR: view(0.6)})
    scene.mark("fine", disc(300, 200, 50), RUST, mm_on=FLOOR)
    scene.mark("coarse", disc(300, 200, 53), RUST, mm_on=FLOOR)
    found = scene.measures().groups[0].kinds[RUST]
    inwards = 4 / 5 * 3 * np.cos(np.pi / 40)
    assert found.area_mm2 - found.likely_mm2 == pytest.approx(found.perimeter_mm * inwards, rel=0.01)


def test_five_hands_of_one_disc() -> None:
    """The union grows as order statistics say; what is likely is right in the mean and its intervals hold."""
    random, held, union, likely = np.random.default_rng(3), [], [], []
    true = ROUND * RADIUS_MM**2
    for _ in range(40):
        found = figure(survey_with(list(RADIUS_MM + SIGMA_PX * MM_PER_PX * random.standard_normal(5))))
        held.append(found.low_mm2 <= true <= found.high_mm2)
        union.append(found.area_mm2 / true - 1)
        likely.append(found.likely_mm2 / true - 1)
    one_hand = 2 * SIGMA_PX * MM_PER_PX / RADIUS_MM
    assert np.mean(union) == pytest.approx(1.16296 * one_hand, rel=0.25)
    assert abs(np.mean(likely)) < 3 * one_hand / np.sqrt(5 * 40)
    assert np.std(likely) == pytest.approx(one_hand / np.sqrt(5), rel=0.35)
    assert np.mean(held) >= 0.88


def two_photos(scene: Scene | None = None) -> Scene:
    scene = scene or Scene(template())
    scene.photo("a", {FLOOR: view(0.6)})
    scene.photo("b", {FLOOR: view(0.6)})
    return scene


def test_ground_farther_out_than_errors_explain_is_new_ground() -> None:
    scene = two_photos()
    scene.mark("a", disc(300, 250, 40), RUST, mm_on=FLOOR)
    scene.mark("b", disc(300, 250, 90), RUST, mm_on=FLOOR)
    found = scene.measures().groups[0].kinds[RUST]
    assert found.likely_mm2 == pytest.approx(found.area_mm2, rel=1e-9)


@pytest.mark.parametrize(
    ("kind", "stage"), [(PATCH, None), (RUST, RustStage.SCALED), (MarkKind.FILLER, None), (MarkKind.HIDDEN, None)]
)
def test_another_kind_or_stage_has_no_say(kind: MarkKind, stage: RustStage | None) -> None:
    scene = two_photos()
    scene.mark("a", disc(300, 250, 60), RUST, mm_on=FLOOR, stage=RustStage.SURFACE)
    scene.mark("b", disc(300, 250, 58), kind, mm_on=FLOOR, stage=stage)
    whole = scene.measures().groups[0]
    assert whole.affected.likely_mm2 == pytest.approx(whole.affected.area_mm2, rel=1e-9)


def test_two_marks_of_one_photo_are_two_things() -> None:
    scene = two_photos()
    scene.mark("a", rect(100, 100, 200, 200), RUST, mm_on=FLOOR)
    scene.mark("a", rect(101, 100, 199, 204), RUST, mm_on=FLOOR)
    found = scene.measures().groups[0].kinds[RUST]
    assert found.likely_mm2 == pytest.approx(found.area_mm2, rel=1e-9)


def test_where_the_photo_ends_a_mark_says_nothing() -> None:
    """Photo b ends across the mark, 2 mm short of its end: that is no word about where the rust ends."""
    alone, both = Scene(template()), Scene(template())
    for scene in (alone, both):
        scene.photo("a", {FLOOR: view(0.6)})
        scene.mark("a", rect(100, 100, 300, 200), RUST, mm_on=FLOOR)
    both.photo("b", {FLOOR: view(0.6, at=(298 + 0.3, -100), turn=0.0)})
    found = both.measures().groups[0].kinds[RUST]
    assert found.likely_mm2 == pytest.approx(alone.measures().groups[0].kinds[RUST].area_mm2, rel=1e-9)


def test_kinds_still_share_out_the_affected() -> None:
    """Where rust lies on a patch, what the rust gives up the patch gains."""
    scene = two_photos()
    for photo, grown in (("a", 0.0), ("b", 2.5)):
        scene.mark(photo, rect(200, 150, 400, 300), PATCH, mm_on=FLOOR)
        scene.mark(photo, disc(300, 220, 40 + grown), RUST, mm_on=FLOOR)
    whole = scene.measures().groups[0]
    assert sum(f.likely_mm2 for f in whole.resolved.values()) == pytest.approx(whole.affected.likely_mm2, rel=1e-6)
    assert whole.resolved[PATCH].likely_mm2 > whole.resolved[PATCH].area_mm2
    assert whole.resolved[PATCH].low_mm2 <= whole.resolved[PATCH].area_mm2
