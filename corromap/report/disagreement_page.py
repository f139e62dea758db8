"""Places on which two photos disagree, with both crops side by side, as the page prints them."""

from __future__ import annotations

import base64
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from shapely.geometry import MultiPolygon

from corromap.evaluation import Evaluation
from corromap.evidence.disagreement import Crop, Disagreement, crop_of, crop_reduce, find_disagreements
from corromap.evidence.seen_well import Showing
from corromap.frames import PhotoId
from corromap.io.photos import RgbArray, encode_jpeg
from corromap.report.findings import mark_numbers
from corromap.report.language import tr
from corromap.report.palette import look_of
from corromap.report.pictures import Pictures
from corromap.report.settled import answer_words
from corromap.report.svg import element, path_data
from corromap.template import Panel

__all__ = ["DisagreementRow", "disagreement_row", "disagreement_rows"]

MOST_ROWS = 16
QUALITY = 78


@dataclass(frozen=True, slots=True)
class DisagreementRow:
    """One place, as printed.

    Parameters
    ----------
    mark : int
        Number of the mark.
    what, where, photo, other : str
        Kind of mark, panel, names of both photos.
    says_sound : bool
        Whether the other photo has the place marked as sound.
    svg, other_svg : str
        Both crops at the same scale and orientation.
    alt, other_alt : str
        The same in words.
    answer : str
        How a person settled it; empty while it is open.
    """

    mark: int
    what: str
    where: str
    photo: str
    other: str
    says_sound: bool
    svg: str
    other_svg: str
    alt: str
    other_alt: str
    answer: str


def disagreement_rows(
    evaluation: Evaluation, showing: Showing, pictures: Pictures
) -> Callable[[], tuple[tuple[DisagreementRow, ...], int]]:
    """Order what shows where photos disagree.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.
    showing : Showing
        What its photos show, judged or not.
    pictures : Pictures
        Its photos; the crops are ordered there.

    Returns
    -------
    callable
        Gives the rows, largest places first, `MOST_ROWS` at most, and how many
        there are in all; raises `PhotoError` if a photo cannot be decoded.
    """
    found = find_disagreements(showing)
    ordered = [
        (one, [_ordered_crop(evaluation, one, photo, pictures) for photo in (one.photo, one.other)])
        for one in found[:MOST_ROWS]
    ]

    def laid_out() -> tuple[tuple[DisagreementRow, ...], int]:
        rows = (_row(evaluation, one, *(crop() for crop in crops)) for one, crops in ordered)
        return tuple(row for row in rows if row is not None), len(found)

    return laid_out


def _ordered_crop(
    evaluation: Evaluation, one: Disagreement, photo: PhotoId, pictures: Pictures
) -> Callable[[], Crop | None]:
    panel, registrations = evaluation.template.panel(one.panel), evaluation.registrations
    reduce = crop_reduce(photo, one, panel, registrations)
    if reduce is None:
        return lambda: None
    return pictures.order(photo, reduce, lambda rgb: crop_of(photo, one, panel, registrations, lambda *_asked: rgb))


def disagreement_row(
    evaluation: Evaluation, one: Disagreement, load: Callable[[PhotoId, int], RgbArray]
) -> DisagreementRow | None:
    """Lay out one place on which two photos disagree.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.
    one : Disagreement
        The place.
    load : callable
        A photo's pixels, each side divided by a power of two.

    Returns
    -------
    DisagreementRow or None
        None when one of the photos has no place on the panel.
    """
    panel = evaluation.template.panel(one.panel)
    crops = (crop_of(photo, one, panel, evaluation.registrations, load) for photo in (one.photo, one.other))
    return _row(evaluation, one, *crops)


def _row(evaluation: Evaluation, one: Disagreement, first: Crop | None, second: Crop | None) -> DisagreementRow | None:
    if first is None or second is None:
        return None
    names = {photo.id: photo.name for photo in evaluation.survey.photos}
    panel = evaluation.template.panel(one.panel)
    look = look_of(evaluation.survey.mark_by_id[one.mark])
    label = tr("{kind} as marked on {photo}", kind=tr(look.label), photo=names[one.photo])
    other_label = tr("The same place on {photo}", photo=names[one.other])
    return DisagreementRow(
        mark=mark_numbers(evaluation)[one.mark],
        what=tr(look.label),
        where=tr(panel.name),
        photo=names[one.photo],
        other=names[one.other],
        says_sound=one.says_sound,
        svg=_svg(first, one.area, panel, look.colour, label=label),
        other_svg=_svg(second, one.area, panel, look.colour, label=other_label, dashed=True),
        alt=label,
        other_alt=other_label,
        answer=answer_words(evaluation.survey, one.mark, one.other),
    )


def _svg(  # noqa: PLR0913  what a drawing needs
    crop: Crop, shape_mm: MultiPolygon, panel: Panel, colour: str, *, label: str, dashed: bool = False
) -> str:
    height, width = crop.rgb.shape[:2]
    data = base64.b64encode(encode_jpeg(crop.rgb, QUALITY)).decode("ascii")
    ends = crop.to_px(panel, np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])) + 0.5
    matrix = np.column_stack([ends[1] - ends[0], ends[2] - ends[0], ends[0]])
    shape = path_data(shape_mm, matrix)
    dash = "7 5" if dashed else None
    return element(
        "svg",
        element("image", href=f"data:image/jpeg;base64,{data}", width=width, height=height),
        element("path", d=shape, fill="none", stroke="#FFFFFF", stroke_width=5, stroke_opacity=0.8),
        element("path", d=shape, fill="none", stroke=colour, stroke_width=2.6, stroke_dasharray=dash),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {width} {height}",
        class_="crop",
        role="img",
        aria_label=label,
    )
