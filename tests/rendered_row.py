"""A row of rendered photos under a body: pixels of the truth bench's renderer, cameras known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from corromap.frames import CameraId, DatumId, PhotoId
from corromap.io.templates import load_template
from corromap.registration import Registration
from corromap.survey import Photo, Sighting
from corromap.template import BodyTemplate
from tools.demo_scene.camera import Camera
from tools.truth_bench.relief import Relief
from tools.truth_bench.render import Rendered, Renderer
from tools.truth_bench.scene import make_scene

__all__ = ["RenderedRow", "camera_at", "row_cameras"]

SIZE = (1000, 750)
FOCAL_PX = 760.0
FOCAL_STATED_PX = 752.0
"""As EXIF rounds it: one per cent off."""

EDGE_PX = 8


def camera_at(eye_mm: Sequence[float], at_mm: Sequence[float], *, focal_px: float = FOCAL_PX) -> Camera:
    """Take a camera with a little barrel distortion to a place."""
    return Camera.looking(eye_mm, at_mm, (0, 1, 0), size=SIZE, focal_px=focal_px, dist=(-0.05, 0.005, 0, 0, 0))


def row_cameras(count: int = 8, step_mm: float = 230.0, y_mm: float = 330.0) -> list[Camera]:
    """Photos from front to rear under the left floor, overlapping by more than half."""
    found = []
    for i in range(count):
        x = 700 - step_mm * i
        eye = (x + 40 * (-1) ** i, y_mm + 60 * (i % 3), -620 + 40 * (i % 2))
        found.append(camera_at(eye, (x - 60, y_mm + 100 + 50 * ((i + 1) % 3), -20)))
    return found


@dataclass(eq=False)
class RenderedRow:
    """Photos with everything that is true of them.

    Parameters
    ----------
    cameras : list of Camera
        True cameras.
    seed : int
        Of the car's skin.
    bent : bool
        With the bench's relief: panels are not flat.
    """

    cameras: list[Camera]
    seed: int = 5
    bent: bool = False
    template_id: str = "two-seat-open"

    @cached_property
    def body(self) -> BodyTemplate:
        return load_template(self.template_id)

    @cached_property
    def renderer(self) -> Renderer:
        scene = make_scene(self.body, np.random.default_rng([self.seed, 1]), scale_sigma=0.0, seed=self.seed)
        return Renderer(scene, Relief(scene) if self.bent else None)

    @cached_property
    def rendered(self) -> list[Rendered]:
        return [self.renderer.render(camera, i) for i, camera in enumerate(self.cameras)]

    @cached_property
    def photos(self) -> tuple[Photo, ...]:
        return tuple(
            Photo(PhotoId(f"photo-{i + 1}"), f"photo-{i + 1}.jpg", "0" * 64, *SIZE, CameraId("phone"), FOCAL_STATED_PX,
                  order=i)
            for i in range(len(self.cameras))
        )  # fmt: skip

    def grey(self, photo: PhotoId) -> NDArray[np.uint8]:
        """Pixels of a photo, as the program reads them."""
        return cv2.cvtColor(self.rendered[int(photo[6:]) - 1].image, cv2.COLOR_RGB2GRAY)

    def clicks(self, number: int, count: int, *, noise_px: float = 1.0, seed: int = 0) -> list[Sighting]:
        """Click datum points that a photo really shows, far from one another."""
        random = np.random.default_rng([seed, number])
        camera, depth = self.cameras[number], self.rendered[number].depth_mm
        seen: dict[DatumId, NDArray[np.float64]] = {}
        for panel in self.body.panels:
            for datum in panel.datum_points:
                inside = camera.rotation @ panel.place.to_car(datum.at_mm)[0] + camera.tvec
                px = self.shown(number, panel.place.to_car(datum.at_mm))[0]
                if inside[2] < 50 or not ((px > EDGE_PX) & (px < np.array(SIZE) - EDGE_PX)).all():
                    continue
                if abs(depth[round(px[1]), round(px[0])] - inside[2]) < 8:
                    seen[datum.id] = px
        ids = sorted(seen)
        chosen = [ids[int(random.integers(len(ids)))]]
        while len(chosen) < min(count, len(ids)):
            rest = [d for d in ids if d not in chosen]
            chosen.append(max(rest, key=lambda d: min(np.hypot(*(seen[d] - seen[c])) for c in chosen)))
        name = PhotoId(f"photo-{number + 1}")
        return [Sighting(name, d, seen[d] + random.normal(0, noise_px, 2)) for d in chosen]

    def shown(self, number: int, car_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Pixels at which a photo shows points of the car, hidden or not."""
        camera = self.cameras[number]
        points = np.asarray(car_mm, dtype=np.float64).reshape(-1, 1, 3)
        return cv2.projectPoints(points, camera.rvec, camera.tvec, camera.matrix, np.array(camera.dist))[0].reshape(
            -1, 2
        )

    def errors_mm(self, number: int, one: Registration, most: int = 60) -> NDArray[np.float64]:
        """How far places are off that a registration gives to pixels that really show its panel; NaN beyond it."""
        index = [panel.id for panel in self.body.panels].index(one.panel)
        ys, xs = np.nonzero(self.rendered[number].panel == index)
        if len(xs) < 50:
            return np.empty(0)
        rows = np.random.default_rng(number).choice(len(xs), min(most, len(xs)), replace=False)
        px = np.stack([xs[rows], ys[rows]], axis=1).astype(float)
        camera, place = self.cameras[number], self.body.panel(one.panel).place
        straight = cv2.undistortPoints(px.reshape(-1, 1, 2), camera.matrix, np.array(camera.dist)).reshape(-1, 2)
        rotation = camera.rotation
        plane = np.stack(
            [rotation @ place.u_axis, rotation @ place.v_axis, rotation @ place.origin_mm + camera.tvec], axis=1
        )
        met = np.column_stack([straight, np.ones(len(px))]) @ np.linalg.inv(plane).T
        return np.hypot(*(one.to_mm(px)[0] - met[:, :2] / met[:, 2:]).T)
