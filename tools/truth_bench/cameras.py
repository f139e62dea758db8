"""Photos as a person under a car or beside it takes them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.frames import CameraId, PanelId, PhotoId
from corromap.survey import Photo
from corromap.template import Panel
from tools.demo_scene.camera import Camera
from tools.truth_bench.conditions import Condition
from tools.truth_bench.scene import Scene
from tools.truth_bench.sight import Face, Sight, faces_of, sights_of, towards_viewer

__all__ = ["FULL_FRAME_MM", "Shot", "take_photos"]

Array = NDArray[np.float64]

FULL_FRAME_MM = float(np.hypot(36.0, 24.0))
"""Diagonal that 35 mm equivalent focal lengths refer to."""

SIZES = ((1600, 1200), (2000, 1500), (4000, 3000))
FOCAL_35MM = (24.0, 35.0)
DISTANCE_MM = (300.0, 1500.0)
OBLIQUITY_DEG, MOST_OBLIQUE_DEG = 28.0, 60.0
CLEAR_MM = 80.0
"""No part of the body is nearer to the lens."""

TRIES = 60


@dataclass(frozen=True, eq=False)
class Shot:
    """One photo with its true camera.

    Parameters
    ----------
    photo : Photo
        As the program gets it: EXIF focal length and all.
    camera : Camera
        As it was.
    sights : mapping of PanelId to Sight
        What it shows.
    """

    photo: Photo
    camera: Camera
    sights: Mapping[PanelId, Sight]


def take_photos(scene: Scene, condition: Condition, rng: np.random.Generator) -> tuple[Shot, ...]:
    """Take 8 to 40 photos with one or two cameras.

    Parameters
    ----------
    scene : Scene
        The car.
    condition : Condition
        For the range of the lens.
    rng : Generator
        Source of the numbers.

    Returns
    -------
    tuple of Shot
        Seven in ten are aimed at a mark, the others at a panel.
    """
    faces = faces_of(scene.template)
    bodies = [_lens(condition, rng) for _ in range(1 + int(rng.random() < 0.3))]
    shots = []
    for number in range(int(rng.integers(8, 41))):
        lens, has_exif, equivalent = bodies[int(rng.integers(len(bodies)))]
        name = f"photo-{number + 1}"
        if rng.random() < 0.25:
            lens = replace(lens, width=lens.height, height=lens.width, cx=lens.cy, cy=lens.cx)
        camera, sights = _aimed(scene, faces, lens, rng)
        focal = equivalent / FULL_FRAME_MM * float(np.hypot(lens.width, lens.height)) if has_exif else None
        key = CameraId(f"invented {equivalent} {max(lens.width, lens.height)}") if has_exif else None
        photo = Photo(PhotoId(name), f"{name}.jpg", f"{number:064x}", lens.width, lens.height, key, focal, order=number)
        shots.append(Shot(photo, camera, sights))
    return tuple(shots)


def _lens(condition: Condition, rng: np.random.Generator) -> tuple[Camera, bool, int]:
    """A camera without a place, whether EXIF names it, and the focal length EXIF rounds to."""
    width, height = SIZES[int(rng.integers(len(SIZES)))]
    diagonal = float(np.hypot(width, height))
    equivalent = float(rng.uniform(*FOCAL_35MM))
    focal = equivalent / FULL_FRAME_MM * diagonal
    corner = diagonal / 2 / focal
    while True:
        k1, k2 = float(rng.uniform(*condition.k1)), float(np.clip(rng.normal(0, 0.01), -0.02, 0.02))
        r = np.linspace(0, 1.6 * corner, 200)
        bent = r * (1 + k1 * r**2 + k2 * r**4)
        inside = r[: 1 + int(np.searchsorted(np.maximum.accumulate(bent), corner))]
        if bent.max() > corner and np.all(1 + 3 * k1 * inside**2 + 5 * k2 * inside**4 > 0.3):
            break
    p1, p2 = rng.normal(0, 2e-4, 2)
    cx, cy = (width - 1) / 2 + rng.normal(0, 0.004 * width), (height - 1) / 2 + rng.normal(0, 0.004 * width)
    dist = (k1, k2, float(p1), float(p2), 0.0)
    if condition.plain_lens:
        cx, cy, dist = (width - 1) / 2, (height - 1) / 2, (k1, 0.0, 0.0, 0.0, 0.0)
    lens = Camera(width, height, focal, float(cx), float(cy), dist, np.zeros(3), np.zeros(3))
    return lens, bool(rng.random() < 0.8), round(equivalent)


def _aimed(
    scene: Scene, faces: Sequence[Face], lens: Camera, rng: np.random.Generator
) -> tuple[Camera, Mapping[PanelId, Sight]]:
    """A pose from which the aimed-at place is really seen."""
    panel, at = _target(scene, rng)
    best: tuple[float, Camera] | None = None
    for attempt in range(TRIES):
        if attempt % 8 == 7:
            panel, at = _target(scene, rng)
        camera = _pose(scene, panel, at, lens, rng)
        if camera.eye_mm[2] < scene.ground_z_mm + CLEAR_MM or _is_inside(faces, camera.eye_mm):
            continue
        sight = sights_of(camera, faces, only=panel.id).get(panel.id)
        if sight is None:
            continue
        if shapely.distance(sight.visible, shapely.Point(at)) < 1.0:
            return camera, sights_of(camera, faces)
        if best is None or sight.visible.area > best[0]:
            best = (float(sight.visible.area), camera)
    if best is None:
        raise RuntimeError("no place for a camera was found")
    return best[1], sights_of(best[1], faces)


def _target(scene: Scene, rng: np.random.Generator) -> tuple[Panel, Array]:
    panels = scene.template.panels
    if scene.marks and rng.random() < 0.7:
        mark = scene.marks[int(rng.integers(len(scene.marks)))]
        point = mark.area.representative_point()
        return scene.template.panel(mark.panel), np.array([point.x, point.y])
    weight = np.array([p.outline.area_mm2 for p in panels])
    panel = panels[int(rng.choice(len(panels), p=weight / weight.sum()))]
    low, high = np.array(panel.outline.polygon.bounds).reshape(2, 2)
    return panel, rng.uniform(low, high)


def _pose(scene: Scene, panel: Panel, at: Array, lens: Camera, rng: np.random.Generator) -> Camera:
    del scene
    n = towards_viewer(panel)
    tilt = np.radians(min(abs(rng.normal(0, OBLIQUITY_DEG)), MOST_OBLIQUE_DEG))
    around = rng.uniform(0, 2 * np.pi)
    side = np.cos(around) * panel.place.u_axis + np.sin(around) * panel.place.v_axis
    place = panel.place.to_car(at)[0]
    eye = place + rng.uniform(*DISTANCE_MM) * (np.cos(tilt) * n + np.sin(tilt) * side)
    # the middle of the photo is somewhere near the target, not on it
    aim = place + rng.normal(0, 0.1, 2) @ np.stack([panel.place.u_axis, panel.place.v_axis]) * np.linalg.norm(
        eye - place
    )
    ahead = (aim - eye) / np.linalg.norm(aim - eye)
    up = np.array([0.0, 0.0, 1.0])
    if abs(ahead[2]) > 0.7:  # looking up from a creeper: the head lies to the front or the rear
        up = np.array([rng.choice([-1.0, 1.0]), 0.0, 0.0])
    up = up + rng.normal(0, 0.2, 3)
    looking = Camera.looking(eye, aim, up, size=(lens.width, lens.height))
    return replace(lens, rvec=looking.rvec, tvec=looking.tvec)


def _is_inside(faces: Sequence[Face], eye: Array) -> bool:
    """Whether something is too near to the lens."""
    for face in faces:
        away = eye - face.place.origin_mm
        if abs(float(away @ face.normal)) > CLEAR_MM:
            continue
        uv = shapely.Point(float(away @ face.place.u_axis), float(away @ face.place.v_axis))
        if shapely.distance(face.area, uv) < CLEAR_MM:
            return True
    return False
