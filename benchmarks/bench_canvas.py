"""Photo canvas: outline finished to map updated, live preview, bytes to the first view.

Run from the checkout with Chromium installed::

    python benchmarks/bench_canvas.py

Needs `playwright` and Debian's ``chromium``. The server is the test harness
(tests/browser), with a made-up photo of 24 million pixels.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from playwright.sync_api import Browser, Page, sync_playwright

from tests.browser.canvas_driver import CanvasDriver
from tests.browser.conftest import CHROMIUM, FLAGS, Server

APP = Path(__file__).resolve().parents[1] / "tests" / "browser" / "harness_app.py"
OUTLINES = 15


def first_view(browser: Browser, url: str) -> tuple[Page, CanvasDriver, dict[str, int], int]:
    """Bytes over the wire until the whole photo is on the screen."""
    context = browser.new_context(viewport={"width": 1440, "height": 1000})
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    urls, sizes = {}, {}
    session.on("Network.requestWillBeSent", lambda e: urls.update({e["requestId"]: e["request"]["url"]}))
    session.on("Network.loadingFinished", lambda e: sizes.update({e["requestId"]: e["encodedDataLength"]}))
    page.goto(url)
    canvas = CanvasDriver(page)
    page.wait_for_function(
        "() => performance.getEntriesByType('resource').some(e => e.name.includes('/corromap/photo/'))"
    )
    canvas.settle(6000)
    photo = {urls[i]: size for i, size in sizes.items() if "/corromap/photo/" in urls.get(i, "")}
    component = sum(size for i, size in sizes.items() if "bidi-components" in urls.get(i, ""))
    return page, canvas, photo, component


def outlines(canvas: CanvasDriver) -> tuple[list[float], list[float], list[float]]:
    """Draw outlines one after another; milliseconds from the closing click to the map drawn anew."""
    latencies, previews, shown = [], [], []
    for i in range(OUTLINES):
        x, y = 2400 + 200 * (i % 4), 1500 + 220 * (i // 4)
        ring = [(x, y), (x + 160, y), (x + 160, y + 160), (x, y + 160)]
        for at in ring[:3]:
            canvas.click(at)
            canvas.settle(280)
        for step in range(6):
            canvas.move((x + 10 * step, y + 160))
            previews.append(float(canvas.data("preview-ms")))
            shown.append(float(canvas.data("preview-shown-ms") or "nan"))
        canvas.page.mouse.dblclick(*canvas.on_photo(ring[3]))
        canvas.wait_marks(i + 1)
        canvas.settle(500)
        latencies.append(float(canvas.data("latency-ms")))
    return latencies, previews, shown


def main() -> None:
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        server = Server(APP, {"HARNESS_SCALE": "2"}, Path(folder) / "log.txt")
        try:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
            page, canvas, photo, component = first_view(browser, server.url)
            print(f"first view of 24 MP: {len(photo)} tiles, {sum(photo.values()) / 1e6:.3f} MB (target < 1 MB)")
            print(f"component as files: {component / 1e6:.3f} MB (0: inline, corromap is not installed)")
            latencies, previews, shown = outlines(canvas)
            print(
                f"outline finished -> map updated: median {statistics.median(latencies):.0f} ms, "
                f"worst {max(latencies):.0f} ms of {len(latencies)} (target 100 ms)"
            )
            print(
                f"live preview: computed in median {statistics.median(previews):.2f} ms, worst {max(previews):.2f} ms; "
                f"on the map after median {statistics.median(shown):.1f} ms (one frame: 16.7 ms)"
            )
            page.close()
            browser.close()
        finally:
            server.stop()


if __name__ == "__main__":
    main()
