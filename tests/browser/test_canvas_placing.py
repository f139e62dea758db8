"""Clicking datum points, and two photos of one place side by side."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import expect

from corromap.registration import place_photos
from tests.browser import harness_scene as scene
from tests.browser.canvas_driver import CanvasDriver

pytestmark = pytest.mark.browser
APP = Path(__file__).with_name("harness_app.py")


def start(open_page, streamlit_server, **env):
    return CanvasDriver(open_page(streamlit_server(APP, {"HARNESS_MODE": "place", **env}).url))


def test_clicking_the_suggested_points_places_the_photo(open_page, streamlit_server):
    canvas = start(open_page, streamlit_server, HARNESS_PLACED="0")
    body = scene.template()
    on_panel = body.datum_positions(scene.PANEL)
    assert canvas.facts()["placed"] == []
    for count in range(1, 7):
        name = canvas.data("datum")
        assert name in on_panel, "the suggestion is a datum point of the active panel"
        assert body.datum_points[name][1].name in canvas.help()
        canvas.click(tuple(scene.true_px(on_panel[name])[0]))
        canvas.wait_facts(lambda f, n=count: len(f["sightings"]) == n)
        canvas.settle(250)
    assert f"photo-floor/{scene.PANEL}" in canvas.facts()["placed"]


def test_point_is_chosen_on_the_map_dragged_nudged_and_deleted(open_page, streamlit_server):
    canvas = start(open_page, streamlit_server)
    body = scene.template()
    name, first = next(
        (k.split("/")[1], at) for k, at in canvas.facts()["sightings"].items() if k.startswith("photo-floor")
    )
    panel, datum = body.datum_points[name]
    canvas.page.mouse.click(*canvas.on_map(panel.map_frame.to_map(datum.at_mm)[0]))
    canvas.settle()
    assert canvas.data("datum") == name
    canvas.drag([tuple(first), (first[0] + 60, first[1] + 40)])
    key = f"photo-floor/{name}"
    moved = canvas.wait_facts(lambda f: f["sightings"][key] != first)["sightings"][key]
    np.testing.assert_allclose(moved, np.add(first, (60, 40)), atol=1.5 * canvas.resolution())
    canvas.press("ArrowRight", "ArrowRight", "Shift+ArrowUp")
    nudged = canvas.wait_facts(lambda f: f["sightings"][key] != moved)["sightings"][key]
    np.testing.assert_allclose(nudged, np.add(moved, (2, -10)), atol=0.011)
    canvas.press("Delete")
    canvas.wait_facts(lambda f: key not in f["sightings"])
    canvas.press("Control+z")
    assert canvas.wait_facts(lambda f: key in f["sightings"])["sightings"][key] == nudged


def test_where_a_move_was_taken_back_is_no_grip_left(open_page, streamlit_server):
    canvas = start(open_page, streamlit_server)
    key, first = next(iter(canvas.facts()["sightings"].items()))
    reach = 40 * canvas.resolution()  # far beyond the reach of a grip
    away = (first[0] + reach, first[1] + reach)
    canvas.drag([tuple(first), away])
    canvas.wait_facts(lambda f: f["sightings"][key] != first)
    canvas.settle(300)
    canvas.press("Control+z")
    canvas.wait_facts(lambda f: f["sightings"][key] == first)
    canvas.settle(300)
    x, *_ = json.loads(canvas.data("view"))
    canvas.drag([away, (away[0] + reach, away[1])])
    canvas.settle(300)
    assert json.loads(canvas.data("view"))[0] < x  # the photo went along instead
    assert canvas.facts()["sightings"][key] == first


def test_sighting_by_keyboard_alone(open_page, streamlit_server):
    canvas = start(open_page, streamlit_server, HARNESS_PLACED="0")
    canvas.press(".")
    chosen = canvas.data("datum")
    canvas.press("Enter", *["ArrowRight"] * 3, "Enter")
    facts = canvas.wait_facts(lambda f: f["sightings"])
    assert list(facts["sightings"]) == [f"photo-floor/{chosen}"]


def test_two_photos_show_the_same_place(open_page, streamlit_server):
    canvas = start(open_page, streamlit_server, HARNESS_MODE="look", HARNESS_COMPARE="1")
    expect(canvas.page.locator(".cm-compare")).to_have_count(1)
    canvas.button("closer").click()
    canvas.settle(600)
    x, y, *_ = json.loads(canvas.data("view"))
    there = json.loads(canvas.page.locator(".cm-compare").get_attribute("data-view"))
    registrations = place_photos(scene.survey(), scene.template())
    mm, _ = registrations["photo-floor", scene.PANEL].to_mm([[x, y]])
    expected = registrations["photo-other", scene.PANEL].to_px(mm)[0]
    np.testing.assert_allclose(there[:2], expected, atol=0.5)
