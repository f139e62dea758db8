"""What to ask for: viewpoints, choice, wording, drawing."""

from __future__ import annotations

from itertools import combinations
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corromap.evidence.requests import RequestList, greedy_cover, standard_shots, what_to_ask_for
from corromap.evidence.seen_well import Showing
from corromap.evidence.viewpoints import (
    FARTHEST_MM,
    FLATTEST_DEG,
    Stance,
    body_cells,
    candidates,
    visible_cells,
    what_they_show,
)
from corromap.evidence.wording import inspector_text, request_words, seller_text, zone_list
from corromap.frames import PanelId
from corromap.projection import project
from corromap.registration import place_photos
from corromap.report.viewpoint_drawing import viewpoint_svg
from corromap.survey import MarkKind
from corromap.template import Role
from tests.unit.surveys import TEMPLATE, mark_at, survey_of

FLOOR = PanelId("floor-left")
SHOTS = standard_shots(TEMPLATE)
FORBIDDEN = ("safe", "roadworthy")


def asked(panels: list[PanelId], marks: list = ()) -> RequestList:  # type: ignore[assignment]
    survey = survey_of(panels, marks)
    registrations = place_photos(survey, TEMPLATE)
    return what_to_ask_for(TEMPLATE, Showing(project(survey, TEMPLATE, registrations), registrations))


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 3), st.lists(st.lists(st.booleans(), min_size=8, max_size=8), min_size=3, max_size=7))
def test_greedy_keeps_its_bound(most: int, sets: list[list[bool]]) -> None:
    """At least 1 - 1/e of the best choice of as many sets, found by trying all of them."""
    shows, weights = np.array(sets), np.arange(1.0, 9.0)
    best = max(weights[shows[list(c)].any(axis=0)].sum() for c in combinations(range(len(sets)), min(most, len(sets))))
    chosen = list(greedy_cover(weights, shows, most, 0.0))
    got = weights[shows[chosen].any(axis=0)].sum() if chosen else 0.0
    assert got >= (1 - 1 / np.e) * best - 1e-9


def test_greedy_takes_the_best_first_and_stops() -> None:
    shows = np.array([[1, 1, 0, 0], [0, 1, 1, 1], [1, 0, 0, 0], [0, 0, 0, 0]], dtype=bool)
    assert greedy_cover(np.ones(4), shows, 4, 0.0) == (1, 0)
    assert greedy_cover(np.ones(4), shows, 1, 0.0) == (1,)
    assert greedy_cover(np.ones(4), shows, 4, 1.5) == (1,)


def test_viewpoints_show_only_what_a_camera_there_would_see() -> None:
    """Each visible cell again by the plain formulas, one by one."""
    cells = body_cells(TEMPLATE)
    view = next(v for v in candidates(TEMPLATE) if v.stance is Stance.UNDER)
    shown = np.flatnonzero(visible_cells(view, cells))
    assert len(shown) > 20
    for index in shown:
        ray = cells.at_mm[index] - view.at_mm
        assert np.linalg.norm(ray) <= FARTHEST_MM
        assert np.degrees(np.arccos(-ray @ cells.facing[index] / np.linalg.norm(ray))) <= FLATTEST_DEG + 1e-9


def test_floor_hides_tunnel_roof_edges_from_a_flat_view_and_sills_hide_inner_sills_from_outside() -> None:
    cells = body_cells(TEMPLATE)
    views, shows = what_they_show(TEMPLATE)
    inner = next(i for i, grid in enumerate(cells.grids) if grid.panel.id == "sill-left-inner")
    outside = [i for i, v in enumerate(views) if v.stance is Stance.LEFT]
    assert not shows[np.ix_(outside, np.flatnonzero(cells.panel == inner))].any()


def test_standard_list_shows_nearly_all_of_a_body() -> None:
    assert SHOTS.closed_mm2 > 0.9 * SHOTS.gap_mm2
    assert len(SHOTS.requests) <= 16
    gains = [r.gain_mm2 for r in SHOTS.requests]
    assert gains[0] == max(gains)
    assert sum(gains) == pytest.approx(SHOTS.closed_mm2)


def test_every_request_has_enough_datum_points_to_be_placed() -> None:
    under = [r for r in SHOTS.requests if r.view.stance is Stance.UNDER]
    assert all(len(r.datum_ids) >= 4 for r in under)


def test_only_gaps_are_asked_for() -> None:
    everything = [panel.id for panel in TEMPLATE.panels]
    assert asked(everything).requests == ()
    without = asked([p for p in everything if p != FLOOR])
    named = {z for r in without.requests for z in r.zones}
    assert named
    assert {TEMPLATE.zone_by_id[z].panel for z in named} <= {
        FLOOR, PanelId("crossmember-left-front"), PanelId("crossmember-left-rear"), PanelId("toe-board-left"),
    }  # fmt: skip


def test_load_bearing_zones_come_first() -> None:
    first = SHOTS.requests[0].zones
    assert TEMPLATE.zone_by_id[first[0]].role is Role.PRIMARY


def test_hidden_ground_asks_for_a_brush_not_for_a_photo() -> None:
    zone = TEMPLATE.panel(FLOOR).zones[0]
    hidden = mark_at("h", FLOOR, zone.outline.exterior_mm, MarkKind.HIDDEN)
    found = asked([panel.id for panel in TEMPLATE.panels], [hidden])
    assert found.requests == ()
    assert [h.zone for h in found.hidden] == [zone.id]
    assert "covered there" in inspector_text(found, TEMPLATE)


def test_words_of_both_lists() -> None:
    for text in (inspector_text(SHOTS, TEMPLATE), seller_text(SHOTS, TEMPLATE)):
        assert "on a jack" in text
        assert "the driver's seat" in text
        assert not any(word in text.lower() for word in FORBIDDEN)
    letter = seller_text(SHOTS, TEMPLATE)
    assert letter.startswith("Hello,\n\nthank you")
    assert letter.endswith("Kind regards\n")
    assert not any(word in letter.lower() for word in ("rust", "suspect", "bodge"))


def test_words_name_place_direction_and_distance() -> None:
    words = request_words(SHOTS.requests[1], TEMPLATE)
    assert words.where.startswith("under the car, ")
    assert "straight up" in words.which_way or "45 degrees" in words.which_way
    assert words.how_near.endswith("from the metal")
    assert words.keep_in


def test_a_panel_is_named_once_for_all_its_datum_points() -> None:
    for request in SHOTS.requests:
        said = request_words(request, TEMPLATE).keep_in
        panels = [TEMPLATE.datum_points[datum][0].name for datum in request.datum_ids]
        assert [said.count(f"{panel}: ") for panel in set(panels)] == [1] * len(set(panels))
        for datum in request.datum_ids:
            panel, point = TEMPLATE.datum_points[datum]
            assert point.name.removeprefix(f"{panel.name}: ") in said


def test_the_letter_leaves_a_line_between_photos() -> None:
    numbered = [i for i, line in enumerate(seller_text(SHOTS, TEMPLATE).split("\n")) if line[:1].isdigit()]
    assert np.diff(numbered).tolist() == [2] * (len(SHOTS.requests) - 1)


def test_nothing_to_ask_is_said() -> None:
    nothing = RequestList((), 0.0, 0.0, (), ())
    assert "No further photo" in inspector_text(nothing, TEMPLATE)
    assert "on a lift before we go on" in seller_text(nothing, TEMPLATE)


def test_whole_panels_are_named_once() -> None:
    panel = TEMPLATE.panel(FLOOR)
    assert zone_list(TEMPLATE, [z.id for z in panel.zones]) == panel.name
    assert zone_list(TEMPLATE, [z.id for z in panel.zones[:3]], most=2).endswith("; and 1 more")


@pytest.mark.parametrize("request_", SHOTS.requests[:8], ids=lambda r: str(r.number))
def test_drawing_is_well_formed_and_inside_its_frame(request_: object) -> None:
    root = ET.fromstring(viewpoint_svg(request_, TEMPLATE))  # type: ignore[arg-type]
    assert root.get("role") == "img"
    texts = {t.text for t in root.iter("{http://www.w3.org/2000/svg}text")}
    assert {"FROM BELOW", "FROM BEHIND", "FRONT", "L", "R"} <= texts
