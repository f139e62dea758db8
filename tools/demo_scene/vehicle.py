"""Everything on the car that is no panel of the template: walls, flanges, pipes, springs, axle, wheels, doors."""

from __future__ import annotations

from typing import Any

import body
import meshes
import mitsuba as mi
import numpy as np
import tracing
from meshes import Mesh
from numpy.typing import ArrayLike, NDArray


def ribbon(curve_mm: ArrayLike, width: float, thick: float) -> Mesh:
    """A leaf of a spring: a flat bar along a curve in a plane of constant y."""
    c = np.asarray(curve_mm, float)
    t = np.gradient(c, axis=0)
    t /= np.linalg.norm(t, axis=1, keepdims=True)
    n = np.cross(t, [0, 1, 0])
    section = [(-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1)]
    verts = np.stack([c + a * width / 2 * np.array([0, 1, 0]) + b * thick / 2 * n for a, b in section], 1)
    tex = np.stack(np.broadcast_arrays(c[:, :1] / 1000, np.arange(5)[None] * 0.05), -1)
    flat = meshes.grid_faces(len(c), 5)
    v = verts.reshape(-1, 3)[flat].reshape(-1, 3)
    return (
        v.astype(np.float32),
        np.arange(len(v)).reshape(-1, 3).astype(np.uint32),
        tex.reshape(-1, 2)[flat].reshape(-1, 2).astype(np.float32),
    )


def _material(
    colour: str, rough: float = 0.6, metal: float = 0.0, *, grime: float = 0.5, seed: int = 0, kind: str = "dirt"
) -> object:
    """A plain material, loaded."""
    return mi.load_dict(tracing.plain_material(colour, rough, metal, grime=grime, seed=seed, kind=kind))


class Builder:
    """Adds parts to a scene under running names."""

    def __init__(self, scene: dict[str, Any]) -> None:
        self.scene, self.count = scene, 0
        m = _material
        self.black = m("#232221", 0.6, 0.0, grime=0.42, seed=1)
        self.pipe = m("#5d5a52", 0.45, 0.6, grime=0.45, seed=2)
        self.copper = m("#6b4a35", 0.4, 0.6, grime=0.4, seed=3)
        self.rusty = m("#6a5a4c", 0.7, 0.2, grime=0.62, seed=4, kind="rust")
        self.steel = m("#6d6a64", 0.45, 0.7, grime=0.5, seed=5)
        self.greasy = m("#26211c", 0.32, 0.0, grime=0.3, seed=6)
        self.alloy = m("#77766f", 0.45, 0.6, grime=0.55, seed=7)
        self.rubber = m("#1f1e1d", 0.75, 0.0, grime=0.22, seed=8)
        self.paint = m(body.BODY_COLOUR, 0.3, 0.0, grime=0.0, seed=9)
        self.dark = mi.load_dict(
            {
                "type": "twosided",
                "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": [0.012, 0.010, 0.009]}},
            }
        )
        self.inside = m("#2a1d16", 0.9, 0.0, grime=0.5, seed=10, kind="rust")
        self.leaf = m("#332a24", 0.75, 0.1, grime=0.55, seed=12, kind="rust")
        self.lining = m("#39342e", 0.8, 0.0, grime=0.7, seed=13)
        self.silver = m("#8a8a86", 0.4, 0.3, grime=0.5, seed=11)

    def add(self, mesh: Mesh, material: object, *, smooth: bool = False) -> None:
        """Put one part in."""
        self.count += 1
        tracing.add_mesh(self.scene, f"part{self.count}", mesh, material, smooth=smooth)

    def wall(self, a: ArrayLike, along: ArrayLike, across: ArrayLike, towards: ArrayLike) -> None:
        """Undersealed face from corner `a` along two edge vectors."""
        e, f = np.asarray(along, float), np.asarray(across, float)
        length, width = float(np.linalg.norm(e)), float(np.linalg.norm(f))
        s = body.plain_skin(length, width, self.count)
        mesh, fine = meshes.skin(s, a, e / length, f / width, towards, 2.0)
        self.count += 1
        tracing.add_mesh(self.scene, f"part{self.count}", mesh, tracing.skin_material(s, fine))


def walls(b: Builder) -> None:
    """Sides of crossmembers and rails that the template leaves out."""
    for s in (1, -1):
        for x0, x1, z in ((145, 255, -45), (-405, -315, -40)):
            b.wall((x0, s * 140, z), (0, s * 450, 0), (0, 0, 2 - z), (-1, 0, 0))
            b.wall((x1, s * 140, z), (0, s * 450, 0), (0, 0, 2 - z), (1, 0, 0))
            b.wall((x0, s * 140, z), (x1 - x0, 0, 0), (0, 0, 2 - z), (0, -s, 0))
        b.wall((600, s * 330, 0), (900, 0, 0), (0, 0, 112), (0, -s, 0))
        b.wall((-1500, s * 380, 90), (733, 0, 0), (0, 0, 112), (0, -s, 0))
        b.wall((-1500, s * 380, 90), (0, s * 80, 0), (0, 0, 112), (-1, 0, 0))
        b.wall((-740, s * 590, 0), (0, s * 105, 0), (0, 0, -130), (-1, 0, 0))
        b.wall((740, s * 590, 0), (0, s * 105, 0), (0, 0, -130), (1, 0, 0))


def flanges(b: Builder, panels: dict[str, body.Panel]) -> None:
    """The pinched flanges below both lower edges of each sill, with the notches of the template."""
    for side in ("left", "right"):
        under = panels[f"sill-{side}-underside"]
        for panel, v, drop in ((under, 104.2, 10.0), (panels[f"sill-{side}-inner"], 0.8, 7.0)):
            cuts = sorted(d["at_mm"][0] for d in panel.document["datum_points"] if d["shape"] == "flange notch")
            edges = [0.0, *[x for c in cuts for x in (c - 5, c + 5)], 1480.0]
            for lo, hi in zip(edges[::2], edges[1::2], strict=True):
                middle = under.to_car([(lo + hi) / 2, v], drop / 2 - 0.5)[0]
                b.add(meshes.box(middle, (hi - lo, 2.4, drop), bevel_mm=0.6), b.black)


def dark_inside(b: Builder) -> None:
    """What is seen through a hole: cabin underlay above floors, the sill's own inside."""
    b.add(meshes.quad((-1600, -456, 260), (-840, -456, 260), (-840, 456, 260), (-1600, 456, 260)), b.dark)
    b.add(meshes.quad((560, -700, 480), (1800, -700, 480), (1800, 700, 480), (560, 700, 480)), b.dark)
    for s in (1, -1):
        b.add(meshes.quad((-688, s * 160, 34), (590, s * 160, 34), (590, s * 588, 34), (-688, s * 588, 34)), b.dark)
        b.add(
            meshes.quad((-740, s * 645, -128), (740, s * 645, -128), (740, s * 645, 60), (-740, s * 645, 60)), b.inside
        )
        b.add(
            meshes.quad((-740, s * 592, -60), (740, s * 592, -60), (740, s * 693, -60), (-740, s * 693, -60)), b.inside
        )
        b.add(
            meshes.quad((-1500, s * 420, 92), (-770, s * 420, 92), (-770, s * 420, 198), (-1500, s * 420, 198)),
            b.inside,
        )


def pipes(b: Builder) -> None:
    """Brake and fuel pipe along the left floor, cable on the right, with clips."""
    for y, r, mat, name in ((184, 3.2, b.copper, "brake"), (196, 4.4, b.pipe, "fuel")):
        z = -9.0 - (r - 3)
        line = [
            (640, y, 20),
            (600, y, z),
            (290, y, z),
            (262, y, -53),
            (138, y, -53),
            (110, y, z),
            (-290, y, z),
            (-312, y, -48),
            (-410, y, -48),
            (-432, y, z),
            (-690, y, z),
        ]
        line += [
            (-715, y, 10),
            (-830, y - 10, 150),
            (-900, y - 20, 180),
            (-1150, y - 30 if name == "brake" else y + 60, 185),
        ]
        b.add(meshes.tube(line, r, 14, 14), mat, smooth=True)
    for x in (520, 380, 40, -90, -220, -520, -640):
        b.add(meshes.box((x, 190, -13), (13, 34, 11), bevel_mm=2), b.steel)
        b.add(meshes.disc_head((x, 211, -3), (0, 0, -1), 5, 5, 6), b.steel)
        b.add(meshes.box((x, 208, -4), (13, 16, 2.5), bevel_mm=0.5), b.steel)
    cable = [
        (380, -150, 30),
        (200, -175, -55),
        (130, -176, -55),
        (0, -180, -14),
        (-300, -178, -50),
        (-420, -178, -50),
        (-690, -190, -20),
        (-900, -260, -30),
        (-1140, -420, -50),
    ]
    b.add(meshes.tube(cable, 4, 12, 40), b.black, smooth=True)
    for x in (20, -200, -560):
        b.add(meshes.box((x, -179, -9), (12, 14, 16), bevel_mm=2), b.steel)


def driveline(b: Builder) -> None:
    """Gearbox, shaft, exhaust, silencer."""
    b.add(
        meshes.tube([(1020, 0, 60), (900, 0, 70), (560, 0, 85), (400, 0, 95)], [125, 120, 92, 60], 28, 5),
        b.greasy,
        smooth=True,
    )
    b.add(meshes.tube([(400, 0, 100), (-1040, 0, 20)], 31, 24), b.black, smooth=True)
    b.add(meshes.box((1180, 0, 10), (420, 300, 150), bevel_mm=18), b.greasy)
    for k in range(6):
        b.add(meshes.disc_head((1010 + 65 * k, 135, -66), (0, 0, -1), 8, 7, 6), b.steel)
    path = [
        (1060, -150, 10),
        (700, -110, 10),
        (520, -72, 26),
        (-700, -72, 26),
        (-860, -140, 70),
        (-1050, -150, 120),
        (-1230, -150, 112),
    ]
    b.add(meshes.tube(path, 22, 28, 80), b.rusty, smooth=True)
    b.add(
        meshes.tube(
            [(-1215, -150, 112), (-1225, -150, 112), (-1235, -150, 112), (-1490, -150, 106), (-1500, -150, 106)],
            [24, 60, 66, 66, 30],
            36,
            3,
        ),
        b.rusty,
        smooth=True,
    )
    b.add(meshes.tube([(-1490, -160, 100), (-1640, -175, 92)], 19, 24), b.rusty, smooth=True)
    for x in (28, 470):
        b.add(meshes.tube([(x - 11, -72, 26), (x + 11, -72, 26)], 26, 28), b.steel, smooth=True)
        b.add(meshes.box((x, -50, 38), (16, 6, 34), bevel_mm=1), b.steel)


def rear_axle(b: Builder) -> None:
    """Axle tube, differential, leaf springs, hangers, dampers."""
    x, z = -1175.0, -62.0
    b.add(
        meshes.tube([(x, -575, z), (x, -300, z), (x, -110, z), (x, 110, z), (x, 300, z), (x, 575, z)], 34, 28),
        b.black,
        smooth=True,
    )
    b.add(
        meshes.tube(
            [(x + 150, 0, 20 - 40), (x + 60, 0, z), (x - 10, 0, z), (x - 70, 0, z), (x - 112, 0, z)],
            [34, 95, 118, 104, 20],
            36,
            20,
        ),
        b.greasy,
        smooth=True,
    )
    for a in np.linspace(0, 2 * np.pi, 10, endpoint=False):
        b.add(meshes.disc_head((x - 58, 100 * np.cos(a), z + 100 * np.sin(a)), (-1, 0, 0), 8, 7, 6), b.steel)
    for s in (1, -1):
        y = s * 420.0
        for k in range(5):
            t = np.linspace(-1 + 0.17 * k, 1 - 0.17 * k, 40)
            xs = -1141 + t * 289
            b.add(ribbon(np.stack([xs, 0 * xs + y, 22 - 62 * (1 - t**2) - 7.5 * k], 1), 46, 6.6), b.leaf)
        b.add(meshes.box((x, y, z + 4), (86, 72, 14), bevel_mm=2), b.black)
        for dx in (-28, 28):
            for dy in (-30, 30):
                b.add(meshes.tube([(x + dx, y + dy, z - 60), (x + dx, y + dy, z + 46)], 5.5, 12), b.steel, smooth=True)
                b.add(meshes.disc_head((x + dx, y + dy, z - 46), (0, 0, -1), 10, 9, 6), b.steel)
        b.add(meshes.box((x, y, z - 42), (92, 84, 8), bevel_mm=2), b.black)
        for hx, low in ((-852.5, 22), (-1430.0, 24)):
            for dy in (-27, 27):
                b.add(meshes.box((hx, y + dy, (90 + low - 16) / 2), (56, 5, 90 - low + 16), bevel_mm=1), b.black)
            b.add(meshes.tube([(hx, y - 24, low), (hx, y + 24, low)], 19, 24), b.rusty, smooth=True)
            for dy in (-1, 1):
                b.add(meshes.disc_head((hx, y + dy * 30, low), (0, dy, 0), 11, 8, 6), b.steel)
        b.add(meshes.tube([(x + 120, s * 500, 400), (x + 20, s * 500, -20)], 24, 24), b.black, smooth=True)


def front_end(b: Builder) -> None:
    """Arms, rack, subframe tube."""
    b.add(meshes.tube([(1290, -420, -20), (1290, 420, -20)], 24, 24), b.black, smooth=True)
    for s in (1, -1):
        for x in (975.0, 1175.0):
            b.add(meshes.box((x, s * 370, -22), (60, 56, 40), bevel_mm=4), b.black)
            b.add(meshes.tube([(x, s * 370, -34), (1130, s * 560, -62)], 17, 20), b.black, smooth=True)
        b.add(meshes.tube([(1210, s * 400, -20), (1200, s * 560, -40)], 9, 16), b.steel, smooth=True)


def wheels(b: Builder) -> None:
    """Four wheels hanging."""
    for x in (1140.0, -1175.0):
        for s in (1, -1):
            c, across = np.array([x, s * 612, -62.0]), np.array([0, 62.0, 0])
            b.add(meshes.ring_torus(c, (0, 1, 0), 238, 52, 70), b.rubber, smooth=True)
            b.add(meshes.tube([c - across, c + across], 190, 48), b.silver, smooth=True)
            b.add(meshes.disc_head(c + s * 0.32 * across, (0, s, 0), 188, 22, 48), b.silver)
            b.add(meshes.disc_head(c - s * 0.48 * across, (0, -s, 0), 125, 36, 40), b.rusty)


def sides(b: Builder) -> None:
    """Doors and wings above and beyond the sills."""
    for s in (1, -1):
        y = s * 693
        b.add(meshes.box((-32, y - s * 10, 300), (932, 30, 500), bevel_mm=7), b.paint)
        b.add(meshes.box((595, y - s * 6, 300), (302, 34, 516), bevel_mm=6), b.paint)
        b.add(meshes.box((763, y - s * 6, 220), (34, 34, 560), bevel_mm=6), b.paint)
        b.add(meshes.box((-625, y - s * 6, 300), (246, 34, 516), bevel_mm=6), b.paint)
        b.add(meshes.box((-800, y - s * 6, 240), (104, 34, 540), bevel_mm=6), b.paint)


def arch_line(panel: body.Panel, floor_z: float) -> NDArray[np.float64]:
    """Edge of a wheel opening, rear foot to front foot, as (x, z) mm.

    Parameters
    ----------
    panel : body.Panel
        A wheel arch of the template; its rounded upper edge is taken.
    floor_z : float
        Where both feet end.

    Returns
    -------
    ndarray, shape (N, 2)
    """
    o = panel.place[0]
    ring = np.array(panel.document["outline_mm"], float) + o[[0, 2]]
    spring = min(d["at_mm"][1] for d in panel.document["datum_points"] if d["shape"] == "seam end") + o[2]
    top = ring[ring[:, 1] >= spring - 0.5]
    top = top[np.argsort(top[:, 0])]
    feet = [np.array([[top[k, 0], floor_z]]) for k in (0, -1)]
    line = np.concatenate([feet[0], top, feet[1]])
    at = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    fine = np.union1d(np.linspace(0, at[-1], 150), at)
    return np.stack([np.interp(fine, at, line[:, k]) for k in (0, 1)], 1)


def wings(b: Builder, panels: dict[str, body.Panel]) -> None:
    """Wing skins with their wheel openings, and the linings between wing and inner arch."""
    for end, low, box in (("front", -60.0, (746, 1650, 550)), ("rear", -30.0, (-1755, -752, 560))):
        for side, s in (("left", 1), ("right", -1)):
            panel = panels[f"arch-{side}-{end}"]
            line = arch_line(panel, low)
            inner, y = float(panel.place[0][1]), s * 688.0
            roof = arch_line(panel, float(panel.place[0][2]) + 20.0)
            b.add(_strip(roof, roof, inner - s * 2.0, y), b.lining, smooth=True)
            middle = np.array([(line[:, 0].min() + line[:, 0].max()) / 2, line[:, 1].min() + 0.6 * np.ptp(line[:, 1])])
            away = line - middle
            away[line[:, 1] < middle[1], 1] = 0.0
            reach = [
                np.where(away[:, 0] > 0, box[1] - middle[0], middle[0] - box[0]),
                np.full(len(line), box[2] - middle[1]),
            ]
            gain = np.min([r / np.maximum(np.abs(a), 1e-9) for r, a in zip(reach, away.T, strict=True)], axis=0)
            out = middle + away * gain[:, None]
            out[line[:, 1] < middle[1], 1] = line[line[:, 1] < middle[1], 1]
            b.add(_strip(line, out, y, y + s * 3.0), b.paint, smooth=True)


def _strip(a: NDArray[np.float64], c: NDArray[np.float64], y0: float, y1: float) -> Mesh:
    """Face between line `a` at y0 and line `c` at y1, both (x, z)."""
    steps = np.linspace(0, 1, 12)[:, None, None]
    xz, y = a + steps * (c - a), y0 + steps[..., 0] * (y1 - y0) + 0 * a[:, 0]
    verts = np.stack([xz[..., 0], y, xz[..., 1]], -1)
    run = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(a, axis=0), axis=1))])
    tex = np.stack([run / 1000 + 0 * y, np.linspace(0, 0.28, 12)[:, None] + 0 * y], -1)
    return verts.reshape(-1, 3).astype(np.float32), meshes.grid_faces(12, len(a)), tex.reshape(-1, 2).astype(np.float32)


def bolts(b: Builder, panels: dict[str, body.Panel]) -> None:
    """Heads at seat and belt mountings and at the template's bolt points."""
    for panel in panels.values():
        n = panel.place[3]
        for mount in panel.document["mountings"] if not panel.id.startswith("sill") else []:
            if mount["kind"] in {"seat", "belt"}:
                at = panel.to_car(mount["at_mm"])[0]
                b.add(meshes.disc_head(at, n, 15, 4.5, 28), b.steel)
                b.add(meshes.disc_head(at + 4 * n, n, 9.5, 8, 6), b.steel)
        for d in panel.document["datum_points"]:
            if d["shape"] == "bolt":
                at = panel.to_car(d["at_mm"])[0]
                b.add(meshes.disc_head(at, n, 14, 4, 28), b.steel)
                b.add(meshes.disc_head(at + 3 * n, n, 11, 10, 6), b.steel)


def assemble(scene: dict[str, Any], panels: dict[str, body.Panel], step_mm: float) -> None:
    """Put the whole car into a scene.

    Parameters
    ----------
    scene : dict
        For the renderer.
    panels : dict
        Panels by id.
    step_mm : float
        Mesh step on the coarse panels; the ones seen close get a finer one.
    """
    for panel in panels.values():
        o, u, v, n = panel.place
        step = step_mm * (0.6 if panel.id in body.FINE else 1.0)
        mesh, fine = meshes.skin(panel.surface, o + panel.surface.low_mm[0] * u * 0, u, v, n, step)
        tracing.add_mesh(scene, panel.id, mesh, tracing.skin_material(panel.surface, fine))
    b = Builder(scene)
    for part in (walls, dark_inside, pipes, driveline, rear_axle, front_end, wheels, sides):
        part(b)
    wings(b, panels)
    flanges(b, panels)
    bolts(b, panels)


def position(*xyz: float) -> NDArray[np.float64]:
    """A car-frame point."""
    return np.array(xyz, float)
