"""A map of the body on which one point is chosen."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
import streamlit as st

from corromap.frames import PanelId
from corromap.report.drawing import map_svg
from corromap.report.sheet import lay_out
from corromap.template import BodyTemplate

if TYPE_CHECKING:
    from streamlit.components.v2.types import ComponentRenderer

__all__ = ["MapPoint", "map_point", "on_panel"]

WIDTH = 760.0
OFF_MM = 5.0
"""A click this far off a panel's edge still means its edge."""


@dataclass(frozen=True, slots=True)
class MapPoint:
    """A point of the body.

    Parameters
    ----------
    panel : PanelId
        The panel.
    u_mm, v_mm : float
        On it.
    label : str
        In words.
    """

    panel: PanelId
    u_mm: float
    v_mm: float
    label: str = ""


@cache
def _component() -> ComponentRenderer:
    # a leading newline: Streamlit takes a text without one for a file name
    js, css = ("\n" + Path(__file__).with_name(f"map_point.{end}").read_text(encoding="utf-8") for end in ("js", "css"))
    return st.components.v2.component("corromap_map_point", html='<div class="pick"></div>', css=css, js=js)


def on_panel(template: BodyTemplate, raw: object) -> MapPoint | None:
    """Check what the browser sent.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    raw : object
        Anything.

    Returns
    -------
    MapPoint or None
        On the named panel, moved onto it from up to 5 mm away; None for
        anything else.
    """
    if not isinstance(raw, dict):
        return None
    panel = next((p for p in template.panels if p.id == raw.get("panel")), None)
    numbers = [raw.get("u"), raw.get("v")]
    if panel is None or not all(isinstance(n, int | float) and math.isfinite(n) for n in numbers):
        return None
    point = shapely.Point(*(float(str(n)) for n in numbers))
    if shapely.distance(panel.outline.polygon, point) > OFF_MM:
        return None
    nearest = shapely.shortest_line(panel.outline.polygon, point)
    u, v = shapely.get_coordinates(nearest)[0]
    return MapPoint(panel.id, round(float(u), 1), round(float(v), 1))


def map_point(
    template: BodyTemplate,
    points: Sequence[MapPoint],
    chosen: MapPoint | None,
    *,
    key: str,
    on_point: Callable[[MapPoint], None],
) -> None:
    """Show the map and take a click.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    points : sequence of MapPoint
        Points that are there already.
    chosen : MapPoint or None
        The one chosen now.
    key : str
        Stable over reruns.
    on_point : callable
        Called with a point that was clicked, before the page is drawn.
    """
    sheet = lay_out(template, width=WIDTH, turn=False)

    def dot(point: MapPoint, *, is_chosen: bool) -> dict[str, Any]:
        x, y = sheet.at(point.panel, np.array([point.u_mm, point.v_mm]))
        return {"x": round(float(x), 2), "y": round(float(y), 2), "label": point.label, "chosen": is_chosen}

    def clicked() -> None:
        state: Any = st.session_state.get(key)
        found = on_panel(template, state.get("point") if state else None)
        if found is not None:
            on_point(found)

    dots = [dot(point, is_chosen=False) for point in points]
    if chosen is not None:
        dots.append(dot(chosen, is_chosen=True))
    svg = map_svg(template, width=WIDTH, prefix="pick", show_legend=False)
    drawn = f"{template.id}/{template.revision}/{len(svg)}"
    _component()(key=key, data={"svg": svg, "drawn": drawn, "points": dots}, on_point_change=clicked)
