"""The whole picture as the report prints it: small, with zones and marks."""

from __future__ import annotations

import base64
from collections.abc import Callable

from corromap.evaluation import Evaluation
from corromap.evidence.seen_well import Showing
from corromap.io.photos import RgbArray, encode_jpeg
from corromap.report import figures
from corromap.report.language import tr
from corromap.report.pictures import Pictures
from corromap.report.svg import element
from corromap.report.view import WholeView
from corromap.report.whole_picture_file import reduced_whole_picture

__all__ = ["whole_view"]

LONGEST_PX = 1200
QUALITY = 74


def whole_view(evaluation: Evaluation, pictures: Pictures, showing: Showing) -> Callable[[], WholeView | None]:
    """Order the whole picture for the report.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.
    pictures : Pictures
        Its photos; their pixels are ordered there.
    showing : Showing
        How well each can be judged.

    Returns
    -------
    callable
        Gives it, or None if no photo is placed; raises `PhotoError` if a
        photo's bytes cannot be decoded.
    """
    blended = reduced_whole_picture(evaluation, pictures, showing, LONGEST_PX)
    return lambda: _view(*blended()) if evaluation.projection.seen else None


def _view(rgb: RgbArray, mm_per_px: float) -> WholeView:
    height, width = rgb.shape[:2]
    alt = tr("All photos on one scaled picture of the body, seen from below; hatched where no photo shows it")
    data = base64.b64encode(encode_jpeg(rgb, QUALITY)).decode("ascii")
    svg = element(
        "svg",
        element("image", href=f"data:image/jpeg;base64,{data}", width=width, height=height),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {width} {height}",
        class_="whole",
        role="img",
        aria_label=alt,
    )
    return WholeView(svg, alt, tr("{length} a pixel in this print", length=figures.length(mm_per_px)))
