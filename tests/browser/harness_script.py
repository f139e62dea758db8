"""The smallest page with a photo canvas: the survey lives in the session."""

from __future__ import annotations

import json
import os
import threading
from dataclasses import replace
from functools import cache

import streamlit as st

from corromap.projection import project
from corromap.registration import Registration, next_datum, place_photos
from corromap.ui.canvas import (
    CanvasMode,
    CanvasView,
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
    SightingRemoved,
    SightingSet,
    UndoAsked,
    photo_canvas,
)  # fmt: skip
from corromap.ui.memory import settle_memory
from corromap.ui.photo_routes import grant_photos, tile_url
from tests.browser import harness_scene as scene

settle_memory()
st.set_page_config(layout="wide")


LOCK = threading.Lock()


@cache
def picture(photo_id):
    # the canvas asks for several tiles at once
    with LOCK:
        return _picture(photo_id)


@cache
def _picture(photo_id):
    return scene.jpeg(photo_id)


def start():
    body = scene.template()
    first = scene.survey(placed=os.environ.get("HARNESS_PLACED", "1") == "1")
    st.session_state.body = body
    st.session_state.steps = [first]
    st.session_state.at = 0
    st.session_state.photo = first.photos[0].id
    st.session_state.log = []
    st.session_state.token = grant_photos(picture)


def current():
    return st.session_state.steps[st.session_state.at]


def change(survey):
    st.session_state.steps = [*st.session_state.steps[: st.session_state.at + 1], survey]
    st.session_state.at += 1


def marks_after(event, marks):
    match event:
        case MarkAdded(mark=mark) | MarkChanged(mark=mark):
            return (*(m for m in marks if m.id != mark.id), mark)
        case MarkRemoved(mark=gone):
            return tuple(m for m in marks if m.id != gone)
        case MarksReplaced(removed=removed, added=added):
            return (*(m for m in marks if m.id not in removed), *added)
    return None


def sightings_after(event, sightings):
    match event:
        case SightingSet(sighting=s):
            return (*(o for o in sightings if (o.photo, o.datum) != (s.photo, s.datum)), s)
        case SightingRemoved(photo=photo, datum=datum):
            return tuple(o for o in sightings if (o.photo, o.datum) != (photo, datum))
    return None


def apply(events):
    for event in events:
        st.session_state.log.append(type(event).__name__)
        survey = current()
        marks = marks_after(event, survey.marks)
        sightings = sightings_after(event, survey.sightings)
        if marks is not None:
            change(replace(survey, marks=marks))
        elif sightings is not None:
            change(replace(survey, sightings=sightings))
        match event:
            case UndoAsked():
                st.session_state.at = max(0, st.session_state.at - 1)
            case RedoAsked():
                st.session_state.at = min(len(st.session_state.steps) - 1, st.session_state.at + 1)
            case PhotoStep(step=step):
                ids = [p.id for p in survey.photos]
                st.session_state.photo = ids[(ids.index(st.session_state.photo) + step) % len(ids)]
            case MarkSelected() | DatumSelected() | PanelSelected():
                st.session_state.log[-1] += ":" + str(event)


if "steps" not in st.session_state:
    start()

mode = CanvasMode(os.environ.get("HARNESS_MODE", "mark"))
survey, body = current(), st.session_state.body
registrations = place_photos(survey, body)
projection = project(survey, body, registrations)
shown = survey.photo_by_id[st.session_state.photo]


def view_of(photo):
    return PhotoView(
        photo=photo,
        tile_url=tile_url(st.session_state.token, photo.id),
        registrations={panel: r for (p, panel), r in registrations.items() if p == photo.id},
        marks=tuple(m for m in survey.marks if m.photo == photo.id),
        sightings=tuple(s for s in survey.sightings if s.photo == photo.id),
    )


others = [p for p in survey.photos if p.id != shown.id]
photo_canvas(
    CanvasView(
        mode=mode,
        template=body,
        main=view_of(shown),
        compare=tuple(view_of(p) for p in others) if os.environ.get("HARNESS_COMPARE") == "1" else (),
        projected=projection.marks,
        active_panel=scene.PANEL,
        suggestion=next_datum(shown, body.panel(scene.PANEL), survey.sightings, body)
        if mode is CanvasMode.PLACE
        else None,
        can_undo=st.session_state.at > 0,
        can_redo=st.session_state.at < len(st.session_state.steps) - 1,
        position=f"{survey.photos.index(shown) + 1} of {len(survey.photos)}",
    ),
    key="canvas",
    on_events=apply,
    report_selection=os.environ.get("HARNESS_SELECTION") == "1",
)
if st.button("Run again"):
    st.session_state.log.append("rerun")

facts = {
    "marks": [
        {
            "id": m.id, "photo": m.photo, "kind": m.kind.value, "stage": m.stage, "fixing": m.fixing,
            "exterior": m.outline.exterior_px.tolist(), "holes": [h.tolist() for h in m.outline.holes_px],
        }
        for m in survey.marks
    ],
    "sightings": {f"{s.photo}/{s.datum}": s.at_px.tolist() for s in survey.sightings},
    "placed": sorted(f"{p}/{panel}" for (p, panel), r in registrations.items() if isinstance(r, Registration)),
    "areas": {f"{one.mark.id}/{one.panel}": one.area.area for one in projection.marks},
    "log": st.session_state.log,
    "photo": st.session_state.photo,
}  # fmt: skip
st.json(facts, expanded=False)
st.html(f"<textarea id='facts' readonly style='width:100%;height:60px'>{json.dumps(facts)}</textarea>")
