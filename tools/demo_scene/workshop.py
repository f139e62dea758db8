"""What stands round the car: floor, walls, lift, stand, bench, boxes, lamps. Nothing here is measured."""

from __future__ import annotations

import meshes
import mitsuba as mi
import numpy as np
import tracing
from noise import cells, fbm, smoothstep
from surface import srgb

FLOOR_Z = -1620.0


def concrete(seed: int = 5) -> dict[str, object]:
    """Old sealed concrete: stains, cracks, tyre marks."""
    rng = np.random.default_rng(seed)
    shape, ppm = (1500, 1500), 0.3
    n, fine = fbm(shape, ppm, 1400, rng, octaves=8, gain=0.6), fbm(shape, ppm, 60, rng, octaves=4, gain=0.7)
    rgb = srgb("#7d7a74") * (1 + 0.10 * n + 0.06 * fine)[..., None]
    stain = smoothstep(0.9, 1.9, fbm(shape, ppm, 700, rng, octaves=5))[..., None] * 0.75
    rgb += stain * (srgb("#2b2824") - rgb)
    _, edge = cells(shape, ppm, 1500, rng)
    crack = (1 - smoothstep(0, 7, edge)) * smoothstep(-0.2, 0.6, fbm(shape, ppm, 900, rng))
    rgb += (0.6 * crack)[..., None] * (srgb("#3b3834") - rgb)
    rough = np.clip(0.55 + 0.12 * n - 0.25 * stain[..., 0], 0.2, 1).astype(np.float32)
    return {
        "type": "twosided",
        "bsdf": {
            "type": "principled",
            "base_color": tracing.tiled(np.clip(rgb, 0.01, 0.9).astype(np.float32)),
            "roughness": tracing.tiled(rough),
            "specular": 0.4,
        },
    }


def plaster(seed: int = 8) -> dict[str, object]:
    """Whitewashed brick wall, grubby below."""
    rng = np.random.default_rng(seed)
    shape, ppm = (1000, 1000), 0.25
    y, x = np.mgrid[0:1000, 0:1000] / ppm
    row = np.floor(y / 80)
    bx, by = (x + 115 * (row % 2)) % 230, y % 80
    joint = np.minimum(np.minimum(bx, 230 - bx), np.minimum(by, 80 - by)).astype(np.float32)
    rgb = (
        srgb("#9c988c")
        * (1 + 0.08 * fbm(shape, ppm, 900, rng, octaves=7))[..., None]
        * (0.72 + 0.28 * smoothstep(2, 9, joint))[..., None]
    )
    return {
        "type": "twosided",
        "bsdf": {"type": "diffuse", "reflectance": tracing.tiled(np.clip(rgb, 0, 0.9).astype(np.float32))},
    }


def lamp(
    scene: dict[str, object],
    name: str,
    at: list[float],
    aim: list[float],
    size: tuple[float, float],
    radiance: tuple[float, float, float],
) -> None:
    """A glowing rectangle."""
    up = [0, 0, 1] if abs(aim[2] - at[2]) < 0.9 * np.linalg.norm(np.subtract(aim, at)) else [1, 0, 0]
    scene[name] = {
        "type": "rectangle",
        "to_world": mi.ScalarTransform4f().look_at(at, aim, up)
        @ mi.ScalarTransform4f().scale([size[0] / 2, size[1] / 2, 1]),
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": list(radiance)}},
    }


def torch(scene: dict[str, object], at: np.ndarray, aim: np.ndarray, power: float, *, spread_deg: float = 34.0) -> None:
    """A hand torch: bright in the middle, dark outside its cone."""
    scene["torch"] = {
        "type": "spot",
        "to_world": mi.ScalarTransform4f().look_at(at.tolist(), aim.tolist(), [0.02, 0.3, 0.9]),
        "intensity": {"type": "rgb", "value": [power, 0.93 * power, 0.82 * power]},
        "cutoff_angle": spread_deg,
        "beam_width": spread_deg * 0.1,
    }


def shell(scene: dict[str, object]) -> None:
    """Floor, walls, ceiling and their tubes."""
    z, top = FLOOR_Z, 2000.0
    tracing.add_mesh(
        scene,
        "ground",
        meshes.quad((-6000, -5000, z), (6000, -5000, z), (6000, 5000, z), (-6000, 5000, z), 5000),
        concrete(),
        smooth=False,
    )
    wall = mi.load_dict(plaster())
    corners = [(-5200, -3900), (5200, -3900), (5200, 3900), (-5200, 3900)]
    for k in range(4):
        (x0, y0), (x1, y1) = corners[k], corners[(k + 1) % 4]
        tracing.add_mesh(
            scene,
            f"wall{k}",
            meshes.quad((x0, y0, z), (x1, y1, z), (x1, y1, top), (x0, y0, top), 4000),
            wall,
            smooth=False,
        )
    tracing.add_mesh(
        scene,
        "ceiling",
        meshes.quad((-5200, -3900, top), (5200, -3900, top), (5200, 3900, top), (-5200, 3900, top), 4000),
        wall,
        smooth=False,
    )
    for k, (x, y) in enumerate([(-2600, -2700), (1400, -2700), (-1400, 2700), (2600, 2700)]):
        lamp(scene, f"tube{k}", [x, y, 1750], [x, y * 0.97, 0], (1500, 130), (15, 15.5, 16))


def clutter(scene: dict[str, object], rng: np.random.Generator) -> None:
    """Benches, cabinets, boxes, drums, tyres along the walls."""
    tones = ["#6b4a34", "#3c4d5e", "#7a2f28", "#596052", "#8a8173", "#2f3133", "#94784f", "#40586a"]
    mats = [mi.load_dict(tracing.plain_material(t, 0.55, 0.0, grime=0.3, seed=40 + k)) for k, t in enumerate(tones)]
    z = FLOOR_Z
    for k in range(34):
        side = -1 if k % 2 else 1
        x = rng.uniform(-4600, 4600)
        y = side * rng.uniform(3000, 3700)
        w, d, h = rng.uniform(250, 900), rng.uniform(250, 600), rng.uniform(200, 1150)
        tracing.add_mesh(
            scene, f"box{k}", meshes.box((x, y, z + h / 2), (w, d, h), bevel_mm=6), mats[k % 8], smooth=False
        )
        if k % 3 == 0:
            tracing.add_mesh(
                scene,
                f"top{k}",
                meshes.box((x + 40, y, z + h + 90), (w * 0.5, d * 0.6, 180), bevel_mm=4),
                mats[(k + 3) % 8],
                smooth=False,
            )
    for k in range(12):
        end = -1 if k % 2 else 1
        x, y = end * rng.uniform(4200, 4900), rng.uniform(-3400, 3400)
        w, h = rng.uniform(250, 800), rng.uniform(300, 1400)
        tracing.add_mesh(
            scene,
            f"endbox{k}",
            meshes.box((x, y, z + h / 2), (w, w * 1.2, h), bevel_mm=6),
            mats[(k + 1) % 8],
            smooth=False,
        )
    for k, (x, y) in enumerate([(1900, 3150), (-2500, -3100), (-900, 3300)]):
        for level in range(3):
            tracing.add_mesh(
                scene,
                f"spare{k}{level}",
                meshes.ring_torus((x + 12 * level, y, z + 90 + 175 * level), (0, 0, 1), 235, 60, 85),
                mats[5],
            )
    for k, (x, y) in enumerate([(-300, -3000), (3100, 3100)]):
        tracing.add_mesh(scene, f"drum{k}", meshes.tube([(x, y, z), (x, y, z + 880)], 290, 40), mats[1])


def lift(scene: dict[str, object], pads: list[np.ndarray], post_y: float = 1750.0) -> None:
    """Two posts, four arms, each ending in a rubber pad just below a jacking point.

    Parameters
    ----------
    scene : dict
        Scene.
    pads : list of ndarray, shape (3,)
        Car-frame points the pads carry.
    post_y : float
        Distance of the posts from the centre line, mm.
    """
    steel = mi.load_dict(tracing.plain_material("#22384f", 0.45, 0.0, grime=0.4, seed=61))
    rubber = mi.load_dict(tracing.plain_material("#1d1d1d", 0.8, 0.0, grime=0.3, seed=62))
    screw = mi.load_dict(tracing.plain_material("#77736c", 0.4, 0.8, grime=0.5, seed=63))
    for end in (-1, 1):
        tracing.add_mesh(
            scene,
            f"post{end}",
            meshes.box((0, end * post_y, 150), (300, 220, 3500), bevel_mm=10),
            steel,
            smooth=False,
        )
    up = np.array([0, 0, 1.0])
    for k, pad in enumerate(pads):
        side = float(np.sign(pad[1]))
        foot = np.array([np.sign(pad[0]) * 120, side * (post_y - 130), pad[2] - 135])
        tip = np.array([pad[0], pad[1], pad[2] - 135])
        d = (tip - foot) / np.linalg.norm(tip - foot)
        n = np.cross([0, 0, 1], d)
        n /= np.linalg.norm(n)
        axes = np.stack([d, n, np.cross(d, n)])
        middle, length = (foot + tip) / 2, float(np.linalg.norm(tip - foot))
        tracing.add_mesh(
            scene,
            f"arm{k}",
            meshes.box(middle - d * 0.2 * length, (0.62 * length, 120, 90), axes, 4),
            steel,
            smooth=False,
        )
        tracing.add_mesh(
            scene,
            f"armb{k}",
            meshes.box(middle + d * 0.16 * length, (0.72 * length, 90, 66), axes, 4),
            steel,
            smooth=False,
        )
        tracing.add_mesh(scene, f"screw{k}", meshes.tube([tip - 40 * up, tip + 108 * up], 22), screw)
        tracing.add_mesh(scene, f"pad{k}", meshes.disc_head(pad - 30 * up, (0, 0, 1), 58, 29, 36), rubber, smooth=False)


def stand(scene: dict[str, object], at: np.ndarray) -> None:
    """A tall workshop stand with a saddle just under `at`."""
    red = mi.load_dict(tracing.plain_material("#7e2a20", 0.45, 0.0, grime=0.35, seed=71))
    bare = mi.load_dict(tracing.plain_material("#6d6862", 0.4, 0.85, grime=0.4, seed=72))
    x, y, z = at
    tracing.add_mesh(scene, "stand_tube", meshes.tube([(x, y, FLOOR_Z + 40), (x, y, z - 420)], 34), red)
    tracing.add_mesh(scene, "stand_rod", meshes.tube([(x, y, z - 430), (x, y, z - 18)], 21), bare)
    tracing.add_mesh(scene, "stand_nut", meshes.disc_head((x, y, z - 420), (0, 0, 1), 42, 34, 6), bare, smooth=False)
    tracing.add_mesh(scene, "stand_saddle", meshes.box((x, y, z - 9), (110, 70, 12), bevel_mm=2), bare, smooth=False)
    for s in (-1, 1):
        tracing.add_mesh(
            scene, f"stand_lip{s}", meshes.box((x + s * 50, y, z + 4), (10, 70, 30), bevel_mm=2), bare, smooth=False
        )
        for t in (-1, 1):
            tracing.add_mesh(
                scene,
                f"stand_leg{s}{t}",
                meshes.tube([(x, y, FLOOR_Z + 420), (x + s * 190, y + t * 190, FLOOR_Z + 8)], 17),
                red,
            )
