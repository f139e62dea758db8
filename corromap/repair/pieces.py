"""Cut lines made into pieces: labels, edges, blanks, what is near."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon

from corromap.frames import MarkId, PanelId, PhotoId, PhotoOutline
from corromap.measures.distance import mounting_distances
from corromap.projection import MovingEdges, ProjectedMark
from corromap.repair.edges import EDGE_TOLERANCE_MM, borders_of, edges_of
from corromap.repair.result import EdgeKind, Joint, Piece, PieceEdge
from corromap.survey import Mark, MarkKind
from corromap.template import BodyTemplate, Fold, Panel, Zone

__all__ = ["PanelCuts", "join_over_folds", "letters", "near_mountings", "pieces_of"]


def letters(number: int) -> str:
    """Count in letters: A to Z, then AA.

    Parameters
    ----------
    number : int
        From 0.

    Returns
    -------
    str
        Letters.
    """
    word = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        word = chr(ord("A") + rest) + word
    return word


@dataclass(frozen=True, slots=True, eq=False)
class PanelCuts:
    """Cut lines of one panel.

    Parameters
    ----------
    panel : Panel
        The panel.
    template : BodyTemplate
        Its body.
    zones : tuple of (Zone, int, tuple of shapely.Polygon)
        Each zone with its number and its cut lines.
    marks : tuple of ProjectedMark
        What asks for them.
    flange_mm : float
        Lap at a fold or a panel edge.
    """

    panel: Panel
    template: BodyTemplate
    zones: tuple[tuple[Zone, int, tuple[Polygon, ...]], ...]
    marks: tuple[ProjectedMark, ...]
    flange_mm: float


def pieces_of(cuts: PanelCuts) -> tuple[Piece, ...]:
    """Make the pieces of one panel.

    Parameters
    ----------
    cuts : PanelCuts
        Its cut lines.

    Returns
    -------
    tuple of Piece
        Zone by zone.
    """
    outlines = {f"{n}{letters(i)}": (zone, outline) for zone, n, found in cuts.zones for i, outline in enumerate(found)}
    made = []
    for label, (zone, outline) in outlines.items():
        others = {name: other for name, (_, other) in outlines.items() if name != label}
        edges = edges_of(outline, borders_of(cuts.panel, zone, cuts.template, others))
        made.append(_piece(label, zone, outline, edges, cuts))
    return tuple(made)


def _piece(label: str, zone: Zone, outline: Polygon, edges: tuple[PieceEdge, ...], cuts: PanelCuts) -> Piece:
    lap_mm = sum(e.length_mm for e in edges if e.joint is Joint.LAP)
    folds = [fold for fold in cuts.panel.folds if _crosses(fold, outline)]
    return Piece(
        label=label,
        zone=zone.id,
        panel=cuts.panel.id,
        outline=outline,
        edges=edges,
        blank_mm=_blank(outline, edges, cuts.flange_mm),
        blank_mm2=outline.area + cuts.flange_mm * lap_mm,
        marks=tuple(dict.fromkeys(m.mark.id for m in cuts.marks if shapely.intersection(m.area, outline).area > 0)),
        crosses=tuple(cuts.template.panel(fold.other).name for fold in folds),
    )


def _blank(outline: Polygon, edges: Sequence[PieceEdge], flange_mm: float) -> tuple[float, float]:
    """Sides of the rectangle around the outline and its flanges, the longer first."""
    low, high = np.array(outline.bounds[:2]), np.array(outline.bounds[2:])
    reach = [(low, high)]
    for edge in edges:
        if edge.joint is Joint.LAP:
            along = edge.to_mm - edge.from_mm
            outward = flange_mm * np.array([along[1], -along[0]]) / max(edge.length_mm, 1e-9)
            ends = np.stack([edge.from_mm, edge.to_mm]) + outward  # the outline runs anticlockwise
            reach.append((ends.min(axis=0), ends.max(axis=0)))
    size = np.max([h for _, h in reach], axis=0) - np.min([lo for lo, _ in reach], axis=0)
    short, long = sorted(float(side) for side in size)
    return long, short


def _crosses(fold: Fold, outline: Polygon) -> bool:
    inside = shapely.intersection(LineString(fold.edge_mm), outline.buffer(-EDGE_TOLERANCE_MM))
    return bool(inside.length > EDGE_TOLERANCE_MM)


def near_mountings(pieces: Sequence[Piece], template: BodyTemplate) -> tuple[Piece, ...]:
    """Find the mountings that pieces come near, along the body and over its folds as for marks.

    Parameters
    ----------
    pieces : sequence of Piece
        Of all panels.
    template : BodyTemplate
        The body.

    Returns
    -------
    tuple of Piece
        The same with their mountings within the published 300 mm, nearest
        first.
    """
    outlines = [_as_mark(piece) for piece in pieces]
    names = {mounting.id: mounting.name for _, mounting in template.mountings}
    found: dict[str, list[tuple[str, float]]] = {}
    for near in mounting_distances(outlines, template):
        if near.is_within_prescribed:
            found.setdefault(str(near.mark), []).append((names[near.mounting], near.distance_mm))
    return tuple(replace(piece, near_mountings=tuple(found.get(piece.label, ()))) for piece in pieces)


def _as_mark(piece: Piece) -> ProjectedMark:
    """Dress a piece as a mark: the way from a mounting to it is measured by the same rule."""
    nothing = MovingEdges(np.empty((0, 2)), np.empty((0, 2)), {})
    ring = np.asarray(piece.outline.exterior.coords)
    mark = Mark(MarkId(piece.label), PhotoId(""), MarkKind.RUST, PhotoOutline(ring))
    return ProjectedMark(mark, piece.panel, MultiPolygon([piece.outline]), 0.0, was_repaired=False, edges=nothing)


def join_over_folds(pieces: Sequence[Piece], template: BodyTemplate) -> tuple[Piece, ...]:
    """Find pieces that go on over a fold: their common flange is welded once.

    Parameters
    ----------
    pieces : sequence of Piece
        Of all panels.
    template : BodyTemplate
        The body.

    Returns
    -------
    tuple of Piece
        The same, edges on a fold divided where a piece of the other panel
        meets them; that part counts half for each, and names the other piece.
    """
    on: dict[tuple[PanelId, PanelId, int], list[tuple[str, float, float]]] = {}
    for piece in pieces:
        for key, span, _ in _fold_edges(piece, template):
            on.setdefault(key, []).append((piece.label, min(span), max(span)))
    made = []
    for piece in pieces:
        edges: list[PieceEdge] = [e for e in piece.edges if e.kind is not EdgeKind.FOLD]
        for (panel, other, number), span, edge in _fold_edges(piece, template):
            edges += _split(edge, span, on.get((other, panel, number), []))
        made.append(replace(piece, edges=tuple(edges)))
    return tuple(made)


def _fold_edges(
    piece: Piece, template: BodyTemplate
) -> list[tuple[tuple[PanelId, PanelId, int], tuple[float, float], PieceEdge]]:
    """Edges on a fold, with the fold they lie on and where along it (0 to 1)."""
    found = []
    folds = template.panel(piece.panel).folds
    for edge in piece.edges:
        if edge.kind is not EdgeKind.FOLD:
            continue
        middle = Point((edge.from_mm + edge.to_mm) / 2)
        fold = min(folds, key=lambda f: LineString(f.edge_mm).distance(middle))
        same = [f for f in folds if f.other == fold.other]
        line = LineString(fold.edge_mm)
        start, end = (float(line.project(Point(at), normalized=True)) for at in (edge.from_mm, edge.to_mm))
        found.append(((piece.panel, fold.other, same.index(fold)), (start, end), edge))
    return found


def _split(edge: PieceEdge, span: tuple[float, float], others: Sequence[tuple[str, float, float]]) -> list[PieceEdge]:
    start, end = span
    low, high = min(span), max(span)
    if high <= low or not others:
        return [edge]
    stops = sorted({low, high, *(min(max(at, low), high) for _, a, b in others for at in (a, b))})
    parts = []
    for a, b in pairwise(stops):
        if (b - a) / (high - low) * edge.length_mm <= EDGE_TOLERANCE_MM:
            continue
        label = next((name for name, s, e in others if s <= (a + b) / 2 <= e), None)
        ends = [edge.from_mm + (at - start) / (end - start) * (edge.to_mm - edge.from_mm) for at in (a, b)]
        neighbour, shared = (edge.neighbour, 1.0) if label is None else (label, 0.5)
        parts.append(replace(edge, from_mm=ends[0], to_mm=ends[1], neighbour=neighbour, shared=shared))
    return parts
