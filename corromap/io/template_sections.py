"""Closed sections in a body template's document: read, check, write."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

import numpy as np
import shapely

from corromap.errors import InvalidValueError
from corromap.frames import PanelId
from corromap.io.template_geometry import SoundPanel
from corromap.sections import MEET_MM, BoxSection, SectionCell, SectionWall

__all__ = ["read_section", "section_document", "section_faults"]


def read_section(section: Mapping[str, Any]) -> BoxSection:
    """Build a section from its entry.

    Parameters
    ----------
    section : mapping
        As the schema has it.

    Returns
    -------
    BoxSection
        The section.

    Raises
    ------
    InvalidValueError
        If its rings do not close, or ids are wrong.
    """
    return BoxSection(
        id=section["id"],
        name=section["name"],
        from_x_mm=float(section["from_x_mm"]),
        to_x_mm=float(section["to_x_mm"]),
        walls=tuple(
            SectionWall(
                wall["id"],
                wall["name"],
                wall["from_mm"],
                wall["to_mm"],
                float(wall["sheet_mm"]),
                PanelId(wall["panel"]) if "panel" in wall else None,
            )
            for wall in section["walls"]
        ),
        cells=tuple(SectionCell(cell["id"], cell["name"], tuple(cell["walls"])) for cell in section["cells"]),
    )


def section_document(section: BoxSection) -> dict[str, Any]:
    """Write a section as plain data.

    Parameters
    ----------
    section : BoxSection
        The section.

    Returns
    -------
    dict
        What `read_section` reads back.
    """
    return {
        "id": section.id,
        "name": section.name,
        "from_x_mm": section.from_x_mm,
        "to_x_mm": section.to_x_mm,
        "walls": [
            {
                "id": wall.id,
                "name": wall.name,
                "from_mm": wall.from_mm.tolist(),
                "to_mm": wall.to_mm.tolist(),
                "sheet_mm": wall.sheet_mm,
                **({"panel": wall.panel} if wall.panel is not None else {}),
            }
            for wall in section.walls
        ],
        "cells": [{"id": cell.id, "name": cell.name, "walls": list(cell.walls)} for cell in section.cells],
    }


def section_faults(
    document: Mapping[str, Any], panels: Sequence[SoundPanel], broken: Collection[int | str]
) -> list[str]:
    """Name the faults of every section the schema finds nothing wrong with.

    Parameters
    ----------
    document : mapping
        The whole template.
    panels : sequence of SoundPanel
        Panels whose own numbers make sense.
    broken : collection of int
        Sections with schema faults, by index: left alone.

    Returns
    -------
    list of str
        Each with its path: rings that do not close, walls that are not on
        their panel, ids given twice.
    """
    listed = document.get("sections", [])
    faults: list[str] = []
    seen: set[str] = set()
    sound = {panel.id: panel for panel in panels}
    known = {str(panel.get("id")) for panel in document["panels"] if isinstance(panel, Mapping)}
    for index, entry in enumerate(listed if isinstance(listed, list) else []):
        if index in broken:
            continue
        path = f"sections[{index}]"
        if entry["id"] in seen:
            faults.append(f"{path}.id: section '{entry['id']}' is there twice")
        seen.add(entry["id"])
        try:
            section = read_section(entry)
        except InvalidValueError as error:
            faults.append(f"{path}: {error}")
            continue
        for number, wall in enumerate(section.walls):
            here = f"{path}.walls[{number}].panel"
            if wall.panel is not None and wall.panel not in known:
                faults.append(f"{here}: no panel '{wall.panel}'")
            elif wall.panel in sound:
                faults += [f"{here}: {text}" for text in _off_panel(section, wall, sound[str(wall.panel)])]
    return faults


def _off_panel(section: BoxSection, wall: SectionWall, panel: SoundPanel) -> list[str]:
    """Say where a wall leaves the panel it is said to be part of."""
    corners = np.array([(x, *end) for x in (section.from_x_mm, section.to_x_mm) for end in (wall.from_mm, wall.to_mm)])
    away = corners - panel.place.origin_mm
    uv = np.stack([away @ panel.place.u_axis, away @ panel.place.v_axis], axis=1)
    off = np.abs(away @ panel.place.normal)
    outside = shapely.distance(panel.area, shapely.points(uv))
    worst = float(max(off.max(), outside.max()))
    if worst <= MEET_MM:
        return []
    return [f"wall '{wall.id}' leaves panel '{panel.id}' by {worst:.1f} mm"]
