"""Faults within one panel of a template: outline, frames, zones, points."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import shapely

from corromap.errors import InvalidValueError
from corromap.frames import PanelId, PanelOutline
from corromap.template import Frame2D, Place, SeenFrom

__all__ = ["ON_PANEL_MM", "SAME_PLACE_MM", "SLIVER_MM", "SoundPanel", "is_wide", "read_panel"]

SLIVER_MM = 0.1
"""Two areas overlap when their common ground is wider than this; below it is rounding. Ours."""

ON_PANEL_MM = 0.1
"""A point farther off its panel than this is off it. Ours."""

SAME_PLACE_MM = 1.0
"""Two datum points nearer than this cannot be told apart. Ours."""

EDGE_ON = 0.1
"""Least cosine between a panel's normal and its viewer, as in `corromap.template.Panel`."""


@dataclass(frozen=True, slots=True, eq=False)
class SoundPanel:
    """A panel whose own numbers make sense, for the checks between panels.

    Parameters
    ----------
    path : str
        Where it stands in the document, ``panels[3]``.
    document : mapping
        Its entry.
    area : shapely.Polygon
        Its outline, panel millimetres.
    zones : tuple of (str, shapely.Polygon)
        Id and outline of every sound zone.
    place, map_frame : Place, Frame2D
        Its frames.
    """

    path: str
    document: Mapping[str, Any]
    area: shapely.Polygon
    zones: tuple[tuple[str, shapely.Polygon], ...]
    place: Place
    map_frame: Frame2D

    @property
    def id(self) -> str:
        """The panel's id."""
        return str(self.document["id"])

    def on_map(self, area: shapely.Polygon) -> shapely.Polygon:
        """Carry a polygon of the panel onto the map plane.

        Parameters
        ----------
        area : shapely.Polygon
            Panel millimetres.

        Returns
        -------
        shapely.Polygon
            Map millimetres.
        """
        return shapely.transform(area, self.map_frame.to_map)


def is_wide(area: shapely.Geometry) -> bool:
    """Whether ground is wider than `SLIVER_MM` anywhere.

    Parameters
    ----------
    area : shapely.Geometry
        The common ground of two areas.

    Returns
    -------
    bool
        False for lines, points and slivers that come from rounding.
    """
    return not shapely.is_empty(shapely.buffer(area, -SLIVER_MM / 2))


def read_panel(entry: Mapping[str, Any], path: str) -> tuple[SoundPanel | None, list[str]]:
    """Read one panel that the schema finds nothing wrong with.

    Parameters
    ----------
    entry : mapping
        The panel's entry in the document.
    path : str
        Where it stands, for the faults.

    Returns
    -------
    panel : SoundPanel or None
        None when its outline or one of its frames is unusable.
    faults : list of str
        Each with its path.
    """
    faults: list[str] = []
    area = _area(entry, path, faults)
    place = _place(entry["place"], f"{path}.place", faults)
    map_frame = _map_frame(entry["map"], f"{path}.map", faults)
    if area is None or place is None or map_frame is None:
        return None, faults
    faults += _facing_faults(entry, path, place, map_frame)
    zones = _zones(entry, path, area, faults)
    faults += _point_faults(entry, path, area)
    return SoundPanel(path, entry, area, zones, place, map_frame), faults


def _area(entry: Mapping[str, Any], path: str, faults: list[str]) -> shapely.Polygon | None:
    try:
        outline = PanelOutline(PanelId(str(entry["id"])), entry["outline_mm"], tuple(entry.get("holes_mm", ())))
    except InvalidValueError as error:
        faults.append(f"{path}.outline_mm: {error}")
        return None
    return outline.polygon


def _place(entry: Mapping[str, Any], path: str, faults: list[str]) -> Place | None:
    try:
        return Place(entry["origin_mm"], entry["u_axis"], entry["v_axis"])
    except InvalidValueError as error:
        faults.append(f"{path}: {error}")
        return None


def _map_frame(entry: Mapping[str, Any], path: str, faults: list[str]) -> Frame2D | None:
    try:
        return Frame2D(entry["origin_mm"], entry["u_axis"], entry["v_axis"])
    except InvalidValueError as error:
        faults.append(f"{path}: {error}")
        return None


def _facing_faults(entry: Mapping[str, Any], path: str, place: Place, map_frame: Frame2D) -> list[str]:
    towards = float(place.normal @ SeenFrom(entry["seen_from"]).direction)
    if abs(towards) < EDGE_ON:
        return [f"{path}.seen_from: the panel is edge-on to '{entry['seen_from']}', so nothing of it can be seen"]
    (ux, uy), (vx, vy) = map_frame.u_axis, map_frame.v_axis
    # Y of the map points down, as in a photo: u to v turns against the sense of facing.
    if (ux * vy - uy * vx > 0) == (towards > 0):
        return [f"{path}.map: the drawing is mirrored against a view from '{entry['seen_from']}'; turn one axis round"]
    return []


def _zones(
    entry: Mapping[str, Any], path: str, area: shapely.Polygon, faults: list[str]
) -> tuple[tuple[str, shapely.Polygon], ...]:
    sound: list[tuple[str, shapely.Polygon]] = []
    for index, zone in enumerate(entry["zones"]):
        here = f"{path}.zones[{index}]"
        ground = _area(zone, here, faults)
        if ground is None:
            continue
        outside = shapely.difference(ground, area)
        if is_wide(outside):
            faults.append(
                f"{here}.outline_mm: {outside.area / 100:.1f} cm2 of zone '{zone['id']}' lie outside"
                f" panel '{entry['id']}'"
            )
        for other, ground_2 in sound:
            common = shapely.intersection(ground, ground_2)
            if is_wide(common):
                faults.append(f"{here}.outline_mm: overlaps zone '{other}' by {common.area / 100:.1f} cm2")
        sound.append((zone["id"], ground))
    return tuple(sound)


def _point_faults(entry: Mapping[str, Any], path: str, area: shapely.Polygon) -> list[str]:
    faults: list[str] = []
    for key in ("datum_points", "mountings"):
        for index, thing in enumerate(entry.get(key, ())):
            away = shapely.distance(area, shapely.Point(thing["at_mm"]))
            if not away <= ON_PANEL_MM:
                faults.append(
                    f"{path}.{key}[{index}].at_mm: '{thing['id']}' lies {away:.1f} mm off panel '{entry['id']}'"
                )
    seen: list[tuple[str, shapely.Point]] = []
    for index, datum in enumerate(entry.get("datum_points", ())):
        point = shapely.Point(datum["at_mm"])
        faults += [
            f"{path}.datum_points[{index}].at_mm: same place as datum point '{other}'"
            for other, place in seen
            if point.distance(place) < SAME_PLACE_MM
        ]
        seen.append((datum["id"], point))
    return faults
