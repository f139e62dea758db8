"""Detail, angle, distance and coverage against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from corromap.errors import InvalidValueError
from corromap.evidence.detail import SmallestSeen, look_at
from corromap.evidence.grid import grid_of
from corromap.evidence.quality import QualityMap
from corromap.evidence.seen_well import Showing, panel_evidence, zone_evidence
from corromap.frames import PanelId, PhotoId
from corromap.measures import measure
from corromap.projection import project
from corromap.registration import place_photos
from corromap.survey import MarkKind, Survey
from tests.registration_scene import DATUM_MM, FOCAL, Camera, fitted, lens, turned
from tests.unit.surveys import MM_PER_PX, TEMPLATE, mark_at, photo_of, survey_of

FLOOR = PanelId("floor-left")


def showing_of(survey: Survey, quality: dict[PhotoId, QualityMap] | None = None) -> Showing:
    registrations = place_photos(survey, TEMPLATE)
    return Showing(project(survey, TEMPLATE, registrations), registrations, quality or {})


def test_square_on_camera_at_a_known_distance() -> None:
    """Pinhole: detail is distance / focal length everywhere; distance and angle grow to the corners."""
    camera = Camera(np.eye(3), 900.0, lens())
    look = look_at(fitted(camera.sees(DATUM_MM)), np.array([[500.0, 300.0], [800.0, 300.0], [500.0, 0.0]]))
    aside = np.array([0.0, 300.0, 300.0])
    np.testing.assert_allclose(look.mm_per_px, 900.0 / FOCAL, rtol=1e-6)
    np.testing.assert_allclose(look.distance_mm, np.hypot(900.0, aside), rtol=1e-6)
    np.testing.assert_allclose(look.angle_deg, np.degrees(np.arctan2(aside, 900.0)), atol=1e-3)


@pytest.mark.parametrize("k1", [0.0, -0.12])
@pytest.mark.parametrize("tilt", [0.3, 0.8, 1.05])
def test_tilted_plane(tilt: float, k1: float) -> None:
    """Sight, distance and angle from the camera's known place, with and without a lens error."""
    camera = Camera(turned(tilt, 0.0, 0.3), 1100.0, lens(k1))
    points = np.array([[500.0, 300.0], [700.0, 420.0], [300.0, 150.0]])
    look = look_at(fitted(camera.sees(DATUM_MM), lens_=lens(k1)), points)
    to_point = np.column_stack([points - [500, 300], np.zeros(3)]) @ camera.rotation.T + [0, 0, 1100.0]
    distance = np.linalg.norm(to_point, axis=1)
    cosine = np.abs(to_point @ camera.rotation[:, 2]) / distance
    np.testing.assert_allclose(look.distance_mm, distance, rtol=1e-5)
    np.testing.assert_allclose(look.angle_deg, np.degrees(np.arccos(cosine)), atol=0.01)


def test_detail_at_the_middle_of_a_tilted_plane() -> None:
    """On the optical axis the coarsest detail is distance / (focal length * cosine of the tilt)."""
    camera = Camera(turned(0.9, 0.0, 0.0), 1000.0, lens())
    look = look_at(fitted(camera.sees(DATUM_MM)), np.array([[500.0, 300.0]]))
    assert look.mm_per_px[0] == pytest.approx(1000.0 / FOCAL / np.cos(0.9), rel=1e-5)


def test_shares_agree_with_the_exact_areas_of_the_measures() -> None:
    """Cells of 4 mm against polygons: within a point, hidden marks and what crossmembers hide included."""
    hidden = mark_at("h", FLOOR, [[100, 50], [600, 50], [600, 300], [100, 300]], MarkKind.HIDDEN)
    survey = survey_of([FLOOR], [hidden])
    showing = showing_of(survey)
    exact = {z.zone: z for z in measure(showing.projection, showing.registrations, survey, TEMPLATE).zones}
    for zone in zone_evidence(TEMPLATE, showing, step_mm=4.0):
        assert zone.seen_share == pytest.approx(exact[zone.zone].seen_share, abs=0.01)
        assert zone.hidden_share == pytest.approx(exact[zone.zone].hidden_share, abs=0.01)
        assert zone.never_share == pytest.approx(exact[zone.zone].never_seen_share, abs=0.01)
        assert zone.seen_share + zone.hidden_share + zone.never_share == pytest.approx(1.0)
        if zone.zone.startswith(FLOOR):  # what else the camera shows is flatter, nearer or farther
            assert zone.well_share == zone.seen_share
            assert zone.median_mm_per_px == pytest.approx(MM_PER_PX, rel=1e-3)


@pytest.mark.parametrize(
    ("smallest", "well"),
    [
        (SmallestSeen(), True),
        (SmallestSeen(size_mm=1.1), True),
        (SmallestSeen(size_mm=0.9), False),  # two pixels of 0.5 mm are 1 mm
        (SmallestSeen(pixels=11.0), False),
    ],
)
def test_smallest_hole_decides(smallest: SmallestSeen, well: bool) -> None:
    found = panel_evidence(grid_of(TEMPLATE.panel(FLOOR), 20.0), showing_of(survey_of([FLOOR])), smallest)
    seen = found.unhidden
    assert seen.mean() > 0.95  # crossmembers hide a strip from a camera above the middle
    assert (found.well == (seen if well else np.zeros_like(seen))).all()
    np.testing.assert_allclose(found.best_mm_per_px[seen], MM_PER_PX, rtol=1e-3)


def judged(blur_px: float, dark_left: float) -> QualityMap:
    shot = photo_of(FLOOR)
    dark = np.zeros((6, 10))
    dark[:, :5] = dark_left
    flat = np.zeros((6, 10))
    return QualityMap(shot.width_px, shot.height_px, flat + blur_px, dark, flat, np.zeros((6, 10), dtype=bool))


@pytest.mark.parametrize(
    ("blur_px", "dark_left", "share"),
    [(1.0, 0.0, 1.0), (4.0, 0.0, 1.0), (4.5, 0.0, 0.0), (1.0, 0.9, 0.5), (1.0, 0.3, 1.0)],
)
def test_blur_and_darkness_take_ground_away(blur_px: float, dark_left: float, share: float) -> None:
    """Blur of 4.5 px sigma at 0.5 mm per px is 5.3 mm wide at half height: a 5 mm hole is gone."""
    quality = {PhotoId(f"photo-{FLOOR}"): judged(blur_px, dark_left)}
    found = panel_evidence(grid_of(TEMPLATE.panel(FLOOR), 10.0), showing_of(survey_of([FLOOR]), quality))
    assert found.well.mean() == pytest.approx(share, abs=0.03)
    assert found.unhidden.all()


def test_nothing_shown_is_never_seen() -> None:
    found = zone_evidence(TEMPLATE, showing_of(survey_of([])))
    assert all(z.never_share == 1.0 and z.well_share == 0.0 for z in found)


@pytest.mark.parametrize("values", [{"size_mm": 0.0}, {"pixels": -1.0}, {"flattest_deg": 90.0}])
def test_useless_limits_are_refused(values: dict[str, float]) -> None:
    with pytest.raises(InvalidValueError, match="smallest thing to be seen"):
        SmallestSeen(**values)


def test_useless_step_is_refused() -> None:
    with pytest.raises(InvalidValueError, match=r"step of 0\.01 mm is not usable"):
        grid_of(TEMPLATE.panel(FLOOR), 0.01)
