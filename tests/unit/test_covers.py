"""What is hidden where several photos drew one cover."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon, Polygon

from corromap.frames import PanelId, PhotoId
from corromap.measures.coverage import coverage_mm2
from corromap.projection import SeenArea
from corromap.projection.covers import agreed_covers
from tests.geo_scene import FLOOR, template

ALL = shapely.box(0, 0, 1000, 600)


def shown(name: str, hidden: Polygon | None, area: Polygon = ALL, panel: PanelId = FLOOR) -> SeenArea:
    under = MultiPolygon([hidden.intersection(area)]) if hidden is not None else MultiPolygon()
    return SeenArea(PhotoId(name), panel, MultiPolygon([area]), under)


def box(x: float, y: float = 100.0, size: float = 100.0) -> Polygon:
    return shapely.box(x, y, x + size, y + size)


def hidden_mm2(*seen: SeenArea) -> float:
    return float(coverage_mm2(agreed_covers(seen), template())[:, 1].sum())


def test_two_photos_hide_what_either_hides() -> None:
    assert hidden_mm2(shown("a", box(100)), shown("b", box(110))) == pytest.approx(11_000, rel=1e-4)


def test_three_photos_hide_what_two_of_them_hide() -> None:
    """The middle of three edges on either side: 110 to 210."""
    found = agreed_covers([shown("a", box(100)), shown("b", box(110)), shown("c", box(140))])
    for photo in found:
        assert photo.hidden.symmetric_difference(box(110)).area == pytest.approx(0, abs=1.0)


def test_one_misplaced_photo_of_five_lays_nothing_bare() -> None:
    photos = [shown(n, box(x)) for n, x in zip("abcde", (100, 101, 99, 100, 130), strict=True)]
    assert hidden_mm2(*photos) == pytest.approx(10_000, rel=0.02)


def test_a_photo_has_no_vote_on_ground_it_does_not_show() -> None:
    """Photo c ends in the middle of the cover: beyond it, a and b alone are asked."""
    short = shapely.box(0, 0, 150, 600)
    found = hidden_mm2(shown("a", box(100)), shown("b", box(100)), shown("c", box(100), short))
    assert found == pytest.approx(10_000, rel=1e-4)


def test_ground_another_photo_shows_bare_is_seen() -> None:
    """Somebody wiped it off: that photo drew no cover, so it is no party to the vote."""
    assert hidden_mm2(shown("a", box(100)), shown("b", box(105)), shown("c", None)) == pytest.approx(0, abs=1.0)


def test_covers_that_overlap_little_are_two() -> None:
    first, second = shown("a", box(100)), shown("b", box(160))
    assert agreed_covers([first, second]) == (first, second)


def test_other_covers_of_the_photo_stay() -> None:
    both = SeenArea(PhotoId("a"), FLOOR, MultiPolygon([ALL]), MultiPolygon([box(100), box(600)]))
    found = agreed_covers([both, shown("b", box(110))])
    assert found[0].hidden.area == pytest.approx(21_000, rel=1e-4)
    assert found[1].hidden.area == pytest.approx(11_000, rel=1e-4)


def test_photos_that_share_nothing_are_the_same_objects() -> None:
    seen = (shown("a", box(100)), shown("b", None), shown("c", box(600)))
    assert all(one is other for one, other in zip(agreed_covers(seen), seen, strict=True))


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.floats(-40, 40), st.floats(-40, 40), st.floats(60, 140)), min_size=2, max_size=6))
def test_between_what_all_and_what_any_hide(outlines: list[tuple[float, float, float]]) -> None:
    covers = [box(300 + dx, 200 + dy, size) for dx, dy, size in outlines]
    seen = [shown(f"p{i}", cover) for i, cover in enumerate(covers)]
    before, after = coverage_mm2(seen, template()), coverage_mm2(agreed_covers(seen), template())
    every = shapely.union_all(np.array(covers, dtype=object))
    assert (after[:, 1] >= before[:, 1] - 0.5).all()
    assert after[:, 1].sum() <= every.area + 0.5  # edges are brought together by a thousandth of a millimetre
    assert after.sum(axis=1) == pytest.approx(before.sum(axis=1), abs=0.5)
