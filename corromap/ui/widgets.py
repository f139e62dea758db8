"""Widgets the pages share."""

from __future__ import annotations

import streamlit as st

from corromap.frames import PhotoId
from corromap.ui import state
from corromap.ui.filmstrip import Frame, filmstrip
from corromap.ui.photo_routes import thumb_url
from corromap.ui.steps import TITLES, Page, counted, placed_photos

__all__ = ["next_button", "photo_strip", "synced"]


def synced(key: str, value: object) -> None:
    """Let a widget show a value of the survey, also after undo or another window's change.

    Call it before the widget with that key is drawn. What the person is
    typing is left alone as long as the survey's value stays the same.

    Parameters
    ----------
    key : str
        The widget's key.
    value : object
        What the survey says.
    """
    known = f"{key}__known"
    if st.session_state.get(known, _NEVER) != value or key not in st.session_state:
        st.session_state[key] = value
        st.session_state[known] = value


_NEVER = object()


def next_button(page: Page, *, disabled: bool = False) -> None:
    """Offer the next step.

    Parameters
    ----------
    page : Page
        Where it leads.
    disabled : bool
        Whether something has to be done first.
    """
    title = TITLES[page]
    st.button(
        f"Next: {title[0].lower()}{title[1:]}",
        key=f"next_{page.value}",
        type="primary",
        icon=":material/arrow_forward:",
        disabled=disabled,
        on_click=state.go_to,
        args=(page,),
    )


def photo_strip(held: state.OpenSurvey, selected: PhotoId, *, what: str) -> None:
    """Show the photos in one row; a click chooses one.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    selected : PhotoId
        The chosen one.
    what : str
        ``place`` says how many panels each is placed on, ``mark`` how many
        marks it has.
    """
    filmstrip(
        frames_of(held, what),
        key="strip",
        selected=selected,
        on_pick=lambda photo: state.go_to(state.current_page(), photo),
    )


def frames_of(held: state.OpenSurvey, what: str) -> list[Frame]:
    """Make the frames of the strip.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    what : str
        As in `photo_strip`.

    Returns
    -------
    list of Frame
        In the order of the photos.
    """
    placed = placed_photos(held.registrations)
    marks = [mark.photo for mark in held.survey.marks]
    clicks = [sighting.photo for sighting in held.survey.sightings]
    frames = []
    for number, photo in enumerate(held.survey.photos, start=1):
        is_placed = photo.id in placed
        if what == "place":
            sub = "placed" if is_placed else _clicked(clicks.count(photo.id))
        else:
            sub = counted(marks.count(photo.id), "mark") + ("" if is_placed else ", not placed")
        tone = "" if is_placed else "todo"
        frames.append(Frame(photo.id, thumb_url(held.token, photo.id, 320), str(number), photo.name, sub, tone))
    return frames


def _clicked(number: int) -> str:
    return f"{number} {'point' if number == 1 else 'points'} clicked" if number else "to be placed"
