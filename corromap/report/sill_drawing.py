"""A sill's box drawn out: one row a wall, one column a station of 10 mm, and the box cut across."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corromap.measures.structure import STATION_MM, Continuity, WallState
from corromap.messages import to_say
from corromap.report.language import tr
from corromap.report.palette import (
    FAINT,
    HIDDEN,
    INK,
    NEVER_SEEN,
    PAPER,
    PATCH,
    RUST_HOLED,
    RUST_SCALED,
    STEEL,
    Look,
    pattern_defs,
)
from corromap.report.svg import element, plain, text_element
from corromap.sections import BoxSection

__all__ = ["section_svg", "sill_legend", "strip_svg"]

ROW, GAP, NAMES = 16, 3, 172
_LOOKS: dict[WallState, Look | None] = {
    WallState.HOLED: RUST_HOLED,
    WallState.UNSOUND: RUST_SCALED,
    WallState.PATCHED: PATCH,
    WallState.SHOWN: None,
    WallState.NOT_SHOWN: NEVER_SEEN,
    WallState.INSIDE: HIDDEN,
}
_WORDS = {
    WallState.HOLED: to_say("holed"),
    WallState.UNSOUND: to_say("unsound: scaled rust, filler, dull, thin"),
    WallState.PATCHED: to_say("patched: closes if welded all round"),
    WallState.SHOWN: to_say("shown, nothing marked"),
    WallState.NOT_SHOWN: to_say("not shown"),
    WallState.INSIDE: to_say("inside: no photo of the underside shows it"),
}


def sill_legend(prefix: str) -> tuple[tuple[str, str], ...]:
    """List what the fields of `strip_svg` mean.

    Parameters
    ----------
    prefix : str
        Of the ids of the patterns.

    Returns
    -------
    tuple of (str, str)
        A swatch as SVG and its words, worst first.
    """
    rows = []
    for state, words in _WORDS.items():
        look = _LOOKS[state]
        fill = f"url(#{prefix}-{look.key})" if look else PAPER
        defs = element("defs", pattern_defs(prefix, [look])) if look else ""
        box = element("rect", x=0.5, y=0.5, width=27, height=13, fill=fill, stroke=INK)
        rows.append((element("svg", defs + box, width=28, height=14, viewBox="0 0 28 14"), tr(words)))
    return tuple(rows)


def strip_svg(section: BoxSection, found: Continuity, prefix: str, width: int = 480) -> str:
    """Draw every wall of a box along the car, rear end on the left.

    Parameters
    ----------
    section : BoxSection
        Its walls.
    found : Continuity
        What is known of each station.
    prefix : str
        Of the ids of the patterns: two drawings can share a page.
    width : int
        In pixels.

    Returns
    -------
    str
        SVG with a title in words.
    """
    step = (width - NAMES) / found.states.shape[1]
    height = len(section.walls) * (ROW + GAP) + 24
    looks = [look for look in _LOOKS.values() if look]
    parts = [element("defs", pattern_defs(prefix, looks))]
    shown_first = sorted(range(len(section.walls)), key=lambda i: section.walls[i].panel is None)
    for place, row in enumerate(shown_first):
        wall, y = section.walls[row], place * (ROW + GAP) + 1
        parts.append(_words(0, y + ROW - 4, tr(wall.name)))
        parts += [
            element(
                "rect",
                x=round(NAMES + first * step, 2),
                y=y,
                width=round((last - first) * step, 2),
                height=ROW,
                fill=f"url(#{prefix}-{look.key})" if (look := _LOOKS[WallState(state)]) else PAPER,
            )
            for first, last, state in _runs(found.states[row])
        ]
        parts.append(element("rect", x=NAMES, y=y, width=width - NAMES, height=ROW, fill="none", stroke=STEEL))
    parts += _ruler(found, step, height)
    title = tr("{name}: walls of the box along the car, rear end on the left", name=tr(section.name))
    body = element("title", plain(title)) + "".join(parts)
    return element(
        "svg", body, xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {width} {height}", role="img", class_="sill"
    )


def _runs(states: NDArray[np.int8]) -> list[tuple[int, int, int]]:
    cuts = np.flatnonzero(np.diff(states)) + 1
    starts = [0, *cuts.tolist()]
    return [(a, b, int(states[a])) for a, b in zip(starts, [*cuts.tolist(), len(states)], strict=True)]


def _words(x: float, y: float, text: str, anchor: str = "start") -> str:
    return text_element(text, x=x, y=y, fill=INK, font_size=11, text_anchor=anchor)


def _ruler(found: Continuity, step: float, height: float) -> list[str]:
    ticks = []
    for mm in range(0, int(found.length_mm) + 1, 200):
        x = NAMES + mm / STATION_MM * step
        ticks.append(element("path", d=f"M{x:.1f} {height - 24}V{height - 18}", stroke=FAINT, fill="none"))
        ticks.append(_words(x, height - 6, f"{mm}", "middle" if mm else "start"))
    return ticks


def section_svg(section: BoxSection, open_walls: frozenset[str] | set[str] = frozenset(), width: int = 110) -> str:
    """Draw a box cut across, open walls broken.

    Parameters
    ----------
    section : BoxSection
        The box.
    open_walls : set of str
        Walls drawn as open.
    width : int
        In pixels.

    Returns
    -------
    str
        SVG, seen from the rear: the car's left is on the left.
    """
    ends = np.array([[wall.from_mm, wall.to_mm] for wall in section.walls]).reshape(-1, 2)
    low, high = ends.min(axis=0), ends.max(axis=0)
    size = (width - 24) / (high[0] - low[0])
    height = round((high[1] - low[1]) * size + 24)
    lines = []
    for wall in section.walls:
        (x1, y1), (x2, y2) = (
            (12 + (high[0] - end[0]) * size, 12 + (high[1] - end[1]) * size) for end in (wall.from_mm, wall.to_mm)
        )
        is_open = wall.id in open_walls
        lines.append(
            element(
                "path",
                element("title", plain(tr(wall.name))),
                d=f"M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}",
                stroke=RUST_HOLED.colour if is_open else INK,
                fill="none",
                stroke_width=3.0,
                stroke_dasharray="3 5" if is_open else None,
            )
        )
    title = element("title", plain(tr("{name} cut across, seen from the rear", name=tr(section.name))))
    return element(
        "svg", title + "".join(lines), xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {width} {height}",
        width=width, height=height, role="img",
    )  # fmt: skip
