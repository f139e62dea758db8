"""Sending differences: what the canvas shows as entries, and what changed.

A survey's marks and map outlines come to megabytes, and Streamlit sends a
component all its data at every rerun. So the view is laid out as entries by
key, the browser says which revision it holds, and only entries that differ
from that revision travel.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from typing import Any

__all__ = ["EntrySync"]

_KEPT = 10
"""Earlier revisions kept here; the browser keeps a few more (frontend/src/store.ts)."""


class EntrySync:
    """Entries as they were at the last revisions, for one canvas and session."""

    def __init__(self) -> None:
        # a fresh start (a new session) must not repeat a number a browser still knows
        self._revision = time.time_ns() // 1_000_000
        self._snapshots: dict[int, dict[str, str]] = {}
        self._made: dict[str, tuple[object, Any, str]] = {}
        self._next: dict[str, tuple[object, Any, str]] = {}

    def put(self, key: str, source: object, make: Callable[[], Any]) -> None:
        """Lay out one entry of the view to come.

        Parameters
        ----------
        key : str
            Unique in the view.
        source : object
            What it is made from; the same object again saves making it again,
            so it must not change.
        make : callable
            Gives the entry, ready for JSON.
        """
        known = self._made.get(key)
        if known is None or known[0] is not source:
            value = make()
            known = (source, value, json.dumps(value, separators=(",", ":"), allow_nan=False))
        self._next[key] = known

    def difference(self, seen: int | None) -> dict[str, Any]:
        """Close the view and say what differs from a revision.

        Parameters
        ----------
        seen : int or None
            Revision the browser holds; None or one forgotten sends everything.

        Returns
        -------
        dict
            ``base`` (or None), ``revision``, ``put`` (key to entry), ``gone`` (keys).
        """
        self._made, self._next = self._next, {}
        texts = {key: text for key, (_, _, text) in self._made.items()}
        if texts != self._snapshots.get(self._revision):
            self._revision += 1
            self._snapshots[self._revision] = texts
            while len(self._snapshots) > _KEPT:
                del self._snapshots[min(self._snapshots)]
        base = self._snapshots.get(seen) if seen is not None else None
        old = base or {}
        return {
            "base": None if base is None else seen,
            "revision": self._revision,
            "put": {key: value for key, (_, value, text) in self._made.items() if old.get(key) != text},
            "gone": sorted(old.keys() - texts.keys()),
        }
