"""Which photo the whole picture takes at each pixel, and with what weight near a seam."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon

from corromap.evidence.quality import QualityMap, RgbArray
from corromap.evidence.rectified import lattice_uv, reduce_for, spread
from corromap.evidence.sheet import PictureSheet, Window
from corromap.frames import FloatArray, PhotoId
from corromap.registration.result import Registration
from corromap.template import Panel

__all__ = ["COARSE_PX", "Contest", "Outline", "Patch", "PlacedView"]

FEATHER_MM = 30.0
"""Width over which a photo fades into the next. Ours."""
COARSE_PX = 16
"""Detail, quality and light are worked out on every 16th pixel: they change slowly."""
EDGE_PENALTY, BAD_PENALTY = 1.5, 2.0
"""Added to the logarithm of the detail at a photo's own edge and where it is dark
or blurred: another photo is taken there if there is one. Ours."""
LEAST_WEIGHT = 1e-4
"""A photo keeps this where it wins at its own edge, where its feather ends. Ours."""
SUBPIXEL_BITS = 4

Fades = dict[int, tuple[Window, NDArray[np.float32]]]


class Outline:
    """An area laid out on a sheet once, to be filled in many windows.

    Parameters
    ----------
    area : shapely.MultiPolygon
        Panel millimetres.
    panel : Panel
        The panel.
    sheet : PictureSheet
        The raster.

    Attributes
    ----------
    box : Window
        Pixels the area can touch.
    """

    def __init__(self, area: MultiPolygon, panel: Panel, sheet: PictureSheet) -> None:
        rings = [np.asarray(ring.coords) for part in area.geoms for ring in (part.exterior, *part.interiors)]
        placed = [sheet.to_px(panel, ring) for ring in rings]
        everything = np.concatenate(placed)
        low, high = np.floor(everything.min(axis=0)).astype(int) - 1, np.ceil(everything.max(axis=0)).astype(int) + 2
        self.box = Window(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))
        self._rings = [np.rint(ring * 2**SUBPIXEL_BITS).astype(np.int32) for ring in placed]

    def filled(self, window: Window) -> NDArray[np.uint8]:
        """Fill the area.

        Parameters
        ----------
        window : Window
            A rectangle of the sheet.

        Returns
        -------
        ndarray of uint8, shape (height, width)
            1 where a pixel's centre is about inside; drawn, so within half a pixel.
        """
        mask = np.zeros((window.height, window.width), dtype=np.uint8)
        origin = np.array([window.x, window.y], dtype=np.int32) << SUBPIXEL_BITS
        cv2.fillPoly(mask, [ring - origin for ring in self._rings], (1,), shift=SUBPIXEL_BITS)
        return mask


class PlacedView:
    """One photo on one panel.

    Parameters
    ----------
    registration : Registration
        Its place.
    area : shapely.MultiPolygon
        What it shows of the panel, not empty, panel millimetres.
    panel : Panel
        The panel.
    sheet : PictureSheet
        The raster.
    """

    def __init__(self, registration: Registration, area: MultiPolygon, panel: Panel, sheet: PictureSheet) -> None:
        self.photo: PhotoId = registration.photo
        self.registration = registration
        self.area = area
        self.reduce = reduce_for(registration, area, sheet.mm_per_px)
        self.outline = Outline(area, panel, sheet)


@dataclass(slots=True, eq=False)
class Patch:
    """The part one photo has in a rectangle of a panel.

    Parameters
    ----------
    view : PlacedView
        The photo's place.
    panel : Panel
        The panel.
    window : Window
        Where on the sheet.
    weight : ndarray of float16, shape (height, width)
        Of the photo against the others there.
    rgb : ndarray of uint8, shape (height, width, 3)
        The photo's colours, once they are drawn; empty before.
    """

    view: PlacedView
    panel: Panel
    window: Window
    weight: NDArray[np.float16]
    rgb: RgbArray = field(default_factory=lambda: np.empty((0, 0, 3), dtype=np.uint8))

    @property
    def byte_count(self) -> int:
        """Bytes it takes once it is drawn."""
        return self.window.width * self.window.height * (self.weight.itemsize + 3)


@dataclass(frozen=True, slots=True, eq=False)
class Contest:
    """Judges photos against each other, pixel by pixel.

    Parameters
    ----------
    sheet : PictureSheet
        The raster.
    quality : mapping of PhotoId to QualityMap
        Dark and blurred parts of these photos are taken only where nothing
        better is.
    """

    sheet: PictureSheet
    quality: Mapping[PhotoId, QualityMap]

    @property
    def feather_px(self) -> int:
        """Half the width of a seam."""
        return max(1, round(FEATHER_MM / self.sheet.mm_per_px))

    def winners(self, panel: Panel, part: Window, views: Sequence[PlacedView]) -> NDArray[np.int16]:
        """Tell which view wins at each pixel.

        Parameters
        ----------
        panel : Panel
            The panel.
        part : Window
            A rectangle of the sheet.
        views : sequence of PlacedView
            All of the panel.

        Returns
        -------
        ndarray of int16, shape (height, width)
            Places in `views`; -1 where none shows the panel.
        """
        wide = part.grown(2 * self.feather_px)
        return self._ranked(panel, wide, views)[0][part.within(wide)]

    def patches(self, panel: Panel, part: Window, views: Sequence[PlacedView]) -> list[Patch]:
        """Find what each view has to draw.

        Parameters
        ----------
        panel : Panel
            The panel.
        part : Window
            A rectangle of the sheet.
        views : sequence of PlacedView
            All of the panel.

        Returns
        -------
        list of Patch
            Only views with some weight there, in the order of `views`.
        """
        wide = part.grown(2 * self.feather_px)
        winner, fades = self._ranked(panel, wide, views)
        found = []
        for index, (seen, fade) in fades.items():
            box, weight = self._weight(winner == index, wide, seen, fade)
            inner = box.common(part) if box else None
            if box and inner and (own := weight[inner.within(box)]).any():
                found.append(Patch(views[index], panel, inner, own.astype(np.float16)))
        return found

    def _weight(
        self, won: NDArray[np.bool_], wide: Window, seen: Window, fade: NDArray[np.float32]
    ) -> tuple[Window | None, NDArray[np.float32]]:
        """Weight of a view around where it wins, as far as it shows the panel."""
        x, y, width, height = cv2.boundingRect(won.view(np.uint8))
        around = Window(wide.x + x, wide.y + y, width, height).grown(self.feather_px)
        box = around.common(seen) if width else None
        if box is None:
            return None, fade
        side = 2 * self.feather_px + 1
        reach = around.common(wide) or wide
        own = won[reach.within(wide)].astype(np.float32)
        soft = cv2.blur(own, (side, side), borderType=cv2.BORDER_CONSTANT)[box.within(reach)]
        return box, np.asarray(soft * fade[box.within(seen)] + LEAST_WEIGHT * own[box.within(reach)], dtype=np.float32)

    def _ranked(self, panel: Panel, wide: Window, views: Sequence[PlacedView]) -> tuple[NDArray[np.int16], Fades]:
        """Who has the finest usable detail at each pixel, and how each fades to its own edge."""
        winner = np.full((wide.height, wide.width), -1, dtype=np.int16)
        best = np.full(winner.shape, np.inf, dtype=np.float32)
        fades: Fades = {}
        for index, view in enumerate(views):
            box = wide.common(view.outline.box)
            if box is None:
                continue
            here = box.within(wide)
            shown, score = view.outline.filled(box), self._scores(panel, box, view)
            # the edge's penalty only makes it worse: who is behind already need not be asked
            if not (shown.view(np.bool_) & (score < best[here])).any():
                continue
            away = cv2.distanceTransform(shown, cv2.DIST_L2, 5)
            fade = np.minimum(np.asarray(away, dtype=np.float32) / self.feather_px, 1.0)
            score += EDGE_PENALTY * (1.0 - fade)
            better = shown.view(np.bool_) & (score < best[here])
            np.copyto(winner[here], index, where=better)
            np.copyto(best[here], score, where=better)
            fades[index] = box, fade
        return winner, fades

    def _scores(self, panel: Panel, box: Window, view: PlacedView) -> NDArray[np.float32]:
        """Logarithm of the detail, worse where the photo is dark or blurred."""
        uv = lattice_uv(self.sheet, panel, box, COARSE_PX)
        xy = view.registration.to_px(uv.reshape(-1, 2))
        score: FloatArray = np.log(np.nan_to_num(view.registration.detail(xy), nan=1e6).clip(1e-6, 1e6))
        quality = self.quality.get(view.photo)
        if quality is not None:
            score += BAD_PENALTY * ~quality.usable_at(xy)
        return spread(score.reshape(uv.shape[:2]), box, COARSE_PX)
