"""Photos of one known picture, painted on one panel, taken by exact cameras."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
import shapely

from corromap.evidence.quality import RgbArray
from corromap.evidence.sheet import PictureSheet, sheet_of
from corromap.evidence.whole_picture import WholePicture
from corromap.frames import PhotoId
from corromap.projection import Projection, SeenArea
from corromap.registration import Registration
from corromap.template import BodyTemplate
from tests.registration_scene import DATUM_MM, HEIGHT, WIDTH, Camera, fitted, template

BODY: BodyTemplate = template()
PANEL = BODY.panels[0]
CROSSES = np.array([[u, v] for u in (150.0, 400.0, 650.0, 850.0) for v in (100.0, 300.0, 500.0)])


def texture(seed: int = 3) -> RgbArray:
    """1000 x 600 mm of panel at 1 mm per px, v down the rows: smooth blotches with crosses of known place."""
    noise = np.random.default_rng(seed).normal(0, 1, (600, 1000, 3))
    blotches = cv2.GaussianBlur(noise, (0, 0), 12)
    picture = 120 + 45 * blotches / blotches.std()
    for u, v in CROSSES.astype(int):
        picture[v - 12 : v + 13, u - 1 : u + 2] = picture[v - 1 : v + 2, u - 12 : u + 13] = 250
    return np.clip(picture, 20, 255).astype(np.uint8)


def photograph(registration: Registration, paint: RgbArray) -> RgbArray:
    """Bilinear render by the inverse map, pixel by pixel of the photo."""
    x, y = np.meshgrid(np.arange(WIDTH, dtype=float), np.arange(HEIGHT, dtype=float))
    uv, _ = registration.to_mm(np.column_stack([x.ravel(), y.ravel()]))
    at = np.nan_to_num(uv - 0.5, nan=-1e4).clip(-1e4, 1e4).astype(np.float32).reshape(HEIGHT, WIDTH, 2)
    return np.asarray(cv2.remap(paint, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def seen(photo: str, registration: Registration) -> SeenArea:
    frame = shapely.box(-0.5, -0.5, WIDTH - 0.5, HEIGHT - 0.5)
    edge = shapely.get_coordinates(shapely.segmentize(frame, 20.0))
    area = shapely.Polygon(registration.to_mm(edge)[0]).intersection(PANEL.outline.polygon)
    return SeenArea(PhotoId(photo), PANEL.id, shapely.MultiPolygon([area]), shapely.MultiPolygon())


def picture_of(
    cameras: dict[str, Camera],
    paint: RgbArray,
    mm_per_px: float = 1.0,
    *,
    dim: dict[str, float] | None = None,
    light: np.ndarray | None = None,
) -> tuple[WholePicture, PictureSheet]:
    places = {key: replace(fitted(camera.sees(DATUM_MM), lens_=camera.lens), photo=PhotoId(key))
              for key, camera in cameras.items()}  # fmt: skip
    photos = {key: photograph(places[key], paint) for key in cameras}
    for key, factor in (dim or {}).items():
        photos[key] = (photos[key] * factor).astype(np.uint8)
    if light is not None:
        photos = {key: (photo * light[..., None]).astype(np.uint8) for key, photo in photos.items()}
    projection = Projection((), (), tuple(seen(key, place) for key, place in places.items()))
    registrations = {(PhotoId(key), PANEL.id): place for key, place in places.items()}
    sheet = sheet_of(BODY, mm_per_px)
    return WholePicture(sheet, BODY, projection, registrations, loader(photos)), sheet


def loader(photos: dict[str, RgbArray]) -> Callable[[PhotoId, int], RgbArray]:
    def load(photo: PhotoId, reduce: int) -> RgbArray:
        full = photos[photo]
        size = (-(-full.shape[1] // reduce), -(-full.shape[0] // reduce))
        return full if reduce == 1 else np.asarray(cv2.resize(full, size, interpolation=cv2.INTER_AREA))

    return load
