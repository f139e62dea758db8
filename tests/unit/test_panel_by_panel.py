"""Panels measured two at a time come out as they do one after another."""

from __future__ import annotations

import time

import pytest

from corromap.frames import PanelId
from corromap.measures import measure, panels
from corromap.projection import project
from corromap.registration import place_photos
from corromap.survey import MarkKind
from tests.unit.surveys import TEMPLATE, mark_at, survey_of

PANELS = tuple(PanelId(p) for p in ("floor-left", "floor-right", "boot-floor", "sill-left-outer"))


def test_the_order_is_that_of_the_panels_whichever_ends_first() -> None:
    def slow_first(number: int) -> int:
        time.sleep(0.02 if number == 0 else 0.0)
        return 10 * number

    assert panels.panel_by_panel(slow_first, range(5), panels.MANY_MARKS) == [0, 10, 20, 30, 40]


def test_what_goes_wrong_on_one_panel_is_raised() -> None:
    with pytest.raises(ZeroDivisionError):
        panels.panel_by_panel(lambda number: 1 // number, [1, 0, 2], panels.MANY_MARKS)


def test_figures_do_not_depend_on_it(monkeypatch: pytest.MonkeyPatch) -> None:
    kinds = (MarkKind.RUST, MarkKind.PATCH, MarkKind.FILLER)
    marks = [
        mark_at(f"{panel}-{i}", panel, [[u, 40], [u + 90, 45], [u + 80, 110], [u + 5, 100]], kinds[i % 3])
        for panel in PANELS
        for i, u in enumerate(range(60, 600, 60))
    ]
    survey = survey_of(PANELS, marks)
    placed = place_photos(survey, TEMPLATE)
    projection = project(survey, TEMPLATE, placed)
    found = []
    for many in (1, 10_000):
        monkeypatch.setattr(panels, "MANY_MARKS", many)
        found.append(measure(projection, placed, survey, TEMPLATE))
    together, alone = found
    assert together.zones == alone.zones
    assert together.groups == alone.groups
    assert any(zone.affected.area_mm2 > 0 for zone in alone.zones)
