"""Patches laid on patches.

A patch on a patch can only be told on one photo: two outlines of different
photos that overlap may well be the same patch seen twice. So the definition,
which is ours (no published one was found):

- two patch marks *of the same photo* that overlap by more than a fifth of the
  smaller one are a patch on a patch;
- unless they nearly coincide (four fifths of their union is common to both):
  then one patch was outlined twice;
- the same place found on several photos counts once.

It is a lower bound: to record a patch on a patch, draw both on one photo.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from corromap.frames import MarkId, PanelId, PhotoId
from corromap.measures.ground import Ground
from corromap.measures.touching import touching_pairs
from corromap.projection.view import polygons_of
from corromap.survey import MarkKind

__all__ = ["COINCIDE_SHARE", "OVERLAP_SHARE", "PatchOnPatch", "patches_on_patches", "same_place"]

OVERLAP_SHARE = 0.2
"""Share of the smaller patch that has to lie on the other; ours."""

COINCIDE_SHARE = 0.8
"""Intersection over union from which two outlines are one patch; ours."""


@dataclass(frozen=True, slots=True, eq=False)
class PatchOnPatch:
    """A place where one patch lies on another.

    Parameters
    ----------
    marks : tuple of MarkId
        The two.
    photo : PhotoId
        Where both are marked.
    overlap : mapping of PanelId to shapely.MultiPolygon
        The common ground.
    """

    marks: tuple[MarkId, MarkId]
    photo: PhotoId
    overlap: Mapping[PanelId, MultiPolygon]


def patches_on_patches(grounds: Sequence[Ground]) -> tuple[PatchOnPatch, ...]:
    """Find every place where a patch lies on a patch.

    Parameters
    ----------
    grounds : sequence of Ground
        Every panel with marks.

    Returns
    -------
    tuple of PatchOnPatch
        Pairs, before places found on several photos are taken as one.
    """
    common = _common(grounds)
    size: dict[MarkId, float] = {}
    for ground in grounds:
        for m, area in zip(ground.marks, shapely.area(ground.areas), strict=True):
            size[m.mark.id] = size.get(m.mark.id, 0.0) + float(area)
    found = []
    for (photo, one, other), overlap in common.items():
        shared = sum(part.area for part in overlap.values())
        of_smaller = shared / min(size[one], size[other])
        of_union = shared / (size[one] + size[other] - shared)
        if of_smaller > OVERLAP_SHARE and of_union < COINCIDE_SHARE:
            found.append(PatchOnPatch((one, other), photo, overlap))
    return tuple(found)


def _common(grounds: Sequence[Ground]) -> dict[tuple[PhotoId, MarkId, MarkId], dict[PanelId, MultiPolygon]]:
    """Find the common ground of each two patch marks of one photo."""
    found: dict[tuple[PhotoId, MarkId, MarkId], dict[PanelId, MultiPolygon]] = {}
    for ground in grounds:
        for i, j in ground.touching[ground.touching[:, 0] < ground.touching[:, 1]]:
            one, other = ground.marks[i].mark, ground.marks[j].mark
            if one.kind is other.kind is MarkKind.PATCH and one.photo == other.photo:
                overlap = polygons_of(shapely.intersection(ground.areas[i], ground.areas[j]))
                if not overlap.is_empty:
                    key = (one.photo, *sorted((one.id, other.id)))
                    found.setdefault(key, {})[ground.panel.id] = overlap
    return found


def same_place(places: Sequence[PatchOnPatch]) -> dict[int, frozenset[int]]:
    """Which finds of different photos may be one place.

    Parameters
    ----------
    places : sequence of PatchOnPatch
        From `patches_on_patches`.

    Returns
    -------
    dict of int to frozenset of int
        For each find, those of other photos that touch it.
    """
    near: dict[int, set[int]] = {i: set() for i in range(len(places))}
    for panel in {panel for place in places for panel in place.overlap}:
        here = [i for i, place in enumerate(places) if panel in place.overlap]
        for a, b in touching_pairs(np.array([places[i].overlap[panel] for i in here], dtype=object)):
            i, j = here[a], here[b]
            if places[i].photo != places[j].photo:
                near[i].add(j)
                near[j].add(i)
    return {i: frozenset(others) for i, others in near.items()}
