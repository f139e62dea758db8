"""What a person said about marks that another photo does not bear out.

The careful answer holds: a mark is withdrawn only when nobody who looked says
that it is there or that it cannot be told. Nothing is deleted by this.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from corromap.by_hand import SettledView
from corromap.frames import MarkId
from corromap.projection import Projection
from corromap.survey import Survey

__all__ = ["settled_views", "with_withdrawn", "without_doubtful"]

_CAREFUL = (SettledView.THERE, SettledView.CANNOT_TELL, SettledView.NOT_THERE)


def settled_views(survey: Survey) -> Mapping[MarkId, SettledView]:
    """Say how each mark that was looked at again was settled.

    Parameters
    ----------
    survey : Survey
        With its settlements.

    Returns
    -------
    mapping of MarkId to SettledView
        Of several answers about one mark the most careful one: there, before
        cannot tell, before not there.
    """
    found: dict[MarkId, SettledView] = {}
    for settlement in survey.settlements:
        before = found.get(settlement.mark, SettledView.NOT_THERE)
        found[settlement.mark] = min(before, settlement.view, key=_CAREFUL.index)
    return found


def with_withdrawn(projection: Projection, views: Mapping[MarkId, SettledView]) -> Projection:
    """Set marks aside that were settled as not there.

    Parameters
    ----------
    projection : Projection
        Of all marks.
    views : mapping of MarkId to SettledView
        From `settled_views`.

    Returns
    -------
    Projection
        They move from `marks` to `withdrawn`; what became of each and what was
        seen stays.
    """
    out = {mark for mark, view in views.items() if view is SettledView.NOT_THERE}
    if not out:
        return projection
    return replace(
        projection,
        marks=tuple(m for m in projection.marks if m.mark.id not in out),
        withdrawn=tuple(m for m in projection.marks if m.mark.id in out),
    )


def without_doubtful(projection: Projection, views: Mapping[MarkId, SettledView]) -> Projection | None:
    """Leave marks out of which somebody could not tell: the least that is there.

    Parameters
    ----------
    projection : Projection
        From `with_withdrawn`.
    views : mapping of MarkId to SettledView
        From `settled_views`.

    Returns
    -------
    Projection or None
        None when no mark that counts is in doubt.
    """
    doubtful = {mark for mark, view in views.items() if view is SettledView.CANNOT_TELL}
    left = tuple(m for m in projection.marks if m.mark.id not in doubtful)
    return replace(projection, marks=left) if len(left) < len(projection.marks) else None
