"""A photo with what was drawn on it, and how it was placed."""

from __future__ import annotations

import base64
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from corromap.evaluation import Evaluation
from corromap.frames import FloatArray, MarkId, PhotoId
from corromap.registration import FailureReason, Registration
from corromap.report import figures
from corromap.report.findings import mark_numbers
from corromap.report.language import number as written
from corromap.report.language import tr
from corromap.report.palette import ACCENT, INK, PANEL, Look, look_of, pattern_defs
from corromap.report.pictures import Pictures
from corromap.report.svg import element, number, path_data, plain, shortened, text_element
from corromap.survey import Mark, MarkKind, Photo, Sighting

__all__ = ["PhotoPage", "Placement", "SightingGroup", "photo_pages", "photo_svg"]

SHEET_PX = 1000.0
"""Longest side of the drawing; lines and letters are sized for it."""
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True, slots=True)
class Placement:
    """How a photo was placed on one panel, as printed.

    Parameters
    ----------
    panel : str
        Its name.
    is_placed : bool
        Whether it has a place.
    summary : str
        Residuals, or why there is none and what to do.
    warnings : tuple of str
        Sentences.
    """

    panel: str
    is_placed: bool
    summary: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SightingGroup:
    """Datum points of one panel, as printed.

    Parameters
    ----------
    panel : str
        Its name.
    points : tuple of (str, str)
        Letter on the photo and name, the panel's name left out.
    """

    panel: str
    points: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class PhotoPage:
    """One photo as printed.

    Parameters
    ----------
    number : int
        From 1.
    name, source, taken_at, size, sha256 : str
        As printed.
    svg, alt : str
        Photo with outlines; the same in words.
    placements : tuple of Placement
        Panel by panel.
    glimpsed : tuple of str
        Panels with too few datum points to be tried, where the photo has a
        place on another: neighbours that share points of a fold.
    sightings : tuple of SightingGroup
        Datum points sighted, by panel.
    marks : tuple of int
        Numbers of its marks.
    """

    number: int
    name: str
    source: str
    taken_at: str
    size: str
    sha256: str
    svg: str
    alt: str
    placements: tuple[Placement, ...]
    glimpsed: tuple[str, ...]
    sightings: tuple[SightingGroup, ...]
    marks: tuple[int, ...]


def photo_pages(evaluation: Evaluation, pictures: Pictures) -> Callable[[], tuple[PhotoPage, ...]]:
    """Order the pages of all photos.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    pictures : Pictures
        Its photos; they are ordered there.

    Returns
    -------
    callable
        Gives the pages in the order of the survey's list; raises `PhotoError`
        if a photo's bytes cannot be decoded.
    """
    numbers = mark_numbers(evaluation)
    ordered = [(photo, pictures.small(photo.id)) for photo in sorted(evaluation.survey.photos, key=lambda p: p.order)]
    return lambda: tuple(
        _page(evaluation, photo, index, small(), numbers) for index, (photo, small) in enumerate(ordered, start=1)
    )


def _page(evaluation: Evaluation, photo: Photo, index: int, jpeg: bytes, numbers: Mapping[MarkId, int]) -> PhotoPage:
    survey = evaluation.survey
    marks = [mark for mark in survey.measured_marks if mark.photo == photo.id]
    sightings = [sighting for sighting in survey.sightings if sighting.photo == photo.id]
    placements, glimpsed = _placements(evaluation, photo.id)
    return PhotoPage(
        number=index,
        name=photo.name,
        source=photo.source,
        taken_at=photo.taken_at or "",
        size=f"{photo.width_px} × {photo.height_px} px",
        sha256=photo.sha256,
        svg=photo_svg(photo, jpeg, marks, sightings, numbers, prefix=f"p{index}"),
        alt=_words(photo, marks),
        placements=placements,
        glimpsed=glimpsed,
        sightings=_sightings_by_panel(evaluation, sightings),
        marks=tuple(numbers[mark.id] for mark in marks),
    )


def _sightings_by_panel(evaluation: Evaluation, sightings: Sequence[Sighting]) -> tuple[SightingGroup, ...]:
    known = evaluation.template.datum_points
    groups: dict[str, list[tuple[str, str]]] = {}
    for index, sighting in enumerate(sightings):
        if sighting.datum in known:
            panel, datum = known[sighting.datum]
            group, name = tr(panel.name), tr(datum.name.removeprefix(f"{panel.name}: "))
        else:
            group, name = tr("Not on this template"), str(sighting.datum)
        groups.setdefault(group, []).append((letter_of(index), name))
    return tuple(SightingGroup(panel, tuple(points)) for panel, points in groups.items())


def letter_of(index: int) -> str:
    """Letter of a sighting: A to Z, then A2 and so on.

    Parameters
    ----------
    index : int
        From 0.

    Returns
    -------
    str
        The letter.
    """
    turn, place = divmod(index, len(LETTERS))
    return LETTERS[place] + (str(turn + 1) if turn else "")


def _placements(evaluation: Evaluation, photo: PhotoId) -> tuple[tuple[Placement, ...], tuple[str, ...]]:
    results = [(panel, result) for (p, panel), result in evaluation.registrations.items() if p == photo]
    is_placed = any(isinstance(result, Registration) for _, result in results)
    found, glimpsed = [], []
    for panel, result in results:
        name = tr(evaluation.template.panel(panel).name)
        if isinstance(result, Registration):
            found.append(
                Placement(name, is_placed=True, summary=_fit_summary(result), warnings=tuple(map(tr, result.warnings)))
            )
        elif is_placed and result.reason is FailureReason.TOO_FEW:
            glimpsed.append(name)
        else:
            found.append(Placement(name, is_placed=False, summary=tr(result.message), warnings=()))
    found.sort(key=lambda placement: not placement.is_placed)
    return tuple(found), tuple(glimpsed)


def _fit_summary(fit: Registration) -> str:
    count = len(fit.datum_ids)
    if count <= 4:
        return tr("{count} datum points: just enough, so the fit cannot check itself.", count=count)
    worst = float(np.hypot(*fit.residual_px.T).max())
    return tr(
        "{count} datum points; residual {px} px or {distance} (root mean square), largest {worst} px.",
        count=count,
        px=written(fit.rms_px, ".1f"),
        distance=figures.length(fit.rms_mm),
        worst=written(worst, ".1f"),
    )


def photo_svg(  # noqa: PLR0913  a drawing is made of that many things
    photo: Photo,
    jpeg: bytes,
    marks: Sequence[Mark],
    sightings: Sequence[Sighting],
    numbers: Mapping[MarkId, int],
    *,
    prefix: str,
) -> str:
    """Draw outlines and sightings over a photo.

    Parameters
    ----------
    photo : Photo
        The photo.
    jpeg : bytes
        The whole of it, upright and reduced.
    marks : sequence of Mark
        Of this photo.
    sightings : sequence of Sighting
        Of this photo.
    numbers : mapping of MarkId to int
        Labels.
    prefix : str
        Of the ids inside.

    Returns
    -------
    str
        One ``<svg>`` element with the photo embedded as a JPEG.
    """
    scale = SHEET_PX / max(photo.width_px, photo.height_px)
    width, height = photo.width_px * scale, photo.height_px * scale
    # Pixel centres are whole numbers: the photo's edge lies half a pixel before the first.
    to_sheet = np.array([[scale, 0, scale / 2], [0, scale, scale / 2]])
    looks = {look_of(mark).key: look_of(mark) for mark in marks}
    ordered = sorted(marks, key=lambda mark: mark.kind in {MarkKind.RUST, MarkKind.FILLER, MarkKind.PATCH})
    return element(
        "svg",
        element("title", plain(_words(photo, marks))),
        element("defs", pattern_defs(prefix, looks.values(), ground="none", scale=2.2)),
        element(
            "image",
            href="data:image/jpeg;base64," + base64.b64encode(jpeg).decode("ascii"),
            width=width,
            height=height,
            preserveAspectRatio="none",
        ),
        *(_outline(mark, to_sheet, prefix) for mark in ordered),
        *(_sighting(s, letter_of(i), to_sheet) for i, s in enumerate(sightings)),
        *(_label(mark, numbers[mark.id], to_sheet, (width, height)) for mark in ordered),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        role="img",
        font_family="system-ui, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif",
        class_="corromap-photo",
    )


def _words(photo: Photo, marks: Sequence[Mark]) -> str:
    counts: dict[str, int] = {}
    for mark in marks:
        label = tr(look_of(mark).label)
        counts[label] = counts.get(label, 0) + 1
    drawn = ", ".join(f"{count} × {label}" for label, count in counts.items()) or tr("nothing is drawn on it")
    return tr("Photo {name}: {drawn}", name=shortened(photo.name, 80), drawn=drawn)


def _outline(mark: Mark, to_sheet: FloatArray, prefix: str) -> str:
    look: Look = look_of(mark)
    data = path_data(mark.outline.repaired(), to_sheet, tolerance=0.3)
    if not data:
        return ""
    fill = f"url(#{prefix}-{look.key})"
    return "".join(
        (
            element("path", d=data, fill="none", stroke="#FFFFFF", stroke_width=6.5, stroke_linejoin="round"),
            element(
                "path",
                d=data,
                fill=fill,
                fill_rule="evenodd",
                fill_opacity=0.4 if look.is_solid else 0.75,
                stroke=look.colour,
                stroke_width=3,
                stroke_linejoin="round",
            ),
        )
    )


def _label(mark: Mark, label: int, to_sheet: FloatArray, size: tuple[float, float]) -> str:
    """Write the number of a mark beside its upper right so that it hides nothing inside."""
    drawn = mark.outline.exterior_px @ to_sheet[:, :2].T + to_sheet[:, 2]
    corner = drawn[np.argmax(drawn[:, 0] - drawn[:, 1])]
    width = 12 + 11 * len(str(label))
    x = min(max(float(corner[0]) + 8, 0.0), size[0] - width)
    y = min(max(float(corner[1]) - 24, 0.0), size[1] - 24.0)
    box = element("rect", x=x, y=y, width=width, height=24, rx=4, fill=PANEL, stroke=look_of(mark).colour,
                  stroke_width=2.2)  # fmt: skip
    at = text_element(
        str(label), x + width / 2, y + 18, text_anchor="middle", font_size=18, font_weight="bold", fill=INK
    )
    return box + at


def _sighting(sighting: Sighting, letter: str, to_sheet: FloatArray) -> str:
    x, y = (float(value) for value in to_sheet[:, :2] @ sighting.at_px + to_sheet[:, 2])
    cross = f"M{number(x - 15)} {number(y)}h30M{number(x)} {number(y - 15)}v30"
    return "".join(
        (
            element("path", d=cross, stroke="#FFFFFF", stroke_width=5.5, fill="none"),
            element("path", d=cross, stroke=ACCENT, stroke_width=2.5, fill="none"),
            text_element(
                letter, x + 9, y - 8, font_size=21, font_weight="bold", fill=ACCENT, stroke="#FFFFFF",
                stroke_width=4.5, paint_order="stroke",
            ),
        )
    )  # fmt: skip
