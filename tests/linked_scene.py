"""Photos in a row under a packaged body, tied to one another, by OpenCV's own projection."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from corromap.control import PhotoTie
from corromap.frames import CameraId, DatumId, PanelId, PhotoId, TieId
from corromap.registration.camera import CameraPose
from corromap.registration.lens import Lens
from corromap.registration.network.hits import first_panels
from corromap.survey import Photo, Settings, Sighting, Survey
from tests.whole_car_scene import BODY, FOCAL, HEIGHT, K1, MIDDLE, WIDTH, Shot

TRUE_LENS = Lens(None, MIDDLE, FOCAL, K1, 0.0, "true")


def row_of_shots(count: int = 8, step_mm: float = 260.0, height_mm: float = 620.0) -> dict[PhotoId, Shot]:
    """Photos from front to rear under the left floor, some leaning to the sill, some to the tunnel."""
    found = {}
    for i in range(count):
        x = 700.0 - step_mm * i
        eye = (x + 40.0 * (-1) ** i, 330.0 + 60.0 * (i % 3), -height_mm + 30.0 * (i % 2))
        at = (x - 60.0, 430.0 + 50.0 * ((i + 1) % 3), -20.0)
        found[PhotoId(f"photo-{i + 1}")] = Shot(eye, at)
    return found


def rows_of_shots() -> dict[PhotoId, Shot]:
    """Forty photos: five rows of eight, under both sills, both floors and the tunnel."""
    found = {}
    for row, y in enumerate((560.0, 310.0, 0.0, -310.0, -560.0)):
        for i in range(8):
            x = 700.0 - 230.0 * i + 30.0 * (row % 2)
            eye = (x + 40.0 * (-1) ** i, y + 30.0 * (i % 3 - 1), -620.0 + 40.0 * ((i + row) % 2))
            found[PhotoId(f"photo-{len(found) + 1}")] = Shot(eye, (x - 50.0, y + 60.0 * ((i + 1) % 3 - 1), -20.0))
    return found


def forty_linked(seed: int = 0) -> Survey:
    """Forty photos, sixteen clicks on three of them, each photo tied to the next in its row and beside it."""
    shots = rows_of_shots()
    keys = list(shots)
    pairs = [(i, i + 1) for i in range(40) if i % 8 < 7] + [(i, i + 8) for i in range(32)]
    ties = [tie for a, b in pairs for tie in ties_between(keys[a], keys[b], shots, seed=seed)]
    clicks = [s for i, n in ((2, 6), (20, 5), (37, 5)) for s in clicks_on(keys[i], shots[keys[i]], n, seed=seed)]
    return survey_of(shots, clicks, ties)


def true_pose(shot: Shot) -> CameraPose:
    return CameraPose(shot.rotation, -shot.rotation @ np.array(shot.eye_mm), shot.focal_px)


def shown(shot: Shot, px: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What pixels of a shot show: index of the panel, and where in the car frame."""
    index, uv = first_panels(true_pose(shot), replace(TRUE_LENS, k1=shot.k1, focal_px=shot.focal_px), px, BODY)
    car = np.full((len(px), 3), np.nan)
    for number in np.unique(index[index >= 0]):
        car[index == number] = BODY.panels[number].place.to_car(uv[index == number])
    return index, car


def ties_between(
    first: PhotoId, second: PhotoId, shots: dict[PhotoId, Shot], *, noise_px: float = 0.7, seed: int = 0, most: int = 40
) -> list[PhotoTie]:
    """Points that both photos show, one tie a panel with twelve points or more."""
    random = np.random.default_rng([seed, int(first[6:]), int(second[6:])])
    px = random.uniform([0, 0], [WIDTH - 1, HEIGHT - 1], (900, 2))
    index, car = shown(shots[first], px)
    there = np.full_like(px, np.nan)
    there[index >= 0] = shots[second].sees(car[index >= 0])
    inside = ((there >= 0) & (there <= [WIDTH - 1, HEIGHT - 1])).all(axis=1)
    again = np.full(len(px), -1)
    again[inside] = shown(shots[second], there[inside])[0]
    ties = []
    for number in np.unique(index[index >= 0]):
        rows = np.flatnonzero((index == number) & (again == number))[:most]
        if len(rows) < 12:
            continue
        panel = BODY.panels[number].id
        new = there[rows] + noise_px * random.standard_normal((len(rows), 2))
        ties.append(PhotoTie(TieId(f"{first}-{second}/{panel}"), first, second, panel, px[rows], new, noise_px))
    return ties


def clicks_on(photo: PhotoId, shot: Shot, count: int, *, noise_px: float = 2.0, seed: int = 0) -> list[Sighting]:
    """Clicks on datum points that the shot really shows, spread out."""
    random = np.random.default_rng([seed, int(photo[6:]), 7])
    seen: dict[DatumId, np.ndarray] = {}
    for panel in BODY.panels:
        for datum in panel.datum_points:
            car = panel.place.to_car(datum.at_mm)
            if (true_pose(shot).inside(car)[:, 2] < 50).any():
                continue
            px = shot.sees(car)
            if not ((px > 10) & (px < [WIDTH - 10, HEIGHT - 10])).all():
                continue
            index, hit = shown(shot, px)
            if index[0] >= 0 and np.linalg.norm(hit[0] - car[0]) < 2.0:
                seen[datum.id] = px[0]
    chosen = list(random.permutation(sorted(seen)))[:1]
    while len(chosen) < min(count, len(seen)):
        rest = [d for d in sorted(seen) if d not in chosen]
        chosen.append(max(rest, key=lambda d: min(np.hypot(*(seen[d] - seen[c])) for c in chosen)))
    return [Sighting(photo, DatumId(d), seen[d] + noise_px * random.standard_normal(2)) for d in chosen]


def survey_of(
    shots: dict[PhotoId, Shot],
    sightings: Iterable[Sighting],
    ties: Iterable[PhotoTie],
    *,
    focal_px: float | None = FOCAL,
) -> Survey:
    photos = tuple(
        Photo(key, f"{key}.jpg", "0" * 64, WIDTH, HEIGHT, CameraId("phone"), focal_px, order=i)
        for i, key in enumerate(shots)
    )
    return Survey("linked", photos=photos, sightings=tuple(sightings), ties=tuple(ties), settings=Settings())


def places_of(shot: Shot, step_px: float = 150.0) -> dict[PanelId, tuple[np.ndarray, np.ndarray]]:
    """Pixels of a shot with the true place on the panel they show."""
    grid = np.stack(
        np.meshgrid(np.arange(100, WIDTH - 99, step_px), np.arange(100, HEIGHT - 99, step_px)), axis=-1
    ).reshape(-1, 2)
    index, uv = first_panels(true_pose(shot), TRUE_LENS, grid, BODY)
    return {BODY.panels[n].id: (grid[index == n], uv[index == n]) for n in np.unique(index[index >= 0])}
