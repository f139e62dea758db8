"""A whole survey placed: which panels are tried, and how lenses are shared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from corromap.frames import DatumId, MarkId, PanelId, PhotoId, PhotoOutline
from corromap.registration import FailureReason, Registration, RegistrationFailure, place_photos, solve_lenses
from corromap.survey import Mark, MarkKind, Settings, Survey
from corromap.template import Fold, Panel
from tests.registration_scene import DATUM_MM, FOCAL, MIDDLE, Camera, lens, panel, photo, sightings, template

TRUE_K1, TRUE_SHIFT = -0.08, np.array([0.015, -0.01])
BENT = lens(TRUE_K1, TRUE_SHIFT)


def survey(
    count: int = 5, *, points: int = 8, camera: str | None = "phone", noise_px: float = 2.0, seed: int = 0
) -> Survey:
    random = np.random.default_rng(seed)
    photos, seen = [], []
    for i in range(count):
        photos.append(photo(f"photo-{i}", camera=camera))
        clicks = Camera.at(10 * seed + i, BENT).sees(DATUM_MM[:points])
        seen += sightings(clicks + random.normal(0, noise_px, clicks.shape), of=f"photo-{i}")
    return Survey("trial", photos=tuple(photos), sightings=tuple(seen))


def test_every_photo_is_placed_with_the_lens_of_its_camera():
    placed = place_photos(survey(), template())
    assert list(placed) == [(f"photo-{i}", "floor") for i in range(5)]
    assert all(isinstance(found, Registration) for found in placed.values())
    assert {found.lens.k1 for found in placed.values()} == {placed["photo-0", "floor"].lens.k1}
    assert {found.sources[1].label for found in placed.values()} == {"lens:phone"}


@pytest.mark.parametrize("seed", range(4))
def test_joint_estimate_finds_the_lens(seed):
    found = solve_lenses(survey(seed=seed), template())["photo-0"]
    assert abs(found.k1 - TRUE_K1) < 3 * found.sigma_k1
    shift_sigma = FOCAL * np.sqrt(np.diag(found.covariance)[1:])
    assert (np.abs(found.centre_px - BENT.centre_px) < 3 * shift_sigma).all()
    assert found.sigma_k1 < 0.02
    assert found.source == "focal length from EXIF, distortion estimated from 40 spare coordinates of 5 fits together"


def test_joint_estimate_is_calibrated():
    """Over 40 surveys of lenses drawn from the prior the error is what sigma says (chi-square, 99.9 %)."""
    off = []
    for seed in range(40):
        random = np.random.default_rng(1000 + seed)
        drawn = lens(random.normal(0, 0.05), random.normal(0, 0.02, 2))
        photos = tuple(photo(f"photo-{i}", camera="phone") for i in range(3))
        seen = []
        for i in range(3):
            clicks = Camera.at(500 + 10 * seed + i, drawn).sees(DATUM_MM)
            seen += sightings(clicks + random.normal(0, 2, clicks.shape), of=f"photo-{i}")
        found = solve_lenses(Survey("trial", photos=photos, sightings=tuple(seen)), template())["photo-0"]
        off.append((found.k1 - drawn.k1) / found.sigma_k1)
    assert 18 < np.square(off).sum() < 74


def test_exact_clicks_give_the_lens_back():
    exact = replace(survey(noise_px=0.0), settings=Settings(click_sigma_px=0.01))
    found = solve_lenses(exact, template())["photo-3"]
    assert found.k1 == pytest.approx(TRUE_K1, abs=1e-5)
    np.testing.assert_allclose(found.centre_px, BENT.centre_px, atol=0.05)


@pytest.mark.parametrize(
    ("count", "points", "why"), [(5, 4, "nothing to spare"), (3, 5, "six coordinates to spare"), (0, 8, "no photo")]
)
def test_too_little_to_spare_leaves_the_prior(count, points, why):
    lenses = solve_lenses(survey(count, points=points), template())
    assert len(lenses) == count
    for found in lenses.values():
        assert (found.k1, found.sigma_k1) == (0.0, 0.05), why
        np.testing.assert_array_equal(found.centre_px, MIDDLE)
        assert found.source == "focal length from EXIF, k1 = 0 within 0.05 assumed"


def test_clicks_too_coarse_to_show_the_lens_leave_the_prior():
    """Enough points, but they know less of k1 than the prior does."""
    coarse = replace(survey(2, points=8), settings=Settings(click_sigma_px=60.0))
    assert solve_lenses(coarse, template())["photo-0"].k1 == 0.0


def test_photos_without_a_camera_stand_alone():
    lenses = solve_lenses(survey(3, camera=None), template())
    assert len({found.k1 for found in lenses.values()}) == 3
    placed = place_photos(survey(3, camera=None), template())
    assert [found.sources[1].label for found in placed.values()] == ["lens:photo-0", "lens:photo-1", "lens:photo-2"]


def test_unknown_focal_length_is_assumed_and_said():
    plain = replace(survey(1, points=4), photos=(replace(photo("photo-0"), focal_px=None),))
    found = solve_lenses(plain, template())["photo-0"]
    assert found.focal_px == pytest.approx(26 / 43.266615 * 2500)
    assert found.sigma_k1 == 0.1
    assert found.source.startswith("focal length assumed (26 mm equivalent)")


def test_centre_is_not_shared_between_upright_and_turned_photos():
    given = survey(4)
    turned = replace(given.photos[3], width_px=1500, height_px=2000)
    mixed = replace(given, photos=(*given.photos[:3], turned))
    lenses = solve_lenses(mixed, template())
    np.testing.assert_array_equal(lenses["photo-0"].centre_px, MIDDLE)
    np.testing.assert_array_equal(lenses["photo-3"].centre_px, [749.5, 999.5])
    assert lenses["photo-0"].k1 == lenses["photo-3"].k1 != 0.0


def test_a_photo_that_cannot_be_placed_does_not_spoil_the_lens_of_the_others():
    given = survey(5)
    good = solve_lenses(given, template())["photo-0"]
    other = {"floor-0": DatumId("floor-1"), "floor-1": DatumId("floor-0")}
    swapped = tuple(
        replace(s, datum=other.get(s.datum, s.datum)) if s.photo == "photo-4" else s for s in given.sightings
    )
    bad = replace(given, sightings=swapped)
    found = solve_lenses(bad, template())["photo-0"]
    assert abs(found.k1 - good.k1) < 2 * good.sigma_k1
    placed = place_photos(bad, template())
    assert placed["photo-4", "floor"].reason is FailureReason.CROSSED
    assert sum(isinstance(p, Registration) for p in placed.values()) == 4


def with_sill() -> tuple[Panel, Panel]:
    """A floor and a sill that share the edge v = 600 / v = 0; the last four points of the floor lie on it."""
    on_fold = [[100, 600], [400, 600], [700, 600], [950, 600]]
    floor_edge, sill_edge = [[0, 600], [1000, 600]], [[0, 0], [1000, 0]]
    to_sill, to_floor = Fold(PanelId("sill"), floor_edge, sill_edge), Fold(PanelId("floor"), sill_edge, floor_edge)
    floor = panel(np.vstack([DATUM_MM[:4], on_fold]), key="floor", folds=(to_sill,))
    sill = panel([[100, 150], [900, 140], [500, 80]], key="sill", folds=(to_floor,))
    return floor, sill


def test_points_on_a_fold_count_for_both_panels():
    floor, sill = with_sill()
    camera = Camera.at(3, lens())
    clicks = camera.sees([d.at_mm for d in floor.datum_points])
    beyond = sightings(camera.sees([[100, 750], [900, 740]]), key="sill")
    given = Survey("trial", photos=(photo(),), sightings=tuple(sightings(clicks) + beyond))
    placed = place_photos(given, template(floor, sill))
    assert len(placed["photo-1", "floor"].datum_ids) == 8
    assert placed["photo-1", "sill"].datum_ids == ("floor-4", "floor-5", "floor-6", "floor-7", "sill-0", "sill-1")


def test_points_of_one_fold_alone_do_not_ask_for_the_neighbour():
    floor, sill = with_sill()
    clicks = Camera.at(3, lens()).sees([d.at_mm for d in floor.datum_points])
    given = Survey("trial", photos=(photo(focal_px=None),), sightings=tuple(sightings(clicks)))
    assert list(place_photos(given, template(floor, sill))) == [("photo-1", "floor")]


def test_one_point_of_its_own_asks_for_a_panel():
    floor, sill = with_sill()
    camera = Camera.at(3, lens())
    one = sightings(camera.sees([[100, 750]]), key="sill")
    given = Survey("trial", photos=(photo(),), sightings=tuple(one))
    (failure,) = place_photos(given, template(floor, sill)).values()
    assert isinstance(failure, RegistrationFailure)
    assert (failure.panel, failure.reason) == ("sill", FailureReason.TOO_FEW)


def test_photos_without_sightings_have_no_entry():
    assert place_photos(Survey("trial", photos=(photo(),)), template()) == {}


def test_drawing_a_mark_does_not_place_the_photos_again():
    given, body = survey(2), template()
    first = place_photos(given, body)
    mark = Mark(MarkId("m"), PhotoId("photo-0"), MarkKind.RUST, PhotoOutline([[0, 0], [10, 0], [0, 10]]))
    again = place_photos(replace(given, marks=(mark,)), body)
    assert again["photo-0", "floor"] is first["photo-0", "floor"]
    moved = replace(given, settings=Settings(click_sigma_px=3.0))
    assert place_photos(moved, body)["photo-0", "floor"] is not first["photo-0", "floor"]


def test_points_on_folds_alone_tell_of_the_panel_they_are_listed_under():
    floor, sill = with_sill()
    on_fold = Camera.at(3, lens()).sees([d.at_mm for d in floor.datum_points[4:]])
    given = Survey("trial", photos=(photo(),), sightings=tuple(sightings(on_fold, order=range(4, 8))))
    ((panel_id, failure),) = [(key[1], found) for key, found in place_photos(given, template(floor, sill)).items()]
    assert panel_id == "floor"
    assert failure.reason is FailureReason.COLLINEAR


@pytest.mark.parametrize("k1", [-0.3, 0.25])
def test_a_very_wide_lens_is_found_and_not_taken_for_wrong_clicks(k1):
    """Five to six prior sigmas out, points up to the corners of the photo."""
    wide, random, seen = lens(k1), np.random.default_rng(8), []
    photos = tuple(photo(f"photo-{i}", camera="phone") for i in range(4))
    for i in range(4):
        clicks = Camera(Camera.at(60 + i, wide).rotation, 750.0, wide).sees(DATUM_MM)
        seen += sightings(clicks + random.normal(0, 2, clicks.shape), of=f"photo-{i}")
    given = Survey("trial", photos=photos, sightings=tuple(seen))
    found = solve_lenses(given, template())["photo-0"]
    assert found.k1 == pytest.approx(k1, abs=0.04)
    assert all(isinstance(p, Registration) for p in place_photos(given, template()).values())
