"""Panels worked out side by side: the overlays leave the interpreter free meanwhile."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

__all__ = ["MANY_MARKS", "panel_by_panel"]

MANY_MARKS = 200
"""Fewer marks are measured one panel after another: there is little to save; house rule, not measured."""

WORKERS = 2
"""As many overlays at once; what lies between them is Python and takes turns anyway. House rule."""

Item = TypeVar("Item")
Found = TypeVar("Found")


def panel_by_panel(work: Callable[[Item], Found], items: Sequence[Item], marks: int) -> list[Found]:
    """Do the same with each panel.

    Parameters
    ----------
    work : callable
        Depends on nothing but its argument.
    items : sequence
        One for each panel.
    marks : int
        On all of them.

    Returns
    -------
    list
        In the order of the items, whatever ended first.
    """
    if marks < MANY_MARKS or len(items) < WORKERS:
        return [work(item) for item in items]
    with ThreadPoolExecutor(WORKERS) as pool:
        return list(pool.map(work, items))
