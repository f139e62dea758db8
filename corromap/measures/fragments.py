"""Patches seen in parts: marks of different photos that may be one patch.

A plate that reaches over the edge of a photo is drawn as far as that photo
shows it, and the rest on another; the two outlines need not touch. Counting
them as two would make patches out of the way photos were taken. So two patch
marks of different photos that do not touch are taken as one patch where
nothing that either photo shows tells them apart: the ground of each is not
shown by the other's photo, and the shortest way from one to the other leads
over ground that neither shows. It is the lower bound that the photos bear out.

Whether two marks may be one depends on these two marks and what their photos
show, and on no other mark: so a count of separate patches still cannot fall
when a mark is added.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.frames import MarkId, PanelId, PhotoId
from corromap.measures.ground import Ground
from corromap.projection import SeenArea
from corromap.projection.view import Geometries
from corromap.survey import MarkKind

__all__ = ["FARTHEST_APART_MM", "may_be_one"]

FARTHEST_APART_MM = 150.0
"""Parts farther apart are two patches. Ours: about the size of a plate."""

SLACK_MM = 10.0
"""So much of the way may lead over shown ground: an outline and the edge of what
is shown both err. Ours."""

UNSHOWN_SHARE = 0.9
"""Share of a mark that the other's photo must not show. Ours, for the same reason."""


def may_be_one(grounds: Sequence[Ground], seen: Sequence[SeenArea]) -> list[tuple[MarkId, MarkId]]:
    """Find patch marks that may be parts of one patch although they do not touch.

    Parameters
    ----------
    grounds : sequence of Ground
        Panels with marks.
    seen : sequence of SeenArea
        What each photo shows of each panel; what is hidden there plays no part.

    Returns
    -------
    list of (MarkId, MarkId)
        Each pair once.
    """
    shown = {(s.photo, s.panel): s.area for s in seen}
    return [pair for ground in grounds for pair in _on_panel(ground, shown)]


def _on_panel(ground: Ground, shown: Mapping[tuple[PhotoId, PanelId], Any]) -> list[tuple[MarkId, MarkId]]:
    patches = [i for i, m in enumerate(ground.marks) if m.mark.kind is MarkKind.PATCH]
    if len(patches) < 2:
        return []
    areas = ground.areas[patches]
    marks = [ground.marks[i].mark for i in patches]
    views = np.array([shown.get((m.photo, ground.panel.id), shapely.Polygon()) for m in marks], dtype=object)
    one, other = shapely.STRtree(areas).query(areas, predicate="dwithin", distance=FARTHEST_APART_MM)
    names = {photo: i for i, photo in enumerate(dict.fromkeys(m.photo for m in marks))}
    photo = np.array([names[m.photo] for m in marks])
    kept = (one < other) & (photo[one] != photo[other])
    one, other = one[kept], other[kept]
    way = np.asarray(shapely.shortest_line(areas[one], areas[other]), dtype=object)
    over = np.maximum(*(shapely.length(shapely.intersection(way, views[i])) for i in (one, other)))
    one, other = one[over <= SLACK_MM], other[over <= SLACK_MM]
    apart = _is_unshown(areas[one], views[other]) & _is_unshown(areas[other], views[one])
    return [(marks[i].id, marks[j].id) for i, j in zip(one[apart], other[apart], strict=True)]


def _is_unshown(areas: Geometries, views: Geometries) -> NDArray[np.bool_]:
    held = shapely.area(shapely.intersection(areas, views))
    return np.asarray(held <= (1.0 - UNSHOWN_SHARE) * shapely.area(areas), dtype=bool)
