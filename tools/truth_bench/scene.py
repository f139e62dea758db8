"""A car whose damage is known: true marks in panel millimetres, from a seed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from corromap.frames import PanelId
from corromap.survey import MarkKind, RustStage
from corromap.template import BodyTemplate, Panel, Part

__all__ = ["Scene", "TrueMark", "make_scene"]

Array = NDArray[np.float64]

EDGE_MM = 3.0
"""True outlines have a vertex about every so many millimetres."""


@dataclass(frozen=True, eq=False)
class TrueMark:
    """Damage, repair or cover as it is on the car.

    Parameters
    ----------
    id : str
        Unique in the scene.
    panel : PanelId
        The panel it lies on.
    kind : MarkKind
        What it is.
    stage : RustStage or None
        For rust.
    area : shapely.Polygon
        In panel millimetres of the template; a car of another size is the
        same picture with `Scene.scale` millimetres to each of them.
    """

    id: str
    panel: PanelId
    kind: MarkKind
    stage: RustStage | None
    area: Polygon


@dataclass(frozen=True, eq=False)
class Scene:
    """A car with its true marks.

    Parameters
    ----------
    template : BodyTemplate
        Its body.
    marks : tuple of TrueMark
        Its marks.
    scale : float
        Real millimetres to one of the template.
    ground_z_mm : float
        Height of the workshop's floor in the car frame.
    seed : int
        What it was made from; textures and relief follow it.
    """

    template: BodyTemplate
    marks: tuple[TrueMark, ...]
    scale: float = 1.0
    ground_z_mm: float = -650.0
    seed: int = 0


def make_scene(template: BodyTemplate, rng: np.random.Generator, *, scale_sigma: float, seed: int) -> Scene:
    """Make a car with random damage.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    rng : Generator
        Source of the numbers.
    scale_sigma : float
        Spread of the car's size about the template's.
    seed : int
        Kept in the scene for textures and relief.

    Returns
    -------
    Scene
        Three to eight panels with marks, the others sound.
    """
    weight = np.array([_weight(panel) for panel in template.panels])
    count = min(int(rng.integers(3, 9)), len(template.panels))
    chosen = rng.choice(len(template.panels), count, replace=False, p=weight / weight.sum())
    marks: list[TrueMark] = []
    for index in sorted(chosen.tolist()):
        marks += _on_panel(template.panels[index], rng, len(marks))
    ground = -1800.0 if rng.random() < 0.25 else float(rng.uniform(-850, -500))
    return Scene(template, tuple(marks), 1.0 + scale_sigma * float(rng.standard_normal()), ground, seed)


def _weight(panel: Panel) -> float:
    favoured = {Part.SILL: 3.0, Part.FLOOR: 2.0, Part.RAIL: 1.5}
    return favoured.get(panel.part, 1.0) * float(np.sqrt(panel.outline.area_mm2))


def blob(rng: np.random.Generator, centre: Array, radius_mm: float) -> Polygon:
    """A ragged closed outline, star-shaped about its centre.

    Parameters
    ----------
    rng : Generator
        Source of the numbers.
    centre : ndarray of float64, shape (2,)
        Panel mm.
    radius_mm : float
        Mean radius.

    Returns
    -------
    shapely.Polygon
        Valid, mm.
    """
    count = max(24, int(2 * np.pi * radius_mm / EDGE_MM))
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    order = np.arange(2, 9)
    size, phase = rng.normal(0, 0.22, len(order)) / order**0.8, rng.uniform(0, 2 * np.pi, len(order))
    ripple = (size[:, None] * np.cos(order[:, None] * angle + phase[:, None])).sum(axis=0)
    r = radius_mm * np.clip(1 + ripple, 0.35, 1.8)
    stretch = rng.uniform(0.6, 1.0)
    xy = np.stack([np.cos(angle) * r, np.sin(angle) * r * stretch], axis=1)
    return Polygon(_turned(xy, rng.uniform(0, np.pi)) + centre)


def plate(rng: np.random.Generator, centre: Array) -> Polygon:
    """A welded plate: a turned rectangle with cut corners.

    Parameters
    ----------
    rng : Generator
        Source of the numbers.
    centre : ndarray of float64, shape (2,)
        Panel mm.

    Returns
    -------
    shapely.Polygon
        Valid, mm.
    """
    w, h = rng.uniform(60, 220), rng.uniform(45, 130)
    box = shapely.box(-w / 2, -h / 2, w / 2, h / 2).buffer(-8).buffer(8, quad_segs=3)
    turned = _turned(np.array(shapely.segmentize(box, EDGE_MM).exterior.coords)[:-1], rng.normal(0, 0.15))
    return Polygon(turned + centre)


def _turned(xy: Array, angle: float) -> Array:
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(xy @ np.array([[c, s], [-s, c]]))


def _on_panel(panel: Panel, rng: np.random.Generator, first: int) -> list[TrueMark]:
    """Two to five things on one panel, some of them of several marks."""
    found: list[tuple[MarkKind, RustStage | None, Polygon]] = []
    for _ in range(int(rng.integers(2, 6))):
        centre = _point_in(panel, rng)
        pick = rng.random()
        if pick < 0.5:
            found += _rust(rng, centre, _radius(panel, rng))
        elif pick < 0.8:
            found += _patches(panel, rng, centre)
        elif pick < 0.88:
            found.append((MarkKind.FILLER, None, blob(rng, centre, _radius(panel, rng))))
        else:
            found.append((MarkKind.HIDDEN, None, blob(rng, centre, rng.uniform(60, 200))))
    marks: list[TrueMark] = []
    for kind, stage, area in found:
        cut = shapely.intersection(area, panel.outline.polygon)
        pieces = [g for g in shapely.get_parts(cut) if isinstance(g, Polygon) and g.area > 20.0]
        marks += [
            TrueMark(f"true-{first + len(marks) + i}", panel.id, kind, stage, piece) for i, piece in enumerate(pieces)
        ]
    return marks


def _radius(panel: Panel, rng: np.random.Generator) -> float:
    most = min(90.0, 0.6 * float(np.sqrt(panel.outline.area_mm2)))
    return float(np.exp(rng.uniform(np.log(12.0), np.log(most))))


def _point_in(panel: Panel, rng: np.random.Generator) -> Array:
    low, high = np.array(panel.outline.polygon.bounds).reshape(2, 2)
    for _ in range(200):
        at = rng.uniform(low, high)
        if shapely.contains_xy(panel.outline.polygon, *at):
            return np.asarray(at)
    return np.array(panel.outline.polygon.representative_point().coords[0])


def _rust(rng: np.random.Generator, centre: Array, radius: float) -> list[tuple[MarkKind, RustStage | None, Polygon]]:
    """Surface rust, perhaps with scale inside it, perhaps with holes in that."""
    bloom = blob(rng, centre, radius)
    found: list[tuple[MarkKind, RustStage | None, Polygon]] = [(MarkKind.RUST, RustStage.SURFACE, bloom)]
    if rng.random() < 0.6:
        scale = shapely.intersection(blob(rng, centre, 0.6 * radius), bloom)
        found += [(MarkKind.RUST, RustStage.SCALED, g) for g in shapely.get_parts(scale) if isinstance(g, Polygon)]
        if rng.random() < 0.5:
            at = centre + rng.normal(0, 0.15 * radius, 2)
            hole = blob(rng, at, max(4.0, 0.2 * radius * rng.uniform(0.5, 1.5)))
            found.append((MarkKind.RUST, RustStage.HOLED, hole))
    return found


def _patches(panel: Panel, rng: np.random.Generator, centre: Array) -> list[tuple[MarkKind, RustStage | None, Polygon]]:
    """One plate, perhaps near a mounting, perhaps with another on it or beside it."""
    if panel.mountings and rng.random() < 0.35:
        mounting = panel.mountings[int(rng.integers(len(panel.mountings)))]
        centre = mounting.at_mm + rng.normal(0, 120, 2)
    found: list[tuple[MarkKind, RustStage | None, Polygon]] = [(MarkKind.PATCH, None, plate(rng, centre))]
    if rng.random() < 0.3:
        found.append((MarkKind.PATCH, None, plate(rng, centre + rng.normal(0, 60, 2))))
    return found
