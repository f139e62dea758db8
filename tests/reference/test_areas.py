"""Areas and unions against methods that share no code with ours.

Shoelace in exact fractions; scikit-image's pixel-centre raster
(`skimage.draw.polygon`); `scipy.ndimage.label` for pieces; the image of a
circle under a projective map in closed form (conics transform as
C' = H^-T C H^-1: Hartley and Zisserman, Multiple View Geometry, 2nd ed.,
result 2.13); scikit-image's documented homography example and the published
homography of the graffiti pair.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
import shapely
from scipy import ndimage
from skimage.draw import polygon as raster_polygon
from skimage.transform import ProjectiveTransform

from corromap.projection.view import apply_homography
from corromap.survey import MEASURED_KINDS, MarkKind, RustStage
from tests.geo_scene import FLOOR, Scene, carry, rect, template, view

RUST, FILLER, PATCH, HIDDEN, SOUND = MEASURED_KINDS
PER_MM = 2
"""Raster cells a millimetre."""


def blob(rng: np.random.Generator, centre: np.ndarray, radius: float, count: int = 30) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    reach = radius * (1 + 0.3 * np.sin(3 * angle + rng.uniform(0, 6)) + rng.normal(0, 0.05, count))
    return centre + np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=1)


def shoelace(ring: np.ndarray) -> Fraction:
    points = [(Fraction(float(x)), Fraction(float(y))) for x, y in ring]
    twice = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, points[1:] + points[:1], strict=True))
    return abs(twice) / 2


@pytest.mark.parametrize("seed", range(4))
def test_area_of_one_mark_is_the_exact_shoelace(seed: int) -> None:
    """The mark is carried through the photo and back; only rounding is left."""
    rng = np.random.default_rng(seed)
    scene = Scene(template())
    scene.photo("a", {FLOOR: view(0.6, tilt=-3e-4, turn=0.3, at=(100, -500))})
    ring = blob(rng, np.array([500.0, 300.0]), 120)
    scene.mark("a", ring, mm_on=FLOOR)
    area = scene.measures().groups[0].kinds[RUST].area_mm2
    assert area == pytest.approx(float(shoelace(ring)), rel=1e-9)
    assert area == pytest.approx(shapely.Polygon(ring).area, rel=1e-9)


def raster(rings: list[np.ndarray]) -> np.ndarray:
    """Cells of the 1000 x 600 mm floor whose centre lies in any of the rings."""
    held = np.zeros((600 * PER_MM, 1000 * PER_MM), dtype=bool)
    for ring in rings:
        rows, columns = raster_polygon(ring[:, 1] * PER_MM - 0.5, ring[:, 0] * PER_MM - 0.5, held.shape)
        held[rows, columns] = True
    return held


def crowded(seed: int) -> tuple[Scene, dict[tuple[MarkKind, RustStage | None], list[np.ndarray]]]:
    rng = np.random.default_rng(seed)
    scene = Scene(template())
    for i, name in enumerate("abc"):
        scene.photo(name, {FLOOR: view(0.65 + 0.03 * i, tilt=1e-4 * (i - 1), turn=0.05 * i)})
    rings: dict[tuple[MarkKind, RustStage | None], list[np.ndarray]] = {}
    kinds = [(RUST, None), *((RUST, s) for s in RustStage), (FILLER, None), (PATCH, None)]
    for n in range(40):
        kind, stage = kinds[rng.integers(len(kinds))]
        ring = blob(rng, rng.uniform((60, 60), (940, 540)), rng.uniform(15, 60))
        scene.mark("abc"[n % 3], ring, kind, stage=stage, mm_on=FLOOR)
        rings.setdefault((kind, stage), []).append(ring)
    return scene, rings


@pytest.mark.parametrize("seed", range(3))
def test_unions_precedence_and_stages_against_a_raster(seed: int) -> None:
    scene, rings = crowded(seed)
    stage = {s: raster(rings.get((RUST, s), [])) for s in RustStage}
    rust = np.any([*stage.values(), raster(rings.get((RUST, None), []))], axis=0)
    filler, patch = (raster(rings.get((kind, None), [])) for kind in (FILLER, PATCH))
    holed, scaled, surface = (stage[s] for s in (RustStage.HOLED, RustStage.SCALED, RustStage.SURFACE))
    half = 500 * PER_MM
    for name, part in (("rear", np.s_[:, :half]), ("front", np.s_[:, half:])):
        z = next(z for z in scene.measures().zones if z.zone == name)
        expected = {
            z.kinds[RUST].area_mm2: rust, z.kinds[FILLER].area_mm2: filler, z.kinds[PATCH].area_mm2: patch,
            z.affected.area_mm2: rust | filler | patch,
            z.resolved[FILLER].area_mm2: filler & ~rust, z.resolved[PATCH].area_mm2: patch & ~rust & ~filler,
            z.stages[RustStage.HOLED].area_mm2: holed, z.stages[RustStage.SCALED].area_mm2: scaled & ~holed,
            z.stages[RustStage.SURFACE].area_mm2: surface & ~scaled & ~holed,
        }  # fmt: skip
        for area, cells in expected.items():
            # a cell is 0.25 mm2 and the boundaries are some thousand cells long
            assert area == pytest.approx(cells[part].sum() / PER_MM**2, rel=0.003, abs=20)


@pytest.mark.parametrize("seed", range(3))
def test_pieces_against_connected_cells(seed: int) -> None:
    """The raster is grown by half the closing gap, then its connected areas are counted."""
    scene, rings = crowded(seed)
    everything = raster([ring for some in rings.values() for ring in some])
    distance = ndimage.distance_transform_edt(~everything) / PER_MM
    _, count = ndimage.label(distance <= 1.0, structure=np.ones((3, 3)))
    whole = next(g for g in scene.measures().groups if g.id == "all")
    assert whole.affected.pieces == count


def test_circle_becomes_the_ellipse_of_the_conic_formula() -> None:
    """C' = H^-T C H^-1; its area is pi |det C'| / |det C'_33|^(3/2), its centre -A^-1 b."""
    scene = Scene(template())
    matrix = view(0.5, tilt=-3.5e-4, turn=0.25, at=(120, -400))
    scene.photo("a", {FLOOR: matrix})
    cx, cy, r = 1000.0, 960.0, 240.0
    angle = np.linspace(0, 2 * np.pi, 4000, endpoint=False)
    scene.mark("a", np.stack([cx + r * np.cos(angle), cy + r * np.sin(angle)], axis=1))
    circle = np.array([[1, 0, -cx], [0, 1, -cy], [-cx, -cy, cx**2 + cy**2 - r**2]])
    back = np.linalg.inv(matrix)
    conic = back.T @ circle @ back
    quadratic, linear = conic[:2, :2], conic[:2, 2]
    area = np.pi * abs(np.linalg.det(conic)) / abs(np.linalg.det(quadratic)) ** 1.5
    centre = -np.linalg.solve(quadratic, linear)
    (mark,) = scene.projection().marks
    assert mark.area.area == pytest.approx(area, rel=5e-6)
    assert (mark.area.centroid.x, mark.area.centroid.y) == pytest.approx(tuple(centre), abs=1e-3)
    (image_of_centre,) = carry(matrix, np.array([[cx, cy]]))
    assert np.hypot(*(image_of_centre - centre)) > 1.0  # the centre's image is not the ellipse's centre


def test_scikit_image_documented_homography() -> None:
    """Its documentation maps (0,0) (0,50) (300,50) (300,0); the centre goes to the diagonals' crossing."""
    src = np.array([[0, 0], [0, 50], [300, 50], [300, 0]], dtype=float)
    dst = np.array([[155, 15], [65, 40], [260, 130], [360, 95]], dtype=float)
    transform = ProjectiveTransform.from_estimate(src, dst)
    points = np.random.default_rng(0).uniform((0, 0), (300, 50), (50, 2))
    assert apply_homography(transform.params, points) == pytest.approx(transform(points), abs=1e-9)
    (centre,) = apply_homography(transform.params, np.array([[150.0, 25.0]]))
    assert centre == pytest.approx([200.97247, 65.35080], abs=1e-5)


def test_square_under_the_graffiti_pair_homography() -> None:
    """H1to3p of the graffiti pair (Oxford affine set, as packed with OpenCV's samples): 24 129.66 px2."""
    matrix = np.array([
        [0.76285898, -0.29922929, 225.67123],
        [0.33443473, 1.0143901, -76.999973],
        [3.4663091e-4, -1.4364524e-5, 1],
    ])  # fmt: skip
    image = apply_homography(matrix, rect(200, 200, 400, 400))
    assert shapely.Polygon(image).area == pytest.approx(24_129.66, abs=0.01)
