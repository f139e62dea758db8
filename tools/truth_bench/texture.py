"""Skins of panels painted from the scene's true outlines.

A mark's colour ends where its true outline runs; noise changes the colour
inside, never the edge, so picture and truth share it. Texel centres lie at
(i + 0.5) / ppm from the skin's corner.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from corromap.survey import MarkKind, RustStage
from corromap.template import FeatureKind, Panel
from tools.demo_scene.noise import fbm, smoothstep
from tools.truth_bench.scene import Scene, TrueMark

__all__ = ["MARGIN_MM", "PPM", "Skin", "cover_of", "flat_skin", "skin_of"]

Field = NDArray[np.float32]
Picture = NDArray[np.float32]

PPM = 1.5
"""Texels a millimetre: what a photo of 1600 px from 0.7 m resolves."""

MARGIN_MM = 4.0
SUPER = 4
"""Edges are drawn so many times finer and averaged."""


@dataclass(frozen=True, eq=False)
class Skin:
    """Colour of a panel.

    Parameters
    ----------
    levels : tuple of ndarray of float32, shape (rows, columns, 4)
        Linear red, green, blue and what stops light (1 sheet, 0 hole or off
        the panel); each level half the one before.
    low_mm : ndarray of float64, shape (2,)
        (u, v) of the corner of the first texel.
    ppm : float
        Texels a millimetre of the first level.
    """

    levels: tuple[Picture, ...]
    low_mm: NDArray[np.float64]
    ppm: float

    def texels_of(self, level: int) -> tuple[float, NDArray[np.float64]]:
        """Scale and offset from panel mm to texel indices of a level.

        Parameters
        ----------
        level : int
            0 is the finest.

        Returns
        -------
        scale : float
            Texels a millimetre.
        offset : ndarray of float64, shape (2,)
            Index = scale * (u, v) + offset; index 0 is the first texel's centre.
        """
        scale = self.ppm / 2**level
        return scale, -self.low_mm * scale - 0.5


def _levels(picture: Picture) -> tuple[Picture, ...]:
    """Halve by 2 x 2 means, so that texel corners stay where they are."""
    levels = [picture]
    while min(levels[-1].shape[:2]) >= 16 and len(levels) < 6:
        rows, cols = levels[-1].shape[:2]
        even = cv2.copyMakeBorder(levels[-1], 0, rows % 2, 0, cols % 2, cv2.BORDER_REPLICATE)
        levels.append(np.asarray(even.reshape(even.shape[0] // 2, 2, -1, 2, 4).mean(axis=(1, 3)), dtype=np.float32))
    return tuple(levels)


def flat_skin(picture: NDArray[np.float32], low_mm: NDArray[np.float64], ppm: float) -> Skin:
    """A skin from a ready picture, for boards and tests.

    Parameters
    ----------
    picture : ndarray of float32, shape (rows, columns, 4)
        As `Skin.levels`.
    low_mm : ndarray of float64, shape (2,)
        (u, v) of the corner of the first texel.
    ppm : float
        Texels a millimetre.

    Returns
    -------
    Skin
        With its levels.
    """
    return Skin(_levels(picture), low_mm, ppm)


class _Canvas:
    """A panel's skin, or a part of it, while it is painted."""

    def __init__(self, low_mm: NDArray[np.float64], colour: Picture, solid: Field, rng: np.random.Generator) -> None:
        self.low, self.colour, self.solid, self.rng = low_mm, colour, solid, rng
        self.shape: tuple[int, int] = (colour.shape[0], colour.shape[1])

    @classmethod
    def of_panel(cls, panel: Panel, seed: list[int]) -> _Canvas:
        bounds = np.array(panel.outline.polygon.bounds).reshape(2, 2)
        low = bounds[0] - MARGIN_MM
        cols, rows = np.ceil((bounds[1] - low + MARGIN_MM) * PPM).astype(int)
        return cls(
            low, np.zeros((rows, cols, 3), np.float32), np.zeros((rows, cols), np.float32), np.random.default_rng(seed)
        )

    def part(self, bounds_mm: NDArray[np.float64], margin_mm: float) -> _Canvas:
        """The texels round a box; painting on it paints on the whole."""
        low, high = np.asarray(bounds_mm).reshape(2, 2) + np.array([[-margin_mm], [margin_mm]])
        c0, r0 = np.clip(np.floor((low - self.low) * PPM).astype(int), 0, np.array(self.shape)[::-1] - 4)
        c1, r1 = np.clip(np.ceil((high - self.low) * PPM).astype(int), [c0 + 4, r0 + 4], np.array(self.shape)[::-1])
        corner = self.low + np.array([c0, r0]) / PPM
        return _Canvas(corner, self.colour[r0:r1, c0:c1], self.solid[r0:r1, c0:c1], self.rng)

    def fbm(self, cell_mm: float, octaves: int = 4, *, gain: float = 0.55, stretch: float = 1.0) -> Field:
        return fbm(self.shape, PPM, cell_mm, self.rng, octaves=octaves, gain=gain, stretch=stretch)

    def inside(self, area: Polygon | MultiPolygon) -> Field:
        """Share of each texel inside an outline."""
        return cover_of(area, self.low, PPM, self.shape)

    def paint(self, cover: Field, tone: NDArray[np.float32]) -> None:
        self.colour += cover[..., None] * (tone - self.colour)


def cover_of(area: Polygon | MultiPolygon, low_mm: NDArray[np.float64], ppm: float, shape: tuple[int, int]) -> Field:
    """Share of each texel inside an outline, counted at the centres of a finer grid.

    Scan lines: every edge turns "inside" over from where it crosses a fine row on.

    Parameters
    ----------
    area : shapely.Polygon or MultiPolygon
        In mm.
    low_mm : ndarray of float64, shape (2,)
        Corner of the first texel.
    ppm : float
        Texels a millimetre.
    shape : (int, int)
        Rows and columns.

    Returns
    -------
    ndarray of float32, shape `shape`
        0 to 1.
    """
    rows, cols = shape[0] * SUPER, shape[1] * SUPER
    turns = np.zeros((rows, cols + 1), np.int8)
    for ring in shapely.get_rings(area):
        # fine row i has its centres at i in these coordinates
        x, y = ((shapely.get_coordinates(ring) - low_mm) * ppm * SUPER - 0.5).T
        low, high = np.ceil(np.minimum(y[:-1], y[1:])), np.ceil(np.maximum(y[:-1], y[1:]))
        low, high = np.clip([low, high], 0, rows).astype(int)
        edge = np.repeat(np.arange(len(low)), high - low)
        row = np.arange(len(edge)) - np.repeat(np.cumsum(high - low) - (high - low), high - low) + low[edge]
        at = x[edge] + (row - y[edge]) * (x[edge + 1] - x[edge]) / (y[edge + 1] - y[edge])
        np.add.at(turns, (row, np.clip(np.ceil(at), 0, cols).astype(int)), 1)
    inside = np.cumsum(turns, axis=1, dtype=np.int8)[:, :-1] & 1
    return np.asarray(inside.reshape(shape[0], SUPER, shape[1], SUPER).mean(axis=(1, 3)), dtype=np.float32)


def _tone(hexed: str, field: Field | float = 0.0) -> NDArray[np.float32]:
    """An sRGB colour as linear light, brightened by a field."""
    srgb = np.array([int(hexed[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear * np.exp(np.asarray(field, dtype=np.float32))[..., None], dtype=np.float32)


def skin_of(scene: Scene, panel: Panel) -> Skin:
    """Paint a panel: coat, dirt, chips, line work, then marks from mild to grave.

    Parameters
    ----------
    scene : Scene
        The car.
    panel : Panel
        The panel.

    Returns
    -------
    Skin
        The same for the same scene.
    """
    number = [p.id for p in scene.template.panels].index(panel.id)
    canvas = _Canvas.of_panel(panel, [scene.seed, 11, number])
    _coat(canvas)
    _line_work(canvas, panel)
    canvas.solid[:] = canvas.inside(panel.outline.polygon)
    order = [MarkKind.FILLER, MarkKind.PATCH, MarkKind.RUST, MarkKind.HIDDEN]
    stages = [None, RustStage.SURFACE, RustStage.SCALED, RustStage.HOLED]
    marks = [m for m in scene.marks if m.panel == panel.id]
    for mark in sorted(marks, key=lambda m: (order.index(m.kind), stages.index(m.stage))):
        part = canvas.part(np.array(mark.area.bounds), 3.0)
        _PAINT[mark.kind](part, mark, part.inside(mark.area))
    picture = np.concatenate([np.clip(canvas.colour, 0.0, 1.0), canvas.solid[..., None]], axis=2)
    return flat_skin(picture, canvas.low, PPM)


def _coat(canvas: _Canvas) -> None:
    """Worn underseal with its orange peel, road dirt in the lee, stone chips."""
    relief = canvas.fbm(7, 3)
    light = 0.28 * (np.roll(relief, 1, 0) - np.roll(relief, -1, 1)) * PPM
    canvas.colour[:] = _tone("#2e2b28", 0.25 * canvas.fbm(140) + np.clip(light, -0.7, 0.9))
    dirt = smoothstep(-0.3, 1.6, canvas.fbm(110) + 0.5 * canvas.fbm(14))
    canvas.paint(0.75 * dirt, _tone("#5d5142", 0.15 * canvas.fbm(5)))
    chips = smoothstep(2.5, 3.1, canvas.fbm(4, 2, gain=0.8) + 0.4 * canvas.fbm(200, 2))
    canvas.paint(0.7 * chips, _tone("#5d564c", 0.3 * relief))


def _line_work(canvas: _Canvas, panel: Panel) -> None:
    """Ribs, seams, holes and brackets of the template, so that datum points can be recognised."""
    for feature in panel.features:
        bounds = np.concatenate([feature.line_mm.min(axis=0), feature.line_mm.max(axis=0)])
        part = canvas.part(bounds, 45.0 if feature.kind is FeatureKind.RIB else 10.0)
        line = np.round(((feature.line_mm - part.low) * PPM - 0.5) * 16).astype(np.int32).reshape(-1, 1, 2)
        mask = np.full(part.shape, 255, np.uint8)
        cv2.polylines(mask, [line], isClosed=False, color=0, thickness=1, shift=4)
        away = cv2.distanceTransform(mask, cv2.DIST_L2, 5) / np.float32(PPM)
        width = {FeatureKind.RIB: 12.0, FeatureKind.SEAM: 2.0}.get(feature.kind, 1.6)
        side = np.gradient(away, axis=0) * np.exp(-0.5 * (away / width) ** 2)
        part.colour *= np.exp(1.1 * side * PPM)[..., None].astype(np.float32)
        if feature.kind is not FeatureKind.RIB:
            part.paint(0.7 * smoothstep(-1.6, -0.4, -away), _tone("#141210"))
        if feature.kind is FeatureKind.HOLE and len(feature.line_mm) > 3:
            part.paint(part.inside(Polygon(feature.line_mm)), _tone("#070707"))
    for datum in panel.datum_points:
        part = canvas.part(np.tile(datum.at_mm, 2), 9.0)
        u, v = (datum.at_mm - part.low) * PPM - 0.5
        y, x = np.ogrid[: part.shape[0], : part.shape[1]]
        away = np.hypot(x - u, y - v).astype(np.float32) / np.float32(PPM)
        part.paint(0.8 * smoothstep(-3.4, -2.6, -away), _tone("#0c0b0b"))
        part.paint(0.6 * np.exp(-(((away - 4.2) / 0.8) ** 2)), _tone("#8b8378"))


def _rust(canvas: _Canvas, mark: TrueMark, cover: Field) -> None:
    grain = canvas.fbm(4, 4, gain=0.75)
    if mark.stage is RustStage.HOLED:
        canvas.paint(cover, _tone("#1d120d"))
        canvas.solid *= 1 - cover
        return
    tones = {RustStage.SURFACE: "#7a4d2e", RustStage.SCALED: "#4c2a1b"}
    depth = 0.28 if mark.stage is RustStage.SURFACE else 0.5
    canvas.paint(cover, _tone(tones[mark.stage or RustStage.SURFACE], depth * grain + 0.2 * canvas.fbm(25)))
    flecks = smoothstep(0.9, 1.8, canvas.fbm(9, 4))
    canvas.paint(0.7 * cover * flecks, _tone("#8f5f38" if mark.stage is RustStage.SURFACE else "#23150f", 0.3 * grain))


def _patch(canvas: _Canvas, mark: TrueMark, cover: Field) -> None:
    """A plate with its weld bead just inside the edge: the patch ends at the bead's toe."""
    brushed = canvas.fbm(4, 3, stretch=12.0)
    fresh = int(mark.id.rsplit("-", 1)[1]) % 2 == 0
    canvas.paint(cover, _tone("#7d7f80" if fresh else "#3a3733", 0.1 * brushed + 0.12 * canvas.fbm(60)))
    inner = canvas.inside(mark.area.buffer(-5.0))
    ripple = np.sin(canvas.fbm(5, 2) * 4.0)
    canvas.paint(cover * (1 - inner), _tone("#4a453f", 0.45 * ripple))


def _filler(canvas: _Canvas, mark: TrueMark, cover: Field) -> None:
    del mark
    canvas.paint(cover, _tone("#8d8067", 0.06 * canvas.fbm(50) + 0.05 * canvas.fbm(1.5, 2, stretch=20.0)))


def _hidden(canvas: _Canvas, mark: TrueMark, cover: Field) -> None:
    """Thick fresh coat or caked mud."""
    if int(mark.id.rsplit("-", 1)[1]) % 2:
        canvas.paint(cover, _tone("#121211", 0.5 * canvas.fbm(5, 3)))
    else:
        canvas.paint(cover, _tone("#6b5a45", 0.25 * canvas.fbm(12) + 0.2 * canvas.fbm(3, 2)))


_PAINT = {MarkKind.RUST: _rust, MarkKind.PATCH: _patch, MarkKind.FILLER: _filler, MarkKind.HIDDEN: _hidden}
