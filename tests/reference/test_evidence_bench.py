"""Coverage by zone against the truth bench's exact visibility, and angles against its true cameras."""

from __future__ import annotations

import numpy as np
import pytest

from corromap.evaluation import evaluate
from corromap.evidence.detail import look_at
from corromap.evidence.grid import grid_of
from corromap.evidence.seen_well import Showing, zone_evidence
from corromap.io.rules import default_rules
from corromap.projection import project
from corromap.registration import Registration, place_photos
from tools.truth_bench.conditions import CONDITIONS
from tools.truth_bench.make import BenchSurvey, survey_of_seed
from tools.truth_bench.truth import coverage_of


@pytest.fixture(scope="module")
def bench() -> tuple[BenchSurvey, Showing]:
    made = survey_of_seed(3, CONDITIONS["eight-clicks"])
    registrations = place_photos(made.survey, made.scene.template)
    return made, Showing(project(made.survey, made.scene.template, registrations), registrations)


def test_coverage_by_zone(bench: tuple[BenchSurvey, Showing]) -> None:
    """With clicks that err by 2 px: most zones within two points, all of them within eight."""
    made, showing = bench
    placed = {key for key, value in showing.registrations.items() if isinstance(value, Registration)}
    true = coverage_of(made, placed)
    found = {zone.zone: zone for zone in zone_evidence(made.scene.template, showing)}
    error = np.array([found[zone].seen_share - share for zone, share in true.seen.items()])
    assert np.abs(error).mean() < 0.006
    assert (np.abs(error) <= 0.02).mean() > 0.95
    assert np.abs(error).max() < 0.08


@pytest.mark.parametrize("seed", [100001, 100008, 100009, 100011])
def test_coverage_by_zone_without_errors(seed: int) -> None:
    """Clicks and lens exact: every zone within one point of what rays through every panel find."""
    made = survey_of_seed(seed, CONDITIONS["exact"])
    found = evaluate(made.survey, made.scene.template, default_rules())
    true = coverage_of(made, {key for key, value in found.registrations.items() if isinstance(value, Registration)})
    error = {zone.zone: zone.seen_share - true.seen[zone.zone] for zone in found.measures.zones}
    assert sum(share > 0 for share in true.seen.values()) > 40
    assert max(map(abs, error.values())) < 0.01


def test_distance_and_angle_against_true_cameras(bench: tuple[BenchSurvey, Showing]) -> None:
    made, showing = bench
    eyes = {shot.photo.id: shot.camera.eye_mm for shot in made.shots}
    angles, distances = [], []
    for seen in showing.projection.seen:
        registration = showing.registrations[seen.photo, seen.panel]
        grid = grid_of(made.scene.template.panel(seen.panel), 60.0)
        inside = grid.inside(seen.area)
        if not isinstance(registration, Registration) or not inside.any():
            continue
        look = look_at(registration, grid.uv_mm[inside])
        ray = grid.car_mm[inside] - eyes[seen.photo]
        distance = np.linalg.norm(ray, axis=1)
        true = np.degrees(np.arccos(np.abs(ray @ grid.panel.place.normal) / distance))
        angles.append(look.angle_deg - true)
        distances.append(look.distance_mm / distance - 1)
    assert np.median(np.abs(np.concatenate(angles))) < 0.5
    assert np.median(np.abs(np.concatenate(distances))) < 0.01
