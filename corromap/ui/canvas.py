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
    SightingRemoved,
    SightingSet,
    UndoAsked,
)
from corromap.ui.canvas_view import CanvasMode, CanvasView, PhotoView

__all__ = [
    "CanvasEvent",
    "CanvasMode",
    "CanvasView",
    "DatumSelected",
    "MarkAdded",
    "MarkChanged",
    "MarkRemoved",
    "MarkSelected",
    "MarksReplaced",
    "PanelSelected",
    "PhotoStep",
    "PhotoView",
    "RedoAsked",
    "SightingRemoved",
    "SightingSet",
    "UndoAsked",
    "photo_canvas",
]


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
    raise NotImplementedError
