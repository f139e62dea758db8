"""For runs on several processes (``-n 2 --dist loadgroup``): what may run beside what."""

from __future__ import annotations

from pathlib import Path

import pytest

BROWSER = Path(__file__).parent / "browser"


@pytest.hookimpl(tryfirst=True)  # before xdist reads the groups
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep a file's tests on one process, and all browser tests on one: two browsers at once want a whole machine."""
    for item in items:
        group = "browser" if BROWSER in item.path.parents else str(item.path.relative_to(BROWSER.parent))
        item.add_marker(pytest.mark.xdist_group(group))
