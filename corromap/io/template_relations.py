"""Faults between the panels of a template: ids, folds, covers, the flat map."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely
from scipy.spatial import KDTree

from corromap.io.template_geometry import SAME_PLACE_MM, SoundPanel, is_wide
from corromap.template import FOLD_TOLERANCE_MM

__all__ = ["relation_faults"]


def relation_faults(panels: Sequence[SoundPanel], known: set[str]) -> list[str]:
    """Name every fault between panels.

    Parameters
    ----------
    panels : sequence of SoundPanel
        The panels that could be read.
    known : set of str
        Ids of all panels, those that could not be read included.

    Returns
    -------
    list of str
        Each with its path.
    """
    by_id = {panel.id: panel for panel in panels}
    faults = [*_double_ids(panels), *_double_points(panels)]
    for panel in panels:
        for index, fold in enumerate(panel.document.get("folds", ())):
            faults += _fold_faults(panel, f"{panel.path}.folds[{index}]", fold, by_id, known)
        faults += _cover_faults(panel, known)
    return [*faults, *_cover_loops(by_id), *_map_faults(panels)]


def _double_ids(panels: Sequence[SoundPanel]) -> list[str]:
    faults: list[str] = []
    for what in ("panel", "zones", "datum_points", "mountings"):
        first: dict[str, str] = {}
        for panel in panels:
            entries = [panel.document] if what == "panel" else panel.document.get(what, ())
            for index, entry in enumerate(entries):
                path = panel.path if what == "panel" else f"{panel.path}.{what}[{index}]"
                if entry["id"] in first:
                    faults.append(f"{path}.id: '{entry['id']}' is already the id of {first[entry['id']]}")
                first.setdefault(entry["id"], path)
    return faults


def _double_points(panels: Sequence[SoundPanel]) -> list[str]:
    """Name datum points of different panels that are one place on the car.

    A point on a fold serves both panels; given twice, a click on one would not
    help the other.
    """
    paths, names, owners, places = [], [], [], []
    for panel in panels:
        for index, datum in enumerate(panel.document.get("datum_points", ())):
            paths.append(f"{panel.path}.datum_points[{index}].at_mm")
            names.append(datum["id"])
            owners.append(panel.path)
            places.append(panel.place.to_car([datum["at_mm"]])[0])
    if not places:
        return []
    pairs = KDTree(np.stack(places)).query_pairs(SAME_PLACE_MM)
    return [
        f"{paths[j]}: same place on the car as datum point '{names[i]}'; give it once, on one of the two panels"
        for i, j in sorted(pairs)
        if owners[i] != owners[j]
    ]


def _fold_faults(
    panel: SoundPanel, path: str, fold: Mapping[str, Any], by_id: Mapping[str, SoundPanel], known: set[str]
) -> list[str]:
    name = fold["other"]
    if name == panel.id:
        return [f"{path}.other: panel '{name}' is folded onto itself"]
    if name not in known:
        return [f"{path}.other: there is no panel '{name}'"]
    edge = np.asarray(fold["edge_mm"], dtype=np.float64)
    if np.linalg.norm(edge[1] - edge[0]) <= FOLD_TOLERANCE_MM:
        return [f"{path}.edge_mm: the two ends are the same point"]
    if name not in by_id:  # has faults of its own, named elsewhere
        return _off_panel(panel, edge, f"{path}.edge_mm")
    other, other_edge = by_id[name], np.asarray(fold["other_edge_mm"], dtype=np.float64)
    faults = [*_off_panel(panel, edge, f"{path}.edge_mm"), *_off_panel(other, other_edge, f"{path}.other_edge_mm")]
    gaps = np.linalg.norm(panel.place.to_car(edge) - other.place.to_car(other_edge), axis=1)
    if not (gaps <= FOLD_TOLERANCE_MM).all():
        faults.append(
            f"{path}: the ends do not meet panel '{name}': they are {gaps[0]:.1f} mm and {gaps[1]:.1f} mm apart"
            f" in the car frame, {FOLD_TOLERANCE_MM:g} mm is allowed"
        )
    if not any(_is_same_fold(back, panel.id, edge, other_edge) for back in other.document.get("folds", ())):
        faults.append(f"{path}: panel '{name}' does not name this fold in return; give it on both panels")
    return faults


def _is_same_fold(
    back: Mapping[str, Any], name: str, edge: np.ndarray[Any, Any], other_edge: np.ndarray[Any, Any]
) -> bool:
    if back["other"] != name:
        return False
    mine, theirs = np.asarray(back["other_edge_mm"]), np.asarray(back["edge_mm"])
    return any(
        np.abs(mine[::step] - edge).max() <= FOLD_TOLERANCE_MM
        and np.abs(theirs[::step] - other_edge).max() <= FOLD_TOLERANCE_MM
        for step in (1, -1)
    )


def _off_panel(panel: SoundPanel, edge: np.ndarray[Any, Any], path: str) -> list[str]:
    away = max(float(shapely.distance(panel.area, shapely.Point(end))) for end in edge)
    if away <= FOLD_TOLERANCE_MM:
        return []
    return [f"{path}: an end lies {away:.1f} mm off panel '{panel.id}'"]


def _cover_faults(panel: SoundPanel, known: set[str]) -> list[str]:
    faults = []
    for index, name in enumerate(panel.document.get("covers", ())):
        if name == panel.id:
            faults.append(f"{panel.path}.covers[{index}]: panel '{name}' cannot stand in front of itself")
        elif name not in known:
            faults.append(f"{panel.path}.covers[{index}]: there is no panel '{name}'")
    return faults


def _cover_loops(by_id: Mapping[str, SoundPanel]) -> list[str]:
    """Find panels that stand in front of one another in a ring, each ring once."""
    faults: list[str] = []
    done: set[str] = set()
    for start in by_id:
        trail: list[str] = []
        _follow(start, trail, done, by_id, faults)
    return faults


def _follow(name: str, trail: list[str], done: set[str], by_id: Mapping[str, SoundPanel], faults: list[str]) -> None:
    """Walk along `covers`, depth first; `trail` is the way here. At most 200 deep: the schema limits the panels."""
    if name in trail:
        ring = [*trail[trail.index(name) :], name]
        text = " > ".join(ring)
        faults.append(f"{by_id[name].path}.covers: the panels stand in front of one another in a ring: {text}")
        return
    if name in done or name not in by_id:
        return
    trail.append(name)
    for other in by_id[name].document.get("covers", ()):
        if other != name:  # named by _cover_faults
            _follow(other, trail, done, by_id, faults)
    trail.pop()
    done.add(name)


def _map_faults(panels: Sequence[SoundPanel]) -> list[str]:
    """Name panels that are drawn over one another on the flat map.

    A panel may be drawn over one that it covers, where that one has no zone:
    then nothing that is reported disappears behind it.
    """
    if not panels:  # an empty tree cannot be asked
        return []
    drawn = [panel.on_map(panel.area) for panel in panels]
    tree = shapely.STRtree(drawn)
    faults = []
    for one, other in sorted(map(tuple, tree.query(drawn, predicate="intersects").T.tolist())):
        if one < other and is_wide(shapely.intersection(drawn[one], drawn[other])):
            faults += _overlap_faults(panels[one], panels[other])
    return faults


def _overlap_faults(lower: SoundPanel, upper: SoundPanel) -> list[str]:
    if upper.id in lower.document.get("covers", ()):
        return [f"{lower.path}: covers '{upper.id}' and must come after it in the list, to be drawn on top of it"]
    if lower.id not in upper.document.get("covers", ()):
        return [f"{upper.path}.map: drawn over panel '{lower.id}' on the map; move one of them"]
    over = upper.on_map(upper.area)
    return [
        f"{upper.path}.map: hides part of zone '{zone}' of panel '{lower.id}' on the map;"
        " leave that ground out of the zone"
        for zone, ground in lower.zones
        if is_wide(shapely.intersection(lower.on_map(ground), over))
    ]
