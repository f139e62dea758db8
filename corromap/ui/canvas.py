"""The photo canvas: a photo to place and mark, beside the map of the body.

One Streamlit component with two panes. Python stays the truth: the browser
draws, previews and reports; what it reports comes back as `CanvasEvent`.

Use, on a page::

    def apply(events: tuple[CanvasEvent, ...]) -> None:
        for event in events:
            match event:
                case MarkAdded(mark=mark) | MarkChanged(mark=mark):
                    file.put_mark(mark)
                case MarkRemoved(mark=mark_id):
                    file.remove_mark(mark_id)
                case MarksReplaced(removed=removed, added=added):
                    file.replace_marks(removed, added)
                ...

    photo_canvas(view, key="canvas", on_events=apply)

`on_events` runs **before** the script (or the fragment) that holds the canvas,
so the script builds `view` from the survey as it is after the change. Every
event arrives exactly once; when the browser repeats one that was already
applied (a connection that broke off) it is dropped by its number. After a
reload of the page an event may come twice: all but `UndoAsked`, `RedoAsked`
and `PhotoStep` are harmless then, and these three are never repeated.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st
from streamlit.errors import StreamlitAPIException

from corromap.errors import InvalidValueError
from corromap.ui.canvas_entries import lay_out
from corromap.ui.canvas_events import (
    CanvasEvent,
    DatumSelected,
    MarkAdded,
    MarkChanged,
    MarkRemoved,
    MarkSelected,
    MarksReplaced,
    PanelSelected,
    PhotoStep,
    RedoAsked,
    ScaleRemoved,
    ScaleSet,
    SightingRemoved,
    SightingSet,
    UndoAsked,
)
from corromap.ui.canvas_parse import Known, Outbox, Refusal, parse_outbox
from corromap.ui.canvas_sync import EntrySync
from corromap.ui.canvas_view import CanvasMode, CanvasView, DrapedPhoto, Footprint, PhotoView, ScaleView

if TYPE_CHECKING:
    from streamlit.components.v2.types import ComponentRenderer

__all__ = [
    "CanvasEvent",
    "CanvasMode",
    "CanvasView",
    "DatumSelected",
    "DrapedPhoto",
    "Footprint",
    "MarkAdded",
    "MarkChanged",
    "MarkRemoved",
    "MarkSelected",
    "MarksReplaced",
    "PanelSelected",
    "PhotoStep",
    "PhotoView",
    "RedoAsked",
    "ScaleRemoved",
    "ScaleSet",
    "ScaleView",
    "SightingRemoved",
    "SightingSet",
    "UndoAsked",
    "photo_canvas",
]


ASSETS = Path(__file__).parent / "canvas_assets"
"""The bundle; its source is ``frontend/``."""

_COMPONENT = "corromap.canvas"


@dataclass
class _Memory:
    """What one canvas remembers in a session."""

    sync: EntrySync = field(default_factory=EntrySync)
    known: Known = field(default_factory=Known)
    applied: dict[str, int] = field(default_factory=dict)
    client: str | None = None
    seen: int | None = None
    refused: tuple[Refusal, ...] = ()


@cache
def _component() -> ComponentRenderer:
    """Register the component once a process.

    Installed, Streamlit serves the bundle as a file (found through the copy of
    pyproject.toml inside the package); from a plain source tree it travels
    inline with every rerun, which is slower and otherwise the same.
    """
    try:
        return st.components.v2.component(_COMPONENT, js="canvas.js", css="canvas.css")
    except StreamlitAPIException:
        # the comment line keeps a one-line bundle from being taken for a path
        texts = [f"/* inline */\n{(ASSETS / name).read_text(encoding='utf-8')}" for name in ("canvas.js", "canvas.css")]
        return st.components.v2.component(f"{_COMPONENT}.inline", js=texts[0], css=texts[1])


def _memory(key: str) -> _Memory:
    place = f"_canvas_memory/{key}"
    if place not in st.session_state:
        st.session_state[place] = _Memory()
    memory: _Memory = st.session_state[place]
    return memory


def photo_canvas(
    view: CanvasView,
    *,
    key: str,
    on_events: Callable[[tuple[CanvasEvent, ...]], None],
    report_selection: bool = False,
    height_px: int = 640,
) -> None:
    """Show the canvas.

    Parameters
    ----------
    view : CanvasView
        What to show.
    key : str
        Stable over reruns and photos; the half-drawn outline, zoom and tool
        live as long as it does. Use one key for one place in the app.
    on_events : callable
        Takes the new events in order, before the script runs. It may raise
        nothing but what the page wants to be seen as a failure: the events
        count as delivered all the same.
    report_selection : bool
        Also report `MarkSelected`, `DatumSelected` and `PanelSelected`. Off by
        default: each costs a rerun, and the canvas needs none of them itself.
    height_px : int
        Height of the panes on a wide screen; on a narrow one they are stacked.
    """
    memory = _memory(key)
    _remember(view, memory.known)
    lay_out(view, memory.sync, report_selection=report_selection, height_px=height_px)
    data = {
        "key": key,
        "sync": memory.sync.difference(memory.seen),
        "applied": memory.client and {"client": memory.client, "seq": memory.applied.get(memory.client, 0)},
        "refused": [{"seq": one.seq, "text": one.text} for one in memory.refused],
    }
    memory.refused = ()
    _component()(key=key, data=data, default={"outbox": None}, on_outbox_change=lambda: _deliver(key, on_events))


def _remember(view: CanvasView, known: Known) -> None:
    shown = (view.main, *view.compare)
    known.photos.update({one.photo.id: one.photo for one in shown})
    known.marks = {mark.id: mark for one in shown for mark in one.marks}
    known.scales = {one.scale.id: one.scale for one in view.main.scales}
    known.datums = set(view.template.datum_points)
    known.panels = {panel.id for panel in view.template.panels}


def _deliver(key: str, on_events: Callable[[tuple[CanvasEvent, ...]], None]) -> None:
    """Take in what the browser sent; runs before the script."""
    state: Any = st.session_state.get(key)
    raw = state.get("outbox") if state else None
    if raw is None:
        return
    memory = _memory(key)
    try:
        outbox = parse_outbox(raw, memory.known, memory.applied)
    except InvalidValueError as error:
        memory.refused = (Refusal(0, str(error)),)
        return
    _take_in(outbox, memory)
    if outbox.events:
        on_events(outbox.events)


def _take_in(outbox: Outbox, memory: _Memory) -> None:
    memory.client, memory.seen = outbox.client, outbox.seen
    memory.applied[outbox.client] = outbox.last_seq
    memory.refused = outbox.refused
