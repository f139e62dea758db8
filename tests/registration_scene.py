"""A panel with named datum points and cameras that look at it, for tests of registration."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from corromap.frames import CameraId, DatumId, PanelId, PanelOutline, PhotoId
from corromap.registration import Lens, Registration, RegistrationFailure, place_photo
from corromap.survey import Photo, Settings, Sighting
from corromap.template import BodyTemplate, DatumPoint, DatumShape, Fold, Frame2D, Panel, Part, Place, SeenFrom, Side

WIDTH, HEIGHT, FOCAL = 2000, 1500, 1500.0
MIDDLE = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2])

# corners first, then points that check them; no three on a line
DATUM_MM = np.array(
    [[50, 50], [950, 60], [940, 560], [60, 540], [500, 300], [300, 80], [700, 520], [480, 560]], dtype=float
)
NAMES = ("Jack hole", "Drain slot", "Seam end", "Rib end", "Plug", "Bracket", "Notch", "Bolt")


def panel(
    points: ArrayLike = DATUM_MM,
    *,
    key: str = "floor",
    seen_from: SeenFrom = SeenFrom.BELOW,
    folds: tuple[Fold, ...] = (),
) -> Panel:
    """A 1000 x 600 mm floor, u forward and v to the left, seen from below."""
    datum = tuple(
        DatumPoint(DatumId(f"{key}-{i}"), name, "recognised at sight", DatumShape.SLOT, at)
        for i, (name, at) in enumerate(zip(NAMES * 8, np.asarray(points, dtype=float), strict=False))
    )
    return Panel(
        id=PanelId(key),
        name=f"Left {key}",
        part=Part.FLOOR,
        side=Side.LEFT,
        seen_from=seen_from,
        outline=PanelOutline(PanelId(key), [[0, 0], [1000, 0], [1000, 600], [0, 600]]),
        place=Place([0, 0, 0], [1, 0, 0], [0, 1, 0]),
        map_frame=Frame2D([0, 0], [1, 0], [0, 1]),
        zones=(),
        datum_points=datum,
        folds=folds,
    )


def template(*panels: Panel) -> BodyTemplate:
    return BodyTemplate("trial", "Trial body", "for tests", 1, 0.01, panels or (panel(),))


def photo(key: str = "photo-1", *, camera: str | None = None, focal_px: float | None = FOCAL) -> Photo:
    return Photo(
        PhotoId(key), f"{key}.jpg", "0" * 64, WIDTH, HEIGHT, None if camera is None else CameraId(camera), focal_px
    )


def lens(k1: float = 0.0, shift: ArrayLike = (0.0, 0.0), sigma_k1: float = 0.0) -> Lens:
    return Lens(None, MIDDLE + FOCAL * np.asarray(shift), FOCAL, k1, sigma_k1, "known to the test")


def turned(*angles: float) -> np.ndarray:
    """Rotation about x, y, z in turn, radians."""
    matrix = np.eye(3)
    for axis, angle in enumerate(angles):
        i, j = [(1, 2), (2, 0), (0, 1)][axis]
        step = np.eye(3)
        step[i, i] = step[j, j] = np.cos(angle)
        step[j, i], step[i, j] = np.sin(angle), -np.sin(angle)
        matrix = step @ matrix
    return matrix


@dataclass(frozen=True, eq=False)
class Camera:
    """A pinhole with one radial term that looks at the panel from below."""

    rotation: np.ndarray
    distance_mm: float
    lens: Lens

    @classmethod
    def at(cls, seed: int, lens_: Lens, tilt: float = 0.45) -> Camera:
        random = np.random.default_rng(seed)
        return cls(turned(*random.uniform(-tilt, tilt, 3)), float(random.uniform(800, 1100)), lens_)

    def undistorted(self, xy_mm: ArrayLike) -> np.ndarray:
        # seen from below with u to the right, v runs down the photo as the pixels do
        uv = np.asarray(xy_mm, dtype=float).reshape(-1, 2) - [500, 300]
        xyz = np.column_stack([uv, np.zeros(len(uv))]) @ self.rotation.T + [0, 0, self.distance_mm]
        return xyz[:, :2] / xyz[:, 2:] * FOCAL + MIDDLE

    def sees(self, xy_mm: ArrayLike) -> np.ndarray:
        return self.lens.distort(self.undistorted(xy_mm))


def sightings(
    clicks: ArrayLike, *, key: str = "floor", of: str = "photo-1", order: ArrayLike | None = None
) -> list[Sighting]:
    clicks = np.asarray(clicks, dtype=float)
    indices = range(len(clicks)) if order is None else np.asarray(order)
    return [Sighting(PhotoId(of), DatumId(f"{key}-{i}"), at) for i, at in zip(indices, clicks, strict=True)]


def placed(
    clicks: ArrayLike,
    *,
    order: ArrayLike | None = None,
    lens_: Lens | None = None,
    on: Panel | None = None,
    settings: Settings | None = None,
) -> Registration | RegistrationFailure:
    on = panel() if on is None else on
    return place_photo(
        photo(), on, sightings(clicks, order=order), lens_ or lens(), settings or Settings(), template(on)
    )


def fitted(*args: object, **options: object) -> Registration:
    found = placed(*args, **options)  # type: ignore[arg-type]
    if isinstance(found, RegistrationFailure):
        raise TypeError(found.message)
    return found


def refused(*args: object, **options: object) -> RegistrationFailure:
    found = placed(*args, **options)  # type: ignore[arg-type]
    if isinstance(found, Registration):
        raise TypeError(f"placed: {found.warnings}")
    return found
