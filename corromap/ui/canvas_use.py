"""The photo canvas on a page: what it is given, and what its events do to the survey."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from corromap.frames import DatumId, MarkId, PanelId, PhotoId
from corromap.io.survey_file import SurveyFile
from corromap.survey import MarkKind, Photo
from corromap.template import BodyTemplate
from corromap.ui import state
from corromap.ui.canvas import (
    CanvasEvent,
    DatumSelected,
    MarkAdded,
    MarkChanged,
    MarkRemoved,
    MarkSelected,
    MarksReplaced,
    PanelSelected,
    PhotoStep,
    PhotoView,
    RedoAsked,
    ScaleRemoved,
    ScaleSet,
    SightingRemoved,
    SightingSet,
    UndoAsked,
)
from corromap.ui.photo_routes import tile_url

__all__ = ["apply_events", "chosen_datum", "chosen_mark", "photo_view", "point_words", "position_of"]


def photo_view(held: state.OpenSurvey, photo: Photo) -> PhotoView:
    """Gather what the canvas shows of one photo.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    photo : Photo
        The photo.

    Returns
    -------
    PhotoView
        With its places on the body, marks and sightings.
    """
    survey = held.survey
    return PhotoView(
        photo=photo,
        tile_url=tile_url(held.token, photo.id),
        registrations={panel: r for (p, panel), r in held.registrations.items() if p == photo.id},
        marks=tuple(mark for mark in survey.marks if mark.photo == photo.id),
        sightings=tuple(sighting for sighting in survey.sightings if sighting.photo == photo.id),
    )


def position_of(held: state.OpenSurvey, photo: Photo) -> str:
    """Say where in the list a photo is.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    photo : Photo
        The photo.

    Returns
    -------
    str
        For example ``3 of 12``.
    """
    ids = [p.id for p in held.survey.photos]
    return f"{ids.index(photo.id) + 1} of {len(ids)}"


def chosen_mark() -> MarkId | None:
    """Mark last selected on the canvas or in the list.

    Returns
    -------
    MarkId or None
        None when nothing is selected.
    """
    found: MarkId | None = st.session_state.get("chosen_mark")
    return found


def chosen_datum(photo: PhotoId) -> DatumId | None:
    """Datum point the person chose to click next on a photo.

    Parameters
    ----------
    photo : PhotoId
        The photo.

    Returns
    -------
    DatumId or None
        None when the choice is left to the program.
    """
    found: DatumId | None = st.session_state.get(f"chosen_datum_{photo}")
    return found


def apply_events(
    held: state.OpenSurvey, photo: Photo, on_panel: Callable[[PanelId], None] | None = None
) -> Callable[[tuple[CanvasEvent, ...]], None]:
    """Make the function that carries out what was done on the canvas.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    photo : Photo
        The photo on the canvas.
    on_panel : callable, optional
        Called when a panel was chosen on the map.

    Returns
    -------
    callable
        For `corromap.ui.canvas.photo_canvas`.
    """

    def apply(events: tuple[CanvasEvent, ...]) -> None:
        for event in events:
            _apply_one(held, photo, event, on_panel)

    return apply


def _apply_one(
    held: state.OpenSurvey, photo: Photo, event: CanvasEvent, on_panel: Callable[[PanelId], None] | None
) -> None:
    match event:
        case UndoAsked():
            state.undo()
        case RedoAsked():
            state.redo()
        case PhotoStep(step=step):
            _step(held, photo, step)
        case MarkSelected(mark=mark):
            st.session_state["chosen_mark"] = mark
        case DatumSelected(datum=datum):
            st.session_state[f"chosen_datum_{photo.id}"] = datum
        case PanelSelected(panel=panel):
            if on_panel is not None:
                on_panel(panel)
        case _:
            _change(held, photo, event)


def _change(held: state.OpenSurvey, photo: Photo, event: CanvasEvent) -> None:
    label, action = _action(event, held.template)
    done = state.change(held, f"{label} on '{photo.name}'", action)
    if done and isinstance(event, SightingSet):
        st.session_state.pop(f"chosen_datum_{photo.id}", None)


def _action(event: CanvasEvent, template: BodyTemplate) -> tuple[str, state.Action]:
    match event:
        case MarkAdded() | MarkChanged() | MarkRemoved() | MarksReplaced():
            return _mark_action(event)
        case SightingSet(sighting=sighting):
            return f"{point_words(template, sighting.datum)} clicked", lambda f: f.put_sighting(
                sighting, expected_revision=f.known_revision
            )
        case SightingRemoved(photo=photo, datum=datum):
            return f"{point_words(template, datum)} taken off", lambda f: f.remove_sighting(
                photo, datum, expected_revision=f.known_revision
            )
        case ScaleSet(scale=scale):
            return f"scale of {scale.length_mm:g} mm", lambda f: f.put_scale(scale, expected_revision=f.known_revision)
        case ScaleRemoved(scale=gone):
            return "scale taken off", lambda f: f.remove_scale(gone, expected_revision=f.known_revision)
        case _:
            return "nothing", _nothing


def point_words(template: BodyTemplate, datum: DatumId) -> str:
    """Name a datum point in the words of a change.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    datum : DatumId
        The point; one the body does not have keeps its id.

    Returns
    -------
    str
        For example ``datum point 'Left floor: front hole'``.
    """
    known = template.datum_points.get(datum)
    return f"datum point '{known[1].name if known else datum}'"


def _mark_action(event: MarkAdded | MarkChanged | MarkRemoved | MarksReplaced) -> tuple[str, state.Action]:
    match event:
        case MarkRemoved(mark=gone):
            return "mark removed", lambda f: f.remove_mark(gone, expected_revision=f.known_revision)
        case MarksReplaced(removed=removed, added=added):
            return "marks split or joined", lambda f: f.replace_marks(
                removed, added, expected_revision=f.known_revision
            )
        case MarkAdded(mark=mark) | MarkChanged(mark=mark):
            word = "drawn" if isinstance(event, MarkAdded) else "changed"
            return f"{_words(mark.kind)} {word}", lambda f: f.put_mark(mark, expected_revision=f.known_revision)


def _nothing(file: SurveyFile) -> object:
    return file


def _words(kind: MarkKind) -> str:
    return f"mark of kind {kind.value}"


def _step(held: state.OpenSurvey, photo: Photo, step: int) -> None:
    ids = [p.id for p in held.survey.photos]
    state.go_to(state.current_page(), ids[(ids.index(photo.id) + step) % len(ids)])
