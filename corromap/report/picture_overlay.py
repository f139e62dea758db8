"""What is drawn over the whole picture: hatching, zones, marks, sides, scale bar."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from corromap.evaluation import Evaluation
from corromap.evidence.sheet import PictureSheet, Window
from corromap.evidence.whole_picture import SEEN, UNSEEN, PictureTile
from corromap.frames import FloatArray
from corromap.io.photos import RgbArray
from corromap.report.findings import mark_numbers
from corromap.report.palette import look_of
from corromap.survey import MarkKind
from corromap.template import Role

__all__ = ["PictureOverlay"]

PAPER_RGB, PANEL_RGB, HATCH_RGB = (251, 249, 244), (241, 238, 230), (176, 169, 155)
INK = "#1E2328"
FRAME_NOTE = "Seen from below: the car's left is on the right-hand side."
SIDES = ("RIGHT", "LEFT")
HALO = "#FFFFFF"
HATCH_MM, HATCH_LINE_MM = 26.0, 4.0
ZONE_MM, MARK_MM, LABEL_MM = 1.6, 4.0, 24.0
LEAST_TEXT_PX = 8.0


class PictureOverlay:
    """Draws over tiles of the whole picture.

    Parameters
    ----------
    evaluation : Evaluation
        Zones and marks come from here.
    sheet : PictureSheet
        The raster.
    marks : bool
        Draw the marks.
    zones : bool
        Draw the zones' edges.
    """

    def __init__(self, evaluation: Evaluation, sheet: PictureSheet, *, marks: bool = True, zones: bool = True) -> None:
        self.sheet = sheet
        self._evaluation = evaluation
        self._px = 1.0 / sheet.mm_per_px
        self._zones = self._zone_lines() if zones else []
        self._marks = self._mark_lines() if marks else []
        self._labels = self._placed_labels()
        self._looks = [look_of(m.mark) for m in evaluation.projection.marks] if marks else []

    def paint(self, tile: PictureTile) -> RgbArray:
        """Draw over one tile.

        Parameters
        ----------
        tile : PictureTile
            From `corromap.evidence.whole_picture`.

        Returns
        -------
        ndarray of uint8, shape (H, W, 3)
            Ready to be written; neighbours fit.
        """
        window = tile.window
        picture = Image.fromarray(self._ground(tile))
        draw = ImageDraw.Draw(picture)
        offset = np.array([window.x, window.y])
        for line, width in self._zones:
            self._line(draw, line - offset, INK, width, halo=0.9 * self._px)
        for line, colour, _ in self._marks:
            self._line(draw, line - offset, colour, max(2.0, MARK_MM * self._px), halo=1.2 * self._px)
        for at, colour, text in self._labels:
            self._text(draw, (at[0] - window.x, at[1] - window.y), text, LABEL_MM, colour=colour)
        self._frame(draw, window)
        return np.asarray(picture, dtype=np.uint8)

    def _ground(self, tile: PictureTile) -> RgbArray:
        """Photo where seen; hatched where the body was never seen; paper elsewhere."""
        window = tile.window
        y, x = np.mgrid[window.y : window.y + window.height, window.x : window.x + window.width]
        on_line = np.mod(x + y, max(3.0, HATCH_MM * self._px)) < max(1.0, HATCH_LINE_MM * self._px)
        hatched = np.where(on_line[..., None], HATCH_RGB, PANEL_RGB)
        below = np.where((tile.state == UNSEEN)[..., None], hatched, PAPER_RGB)
        return np.where((tile.state == SEEN)[..., None], tile.rgb, below).astype(np.uint8)

    def _zone_lines(self) -> list[tuple[FloatArray, float]]:
        lines = []
        for zone in self._evaluation.template.zones:
            panel = self._evaluation.template.panel(zone.panel)
            ring = zone.outline.exterior_mm
            width = ZONE_MM * (2.0 if zone.role is Role.PRIMARY else 1.0)
            lines.append((self.sheet.to_px(panel, np.vstack([ring, ring[:1]])), max(1.0, width * self._px)))
        return lines

    def _mark_lines(self) -> list[tuple[FloatArray, str, str]]:
        numbers = mark_numbers(self._evaluation)
        lines = []
        for projected in self._evaluation.projection.marks:
            panel = self._evaluation.template.panel(projected.panel)
            kind = projected.mark.kind
            for piece in projected.area.geoms:
                label = "" if kind in {MarkKind.HIDDEN, MarkKind.SOUND} else str(numbers[projected.mark.id])
                ring = self.sheet.to_px(panel, np.asarray(piece.exterior.coords))
                lines.append((ring, look_of(projected.mark).colour, label))
        return lines

    @staticmethod
    def _line(draw: ImageDraw.ImageDraw, line: FloatArray, colour: str, width: float, halo: float) -> None:
        low, high = line.min(axis=0) - width, line.max(axis=0) + width
        if high[0] < 0 or high[1] < 0 or low[0] > draw.im.size[0] or low[1] > draw.im.size[1]:
            return
        points = [(float(x), float(y)) for x, y in line]
        draw.line(points, fill=HALO, width=round(width + 2 * max(1.0, halo)), joint="curve")
        draw.line(points, fill=colour, width=max(1, round(width)), joint="curve")

    def _placed_labels(self) -> list[tuple[tuple[float, float], str, str]]:
        """Numbers above their marks; those that would lie over each other become one label."""
        size = max(LEAST_TEXT_PX, LABEL_MM * self._px)
        groups: list[tuple[FloatArray, str, list[str]]] = []
        for line, colour, label in self._marks:
            at = line[np.argmin(line[:, 1])] - (0.0, 6 * self._px)
            near = [g for g in groups if (np.abs(g[0] - at) < (size * (0.6 * len(", ".join(g[2])) + 0.8), size)).all()]
            if label and near:
                if label not in near[0][2]:
                    near[0][2].append(label)
            elif label:
                groups.append((at, colour, [label]))
        return [((float(at[0]), float(at[1])), colour, ", ".join(labels)) for at, colour, labels in groups]

    def _text(  # noqa: PLR0913  what a text needs
        self,
        draw: ImageDraw.ImageDraw,
        at: tuple[float, float],
        text: str,
        size_mm: float,
        *,
        colour: str = INK,
        anchor: str = "ms",
    ) -> None:
        size = max(LEAST_TEXT_PX, size_mm * self._px)
        draw.text(
            at, text, fill=colour, font=ImageFont.load_default(size), anchor=anchor,
            stroke_width=max(1, round(size / 9)), stroke_fill=HALO,
        )  # fmt: skip

    def _frame(self, draw: ImageDraw.ImageDraw, window: Window) -> None:
        """Sides, title, scale bar; drawn on every tile, cut by its edge."""
        width, height, px = self.sheet.width_px, self.sheet.height_px, self._px
        x, y = -window.x, -window.y
        title = self._evaluation.survey.car.label.strip()[:60] or "Whole picture"
        self._text(draw, (x + 60 * px, y + 80 * px), title, 56, anchor="ls")
        self._text(draw, (x + 60 * px, y + 130 * px), FRAME_NOTE, 32, anchor="ls")
        self._text(draw, (x + width / 2, y + 200 * px), "FRONT", 46)
        for side, at in zip(SIDES, (60 * px, width - 60 * px), strict=True):
            self._text(draw, (x + at, y + 200 * px), side, 46, anchor="ls" if side == SIDES[0] else "rs")
        self._scale_bar(draw, (x + 60 * px, y + height - 90 * px))
        self._legend(draw, (x + 780 * px, y + height - 90 * px))

    def _legend(self, draw: ImageDraw.ImageDraw, at: tuple[float, float]) -> None:
        """Name the colours of the marks there are; a mark's number is that of the report."""
        x, y = at
        for look in dict.fromkeys(self._looks):
            box = (x, y - 14 * self._px, x + 44 * self._px, y + 14 * self._px)
            draw.rectangle(box, outline=look.colour, width=max(1, round(4 * self._px)))
            self._text(draw, (x + 56 * self._px, y + 14 * self._px), look.label, 28, anchor="ls")
            x += (76 + 17 * len(look.label)) * self._px

    def _scale_bar(self, draw: ImageDraw.ImageDraw, at: tuple[float, float]) -> None:
        x, y = at
        bar, thick = 100.0 * self._px, max(3.0, 14 * self._px)
        for i in range(5):
            box: Sequence[float] = (x + i * bar, y, x + (i + 1) * bar, y + thick)
            draw.rectangle(tuple(box), fill=INK if i % 2 == 0 else HALO, outline=INK, width=max(1, round(2 * self._px)))
        self._text(draw, (x + 5 * bar + 20 * self._px, y + thick), "500 mm", 32, anchor="ls")
        note = f"{self.sheet.mm_per_px:g} mm per pixel; hatched: no photo shows it. A photo shows a lower bound."
        self._text(draw, (x, y + 65 * self._px), note, 26, anchor="ls")
