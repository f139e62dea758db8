"""A made-up car photographed by a made-up camera: the photo canvas' test scene.

The camera (a matrix and one lens term) is chosen here, so that every test
knows where a place of the panel lies on the photo without asking the code
under test for it: the formulas are written out again in `true_px`.
"""

from __future__ import annotations

import itertools
import os

import cv2
import numpy as np

from corromap.frames import PhotoId
from corromap.io.templates import load_template
from corromap.survey import Photo, Sighting, Survey

PANEL = "floor-left"
SCALE = int(os.environ.get("HARNESS_SCALE", "1"))  # 2 gives 24 million pixels
WIDTH, HEIGHT = 3000 * SCALE, 2000 * SCALE
FOCAL = 2900.0 * SCALE
K1 = -0.06
CENTRE = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2])


def template():
    return load_template("two-seat-open")


# panel mm -> undistorted px: seen from below with the front at the top, v (to the car's left) runs to the right
MM_TO_PX = np.diag([SCALE, SCALE, 1.0]) @ np.array([[0.30, 3.1, 700.0], [-1.15, 0.12, 1850.0], [0.00013, 0.00006, 1.0]])
MM_TO_PX_OTHER = np.diag([SCALE, SCALE, 1.0]) @ np.array(
    [[-0.1, 2.5, 900.0], [-1.35, -0.05, 1900.0], [0.00002, 0.00011, 1.0]]
)


def true_px(mm, matrix=MM_TO_PX):
    """Where a place of the panel lies on the photo."""
    mm = np.atleast_2d(np.asarray(mm, dtype=float))
    q = np.column_stack([mm, np.ones(len(mm))]) @ matrix.T
    flat = (q[:, :2] / q[:, 2:] - CENTRE) / FOCAL
    return CENTRE + FOCAL * flat * (1 + K1 * (flat**2).sum(axis=1, keepdims=True))


def photo(name="floor", order=0):
    """Without a focal length in its EXIF: from one plane alone it has no camera, and is placed on the floor only."""
    return Photo(
        id=PhotoId(f"photo-{name}"), name=f"{name}.jpg", sha256="0" * 64, width_px=WIDTH, height_px=HEIGHT,
        order=order,
    )  # fmt: skip


def sightings(of, matrix=MM_TO_PX, count=9):
    body = template()
    found = []
    for datum, at_mm in body.datum_positions(PANEL).items():
        px = true_px(at_mm, matrix)[0]
        if (px > 20).all() and (px < [WIDTH - 20, HEIGHT - 20]).all():
            found.append(Sighting(of.id, datum, px))
    step = max(1, len(found) // count)
    return tuple(found[::step])


def survey(*, placed=True):
    first, second = photo("floor"), photo("other", 1)
    clicked = (*sightings(first), *sightings(second, MM_TO_PX_OTHER)) if placed else ()
    return Survey(id="harness", photos=(first, second), sightings=clicked)


def picture(of, *, scale=1.0):
    """The floor as a dull plate with its zones and datum points drawn on it, dark at one side."""
    matrix = MM_TO_PX if of.endswith("floor") else MM_TO_PX_OTHER
    width, height = round(WIDTH * scale), round(HEIGHT * scale)
    rng = np.random.default_rng(7)
    coarse = rng.integers(70, 130, (height // 8, width // 8), dtype=np.uint8)
    image = cv2.cvtColor(cv2.resize(coarse, (width, height)), cv2.COLOR_GRAY2BGR)
    if SCALE > 1:  # fine grain as a phone's sensor gives it: it is what costs bytes
        image += rng.integers(0, 24, image.shape, dtype=np.uint8)
    image[:, : width // 3] //= 3  # a dark side, for lifting
    body = template().panel(PANEL)
    for zone in body.zones:
        ring = _dense(zone.outline.exterior_mm)
        cv2.polylines(image, [np.int32(true_px(ring, matrix) * scale)], True, (60, 66, 70), max(1, round(6 * scale)))
    for at_mm in template().datum_positions(PANEL).values():
        at = np.int32(true_px(at_mm, matrix)[0] * scale)
        cv2.circle(image, at.tolist(), max(2, round(16 * scale)), (25, 25, 28), -1)
    blob = true_px(np.array([[420, 180]]) + 60 * _circle(), matrix) * scale
    cv2.fillPoly(image, [np.int32(blob)], (30, 68, 122))
    return image


def _circle():
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    return np.column_stack([np.cos(angle), np.sin(angle)])


def _dense(ring):
    closed = np.vstack([ring, ring[:1]])
    steps = np.linspace(0, 1, 30, endpoint=False)[:, None]
    return np.vstack([a + steps * (b - a) for a, b in itertools.pairwise(closed)])


def jpeg(of, scale=1.0):
    ok, data = cv2.imencode(".jpg", picture(of, scale=scale), [cv2.IMWRITE_JPEG_QUALITY, 85])
    if not ok:
        raise RuntimeError("OpenCV could not write a JPEG")
    return data.tobytes()
