"""Where several photos show one cover: what of it they agree on.

A cover (underseal over unknown, mud) is drawn anew on every photo that shows
it, and ground counts as seen where some photo shows it bare. So each outline
that errs inwards would lay ground bare: with many photos only what all of them
hide would stay hidden. Where several photos drew one cover, ground counts as
hidden where at least half of those that show it hide it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon

from corromap.frames import PanelId
from corromap.projection.result import SeenArea
from corromap.projection.view import Geometries, polygons_of

__all__ = ["agreed_covers"]

SAME_SHARE = 0.5
"""Two photos' covers are one when this share of the smaller lies on the other; ours."""

AGREED_SHARE = 0.5
"""Ours: of two photos one is enough, of three two; half is the careful side of a vote."""

SNAP_MM = 1e-3
"""Edges of different photos are brought together so far, that their faces are whole."""


def agreed_covers(seen: Sequence[SeenArea]) -> tuple[SeenArea, ...]:
    """Replace what photos hide of one cover by what they agree on.

    Parameters
    ----------
    seen : sequence of SeenArea
        Of every photo and panel, each with its own photo's hidden marks.

    Returns
    -------
    tuple of SeenArea
        In the same order; those that share no cover with another photo are
        the same objects.
    """
    found = list(seen)
    by_panel: dict[PanelId, list[int]] = {}
    for i, area in enumerate(seen):
        if not area.hidden.is_empty:
            by_panel.setdefault(area.panel, []).append(i)
    for index in by_panel.values():
        if len(index) > 1:
            for i, hidden in _on_panel([seen[i] for i in index]).items():
                found[index[i]] = replace(seen[index[i]], hidden=hidden)
    return tuple(found)


def _on_panel(seen: Sequence[SeenArea]) -> Mapping[int, MultiPolygon]:
    """Find the new hidden ground of those photos that share a cover."""
    parts, photo = shapely.get_parts(np.array([s.hidden for s in seen], dtype=object), return_index=True)
    size = shapely.area(parts)
    one, other = shapely.STRtree(parts).query(parts, predicate="intersects")
    apart = (one < other) & (photo[one] != photo[other])
    one, other = one[apart], other[apart]
    common = shapely.area(shapely.intersection(parts[one], parts[other]))
    same = common > SAME_SHARE * np.minimum(size[one], size[other])
    cover = _grouped(len(parts), zip(one[same].tolist(), other[same].tolist(), strict=True))
    hidden: dict[int, list[shapely.Geometry]] = {}
    for name in np.unique(cover[np.concatenate([one[same], other[same]])]).tolist():
        drawn = np.flatnonzero(cover == name)
        photos = np.unique(photo[drawn])
        outlines = np.array([shapely.union_all(parts[drawn[photo[drawn] == p]]) for p in photos], dtype=object)
        agreed = _agreed(outlines, np.array([seen[p].area for p in photos], dtype=object))
        for p in photos.tolist():
            hidden.setdefault(p, []).append(agreed)
    shared = set(np.unique(cover[np.concatenate([one[same], other[same]])]).tolist())
    for i, p in enumerate(photo.tolist()):
        if p in hidden and cover[i] not in shared:
            hidden[p].append(parts[i])
    return {p: polygons_of(shapely.intersection(shapely.union_all(g), seen[p].area)) for p, g in hidden.items()}


def _grouped(count: int, pairs: Iterable[tuple[int, int]]) -> NDArray[np.intp]:
    """Give every part the number of its group; those of a pair are in one."""
    group = np.arange(count, dtype=np.intp)
    for one, other in pairs:
        group[group == group[other]] = group[one]
    return group


def _agreed(outlines: Geometries, shown: Geometries) -> MultiPolygon:
    """Ground that at least half of the photos that show it hide: faces of all edges, each asked for its middle."""
    lines = [shapely.boundary(g) for g in outlines]
    lines += [shapely.intersection(shapely.boundary(g), shapely.union_all(outlines)) for g in shown]
    network = shapely.union_all(np.array(lines, dtype=object), grid_size=SNAP_MM)
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(network)))
    middle = shapely.point_on_surface(faces)
    hides = np.array([shapely.contains(g, middle) for g in outlines])
    shows = np.array([shapely.contains(g, middle) for g in shown]) | hides
    kept = hides.any(axis=0) & (hides.sum(axis=0) >= AGREED_SHARE * shows.sum(axis=0))
    return polygons_of(shapely.union_all(faces[kept], grid_size=SNAP_MM))
