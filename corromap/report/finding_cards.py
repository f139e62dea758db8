"""Each finding with its crop of a photo, its outline and its place on the body."""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image

from corromap.evaluation import Evaluation
from corromap.frames import FloatArray, MarkId, PhotoId
from corromap.io.photos import RgbArray, encode_jpeg
from corromap.registration import Registration
from corromap.report import figures
from corromap.report.findings import mark_numbers
from corromap.report.language import tr, trn
from corromap.report.palette import ACCENT, FAINT, INK, PANEL, PAPER, look_of
from corromap.report.pictures import Pictures
from corromap.report.places import FoundPlace, found_places
from corromap.report.sheet import lay_out
from corromap.report.svg import element, number, path_data, text_element
from corromap.survey import Mark, MarkKind
from corromap.template import BodyTemplate

__all__ = ["FindingCard", "finding_cards"]

MOST_CARDS = 120
CROP_PX = 420
CROP_QUALITY = 70
ROOM = 0.35
"""Photo shown around a mark on each side, as a share of the mark's longer side."""
LEAST_PX = 120.0
"""A crop shows at least this much of the full photo on each side."""
SHEET_PX = 420.0
LOCATOR_PX = 300.0
BARS_MM = (5.0, 10.0, 20.0, 50.0, 100.0, 200.0)


@dataclass(frozen=True, slots=True)
class FindingCard:
    """One finding as printed.

    Parameters
    ----------
    number : int
        From 1, worst first.
    title, where, about, photo, note : str
        Kind; zones; area and marks; photo shown; notes of its marks.
    marks : tuple of int
        Numbers of its marks.
    svg, alt : str
        Crop with outline, and the same in words; empty if it could not be cut.
    locator, locator_alt : str
        Its place on the body, and the same in words.
    """

    number: int
    title: str
    where: str
    about: str
    photo: str
    note: str
    marks: tuple[int, ...]
    svg: str
    alt: str
    locator: str
    locator_alt: str


@dataclass(frozen=True, slots=True, eq=False)
class _Cut:
    """A part of a photo, small, and where it was cut: pixels of the reduced photo."""

    jpeg: bytes
    start_px: NDArray[np.int_]
    end_px: NDArray[np.int_]
    reduce: int


def finding_cards(
    evaluation: Evaluation, pictures: Pictures, order: Iterable[PhotoId]
) -> Callable[[], tuple[tuple[FindingCard, ...], int]]:
    """Order a card for each finding.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    pictures : Pictures
        Its photos; the crops are ordered there.
    order : iterable of PhotoId
        Photos in the order in which they are numbered.

    Returns
    -------
    callable
        Gives the cards, worst first, `MOST_CARDS` at most, and how many
        findings there are in all; raises `PhotoError` if a photo's bytes cannot
        be decoded.
    """
    places = found_places(evaluation)
    photos = {photo: index for index, photo in enumerate(order, start=1)}
    ordered = [(place, _ordered_cut(evaluation, place.marks[0], pictures)) for place in places[:MOST_CARDS]]
    numbers = mark_numbers(evaluation)

    def made() -> tuple[tuple[FindingCard, ...], int]:
        cards = (_card(evaluation, i, place, cut(), photos, numbers) for i, (place, cut) in enumerate(ordered, start=1))
        return tuple(cards), len(places)

    return made


def _card(  # noqa: PLR0913, PLR0917  what a card is made from
    evaluation: Evaluation,
    index: int,
    place: FoundPlace,
    cut: _Cut | None,
    photos: Mapping[PhotoId, int],
    numbers: Mapping[MarkId, int],
) -> FindingCard:
    template, shown = evaluation.template, place.marks[0]
    where = "; ".join(tr(template.zone_by_id[zone].name) for zone in place.zones[:4])
    if len(place.zones) > 4:
        where = f"{where} {tr('and {count} more', count=len(place.zones) - 4)}"
    where = where or ", ".join(tr(template.panel(panel).name) for panel in place.areas)
    title = tr(look_of(place.worst).label)
    photo = evaluation.survey.photo_by_id[shown.photo]
    alt = tr("{kind} in {zones}, cut from photo {name}", kind=title, zones=where, name=photo.name)
    marks = tuple(sorted(numbers[mark.id] for mark in place.marks))
    return FindingCard(
        number=index,
        title=title,
        where=where,
        about=_about(place),
        photo=tr("Photo {number}: {name}", number=photos[shown.photo], name=photo.name),
        note="\n".join(dict.fromkeys(mark.note for mark in place.marks if mark.note)),
        marks=marks,
        svg="" if cut is None else _crop(evaluation, cut, shown, alt),
        alt=alt,
        locator=_locator(template, place),
        locator_alt=tr("Its place on the body, seen from below: {zones}", zones=where),
    )


def _about(place: FoundPlace) -> str:
    photos = len({mark.photo for mark in place.marks})
    parts = [figures.plain_area(place.area_mm2)]
    if place.worst.fixing:
        parts.append(tr("fixing: {fixing}", fixing=tr(place.worst.fixing.value)))
    if photos > 1:
        parts.append(trn("on {count} photo", "on {count} photos", photos))
    return "; ".join(parts)


def _ordered_cut(evaluation: Evaluation, mark: Mark, pictures: Pictures) -> Callable[[], _Cut | None]:
    photo, reduce = evaluation.survey.photo_by_id[mark.photo], pictures.working(mark.photo)
    low, high = _window(mark, (photo.width_px, photo.height_px))
    return pictures.order(mark.photo, reduce, partial(_cut, low=low, high=high, reduce=reduce))


def _cut(rgb: RgbArray, low: FloatArray, high: FloatArray, reduce: int) -> _Cut | None:
    start = np.floor(low / reduce).astype(int)
    end = np.minimum(np.ceil(high / reduce).astype(int), [rgb.shape[1], rgb.shape[0]])
    if (end - start < 2).any():
        return None
    cut = Image.fromarray(rgb[start[1] : end[1], start[0] : end[0]])
    cut.thumbnail((CROP_PX, CROP_PX), Image.Resampling.LANCZOS, reducing_gap=3.0)
    return _Cut(encode_jpeg(np.asarray(cut, dtype=np.uint8), CROP_QUALITY), start, end, reduce)


def _crop(evaluation: Evaluation, cut: _Cut, mark: Mark, alt: str) -> str:
    start, reduce = cut.start_px, cut.reduce
    scale = SHEET_PX / float(max(cut.end_px - start))
    size = np.asarray((cut.end_px - start) * scale, dtype=np.float64)
    data = base64.b64encode(cut.jpeg).decode("ascii")
    # full-photo pixel centres to the drawing: half a pixel, then the reduction, then the cut
    shift = scale * (0.5 / reduce - start)
    to_sheet = np.column_stack([np.eye(2) * (scale / reduce), shift])
    neighbours = [m for m in evaluation.survey.marks if m.photo == mark.photo and m.kind is not MarkKind.BLUR]
    return element(
        "svg",
        element(
            "image", href=f"data:image/jpeg;base64,{data}", width=float(size[0]), height=float(size[1]),
            preserveAspectRatio="none",
        ),
        *(_outline(other, to_sheet, is_meant=other.id == mark.id) for other in neighbours),
        _scale_bar(evaluation, mark, scale / reduce, size),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(float(size[0]))} {number(float(size[1]))}",
        class_="crop",
        role="img",
        aria_label=alt,
        font_family="sans-serif",
    )  # fmt: skip


def _window(mark: Mark, size_px: tuple[int, int]) -> tuple[FloatArray, FloatArray]:
    """Choose the part of the photo to show: edges in pixels of the full photo."""
    points = mark.outline.exterior_px + 0.5
    low, high = points.min(axis=0), points.max(axis=0)
    side = max(float((high - low).max()) * (1 + 2 * ROOM), LEAST_PX)
    middle = (low + high) / 2
    # 4 to 3, whichever way the mark lies; kept inside the photo
    half = np.minimum(np.array([side, side * 0.75]) / 2, np.array(size_px) / 2)
    half = np.maximum(half, np.minimum((high - low) / 2 + 0.1 * side, np.array(size_px) / 2))
    middle = np.clip(middle, half, np.array(size_px) - half)
    return middle - half, middle + half


def _outline(mark: Mark, to_sheet: FloatArray, *, is_meant: bool) -> str:
    data = path_data(mark.outline.repaired(), to_sheet, tolerance=0.3)
    if not data:
        return ""
    colour = look_of(mark).colour
    halo = element(
        "path", d=data, fill="none", stroke="#FFFFFF", stroke_width=5.0 if is_meant else 2.6, stroke_opacity=0.85
    )
    dash = None if is_meant else "5 4"
    return halo + element(
        "path", d=data, fill="none", stroke=colour, stroke_width=2.4 if is_meant else 1.2, stroke_dasharray=dash
    )


def _scale_bar(evaluation: Evaluation, mark: Mark, sheet_per_px: float, size: FloatArray) -> str:
    """How long some millimetres of metal are here; the middle of the mark is what it holds for."""
    middle = mark.outline.repaired().centroid
    if middle.is_empty:
        return ""
    details = [
        float(found.detail([[middle.x, middle.y]])[0])
        for p in evaluation.projection.marks
        if p.mark.id == mark.id
        and isinstance(found := evaluation.registrations.get((mark.photo, p.panel)), Registration)
    ]
    mm_per_px = min((d for d in details if np.isfinite(d) and d > 0), default=0.0)
    fitting = [mm for mm in BARS_MM if mm_per_px and mm / mm_per_px * sheet_per_px <= 0.4 * float(size[0])]
    if not fitting:
        return ""
    width = fitting[-1] / mm_per_px * sheet_per_px
    y = float(size[1]) - 12
    line = f"M10 {number(y)}h{number(width)}"
    return (
        element("path", d=line, stroke="#FFFFFF", stroke_width=6)
        + element("path", d=line, stroke=INK, stroke_width=2.5)
        + text_element(
            tr("about {length}", length=figures.length(fitting[-1])), 10, y - 7, font_size=15, font_weight="bold",
            fill=INK, stroke="#FFFFFF", stroke_width=4, paint_order="stroke",
        )
    )  # fmt: skip


@lru_cache(maxsize=4)
def _body(template: BodyTemplate) -> tuple[str, dict[str, FloatArray], tuple[float, float, float, float]]:
    sheet = lay_out(template, width=LOCATOR_PX, turn=True)
    paths = "".join(
        path_data(panel.outline.polygon, sheet.panels[panel.id], tolerance=0.4) for panel in template.panels
    )
    drawn = element("path", d=paths, fill=PANEL, stroke=FAINT, stroke_width=0.6, fill_rule="nonzero")
    return drawn, {str(key): matrix for key, matrix in sheet.panels.items()}, sheet.body


def _locator(template: BodyTemplate, place: FoundPlace) -> str:
    body, panels, (left, top, right, bottom) = _body(template)
    spots = []
    for panel, area in place.areas.items():
        x, y = (float(v) for v in panels[str(panel)] @ [*shapely.get_coordinates(area.centroid)[0], 1.0])
        spots.append(
            element("path", d=path_data(area, panels[str(panel)]), fill=ACCENT, stroke=ACCENT, stroke_width=0.8)
        )
        spots.append(element("circle", cx=x, cy=y, r=7, fill="none", stroke=ACCENT, stroke_width=2))
    width, height = right - left + 28, bottom - top + 28
    style: dict[str, str | float | None] = {"font_size": 9, "fill": INK, "text_anchor": "middle"}
    middle = (left + right) / 2
    return element(
        "svg",
        element("rect", x=left - 14, y=top - 14, width=width, height=height, fill=PAPER),
        body,
        *spots,
        text_element(tr("LEFT"), middle, top - 4, **style),
        text_element(tr("RIGHT"), middle, bottom + 11, **style),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"{number(left - 14)} {number(top - 14)} {number(width)} {number(height)}",
        class_="locator",
        role="img",
        aria_hidden="true",
        font_family="sans-serif",
    )
