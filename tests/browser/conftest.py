"""Chromium and a Streamlit server for the browser tests.

Without Chromium the tests are skipped; where ``CI`` is set that is a failure,
so that a build never passes without them.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from playwright.sync_api import Error, expect, sync_playwright

REPOSITORY = Path(__file__).resolve().parents[2]
CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-sync",
    "--no-first-run",
    "--force-color-profile=srgb",
)

STEADY = """quiet => {
  const app = document.querySelector('[data-testid="stApp"]')
  const main = document.querySelector('[data-testid="stMain"]')
  const seen = `${app?.dataset.testScriptState} ${main?.scrollHeight} ${main?.scrollTop}`
  const before = window.steadyBefore
  if (!before || before.seen !== seen) { window.steadyBefore = { seen, since: performance.now() }; return false }
  return app?.dataset.testScriptState === 'notRunning' && performance.now() - before.since >= quiet
}"""
"""The script has run and nothing has moved for a while: on a busy machine a click
between two states of the page meets a place where the button no longer is."""


def pytest_collection_modifyitems(items):
    """Try a browser test a second time in CI; what needed it is listed at the end of the run."""
    if os.environ.get("CI"):
        for item in items:
            if item.get_closest_marker("browser"):
                item.add_marker(pytest.mark.flaky(reruns=1))


def settled(page, quiet_ms=400, timeout=60_000):
    """Wait until the app's script has run and the page has stood still for ``quiet_ms``."""
    page.evaluate("window.steadyBefore = undefined")
    page.wait_for_function(STEADY, arg=quiet_ms, polling=50, timeout=timeout)


def choose(page, name, tries=4):
    """Choose a radio button as a person does: look, and click again where the click was lost."""
    radio = page.get_by_role("radio", name=name)
    for left in reversed(range(tries)):
        settled(page)
        try:
            radio.check(force=True)
            break
        except Error:
            if not left:
                raise
    expect(radio).to_be_checked()
    settled(page)


@pytest.fixture(scope="session")
def browser():
    """A headless Chromium, one for the whole run."""
    if CHROMIUM is None:
        message = "Chromium is not installed: the browser tests cannot run"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, headless=True, args=list(FLAGS))
        yield started
        started.close()


class Server:
    """A Streamlit process and its address."""

    def __init__(self, app_path: Path, env: dict[str, str], log: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        self.url = f"http://127.0.0.1:{port}"
        self.log = log
        command = [
            sys.executable, "-m", "streamlit", "run", str(app_path), "--server.port", str(port),
            "--server.address", "127.0.0.1", "--server.headless", "true", "--browser.gatherUsageStats", "false",
            "--server.fileWatcherType", "none", "--client.toolbarMode", "minimal",
        ]  # fmt: skip
        full_env = {**os.environ, "PYTHONPATH": str(REPOSITORY), "PYTHONUNBUFFERED": "1", **env}
        with log.open("wb") as out:
            self.process = subprocess.Popen(command, cwd=REPOSITORY, env=full_env, stdout=out, stderr=out)
        self._wait()

    def _wait(self) -> None:
        for _ in range(240):
            if self.process.poll() is not None:
                raise RuntimeError(f"the server stopped:\n{self.log.read_text()[-3000:]}")
            try:
                with urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=1) as answer:
                    if answer.status == 200:
                        return
            except OSError:
                time.sleep(0.25)
        raise RuntimeError(f"the server did not answer within a minute:\n{self.log.read_text()[-3000:]}")

    def stop(self) -> None:
        self.process.terminate()
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait(10)


@pytest.fixture(scope="session")
def streamlit_server(tmp_path_factory):
    """Start (once for each app and environment) a server: ``streamlit_server(app_path, env) -> Server``."""
    running: dict[tuple[str, ...], Server] = {}

    def start(app_path, env=None):
        env = dict(env or {})
        key = (str(app_path), *(f"{name}={value}" for name, value in sorted(env.items())))
        if key not in running:
            log = tmp_path_factory.mktemp("server") / "log.txt"
            running[key] = Server(Path(app_path), env, log)
        return running[key]

    yield start
    for server in running.values():
        server.stop()


@pytest.fixture
def open_page(browser):
    """Open pages of a size and scheme, closed after the test: ``open_page(url, width=, height=, **context)``."""
    contexts = []

    def start(url, *, width=1440, height=1000, **context):
        made = browser.new_context(viewport={"width": width, "height": height}, **context)
        contexts.append(made)
        page = made.new_page()
        page.set_default_timeout(20_000)
        page.goto(url)
        return page

    yield start
    for context in contexts:
        context.close()
