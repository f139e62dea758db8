"""Every refusal of a placing and every warning, with its sentence."""

from __future__ import annotations

import numpy as np
import pytest

from corromap.registration import FailureReason, place_photo
from corromap.registration.panel_fit import fit_panel
from corromap.survey import Settings
from corromap.template import Panel, SeenFrom
from tests.registration_scene import (
    DATUM_MM,
    NAMES,
    WIDTH,
    Camera,
    fitted,
    lens,
    panel,
    photo,
    refused,
    sightings,
    template,
)

CAMERA = Camera.at(3, lens())
CLICKS = CAMERA.sees(DATUM_MM)


def swapped(count: int, i: int, j: int) -> list[int]:
    order = list(range(count))
    order[i], order[j] = j, i
    return order


def moved(count: int, index: int, by: tuple[float, float]) -> np.ndarray:
    clicks = CLICKS[:count].copy()
    clicks[index] += by
    return clicks


@pytest.mark.parametrize(
    ("count", "text"),
    [(0, "0 of the 4 points needed are clicked"), (1, "1 of the 4 points needed is"), (3, "3 of the 4 points")],
)
def test_too_few_names_the_next_point(count, text):
    failure = refused(CLICKS[:count])
    assert failure.reason is FailureReason.TOO_FEW
    assert failure.message.startswith("Photo 'photo-1.jpg' on panel 'Left floor': " + text)
    assert failure.message.endswith("next.")
    named = failure.message.split("; click '")[1].split("'")[0]
    assert named in set(NAMES) - set(NAMES[:count])


def test_a_panel_with_too_few_points_says_to_use_another_photo():
    three = panel(DATUM_MM[:3])
    failure = refused(CLICKS[:3], on=three)
    assert failure.reason is FailureReason.TOO_FEW
    assert "every datum point of this panel is clicked already" in failure.message


@pytest.mark.parametrize("count", [4, 5, 8])
@pytest.mark.parametrize(("i", "j"), [(0, 1), (1, 2), (0, 3)])
def test_swapped_neighbours_are_named(count, i, j):
    failure = refused(CLICKS[:count], order=swapped(count, i, j))
    assert failure.reason is FailureReason.CROSSED
    assert set(failure.suspects) == {f"floor-{i}", f"floor-{j}"}
    assert "look swapped, for everything fits when they change places; click both again." in failure.message


@pytest.mark.parametrize("count", [5, 6, 8])
@pytest.mark.parametrize(("i", "j"), [(0, 2), (1, 3), (0, 4)])
@pytest.mark.parametrize("noise_seed", [1, 2])
def test_swapped_points_across_the_panel_are_named_when_a_further_point_tells(count, i, j, noise_seed):
    # the middle point alone would not tell: it stays where it is when the panel is mirrored about a diagonal
    kept = [0, 1, 2, 3, 5, 4, 6, 7][:count]
    clicks = CLICKS[kept] + np.random.default_rng(noise_seed).normal(0, 2, (count, 2))
    order = np.array(kept)
    order[[i, j]] = order[[j, i]]
    failure = refused(clicks, order=order)
    assert failure.reason is FailureReason.CROSSED
    assert set(failure.suspects) == {f"floor-{kept[i]}", f"floor-{kept[j]}"}


@pytest.mark.parametrize("count", [4, 5, 8])
@pytest.mark.parametrize("flip", [True, False], ids=["photo flipped", "panel seen from above"])
def test_mirrored(count, flip):
    if flip:
        failure = refused(CLICKS[:count] * [-1, 1] + [WIDTH, 0])
    else:
        failure = refused(CLICKS[:count], on=panel(seen_from=SeenFrom.ABOVE))
    assert failure.reason is FailureReason.MIRRORED
    assert "left and right are swapped, as if it were seen from the other side" in failure.message
    assert f"drawn seen from {'below' if flip else 'above'}" in failure.message
    assert failure.message.endswith("click the points again under their right names.")


def test_swapped_and_mirrored_four_point_fits_would_have_no_residual():
    """Why the residual is not asked: the arrangement is what is wrong."""
    flipped = fit_panel(CLICKS[:4] * [-1, 1] + [WIDTH, 0], DATUM_MM[:4], lens())
    assert flipped.square_sum_px2 < 1e-18
    crossed = fit_panel(CLICKS[:4], DATUM_MM[swapped(4, 0, 1)], lens())
    assert not crossed.is_in_front


def test_same_point_twice():
    failure = refused(CLICKS[[0, 1, 2, 3, 4]], order=[0, 1, 2, 3, 3])
    assert failure.reason is FailureReason.DUPLICATE
    assert "the point 'Rib end' was clicked twice; remove one of the two clicks" in failure.message
    assert failure.suspects == ("floor-3",)


def test_two_points_at_one_place():
    clicks = CLICKS[:5].copy()
    clicks[4] = clicks[1] + [0.5, -0.5]
    failure = refused(clicks)
    assert failure.reason is FailureReason.DUPLICATE
    assert "'Drain slot' and 'Plug' were clicked at the same place" in failure.message
    assert failure.suspects == ("floor-1", "floor-4")


def test_all_on_one_line():
    on_line = panel([[50, 300], [350, 300], [600, 300], [950, 300], [500, 500]])
    failure = refused(CAMERA.sees([d.at_mm for d in on_line.datum_points[:4]]), on=on_line)
    assert failure.reason is FailureReason.COLLINEAR
    assert "all the points lie on one line, which fixes no plane; click 'Plug' next off that line." in failure.message


def test_all_but_one_on_one_line():
    on_line = panel([[50, 300], [350, 300], [950, 300], [400, 560], [900, 40]])
    failure = refused(CAMERA.sees([d.at_mm for d in on_line.datum_points[:4]]), on=on_line)
    assert failure.reason is FailureReason.COLLINEAR
    assert "all the points but 'Rib end' lie on one line" in failure.message
    assert failure.suspects == ("floor-0", "floor-1", "floor-2")


def test_edge_on_photo_is_a_line_in_the_photo():
    squeezed = CLICKS[:4] * [1, 0.002] + [0, 700]
    assert refused(squeezed).reason is FailureReason.COLLINEAR


def test_too_near_together_in_the_photo():
    failure = refused(CLICKS[:4] * 0.05 + [900, 700])
    assert failure.reason is FailureReason.TOO_NEAR
    assert "too near together (they span 3 % of the photo and 100 % of the panel)" not in failure.message
    assert "too near together (they span " in failure.message
    assert "use a photo taken nearer" in failure.message


def test_too_near_together_on_the_panel():
    close = panel([[50, 50], [60, 50], [60, 62], [49, 60], [500, 500]])
    clicks = CLICKS[:4]
    assert refused(clicks, on=close).reason is FailureReason.TOO_NEAR


def clusters(apart_mm: float) -> tuple[Panel, np.ndarray]:
    """Six points in three pairs: on no line, and yet little more than three points."""
    step = apart_mm * np.array([[0, 0], [1, 0.5]])
    points = np.vstack([step + at for at in ([50, 50], [950, 60], [500, 550])])
    on = panel(points)
    return on, CAMERA.sees(points) + np.random.default_rng(0).normal(0, 0.5, points.shape)


def test_tight_clusters_fix_no_plane():
    on, clicks = clusters(3.0)
    failure = refused(clicks, on=on)
    assert failure.reason is FailureReason.COLLINEAR
    assert "the points lie so that they hardly fix a plane" in failure.message


def test_loose_clusters_are_told():
    on, clicks = clusters(20.0)
    (warning,) = fitted(clicks, on=on).warnings
    assert warning.startswith("The points lie so that the ground between them is 9 times less sure than a click: ")


def test_looseness_is_the_standard_error_amid_the_points():
    """Against the interval of the place itself: the spread of many refits."""
    on, clicks = clusters(20.0)
    shaken = np.random.default_rng(5).normal(0, 2, (400, *clicks.shape))
    middle = [d.at_mm for d in on.datum_points]
    places = np.array([fitted(clicks + s, on=on).to_px([np.mean(middle, axis=0)])[0] for s in shaken])
    largest = np.sqrt(np.linalg.eigvalsh(np.cov(places.T))[-1])
    assert largest / 2 == pytest.approx(9.0, abs=0.9)


def test_four_points_are_said_to_be_unchecked():
    (warning,) = fitted(CLICKS[:4]).warnings
    assert warning.startswith("Four points fit exactly wherever they were clicked, so nothing checks this fit: click '")
    assert warning.endswith("' as a fifth point.")


def test_points_in_one_corner_of_the_photo_are_called_poorly_spread():
    (warning,) = fitted(CLICKS * 0.15 + [900, 700]).warnings
    assert "of the photo, so marks far outside them are carried less surely" in warning


def test_eight_good_points_give_no_warning():
    clicks = CLICKS + np.random.default_rng(0).normal(0, 1.5, CLICKS.shape)
    assert fitted(clicks).warnings == ()


@pytest.mark.parametrize("count", [6, 8])
@pytest.mark.parametrize("index", range(6))
def test_one_stray_click_is_named_with_its_distance(count, index):
    by = np.array([24.0, -32.0])
    found = fitted(moved(count, index, (24, -32)))
    (warning,) = found.warnings
    assert warning.startswith(f"The point {NAMES[index]!r}")
    assert (
        f"lies {np.hypot(*by):.1f} px (" in warning
    )  # the others are exact: what is left out is the click's own error
    off_mm = fitted(CLICKS).to_mm(CLICKS[index] + by)[0][0] - DATUM_MM[index]
    assert f"({np.hypot(*off_mm):.1f} mm) from where the others put it: click it again." in warning
    assert found.sigma_px > Settings().click_sigma_px


@pytest.mark.parametrize("index", range(8))
def test_one_gross_click_is_refused_and_named(index):
    failure = refused(moved(8, index, (-280, 190)))
    assert failure.reason in {FailureReason.POOR_FIT, FailureReason.CROSSED}
    assert failure.suspects[0] == f"floor-{index}"
    assert "lies 338 px (" in failure.message
    assert failure.message.endswith("click it again or remove it.")


def test_a_gross_click_among_five_cannot_be_named():
    failure = refused(moved(5, 4, (250, 100)))
    assert failure.reason is FailureReason.POOR_FIT
    assert "with five points it cannot be told which is wrong" in failure.message
    assert failure.suspects == ()


def test_several_wrong_points_say_so():
    failure = refused(CLICKS, order=[3, 0, 1, 2, 5, 6, 7, 4])
    assert failure.reason in {FailureReason.POOR_FIT, FailureReason.CROSSED}
    assert "more than one is wrong; check their names, beginning with '" in failure.message


def test_moderate_misfit_is_kept_with_a_wider_interval():
    clicks = CLICKS + np.random.default_rng(4).normal(0, 9, CLICKS.shape)
    found = fitted(clicks)
    assert found.sigma_px > 6
    assert found.warnings


def test_sightings_of_other_photos_and_panels_are_passed_over():
    others = sightings(CLICKS + 100, of="photo-2") + sightings(CLICKS + 200, key="roof")
    on = panel()
    found = place_photo(photo(), on, others + sightings(CLICKS), lens(), Settings(), template(on))
    assert found.datum_ids == tuple(f"floor-{i}" for i in range(8))
