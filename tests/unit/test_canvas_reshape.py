"""Splitting and joining marks, checked against areas known by arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from corromap.errors import InvalidValueError
from corromap.frames import MarkId, PhotoId, PhotoOutline
from corromap.survey import Mark, MarkKind, PatchFixing, RustStage
from corromap.ui.canvas_reshape import join_marks, split_mark

RING = np.array([[0, 0], [60, 0], [60, 40], [0, 40]], dtype=float)
HOLE = np.array([[20, 10], [40, 10], [40, 30], [20, 30]], dtype=float)


def moved(ring, right):
    return ring + np.array([right, 0.0])


def mark(exterior, *holes, name="m", kind=MarkKind.RUST, **more):
    return Mark(MarkId(name), PhotoId(more.pop("photo", "p")), kind, PhotoOutline(exterior, holes), **more)


def test_split_through_a_hole_gives_two_plain_pieces():
    pieces = split_mark(mark(RING, HOLE), np.array([[30, -5], [30, 45]]), MarkId("n"))
    assert [piece.outline.repaired().area for piece in pieces] == pytest.approx([1000, 1000])
    assert all(piece.outline.holes_px == () for piece in pieces)


def test_split_beside_a_hole_keeps_it():
    big, small = split_mark(mark(RING, HOLE), np.array([[10, -5], [10, 45]]), MarkId("n"))
    assert len(big.outline.holes_px) == 1
    assert big.outline.repaired().area == pytest.approx(50 * 40 - 400)
    assert small.outline.repaired().area == pytest.approx(400)


@pytest.mark.parametrize(
    "line", [[[-5, 20], [15, 20]], [[-5, -5], [70, -5]], [[10, 10], [15, 10]]], ids=["half way", "outside", "within"]
)
def test_a_line_that_does_not_cross_is_refused(line):
    with pytest.raises(InvalidValueError, match="does not divide"):
        split_mark(mark(RING), np.array(line, dtype=float), MarkId("n"))


def test_joined_ground_counts_once_and_holes_are_filled_where_the_other_covers_them():
    other = mark(moved(HOLE, 5), name="o", stage=RustStage.SCALED)
    joined = join_marks((mark(RING, HOLE, stage=RustStage.SURFACE), other), MarkId("n"))
    expected = shapely.union(shapely.Polygon(RING, [HOLE]), shapely.Polygon(moved(HOLE, 5))).area
    assert joined.outline.repaired().area == pytest.approx(expected)
    assert joined.stage is RustStage.SCALED


def test_a_hairs_breadth_between_two_hand_drawn_edges_is_bridged():
    joined = join_marks((mark(RING), mark(moved(RING, 61.5), name="o")), MarkId("n"))
    # the slit of 1.5 x 40 px closes; nothing else grows
    assert joined.outline.repaired().area == pytest.approx(2 * 2400 + 60, rel=0.002)


def test_marks_apart_stay_two_and_the_gap_is_told():
    with pytest.raises(InvalidValueError, match=r"do not touch \(40 px apart\)"):
        join_marks((mark(RING), mark(moved(RING, 100), name="o")), MarkId("n"))


def test_kinds_and_photos_are_not_mixed():
    with pytest.raises(InvalidValueError, match=r"different kinds \(filler and rust\)"):
        join_marks((mark(RING), mark(RING, name="o", kind=MarkKind.FILLER)), MarkId("n"))
    with pytest.raises(InvalidValueError, match="two photos"):
        join_marks((mark(RING), mark(RING, name="o", photo="q")), MarkId("n"))


def test_fixings_that_differ_become_unknown():
    two = (
        mark(RING, kind=MarkKind.PATCH, fixing=PatchFixing.SPOT),
        mark(moved(RING, 30), name="o", kind=MarkKind.PATCH, fixing=PatchFixing.SEAM),
    )
    assert join_marks(two, MarkId("n")).fixing is PatchFixing.UNKNOWN
    assert (
        join_marks((two[0], mark(RING, name="q", kind=MarkKind.PATCH, fixing=PatchFixing.SPOT)), MarkId("n")).fixing
        is PatchFixing.SPOT
    )
