"""Keeping the collector of garbage out of the way of answers."""

from __future__ import annotations

import gc
from functools import cache

__all__ = ["settle_memory"]


@cache
def settle_memory() -> None:
    """Put what the imports made out of the collector's sight, once a process.

    Streamlit would collect all garbage after every run of the script and hold
    the interpreter meanwhile, so that the answer already made waits: looking
    through the 200 000 objects of imported modules takes about 100 ms of
    processor time and finds nothing. That is switched off in
    ``.streamlit/config.toml`` (Python still collects when enough has piled
    up), and what lives as long as the process is never looked through. Call
    it after the imports and before anything of a window is made.
    """
    gc.collect()
    gc.freeze()
