"""Symbols of the map: one sign for each kind of mounting, the datum cross, the arrow."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from corromap.report.palette import ACCENT, INK
from corromap.report.svg import element, number
from corromap.template import MountingKind

__all__ = ["MOUNTING_SIGNS", "datum_cross", "front_arrow", "mounting_sign"]

# Each path fits a circle of radius 6 around (0, 0) and differs in outline, not only in its inside.
MOUNTING_SIGNS: Mapping[MountingKind, str] = MappingProxyType(
    {
        MountingKind.SUSPENSION: "M-5.5 0A5.5 5.5 0 1 1 5.5 0A5.5 5.5 0 1 1-5.5 0ZM-2 0A2 2 0 1 1 2 0A2 2 0 1 1-2 0Z",
        MountingKind.SPRING: "M-5 5V-5H5V5ZM-3.5 3L-1.8-3L0 3L1.8-3L3.5 3",
        MountingKind.TORSION_BAR: "M-5.8 0L-2.9-5H2.9L5.8 0L2.9 5H-2.9ZM0-2.4V2.4",
        MountingKind.DAMPER: "M-3-6H3V6H-3ZM-3-1H3",
        MountingKind.BELT: "M0-5.8L5.8 4.6H-5.8Z",
        MountingKind.SEAT: "M-5-5H-1.5V1H5V5H-5Z",
        MountingKind.STEERING: "M-5.5 0A5.5 5.5 0 1 1 5.5 0A5.5 5.5 0 1 1-5.5 0ZM-5.5 0H5.5M0 0V5.5",
        MountingKind.JACKING: "M-6 5L-3-4H3L6 5Z",
        MountingKind.SUBFRAME: "M0-6L6 0L0 6L-6 0Z",
    }
)


def mounting_sign(kind: MountingKind, x: float, y: float, title: str = "") -> str:
    """Draw the sign of a mounting.

    Parameters
    ----------
    kind : MountingKind
        What is mounted.
    x, y : float
        Its centre.
    title : str
        Markup of a ``<title>``, already escaped; shown under the pointer.

    Returns
    -------
    str
        SVG.
    """
    sign = element(
        "path",
        d=MOUNTING_SIGNS[kind],
        fill="#FFFFFF",
        fill_rule="nonzero",
        stroke=INK,
        stroke_width=1.3,
        stroke_linejoin="round",
    )
    return element("g", title, sign, transform=f"translate({number(x)} {number(y)})")


def datum_cross(x: float, y: float, title: str = "") -> str:
    """Draw a datum point: a cross in a ring.

    Parameters
    ----------
    x, y : float
        Its centre.
    title : str
        Markup of a ``<title>``, already escaped.

    Returns
    -------
    str
        SVG.
    """
    ring = element("circle", r=3.2, fill="#FFFFFF", stroke=ACCENT, stroke_width=1.1)
    cross = element("path", d="M-5.2 0H5.2M0-5.2V5.2", stroke=ACCENT, stroke_width=1.1, fill="none")
    return element("g", title, ring, cross, transform=f"translate({number(x)} {number(y)})")


def front_arrow(x: float, y: float, *, points_left: bool) -> str:
    """Draw the arrow that points to the front of the car.

    Parameters
    ----------
    x, y : float
        Its middle.
    points_left : bool
        To the left instead of up.

    Returns
    -------
    str
        SVG.
    """
    turn = " rotate(-90)" if points_left else ""
    arrow = element("path", d="M0-9L6 1H2V9H-2V1H-6Z", fill=INK)
    return element("g", arrow, transform=f"translate({number(x)} {number(y)}){turn}")
