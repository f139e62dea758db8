"""A row or grid of photos to choose from and to put in order."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import streamlit as st

from corromap.frames import PhotoId

__all__ = ["Frame", "filmstrip"]


@dataclass(frozen=True, slots=True)
class Frame:
    """One photo in the strip.

    Parameters
    ----------
    id : PhotoId
        The photo.
    url : str
        Address of a small version.
    number : str
        Position as shown.
    title : str
        Its name.
    sub : str
        State in a few words.
    tone : str
        ``todo`` when something is still to be done.
    """

    id: PhotoId
    url: str
    number: str
    title: str
    sub: str = ""
    tone: str = ""


def _source(name: str) -> str:
    # a leading newline: Streamlit takes a text without one for a file name
    return "\n" + Path(__file__).with_name(name).read_text(encoding="utf-8")


_COMPONENT = st.components.v2.component(
    "corromap_filmstrip",
    html='<div class="film" role="listbox" aria-orientation="horizontal"></div>',
    css=_source("filmstrip.css"),
    js=_source("filmstrip.js"),
)


def filmstrip(
    frames: Sequence[Frame],
    *,
    key: str,
    selected: PhotoId | None,
    on_pick: Callable[[PhotoId], None],
    on_move: Callable[[PhotoId, int], None] | None = None,
    layout: str = "strip",
) -> None:
    """Show photos to choose from.

    Parameters
    ----------
    frames : sequence of Frame
        In order.
    key : str
        Stable over reruns.
    selected : PhotoId or None
        The chosen one.
    on_pick : callable
        Called with the photo that was chosen, before the page is drawn.
    on_move : callable, optional
        Called with a photo and its new index; without it the order is fixed.
    layout : str
        ``strip`` (one row) or ``grid``.
    """
    known = {str(frame.id) for frame in frames}

    def picked() -> None:
        value = _value(key, "picked")
        if isinstance(value, str) and value in known:
            on_pick(PhotoId(value))

    def moved() -> None:
        value = _value(key, "moved")
        if on_move is None or not isinstance(value, dict):
            return
        photo, index = value.get("id"), value.get("to")
        if isinstance(photo, str) and photo in known and isinstance(index, int | float) and 0 <= index < len(frames):
            on_move(PhotoId(photo), int(index))

    _COMPONENT(
        key=key,
        data={
            "items": [asdict(frame) for frame in frames],
            "selected": selected,
            "sortable": on_move is not None,
            "layout": layout,
            "label": "Photos",
        },
        on_picked_change=picked,
        on_moved_change=moved,
    )


def _value(key: str, name: str) -> object:
    state: Mapping[str, object] = st.session_state.get(key) or {}
    return state.get(name)
