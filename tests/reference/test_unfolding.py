"""Distances over folds against exact unfoldings of a box.

The spider and the fly (H. E. Dudeney, 1903, from memory): a room 30 x 12 x 12
feet, the spider on the middle line of one end wall a foot below the ceiling,
the fly on the other end wall a foot above the floor. Ways over the walls in
between: 42 ft over one face, sqrt(37^2 + 17^2) = 40.72 ft over two, 40 ft over
three.
"""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import Point

from corromap.frames import MarkId, MountingId, PanelId, PhotoId, PhotoOutline
from corromap.measures.distance import _ways, mounting_distances
from corromap.projection import MovingEdges, ProjectedMark
from corromap.projection.view import polygons_of
from corromap.survey import Mark, MarkKind
from corromap.template import BodyTemplate, Fold, Frame2D, Mounting, MountingKind, Place, SeenFrom
from tests.geo_scene import panel

FOOT = 10.0
LONG, SIDE = 30 * FOOT, 12 * FOOT
"""The room lies with x along it, y to the left, z up."""

FACES = {
    # id: (origin, u, v, width, height), each seen from inside
    "floor": ((0, 0, 0), (1, 0, 0), (0, 1, 0), LONG, SIDE),
    "ceiling": ((0, 0, SIDE), (1, 0, 0), (0, 1, 0), LONG, SIDE),
    "right": ((0, 0, 0), (1, 0, 0), (0, 0, 1), LONG, SIDE),
    "left": ((0, SIDE, 0), (1, 0, 0), (0, 0, 1), LONG, SIDE),
    "near": ((0, 0, 0), (0, 1, 0), (0, 0, 1), SIDE, SIDE),
    "far": ((LONG, 0, 0), (0, 1, 0), (0, 0, 1), SIDE, SIDE),
}
SEEN = {"floor": "above", "ceiling": "below", "right": "left", "left": "right", "near": "front", "far": "rear"}


def edges(name: str) -> list[np.ndarray]:
    origin, u, v, width, height = (np.array(x, dtype=float) for x in FACES[name])
    corners = [origin, origin + width * u, origin + width * u + height * v, origin + height * v]
    return [np.array([corners[i], corners[(i + 1) % 4]]) for i in range(4)]


def on_panel(name: str, xyz: np.ndarray) -> np.ndarray:
    origin, u, v, *_ = (np.array(x, dtype=float) for x in FACES[name])
    return np.stack([(xyz - origin) @ u, (xyz - origin) @ v], axis=1)


def room(spider: tuple[str, tuple[float, float]]) -> BodyTemplate:
    panels = []
    names = list(FACES)
    for i, name in enumerate(names):
        folds = []
        for other in names[i + 1 :]:
            folds += [
                Fold(PanelId(other), on_panel(name, edge), on_panel(other, edge))
                for edge in edges(name)
                if any(np.allclose(edge, e) or np.allclose(edge[::-1], e) for e in edges(other))
            ]
        origin, u, v, width, height = FACES[name]
        at = (Mounting(MountingId("spider"), "spider", MountingKind.SEAT, spider[1]),) if name == spider[0] else ()
        panels.append(
            panel(
                PanelId(name), width, height, place=Place(origin, u, v), map_frame=Frame2D([0, 0], [1, 0], [0, 1]),
                seen_from=SeenFrom(SEEN[name]), folds=tuple(folds), mountings=at,
            )
        )  # fmt: skip
    return BodyTemplate("room", "room", "", 1, 0.0, tuple(panels))


def fly(face: str, at: tuple[float, float]) -> ProjectedMark:
    dot = Point(at).buffer(1e-6)
    ring = np.array(dot.exterior.coords)
    mark = Mark(MarkId("fly"), PhotoId("p"), MarkKind.RUST, PhotoOutline(ring))
    nothing = MovingEdges(np.empty((0, 2)), np.empty((0, 2)), {})
    return ProjectedMark(mark, PanelId(face), polygons_of(dot), 0.0, False, nothing)


@pytest.mark.parametrize(("folds", "feet"), [(2, 42.0), (3, np.hypot(37, 17)), (4, 40.0), (5, 40.0)])
def test_spider_and_fly(folds: int, feet: float) -> None:
    spider = ("near", (SIDE / 2, 11 * FOOT))
    found = mounting_distances([fly("far", (SIDE / 2, FOOT))], room(spider), most_folds=folds, kept_mm=1000.0)
    assert found[0].distance_mm == pytest.approx(feet * FOOT, abs=1e-4)


@pytest.mark.parametrize(
    ("face", "at", "expected"),
    [
        pytest.param("floor", (50, 20), np.hypot(50 - 100, 20 - 60), id="same face"),
        pytest.param("right", (100, 30), 60 + 30, id="straight over one fold"),
        pytest.param("right", (160, 30), np.hypot(60, 90), id="slanting over one fold"),
        pytest.param("ceiling", (100, 60), 60 + 120 + 60, id="over two folds"),
        pytest.param("near", (60, 30), 130, id="over the end"),
    ],
)
def test_box_by_hand(face: str, at: tuple[float, float], expected: float) -> None:
    """From (100, 60) on the floor of the room, in the same millimetres."""
    found = mounting_distances([fly(face, at)], room(("floor", (100.0, 60.0))), kept_mm=1000.0)
    assert found[0].distance_mm == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(
    ("height", "expected"), [(80, 30 + 20), (120, 30 + 20), (100, 30), (20, 30 + 80), (190, 30 + 90)]
)
def test_a_panel_that_meets_the_middle_of_another(height: float, expected: float) -> None:
    """A shelf along z = 100 of a wall 200 high; the mounting is 30 mm out on the shelf."""
    place, flat = Place([0, 0, 0], [1, 0, 0], [0, 0, 1]), Frame2D([0, 0], [1, 0], [0, 1])
    wall = panel(PanelId("wall"), 400, 200, place=place, map_frame=flat, seen_from=SeenFrom.LEFT)
    shelf = panel(
        PanelId("shelf"), 400, 60, mountings=(Mounting(MountingId("seat"), "seat", MountingKind.SEAT, [150, 30]),),
        folds=(Fold(PanelId("wall"), [[0, 0], [400, 0]], [[0, 100], [400, 100]]),),
    )  # fmt: skip
    body = BodyTemplate("t", "t", "", 1, 0.0, (wall, shelf))
    found = mounting_distances([fly("wall", (150, height))], body)
    assert found[0].distance_mm == pytest.approx(expected, abs=1e-4)


def brute_force(start: np.ndarray, windows: list[np.ndarray], end: np.ndarray, count: int = 4001) -> float:
    """Shortest way through windows by dynamic programming over points on each."""
    points, length = start[None], np.zeros(1)
    for window in windows:
        along = window[0] + np.linspace(0, 1, count)[:, None] * (window[1] - window[0])
        steps = np.hypot(*(along[:, None] - points[None]).transpose(2, 0, 1)) + length
        points, length = along, steps.min(axis=1)
    return float((np.hypot(*(points - end).T) + length).min())


@pytest.mark.parametrize("seed", range(6))
def test_ways_through_windows_against_a_grid(seed: int) -> None:
    """Random windows, many of which the straight line misses, so that the way has to turn."""
    rng = np.random.default_rng(seed)
    windows = [
        np.stack([rng.uniform((x, -60), (x + 20, 60)), rng.uniform((x, -60), (x + 20, 60))]) for x in (50, 120, 190)
    ]
    start, end = rng.uniform((0, -100), (30, 100)), rng.uniform((240, -100), (280, 100))
    target = np.array([Point(end).buffer(1e-6)], dtype=object)
    found = _ways(start, tuple(windows), target)[0]
    assert found == pytest.approx(brute_force(start, windows, end, 801), abs=0.02)


def test_never_shorter_than_through_the_air_and_both_ways_alike() -> None:
    rng = np.random.default_rng(8)
    for _ in range(10):
        faces = rng.choice(list(FACES), 2)
        ends = [tuple(rng.uniform((5, 5), (FACES[f][3] - 5, FACES[f][4] - 5))) for f in faces]
        there = mounting_distances([fly(faces[1], ends[1])], room((faces[0], ends[0])), kept_mm=2000.0)[0].distance_mm
        back = mounting_distances([fly(faces[0], ends[0])], room((faces[1], ends[1])), kept_mm=2000.0)[0].distance_mm
        places = [
            np.array(FACES[f][0]) + e[0] * np.array(FACES[f][1]) + e[1] * np.array(FACES[f][2])
            for f, e in zip(faces, ends, strict=True)
        ]
        assert there == pytest.approx(back, abs=1e-4)
        assert there >= np.linalg.norm(places[1] - places[0]) - 1e-4
