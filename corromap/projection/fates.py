"""A mark made ready for projection, and what became of it afterwards."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from corromap.frames import PanelId
from corromap.messages import Message, joined, message, to_say
from corromap.projection.result import MarkFate
from corromap.projection.view import PanelView, frame_of, polygons_of, straighten
from corromap.registration.result import Lens
from corromap.survey import Mark, Photo
from corromap.template import BodyTemplate

__all__ = ["DrawnMark", "draw", "fate_of", "not_placed"]

ROUNDING = 1e-9
"""Of an overlay of polygons."""

WORTH_SAYING = 1e-3
"""A lost share below this is a pixel's rounding at an edge; ours."""


@dataclass(frozen=True, slots=True, eq=False)
class DrawnMark:
    """A mark's outline made valid, cut to the photo, with the lens taken out.

    Parameters
    ----------
    mark : Mark
        The mark.
    straight_px : shapely.MultiPolygon
        In straightened pixels; empty when nothing is enclosed on the photo.
    frame_share : float
        Share of the drawn area that lies on the photo.
    was_repaired : bool
        Whether the outline had to be repaired.
    """

    mark: Mark
    straight_px: MultiPolygon
    frame_share: float
    was_repaired: bool

    def may_lie_on(self, panel: PanelId) -> bool:
        """Whether the person allowed this panel.

        Parameters
        ----------
        panel : PanelId
            The panel.

        Returns
        -------
        bool
            True when the mark names it, or names none.
        """
        return not self.mark.panels or panel in self.mark.panels


def draw(marks: Sequence[Mark], photo: Photo, lens: Lens) -> list[DrawnMark]:
    """Make a photo's marks ready for projection.

    Parameters
    ----------
    marks : sequence of Mark
        Marks on the photo.
    photo : Photo
        The photo.
    lens : Lens
        Its lens.

    Returns
    -------
    list of DrawnMark
        Valid and on the photo.
    """
    simple = [bool(Polygon(m.outline.exterior_px, m.outline.holes_px).is_valid) for m in marks]
    drawn = np.array([m.outline.repaired() for m in marks], dtype=object)
    on_photo = shapely.intersection(drawn, frame_of(photo))
    size = shapely.area(drawn)
    share = np.divide(shapely.area(on_photo), size, out=np.zeros(len(marks)), where=size > 0)
    share[share > 1.0 - ROUNDING] = 1.0
    straight = straighten(np.array([polygons_of(g) for g in on_photo], dtype=object), lens)
    return [
        DrawnMark(mark, polygons_of(px), float(on), not valid)
        for mark, px, on, valid in zip(marks, straight, share, simple, strict=True)
    ]


def not_placed(mark: Mark, photo: Photo) -> MarkFate:
    """Fate of a mark whose photo has no place on any panel.

    Parameters
    ----------
    mark : Mark
        The mark.
    photo : Photo
        Its photo.

    Returns
    -------
    MarkFate
        All of it off every panel.
    """
    said = message(
        "Photo '{photo}' is not placed on any panel, so this {kind} mark is on no zone: place the photo.",
        photo=photo.name,
        kind=message(mark.kind.value),
    )
    return MarkFate(mark.id, 0.0, 0.0, 1.0, said)


def fate_of(drawn: DrawnMark, photo: Photo, views: Mapping[PanelId, PanelView], template: BodyTemplate) -> MarkFate:
    """Divide a mark's area into placed and lost.

    Parameters
    ----------
    drawn : DrawnMark
        The mark.
    photo : Photo
        Its photo.
    views : mapping of PanelId to PanelView
        The panels the photo is placed on, at least one.
    template : BodyTemplate
        For the panels' names.

    Returns
    -------
    MarkFate
        Shares that sum to 1 and a sentence for what is lost.
    """
    mark, whole = drawn.mark, drawn.straight_px
    if whole.is_empty:
        return _nothing_there(drawn)
    allowed = [view for view in views.values() if drawn.may_lie_on(view.panel.id)]
    if not allowed:
        said = message(
            "This {kind} mark is meant for {panels}, where photo '{photo}' is not placed: place it there.",
            kind=message(mark.kind.value),
            panels=joined(", ", [message("'{name}'", name=message(template.panel(p).name)) for p in mark.panels]),
            photo=photo.name,
        )
        return MarkFate(mark.id, 0.0, 0.0, drawn.frame_share, said, 1.0 - drawn.frame_share)
    if drawn.frame_share == 1.0 and any(shapely.covers(view.visible_px, whole) for view in allowed):
        return MarkFate(mark.id, 1.0, 0.0, 0.0, "")
    on = shapely.union_all([shapely.intersection(whole, view.visible_px) for view in allowed])
    near = shapely.union_all([shapely.intersection(whole, view.near_px) for view in allowed])
    placed = min(1.0, on.area / whole.area)
    horizon = min(1.0 - placed, max(0.0, 1.0 - shapely.union(near, on).area / whole.area))
    on_photo, off = drawn.frame_share, 1.0 - drawn.frame_share
    horizon, edge = on_photo * horizon, on_photo * (1.0 - placed - horizon)
    return MarkFate(mark.id, on_photo * placed, horizon, edge, _sentence(mark, photo, horizon, edge, off), off)


def _nothing_there(drawn: DrawnMark) -> MarkFate:
    if drawn.frame_share == 0.0 and not drawn.mark.outline.repaired().is_empty:
        said = message(
            "This {kind} mark lies wholly off the photo: draw it again.", kind=message(drawn.mark.kind.value)
        )
        return MarkFate(drawn.mark.id, 0.0, 0.0, 0.0, said, 1.0)
    said = message(
        "This {kind} mark encloses nothing (its points lie on one line): draw it again.",
        kind=message(drawn.mark.kind.value),
    )
    return MarkFate(drawn.mark.id, 0.0, 0.0, 1.0, said)


def _sentence(mark: Mark, photo: Photo, horizon: float, edge: float, off: float) -> str:
    lost = [
        Message(where, {"share": 100 * share})
        for share, where in (
            (horizon, to_say("{share:.1f} % lies too near or beyond the horizon")),
            (edge, to_say("{share:.1f} % lies off the panels the photo is placed on or behind another panel")),
            (off, to_say("{share:.1f} % was drawn off the photo")),
        )
        if share > WORTH_SAYING
    ]
    if not lost:
        return ""
    return message(
        "Of this {kind} mark on photo '{photo}', {lost}: not counted.",
        kind=message(mark.kind.value),
        photo=photo.name,
        lost=joined(" and ", lost),
    )
