"""The truth bench itself: same seed, same survey; truth against a raster; sane errors."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon
from skimage.draw import polygon2mask

from corromap.frames import PanelId
from corromap.io.photos import decode, read_header
from corromap.survey import MarkKind, RustStage
from tools.demo_scene.camera import Camera
from tools.truth_bench.conditions import CONDITIONS
from tools.truth_bench.hand import Eye, detail_mm_per_px
from tools.truth_bench.judge import Crash, FigureError, Judgement, judge
from tools.truth_bench.make import BenchSurvey, survey_of_seed
from tools.truth_bench.page import BEFORE
from tools.truth_bench.render import Renderer, jpeg_bytes
from tools.truth_bench.scene import Scene, TrueMark
from tools.truth_bench.sight import faces_of, sights_of
from tools.truth_bench.table import page_of, rows_of
from tools.truth_bench.texture import cover_of
from tools.truth_bench.truth import coverage_of, patch_counts, true_areas

FLAT = CONDITIONS["flat"]
BODY = "two-seat-open"
FLOOR = PanelId("floor-left")


@pytest.fixture(scope="module")
def bench() -> BenchSurvey:
    return survey_of_seed(5, FLAT, BODY)


def test_same_seed_gives_the_same_survey(bench: BenchSurvey) -> None:
    again = survey_of_seed(5, FLAT, BODY).survey
    assert again.photos == bench.survey.photos
    assert all(a.outline.same_as(b.outline) for a, b in zip(again.marks, bench.survey.marks, strict=True))
    assert all(np.array_equal(a.at_px, b.at_px) for a, b in zip(again.sightings, bench.survey.sightings, strict=True))
    other = survey_of_seed(6, FLAT, BODY).survey
    assert [m.id for m in other.marks] != [m.id for m in again.marks]


def test_conditions_of_the_hand_see_the_same_photos(bench: BenchSurvey) -> None:
    sure = survey_of_seed(5, CONDITIONS["sure-hand"], BODY)
    assert sure.survey.photos == bench.survey.photos
    assert [m.area.wkb for m in sure.scene.marks] == [m.area.wkb for m in bench.scene.marks]


def test_photos_are_as_a_person_takes_them(bench: BenchSurvey) -> None:
    assert 8 <= len(bench.shots) <= 40
    for shot in bench.shots:
        assert -0.15 <= shot.camera.dist[0] <= 0.05
        diagonal = np.hypot(shot.camera.width, shot.camera.height)
        assert 24 <= shot.camera.focal_px / diagonal * np.hypot(36, 24) <= 35
        assert shot.camera.eye_mm[2] > bench.scene.ground_z_mm


def test_a_cover_is_drawn_where_any_of_it_shows_finely(bench: BenchSurvey) -> None:
    """Else the program takes what shows of it finely for bare; rust whose middle is not made out is passed over."""
    cases = []
    for shot in bench.shots:
        for sight in shot.sights.values():
            area = max(sight.visible.geoms, key=lambda g: float(g.area))
            middle = shapely.get_coordinates(area.representative_point())
            edge = shapely.get_coordinates(shapely.segmentize(area.exterior, 20.0))
            if detail_mm_per_px(shot, sight.panel, middle)[0] > 2.5 > detail_mm_per_px(shot, sight.panel, edge).min():
                cases.append((shot, TrueMark("true-1", sight.panel.id, MarkKind.HIDDEN, None, area)))
    assert len(cases) > 3
    for shot, cover in cases:
        for kind, stage, count in ((MarkKind.HIDDEN, None, 1), (MarkKind.RUST, RustStage.SURFACE, 0)):
            scene = replace(bench.scene, marks=(replace(cover, kind=kind, stage=stage),))
            drawn = Eye(scene, FLAT, None, np.random.default_rng(1)).draw(shot)
            assert len(drawn) == count


def drawn_again(bench: BenchSurvey, areas: list[tuple[MarkKind, RustStage | None, Polygon]]) -> list:
    """Pieces on the left floor, drawn by nobody."""
    template = bench.drawn[0]
    marks = [TrueMark(f"true-{i}", FLOOR, kind, stage, area) for i, (kind, stage, area) in enumerate(areas)]
    return [replace(template, source=m, panel=FLOOR, piece=m.area) for m in marks]


def test_ties_join_the_same_ground_but_for_the_wrong_ones() -> None:
    """The known photo's pixel by ``cv2.undistortPoints`` on the panel, and from there into the other photo."""
    made = survey_of_seed(5, CONDITIONS["linked"], BODY)
    shots = {shot.photo.id: shot for shot in made.shots}
    assert len({s.photo for s in made.survey.sightings}) <= round(len(shots) / 3)
    missed = []
    for tie in made.survey.ties:
        known, new = shots[tie.known], shots[tie.new]
        assert tie.panel is not None
        sight, k = known.sights[tie.panel], known.camera
        optics = np.array([[k.focal_px, 0, k.cx], [0, k.focal_px, k.cy], [0, 0, 1.0]])
        rays = cv2.undistortPoints(tie.known_px, optics, np.array(k.dist), None)[:, 0]
        met = np.column_stack([rays, np.ones(len(rays))]) @ np.linalg.inv(sight.to_ray).T
        there = new.camera.project(sight.panel.place.to_car(met[:, :2] / met[:, 2:]))
        missed.append(np.hypot(*(tie.new_px - there).T))
    right = [m for m in missed if np.median(m) < 3 * FLAT.tie_sigma_px]
    assert 0.85 < len(right) / len(missed) <= 1.0
    every = np.concatenate(right)
    assert np.median(every) == pytest.approx(1.1774 * FLAT.tie_sigma_px, rel=0.1)  # of a Rayleigh distribution
    assert 0.01 < np.mean(every > 5 * FLAT.tie_sigma_px) < 0.06


def test_the_tape_shows_the_size_of_the_car() -> None:
    scales = []
    for seed in range(6):
        made = survey_of_seed(seed, CONDITIONS["measured"], BODY)
        known = made.scene.template.datum_points
        assert 2 <= len(made.survey.lengths) <= 3
        for one in made.survey.lengths:
            ends = [known[d][0].place.to_car(known[d][1].at_mm)[0] for d in (one.first, one.second)]
            true = np.linalg.norm(ends[0] - ends[1]) * made.scene.scale
            assert true > 500.0
            scales.append((one.length_mm - true) / np.hypot(2.0, 2.0 * np.sqrt(2.0)))
    assert np.abs(scales).max() < 4.0
    assert 0.5 < np.std(scales) < 1.6


def test_true_areas_agree_with_a_raster(bench: BenchSurvey) -> None:
    """scikit-image's pixel-centre fill at 0.25 mm against the unions of shapely."""
    square = Polygon([(500, 100), (620, 110), (600, 260), (510, 240)])
    inner = Polygon([(520, 130), (580, 140), (570, 200)])
    plate = shapely.box(580, 150, 720, 300)
    pieces = drawn_again(
        bench,
        [
            (MarkKind.RUST, RustStage.SURFACE, square),
            (MarkKind.RUST, RustStage.HOLED, inner),
            (MarkKind.PATCH, None, plate),
        ],
    )
    scene = replace(bench.scene, scale=1.02)
    truth = true_areas(scene, pieces)
    ppm = 4

    def mask(area: Polygon) -> np.ndarray:
        return polygon2mask((800 * ppm, 400 * ppm), np.array(area.exterior.coords)[:, ::1] * ppm - 0.5)

    rust, hole, patch = mask(square), mask(inner), mask(plate)
    expected = {
        "kind:rust": rust, "kind:patch": patch, "stage:surface": rust & ~hole, "stage:holed": hole,
        "resolved:patch": patch & ~rust, "affected": rust | patch,
    }  # fmt: skip
    for name, raster in expected.items():
        found = sum(area for (_, figure), area in truth.items() if figure == name)
        assert found == pytest.approx(raster.sum() / ppm**2 * 1.02**2, rel=2e-3), name


def test_true_patches_are_counted_by_hand(bench: BenchSurvey) -> None:
    row = [(MarkKind.PATCH, None, shapely.box(100 + 60 * i, 100, 140 + 60 * i, 140)) for i in range(3)]
    bridge = (MarkKind.PATCH, None, shapely.box(90, 110, 280, 150))
    assert patch_counts(bench.scene.template, drawn_again(bench, row)) == (
        {None: 3} | dict.fromkeys(_zones_of(bench, row), 3),
        0,
    )
    counts, stacked = patch_counts(bench.scene.template, drawn_again(bench, [*row, bridge]))
    assert counts[None] == 3
    assert stacked == 3


def _zones_of(bench: BenchSurvey, row: list) -> list:
    panel = bench.scene.template.panel(FLOOR)
    ground = shapely.union_all([area for *_, area in row])
    return [z.id for z in panel.zones if z.outline.polygon.covers(ground)]


def test_scan_line_cover_against_exact_area() -> None:
    area = Polygon([(3.3, 2.1), (17.2, 5.4), (12.9, 15.8), (4.4, 12.2)], [[(7, 6), (10, 7), (8, 10)]])
    cover = cover_of(area, np.zeros(2), 3.0, (60, 60))
    assert cover.sum() / 9.0 == pytest.approx(area.area, rel=2e-3)
    row, column = np.indices(cover.shape)
    middle = np.array([(cover * (i + 0.5)).sum() / cover.sum() / 3.0 for i in (column, row)])
    assert middle == pytest.approx([area.centroid.x, area.centroid.y], abs=5e-3)


def test_a_covering_panel_and_its_webs_stand_in_the_way(bench: BenchSurvey) -> None:
    """By hand: from 600 mm below, a beam 45 mm under the floor hides its own width times 600 / 555."""
    template = bench.scene.template
    beam, floor = template.panel(PanelId("crossmember-left-front")), template.panel(FLOOR)
    middle = beam.place.to_car(np.array(beam.outline.polygon.centroid.coords))[0]
    eye = np.array([middle[0], middle[1], -600.0])
    camera = Camera.looking(
        eye, eye + np.array([0, 0, 1]), [1, 0, 0], size=(4000, 3000), focal_px=2400.0, dist=(0,) * 5
    )
    seen = sights_of(camera, faces_of(template))[FLOOR].visible
    u = middle[0] - floor.place.origin_mm[0]
    line = shapely.LineString([(u - 300, 225), (u + 300, 225)])
    hidden = line.length - seen.intersection(line).length
    width = np.ptp(beam.outline.exterior_mm[:, 0])
    assert hidden == pytest.approx(width * 600.0 / 555.0, abs=0.5)


def test_coverage_by_points_against_the_visible_polygon(bench: BenchSurvey) -> None:
    shots = [s for s in bench.shots if FLOOR in s.sights]
    if not shots:
        pytest.skip("no photo of this seed shows the left floor")
    alone = replace(bench, shots=(shots[0],), scene=replace(bench.scene, marks=()))
    found = coverage_of(alone, [(shots[0].photo.id, FLOOR)])
    panel = bench.scene.template.panel(FLOOR)
    for zone in panel.zones:
        exact = shots[0].sights[FLOOR].visible.intersection(zone.outline.polygon).area / zone.area_mm2
        # points coarser than the limit are left out, never added
        assert found.seen[zone.id] <= exact + 0.02


@pytest.mark.slow
def test_small_run_gives_sane_errors() -> None:
    found = [judge(survey_of_seed(seed, FLAT, BODY), seed) for seed in (1, 2, 3)]
    assert not [j for j in found if isinstance(j, Crash)]
    assert all(isinstance(j, Judgement) and j.placings > 0 for j in found)
    place = np.concatenate([j.place_mm for j in found])
    figures = [f for j in found for f in j.figures if not f.is_group]
    assert 0.05 < np.median(place) < 6.0
    assert np.mean([f.holds for f in figures]) > 0.6
    rows = dict(rows_of(found))
    assert rows["surveys the program raised an exception for"] == "0"
    page = page_of({"flat": found}, "python -m tools.truth_bench", "0")
    assert page.startswith(BEFORE.splitlines()[0])
    assert "| … affected only |" in page


def test_interval_holds_at_its_ends() -> None:
    at = FigureError("z", False, "affected", 10.0, 12.0, 1.0, 10.0, 14.0, 100.0, 1, 4, False)
    assert at.holds
    assert not replace(at, true=14.1).holds


@pytest.mark.slow
def test_rendered_photo_is_deterministic_and_its_truth_map_is_right(bench: BenchSurvey) -> None:
    shot = bench.shots[0]
    camera = shot.camera.scaled(640 / max(shot.camera.width, shot.camera.height))
    scene: Scene = bench.scene
    photo = Renderer(scene).render(camera, 3)
    again = Renderer(scene).render(camera, 3)
    assert np.array_equal(photo.image, again.image)
    data = jpeg_bytes(photo, camera, "2026:09:12 10:00:00")
    header = read_header(data, "bench.jpg")
    assert header.focal_px == pytest.approx(camera.focal_px, rel=0.025)  # whole millimetres in EXIF
    assert header.taken_at == "2026-09-12T10:00:00"
    assert decode(data, "bench.jpg").shape == photo.image.shape
    _check_map(photo.panel, camera, bench)


def _check_map(found: np.ndarray, camera: Camera, bench: BenchSurvey) -> None:
    """Middles of what the sights say is visible must show that panel."""
    ids = [p.id for p in bench.scene.template.panels]
    for panel_id, sight in bench.shots[0].sights.items():
        inner = sight.visible.buffer(-12.0)
        holes = [m.area for m in bench.scene.marks if m.panel == panel_id and m.stage is RustStage.HOLED]
        inner = inner.difference(shapely.union_all(holes).buffer(8.0)) if holes else inner
        if inner.is_empty:
            continue
        at = np.array(inner.representative_point().coords)
        x, y = np.round(camera.project(sight.panel.place.to_car(at))[0]).astype(int)
        assert found[y, x] == ids.index(panel_id), panel_id
