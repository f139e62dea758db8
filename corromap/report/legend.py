"""The legend of the map: looks, zone lines, mounting signs, as far as they are drawn."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from corromap.messages import to_say
from corromap.report.language import tr
from corromap.report.palette import INK, PANEL, STEEL, Look
from corromap.report.svg import element, plain, text_element
from corromap.report.symbols import datum_cross, mounting_sign
from corromap.template import MountingKind, Role

__all__ = [
    "MOUNTING_NAMES",
    "ROLE_LINES",
    "LegendEntry",
    "datum_entry",
    "draw_legend",
    "look_entry",
    "mounting_entry",
    "role_entry",
]

ROW_PX = 21.0
COLUMN_PX = 172.0

ROLE_LINES: dict[Role, tuple[float, str | None]] = {
    Role.PRIMARY: (2.4, None),
    Role.SECONDARY: (1.1, None),
    Role.CLOSING: (1.0, "4 2.5"),
}
"""Line width and dashes of a zone by what it carries."""

ROLE_NAMES = {
    Role.PRIMARY: to_say("Zone, load-bearing"),
    Role.SECONDARY: to_say("Zone, secondary"),
    Role.CLOSING: to_say("Zone, closing panel"),
}

MOUNTING_NAMES = {
    MountingKind.SUSPENSION: to_say("Suspension pick-up"),
    MountingKind.SPRING: to_say("Spring mounting"),
    MountingKind.TORSION_BAR: to_say("Torsion bar mounting"),
    MountingKind.DAMPER: to_say("Damper mounting"),
    MountingKind.BELT: to_say("Belt anchorage"),
    MountingKind.SEAT: to_say("Seat mounting"),
    MountingKind.STEERING: to_say("Steering mounting"),
    MountingKind.JACKING: to_say("Jacking point"),
    MountingKind.SUBFRAME: to_say("Subframe mounting"),
}


@dataclass(frozen=True, slots=True)
class LegendEntry:
    """One line of a legend.

    Parameters
    ----------
    name : str
        As printed.
    draw : callable
        Makes the sample's SVG in a box 24 wide and 14 high at (0, 0).
    """

    name: str
    draw: Callable[[], str]


def look_entry(look: Look, prefix: str) -> LegendEntry:
    """Entry of a kind, a stage or evidence.

    Parameters
    ----------
    look : Look
        Its look.
    prefix : str
        Of the pattern's id.

    Returns
    -------
    LegendEntry
        The entry.
    """
    fill = f"url(#{prefix}-{look.key})"
    return LegendEntry(
        tr(look.label), lambda: element("rect", width=24, height=14, fill=fill, stroke=look.colour, stroke_width=1.4)
    )


def role_entry(role: Role) -> LegendEntry:
    """Entry of a zone's line.

    Parameters
    ----------
    role : Role
        What the zone carries.

    Returns
    -------
    LegendEntry
        The entry.
    """
    width, dashes = ROLE_LINES[role]
    return LegendEntry(
        tr(ROLE_NAMES[role]),
        lambda: element(
            "rect", width=24, height=14, fill=PANEL, stroke=INK, stroke_width=width, stroke_dasharray=dashes
        ),
    )


def mounting_entry(kind: MountingKind) -> LegendEntry:
    """Entry of a mounting's sign.

    Parameters
    ----------
    kind : MountingKind
        What is mounted.

    Returns
    -------
    LegendEntry
        The entry.
    """
    return LegendEntry(tr(MOUNTING_NAMES[kind]), lambda: mounting_sign(kind, 12, 7))


def datum_entry() -> LegendEntry:
    """Entry of the datum points.

    Returns
    -------
    LegendEntry
        The entry.
    """
    return LegendEntry(tr("Datum point"), lambda: datum_cross(12, 7))


def draw_legend(entries: Sequence[LegendEntry], *, x: float, y: float, width: float) -> tuple[str, float]:
    """Draw entries in columns.

    Parameters
    ----------
    entries : sequence of LegendEntry
        In reading order, down the columns.
    x, y, width : float
        Where, drawing units.

    Returns
    -------
    tuple of str and float
        SVG, and the height used.
    """
    columns = max(1, int(width // COLUMN_PX))
    rows = -(-len(entries) // columns)
    step = width / columns
    drawn = [text_element(tr("Key"), x, y + 11, font_size=12, font_weight="bold", fill=INK)]
    for index, entry in enumerate(entries):
        left, top = x + step * (index // rows), y + 22 + ROW_PX * (index % rows)
        label = element("text", plain(entry.name), x=32, y=11.5, font_size=12, fill=INK)
        drawn.append(element("g", entry.draw(), label, transform=f"translate({left:g} {top:g})"))
    rule = element("path", d=f"M{x:g} {y - 8:g}H{x + width:g}", stroke=STEEL, stroke_width=0.8)
    return element("g", rule, *drawn, class_="legend"), 22 + ROW_PX * rows + 6
