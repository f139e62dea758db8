"""Hands on the photo canvas: photo pixels and map millimetres to mouse, touch and keys."""

from __future__ import annotations

import json
import math

from playwright.sync_api import expect


class CanvasDriver:
    """Drives the canvas of the harness page."""

    def __init__(self, page):
        self.page = page
        page.wait_for_selector(".cm-root[data-view][data-map-view]", timeout=30_000)
        page.wait_for_selector("#facts", timeout=30_000)
        self.root = page.locator(".cm-root")
        self.photo = page.locator(".cm-photo")
        self.map = page.locator(".cm-map")
        self.settle()

    def settle(self, ms=150):
        self.page.wait_for_timeout(ms)

    def data(self, name):
        return self.root.get_attribute(f"data-{name}")

    def facts(self):
        return json.loads(self.page.locator("#facts").input_value())

    def wait_facts(self, what, timeout=15_000):
        """Wait until Python's survey is as wanted; the message shows how it was."""
        waited = 0
        while waited < timeout:
            found = self.facts()
            if what(found):
                return found
            self.page.wait_for_timeout(60)
            waited += 60
        raise AssertionError(f"the survey did not become as expected: {json.dumps(self.facts())[:1500]}")

    def wait_marks(self, count):
        return self.wait_facts(lambda facts: len(facts["marks"]) == count)["marks"]

    def _screen(self, pane, view, at):
        x, y, resolution, rotation = json.loads(self.data(view))
        box = pane.bounding_box()
        dx, dy = (at[0] - x) / resolution, (at[1] - y) / resolution
        cos, sin = math.cos(rotation), math.sin(rotation)
        # OpenLayers' border box: the pane has a 1.5 px border
        return (
            box["x"] + box["width"] / 2 + dx * cos - dy * sin,
            box["y"] + box["height"] / 2 + dx * sin + dy * cos,
        )

    def on_photo(self, at):
        return self._screen(self.photo, "view", at)

    def on_map(self, at):
        return self._screen(self.map, "map-view", at)

    def resolution(self):
        return json.loads(self.data("view"))[2]

    def move(self, at):
        # as a hand does, in more than one step: OpenLayers lets the first one after a click pass
        self.page.mouse.move(*self.on_photo(at), steps=4)
        self.settle(60)

    def click(self, at, **options):
        self.page.mouse.move(*self.on_photo(at), steps=4)
        self.page.mouse.click(*self.on_photo(at), **options)
        self.settle(60)

    def outline(self, points):
        """Draw by clicks, closing with a double click on the last point."""
        for at in points[:-1]:
            self.click(at)
            self.settle(280)  # two clicks within 250 ms would be a double click
        self.page.mouse.move(*self.on_photo(points[-1]), steps=4)
        self.page.mouse.dblclick(*self.on_photo(points[-1]))
        self.settle(100)

    def drag(self, points, steps=6):
        self.page.mouse.move(*self.on_photo(points[0]))
        self.page.mouse.down()
        for at in points[1:]:
            self.page.mouse.move(*self.on_photo(at), steps=steps)
        self.page.mouse.up()
        self.settle(100)

    def button(self, name):
        return self.root.locator(f"button[data-name='{name}']")

    def press(self, *keys):
        self.photo.focus()
        for key in keys:
            self.page.keyboard.press(key)
        self.settle(60)

    def help(self):
        return self.page.locator(".cm-help").inner_text()

    def alert(self):
        return self.page.locator(".cm-alert").inner_text()

    def expect_pressed(self, name):
        expect(self.button(name)).to_have_attribute("aria-pressed", "true")


class Fingers:
    """Touches through Chromium's protocol: Playwright itself can only tap."""

    def __init__(self, page):
        self.page = page
        self.session = page.context.new_cdp_session(page)

    def _send(self, kind, points):
        self.session.send(
            "Input.dispatchTouchEvent",
            {"type": kind, "touchPoints": [{"x": x, "y": y, "id": i} for i, (x, y) in enumerate(points)]},
        )

    def tap(self, at):
        self._send("touchStart", [at])
        self.page.wait_for_timeout(40)
        self._send("touchEnd", [])
        self.page.wait_for_timeout(330)

    def hold(self, at, ms):
        self._send("touchStart", [at])
        self.page.wait_for_timeout(ms)

    def slide(self, path):
        for at in path:
            self._send("touchMove", [at])
            self.page.wait_for_timeout(30)

    def lift(self):
        self._send("touchEnd", [])
        self.page.wait_for_timeout(120)

    def pinch(self, start, end, steps=8):
        self._send("touchStart", list(start))
        for i in range(1, steps + 1):
            self._send(
                "touchMove",
                [
                    (a[0] + (b[0] - a[0]) * i / steps, a[1] + (b[1] - a[1]) * i / steps)
                    for a, b in zip(start, end, strict=True)
                ],
            )
            self.page.wait_for_timeout(25)
        self._send("touchEnd", [])
        self.page.wait_for_timeout(400)
