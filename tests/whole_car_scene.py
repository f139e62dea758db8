"""A camera under a packaged body that sees several panels, by OpenCV's own projection."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np

from corromap.frames import CameraId, DatumId, PanelId, PhotoId
from corromap.io.templates import load_template
from corromap.survey import Photo, Settings, Sighting, Survey
from corromap.template import BodyTemplate

BODY: BodyTemplate = load_template("two-seat-open")
WIDTH, HEIGHT, FOCAL, K1 = 2000, 1500, 1450.0, -0.06
MIDDLE = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2])
SEEN = tuple(PanelId(p) for p in ("floor-left", "sill-left-underside", "sill-left-inner"))


@dataclass(frozen=True, eq=False)
class Shot:
    """A pinhole with one radial term, looking at a place from another, car frame."""

    eye_mm: tuple[float, float, float] = (150.0, 100.0, -900.0)
    at_mm: tuple[float, float, float] = (0.0, 480.0, -20.0)
    focal_px: float = FOCAL
    k1: float = K1

    @property
    def rotation(self) -> np.ndarray:
        z = np.subtract(self.at_mm, self.eye_mm)
        z = z / np.linalg.norm(z)
        x = np.cross(z, [1.0, 0.2, 0.0])
        x = x / np.linalg.norm(x)
        return np.stack([x, np.cross(z, x), z])

    def sees(self, car_mm: np.ndarray) -> np.ndarray:
        matrix = np.array([[self.focal_px, 0, MIDDLE[0]], [0, self.focal_px, MIDDLE[1]], [0, 0, 1.0]])
        shift = -self.rotation @ np.array(self.eye_mm)
        points = np.asarray(car_mm, dtype=float).reshape(-1, 1, 3)
        return cv2.projectPoints(points, self.rotation, shift, matrix, np.array([self.k1, 0, 0, 0.0]))[0].reshape(-1, 2)


def photo(key: str = "photo-1", *, focal_px: float | None = FOCAL, camera: str | None = None) -> Photo:
    return Photo(
        PhotoId(key), f"{key}.jpg", "0" * 64, WIDTH, HEIGHT, None if camera is None else CameraId(camera), focal_px
    )


def in_frame(shot: Shot, panels: Iterable[PanelId] = SEEN) -> dict[DatumId, np.ndarray]:
    """Where the panels' datum points fall, those inside the frame."""
    found: dict[DatumId, np.ndarray] = {}
    for panel in panels:
        positions = BODY.datum_positions(panel)
        px = shot.sees(BODY.panel(panel).place.to_car(np.array(list(positions.values()))))
        inside = ((px >= 0) & (px <= [WIDTH - 1, HEIGHT - 1])).all(axis=1)
        found.update({datum: at for datum, at, ok in zip(positions, px, inside, strict=True) if ok})
    return found


def survey(
    clicks: dict[DatumId, np.ndarray], *, noise_px: float = 0.0, seed: int = 0, given: Photo | None = None
) -> Survey:
    random = np.random.default_rng(seed)
    given = photo() if given is None else given
    seen = tuple(Sighting(given.id, d, at + noise_px * random.standard_normal(2)) for d, at in clicks.items())
    return Survey("trial", photos=(given,), sightings=seen, settings=Settings())
