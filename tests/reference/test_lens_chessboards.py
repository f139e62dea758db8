"""OpenCV's chessboards: what a lens does to areas, and what our correction leaves.

Debian `opencv-doc` 4.6.0, examples/data: left01..left14.jpg (13 pictures, 9 x 6 inner
corners, 25 mm) and left_intrinsics.yml. Four outer corners place the board, fifty check
it; the area asked for is a rectangle of 100 x 75 mm inside. No part of a photo is averaged
away by taking more of them: the raw bias has one sign in all thirteen.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import pytest
import shapely

from corromap.frames import CameraId, DatumId, PanelId, PanelOutline, PhotoId
from corromap.registration import Lens, Registration, place_photo, place_photos, solve_lenses
from corromap.survey import Photo, Settings, Sighting, Survey
from corromap.template import BodyTemplate, DatumPoint, DatumShape, Frame2D, Panel, Part, Place, SeenFrom, Side
from tests.opencv_pictures import opencv_sample

NUMBERS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14)
BOARD_MM = np.array([(25.0 * i, 25.0 * j) for j in range(6) for i in range(9)])
OUTER = (0, 8, 45, 53)
RECTANGLE = (11, 15, 42, 38)  # columns 2 to 6, rows 1 to 4: 100 x 75 mm
SOME = (0, 4, 8, 18, 22, 26, 31, 45, 49, 53)  # ten points, as a careful person would click
PIXEL_SIGMA = 0.3  # corners found to sub-pixels


def board() -> tuple[Panel, BodyTemplate]:
    datum = tuple(
        DatumPoint(DatumId(f"corner-{i}"), f"Corner {i}", "inner corner", DatumShape.SEAM_CROSSING, at)
        for i, at in enumerate(BOARD_MM)
    )
    panel = Panel(
        id=PanelId("board"),
        name="Board",
        part=Part.FLOOR,
        side=Side.LEFT,
        seen_from=SeenFrom.BELOW,
        outline=PanelOutline(PanelId("board"), [[-25, -25], [225, -25], [225, 150], [-25, 150]]),
        place=Place([0, 0, 0], [1, 0, 0], [0, 1, 0]),
        map_frame=Frame2D([0, 0], [1, 0], [0, 1]),
        zones=(),
        datum_points=datum,
    )
    return panel, BodyTemplate("board", "Board", "for tests", 1, 0.0, (panel,))


@dataclass(frozen=True, eq=False)
class Boards:
    corners: dict[PhotoId, np.ndarray]
    photos: tuple[Photo, ...]

    def survey(self, points: tuple[int, ...], focal_px: float | None = None) -> Survey:
        photos = tuple(
            Photo(p.id, p.name, p.sha256, p.width_px, p.height_px, CameraId("left"), focal_px) for p in self.photos
        )
        seen = tuple(
            Sighting(photo.id, DatumId(f"corner-{i}"), self.corners[photo.id][i]) for photo in photos for i in points
        )
        return Survey("boards", photos=photos, sightings=seen, settings=Settings(click_sigma_px=PIXEL_SIGMA))

    def area_errors(self, lenses: dict[PhotoId, Lens]) -> np.ndarray:
        """Relative error of the rectangle's area in each picture, placed by the four outer corners."""
        survey, (panel, template) = self.survey(OUTER), board()
        errors = []
        for photo in survey.photos:
            found = place_photo(photo, panel, survey.sightings, lenses[photo.id], survey.settings, template)
            assert isinstance(found, Registration)
            corners_mm = found.to_mm(self.corners[photo.id][list(RECTANGLE)])[0]
            errors.append(shapely.Polygon(corners_mm).area / 7500.0 - 1.0)
        return np.array(errors)

    def check_rms_mm(self, lenses: dict[PhotoId, Lens]) -> np.ndarray:
        survey, (panel, template) = self.survey(OUTER), board()
        rms = []
        for photo in survey.photos:
            found = place_photo(photo, panel, survey.sightings, lenses[photo.id], survey.settings, template)
            off = np.delete(found.to_mm(self.corners[photo.id])[0] - BOARD_MM, OUTER, axis=0)
            rms.append(np.sqrt((off**2).sum(axis=1).mean()))
        return np.array(rms)

    def same_lens(self, lens: Lens) -> dict[PhotoId, Lens]:
        return {photo.id: lens for photo in self.photos}


@pytest.fixture(scope="module")
def boards() -> Boards:
    corners, photos = {}, []
    for number in NUMBERS:
        grey = cv2.imread(str(opencv_sample(f"left{number:02d}.jpg")), cv2.IMREAD_GRAYSCALE)
        found, rough = cv2.findChessboardCorners(grey, (9, 6))
        assert found
        stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 1e-3)
        # a wider window takes in the next corner in the smallest boards
        fine = cv2.cornerSubPix(grey, rough, (5, 5), (-1, -1), stop)
        key = PhotoId(f"left{number:02d}")
        corners[key] = fine.reshape(-1, 2).astype(float)
        photos.append(Photo(key, f"{key}.jpg", "0" * 64, grey.shape[1], grey.shape[0]))
    return Boards(corners, tuple(photos))


@pytest.fixture(scope="module")
def published() -> tuple[float, np.ndarray, np.ndarray]:
    """Focal length, centre and distortion coefficients of left_intrinsics.yml."""
    storage = cv2.FileStorage(str(opencv_sample("left_intrinsics.yml")), cv2.FILE_STORAGE_READ)
    matrix = storage.getNode("camera_matrix").mat()
    return float(matrix[0, 0]), matrix[:2, 2], storage.getNode("distortion_coefficients").mat().ravel()


def test_without_correction_every_area_is_too_large(boards):
    """Do not take the correction out: +3.7 to +7.2 %, with a residual of zero."""
    straight = Lens(None, [319.5, 239.5], 536.0, 0.0, 0.0, "none")
    errors = boards.area_errors(boards.same_lens(straight))
    assert errors.min() > 0.035
    assert errors.max() < 0.075
    assert np.median(errors) == pytest.approx(0.056, abs=0.003)
    assert np.median(boards.check_rms_mm(boards.same_lens(straight))) == pytest.approx(1.55, abs=0.1)


def test_our_own_estimate_from_all_corners_brings_every_area_within_0_7_per_cent(boards):
    lenses = solve_lenses(boards.survey(tuple(range(54))), board()[1])
    errors = boards.area_errors(lenses)
    assert np.abs(errors).max() < 0.007
    assert np.abs(np.median(errors)) < 0.003
    assert np.median(boards.check_rms_mm(lenses)) < 0.25


def test_our_own_estimate_from_ten_clicks_a_photo_brings_every_area_within_0_9_per_cent(boards):
    lenses = solve_lenses(boards.survey(SOME), board()[1])
    errors = boards.area_errors(lenses)
    assert np.abs(errors).max() < 0.009
    assert np.abs(np.median(errors)) < 0.003


def test_five_clicks_a_photo_take_away_most_of_the_bias(boards):
    lenses = solve_lenses(boards.survey((*OUTER, 22)), board()[1])
    assert np.abs(boards.area_errors(lenses)).max() < 0.015


def test_published_k1_and_centre_bring_every_area_within_0_8_per_cent(boards, published):
    """The published calibration has five coefficients; its k1 alone, through our one-term lens."""
    focal, centre, coefficients = published
    lens = Lens(None, centre, focal, float(coefficients[0]), 0.0, "left_intrinsics.yml")
    errors = boards.area_errors(boards.same_lens(lens))
    assert np.abs(errors).max() < 0.008
    assert np.abs(np.median(errors)) < 0.004


@pytest.mark.parametrize("points", [tuple(range(54)), SOME], ids=["all corners", "ten corners"])
@pytest.mark.parametrize("with_exif", [True, False])
def test_estimate_agrees_with_the_published_calibration(boards, published, points, with_exif):
    focal, centre, coefficients = published
    survey = boards.survey(points, focal_px=focal if with_exif else None)
    lens = solve_lenses(survey, board()[1])[survey.photos[0].id]
    # with one radial term only k1 / focal**2 means anything: without EXIF it is compared in the published unit
    assert lens.k1 * (focal / lens.focal_px) ** 2 == pytest.approx(coefficients[0], abs=0.012)
    np.testing.assert_allclose(lens.centre_px, centre, atol=4.0)
    start = "focal length from EXIF" if with_exif else "focal length assumed (26 mm equivalent)"
    assert lens.source.startswith(f"{start}, distortion estimated from ")
    assert lens.source.endswith("spare coordinates of 13 fits together")


def test_corners_straightened_by_our_lens_agree_with_opencv(boards, published):
    """cv2.undistortPoints with k1 alone."""
    focal, centre, coefficients = published
    lens = Lens(None, centre, focal, float(coefficients[0]), 0.0, "left_intrinsics.yml")
    matrix = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1]])
    k1_alone = np.array([coefficients[0], 0, 0, 0, 0])
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 200, 1e-12)
    for corners in boards.corners.values():
        theirs = cv2.undistortPoints(corners[:, None], matrix, k1_alone, P=matrix, criteria=stop).reshape(-1, 2)
        np.testing.assert_allclose(lens.undistort(corners), theirs, atol=1e-6)


def test_four_corners_alone_show_no_lens_and_say_so(boards):
    """No point to spare: the prior stays, and its uncertainty covers the bias."""
    survey = boards.survey(OUTER)
    lenses = solve_lenses(survey, board()[1])
    lens = lenses[survey.photos[0].id]
    assert (lens.k1, lens.sigma_k1) == (0.0, 0.1)
    assert lens.source == "focal length assumed (26 mm equivalent), k1 = 0 within 0.1 assumed"
    placed = place_photos(survey, board()[1])
    off = []
    for photo in survey.photos:
        found = placed[photo.id, PanelId("board")]
        assert isinstance(found, Registration)
        inside = boards.corners[photo.id][list(RECTANGLE)]
        corners_mm = found.to_mm(inside)[0]
        across = (np.roll(corners_mm, -1, axis=0) - np.roll(corners_mm, 1, axis=0)) / 2
        by_corner = np.column_stack([across[:, 1], -across[:, 0]])  # of the shoelace area
        by_lens = np.einsum("ni,nip->p", by_corner, found.sensitivities(inside)["lens:left"])
        sigma_mm2 = float(np.sqrt(by_lens @ lens.covariance @ by_lens))
        off.append((shapely.Polygon(corners_mm).area - 7500.0) / sigma_mm2)
    # The published k1 is -0.215 in the assumed unit: 2.15 prior sigmas out, and so is every area, all to one
    # side; a little more, for the swing of so wide a lens is not quite linear.
    np.testing.assert_allclose(off, 2.5, atol=0.25)
