"""How well each place of the body was shown: the detail map, cell by cell."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator, Mapping
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from corromap.evaluation import Evaluation, smallest_seen
from corromap.evidence.seen_well import PanelEvidence, cells_of, panel_evidence
from corromap.frames import FloatArray, PanelId
from corromap.messages import to_say
from corromap.report import figures
from corromap.report.body_drawing import body_drawing
from corromap.report.language import number, tr
from corromap.report.palette import INK, NEVER_SEEN, pattern_defs
from corromap.report.svg import element, path_data, text_element

__all__ = ["detail_map_svg", "detail_map_words"]

CELL_MM = 20.0
FINE_MM_PER_PX = (0.5, 1.0)
_WELL = ((24, 62, 107), (74, 124, 178), (151, 188, 220))
"""Finer than 0.5 mm a pixel, than 1 mm, coarser: one blue, darker where finer."""
_POOR, _POOR_MARK = (240, 200, 110), (150, 95, 10)
_HIDDEN, _HIDDEN_MARK = (214, 208, 196), (69, 67, 63)
_CLASSES = (
    (_WELL[0], _WELL[0], to_say("well, {fine} mm a pixel or finer")),
    (_WELL[1], _WELL[1], to_say("well, {fair} mm a pixel or finer")),
    (_WELL[2], _WELL[2], to_say("well enough for a hole of {size}")),
    (_POOR, _POOR_MARK, to_say("shown, not well enough (dark, blurred, flat or coarse)")),
    (_HIDDEN, _HIDDEN_MARK, to_say("shown, but hidden")),
)


def detail_map_svg(evaluation: Evaluation, *, width: float = 760.0, turn: bool = False) -> str:
    """Draw how well each place was shown.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.
    width : float
        Of the drawing, CSS px.
    turn : bool
        Front to the left, for wide screens.

    Returns
    -------
    str
        One ``<svg>``; hatched ground is in no photo. The classes differ by
        pattern, too: checks are shown badly, stripes are hidden.
    """
    template = evaluation.template
    body = body_drawing(template, float(width), turn=turn)
    prefix = f"detail-{'turned' if turn else 'upright'}-{width:.0f}"  # one page holds it in several sizes
    unseen = f"url(#{prefix}-{NEVER_SEEN.key})"
    rings = [
        path_data(z.outline.polygon, body.sheet.panels[panel.id]) for panel in template.panels for z in panel.zones
    ]
    legend, used = _legend(evaluation, body.sheet.height, unseen)
    height = body.sheet.height + used
    return element(
        "svg",
        element("defs", pattern_defs(prefix, (NEVER_SEEN,))),
        *(element("path", d=ring, fill=unseen) for ring in rings),
        *_cells(evaluation, body.sheet.panels),
        *(element("path", d=ring, fill="none", stroke=INK, stroke_width=0.8) for ring in rings),
        body.numbers,
        body.frame,
        legend,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {width:g} {height:g}",
        role="img",
        aria_label=detail_map_words(evaluation),
        font_family="Noto Sans, DejaVu Sans, sans-serif",
    )


def detail_map_words(evaluation: Evaluation) -> str:
    """Say what `detail_map_svg` shows.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.

    Returns
    -------
    str
        Shares of the whole body.
    """
    whole = next(group for group in evaluation.measures.groups if group.id == "all")
    return tr(
        "How well each place was shown: of the whole body {well} well enough, {poor} less well, {hidden} hidden, "
        "{never} in no photo.",
        well=figures.fraction(whole.well_share),
        poor=figures.fraction(max(0.0, whole.seen_share - whole.well_share)),
        hidden=figures.fraction(whole.hidden_share),
        never=figures.fraction(whole.never_seen_share),
    )


def _cells(evaluation: Evaluation, places: Mapping[PanelId, FloatArray]) -> Iterator[str]:
    for panel, (picture, corner) in _rasters(evaluation).items():
        matrix = places[panel]
        shift = matrix[:, :2] @ corner + matrix[:, 2]
        a, b, c, d = (matrix[:, :2] * CELL_MM).T.ravel()
        held = io.BytesIO()
        Image.fromarray(picture).save(held, "PNG", optimize=True)
        data = base64.b64encode(held.getvalue()).decode("ascii")
        yield element(
            "image", href=f"data:image/png;base64,{data}", width=picture.shape[1], height=picture.shape[0],
            transform=f"matrix({a:.5f} {b:.5f} {c:.5f} {d:.5f} {shift[0]:.3f} {shift[1]:.3f})",
            preserveAspectRatio="none", style="image-rendering: pixelated",
        )  # fmt: skip


@lru_cache(maxsize=1)
def _rasters(evaluation: Evaluation) -> dict[PanelId, tuple[NDArray[np.uint8], FloatArray]]:
    """Every panel that is in a photo; remembered, for a report draws it in several sizes."""
    smallest = smallest_seen(evaluation.survey.settings)
    shown = {seen.panel for seen in evaluation.projection.seen if not seen.area.is_empty}
    return {
        panel.id: _raster(panel_evidence(cells_of(panel, CELL_MM), evaluation.showing, smallest))
        for panel in evaluation.template.panels
        if panel.id in shown
    }


def _raster(found: PanelEvidence) -> tuple[NDArray[np.uint8], FloatArray]:
    """RGBA of the panel's cells, u to the right and v down the rows, and the corner of the first one."""
    uv = found.grid.uv_mm
    corner = uv.min(axis=0) - CELL_MM / 2
    column, row = np.rint((uv - corner) / CELL_MM - 0.5).astype(int).T
    picture = np.zeros((row.max() + 1, column.max() + 1, 4), dtype=np.uint8)
    fine = np.digitize(np.nan_to_num(found.best_mm_per_px, nan=99.0), FINE_MM_PER_PX, right=True)
    kind = np.where(found.well, fine, np.where(found.unhidden, 3, 4))
    marked = np.where(kind == 3, (row + column) % 2 == 0, row % 2 == 0)
    colours = np.where(marked[:, None], *(np.array([c[i] for c in _CLASSES])[kind] for i in (1, 0)))
    picture[row[found.shown], column[found.shown]] = np.column_stack(
        [colours[found.shown], np.full(int(found.shown.sum()), 255)]
    )
    return picture, corner


def _legend(evaluation: Evaluation, top: float, unseen: str) -> tuple[str, float]:
    values = {
        "fine": number(FINE_MM_PER_PX[0]),
        "fair": number(FINE_MM_PER_PX[1]),
        "size": figures.length(evaluation.survey.settings.smallest_hole_mm),
    }
    rows, y = [], top
    entries = [(ground, mark, tr(words, **values)) for ground, mark, words in _CLASSES]
    for ground, mark, words in [*entries, (None, None, tr("in no photo"))]:
        fill = unseen if ground is None else _hex(ground)
        rows.append(element("rect", x=34, y=y, width=26, height=14, fill=fill, stroke=INK, stroke_width=0.8))
        if mark is not None and mark != ground:
            rows.append(element("path", d=f"M34 {y + 3.5:g}h26M34 {y + 10.5:g}h26", stroke=_hex(mark), stroke_width=3,
                                stroke_dasharray="4 4" if ground == _POOR else None))  # fmt: skip
        rows.append(text_element(words, 70, y + 12, font_size=13, fill=INK))
        y += 21
    return element("g", *rows), y - top + 8


def _hex(colour: tuple[int, int, int]) -> str:
    return "#{:02X}{:02X}{:02X}".format(*colour)
