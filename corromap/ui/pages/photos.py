"""Page 2: photos in, in order, and whose they are."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

import streamlit as st

from corromap.errors import CorromapError, InputError
from corromap.frames import PhotoId
from corromap.io.survey_file import SurveyFile
from corromap.report.moment import moment_words
from corromap.survey import Photo
from corromap.ui import state
from corromap.ui.arrivals import PHOTO_SUFFIXES, Arrival, Incoming, photos_in_folder, take_in
from corromap.ui.evidence import figures_table, offer_photo_list, photo_words, remark_table, remarked
from corromap.ui.filmstrip import filmstrip
from corromap.ui.markup import empty_state, esc, facts, lead, note, show
from corromap.ui.photo_routes import thumb_url
from corromap.ui.steps import Page
from corromap.ui.widgets import frames_of, next_button, synced

__all__ = ["show_page"]

_SOURCES = ("seller", "inspector", "owner")
_LOOPBACK = ("127.0.0.1", "localhost", "::1")


def show_page(held: state.OpenSurvey) -> None:
    """Draw the page.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    st.header("Photos")
    lead("The original files are kept untouched inside the survey file. Nothing leaves this computer.")
    with st.container(key="photos_columns"):  # on a phone the chooser comes first
        left, right = st.columns([7, 4], gap="large")
    with right:
        _in(held)
    with left:
        _reports()
        _list(held)
    next_button(Page.PLACE, disabled=not held.survey.photos)


def _in(held: state.OpenSurvey) -> None:
    st.subheader("Add photos")
    source = st.segmented_control("Whose photos are they?", _SOURCES, default=_SOURCES[0], key="photo_source") or ""
    round_ = st.session_state.setdefault("upload_round", 0)
    given = st.file_uploader(
        "Drop photos here, or choose many at once. A phone offers its camera here too.",
        type=list(PHOTO_SUFFIXES),
        accept_multiple_files=True,
        key=f"upload_{round_}",
    )
    if given:
        _take(held, [Incoming(one.name, one.getvalue) for one in given], source)
    if st.toggle("Use this device's camera", key="camera_on"):
        shot = st.camera_input("Take a picture", key=f"camera_{round_}")
        if shot is not None:
            name = datetime.now().astimezone().strftime("camera-%Y%m%d-%H%M%S.jpg")
            _take(held, [Incoming(name, shot.getvalue)], source)
    if st.get_option("server.address") in _LOOPBACK:
        _folder(held, source)


def _folder(held: state.OpenSurvey, source: str) -> None:
    with st.expander("A folder on this computer"):
        typed = st.text_input("Path of the folder", key="folder_path", placeholder="/home/me/photos/blue-saloon")
        if st.button("Add every picture in it", key="folder_add", disabled=not typed):
            try:
                found = photos_in_folder(typed)
            except CorromapError as error:
                note([str(error)], "bad")
                return
            _take(held, found, source)


def _take(held: state.OpenSurvey, incoming: Sequence[Incoming], source: str) -> None:
    bar = st.progress(0.0, text=f"0 of {len(incoming)}")
    arrivals: list[Arrival] = []
    for arrival in take_in(held.file, incoming, source):
        arrivals.append(arrival)
        bar.progress(len(arrivals) / len(incoming), text=f"{len(arrivals)} of {len(incoming)} looked at")
    st.session_state["arrivals"] = arrivals
    st.session_state["upload_round"] += 1  # a fresh, empty chooser
    st.session_state["own_change"] = True
    st.rerun()


def _reports() -> None:
    arrivals: list[Arrival] = st.session_state.get("arrivals", [])
    if not arrivals:
        return
    bad = [a for a in arrivals if a.fault]
    known = [a.name for a in arrivals if a.was_known]
    taken = len(arrivals) - len(bad) - len(known)
    said = [f"{taken} of {len(arrivals)} photos added."]
    if known:
        said.append(f"Already here, kept once: {', '.join(known)}.")
    said += [f"Not added: {a.name}: {a.fault}" for a in bad]
    note(said, "bad" if bad else "good")
    note([f"{a.name}: {' '.join(a.remarks)}" for a in arrivals if a.remarks and not a.was_known], "warn")
    if st.button("Understood", key="arrivals_seen"):
        del st.session_state["arrivals"]
        st.rerun()


def _list(held: state.OpenSurvey) -> None:
    survey = held.survey
    st.subheader(f"{len(survey.photos)} in this survey" if survey.photos else "In this survey")
    photo = state.chosen_photo(survey)
    if photo is None:
        empty_state(
            "No photos yet.",
            "Start with the underside and the sills: square on, in good light, each with at least four datum points "
            "(drain holes, jacking points, seam ends) in view.",
        )
        offer_photo_list(held)
        return
    filmstrip(
        frames_of(held, "place"),
        key="grid",
        selected=photo.id,
        on_pick=lambda chosen: state.go_to(Page.PHOTOS, chosen),
        on_move=lambda moved, index: _move(held, moved, index),
        layout="grid",
    )
    lead("Drag to put them in order, or Alt and an arrow key.")
    _details(held, photo)
    count = remarked(held)
    said = f"{count} of {len(survey.photos)} with a remark" if count else "nothing stands out"
    with st.expander(f"How well the photos can be judged: {said}", icon=":material/visibility:"):
        show(remark_table(held) or "<p>Every photo can be judged.</p>")
    with st.expander("Figures of every photo: dark, bright, blur, JPEG quality", icon=":material/straighten:"):
        show(figures_table(held))
    offer_photo_list(held)


def _details(held: state.OpenSurvey, photo: Photo) -> None:
    survey = held.survey
    index = [p.id for p in survey.photos].index(photo.id)
    with st.container(border=True, key="photo_details"):
        left, right = st.columns([3, 2], gap="medium")
        with left:
            address = esc(thumb_url(held.token, photo.id, 1024))
            show(f'<img class="cm-picture" alt="{html.escape(photo.name)}" src="{address}">')
        with right:
            show(f"<b>{esc(photo.name)}</b>" + facts(_photo_facts(held, photo)))
            note(photo_words(held, photo), "warn")
            synced("photo_whose", photo.source)
            st.text_input("Whose photo", key="photo_whose", max_chars=60, on_change=_save_source, args=(held, photo))
            with st.container(horizontal=True):
                last = len(survey.photos) - 1
                st.button("Earlier", key="photo_earlier", icon=":material/arrow_back:", disabled=index == 0,
                          on_click=_move, args=(held, photo.id, index - 1))  # fmt: skip
                st.button("Later", key="photo_later", icon=":material/arrow_forward:", disabled=index == last,
                          on_click=_move, args=(held, photo.id, index + 1))  # fmt: skip
                st.button("Remove", key="photo_remove", icon=":material/delete:",
                          help="With its marks and clicked points. Undo brings all of it back.",
                          on_click=_remove, args=(held, photo))  # fmt: skip


def _photo_facts(held: state.OpenSurvey, photo: Photo) -> list[tuple[str, Any]]:
    found = held.examined.get(photo.id)
    turned = found is not None and found.origin.orientation != 1
    return [
        ("Size", f"{photo.width_px} × {photo.height_px} px"),
        ("Taken", moment_words(photo.taken_at) if photo.taken_at else "the file does not say"),
        ("Camera", photo.camera or "the file does not say"),
        ("Orientation", "turned upright, as the file says" if turned else "upright as stored"),
        ("Focal length", f"{photo.focal_px:.0f} px" if photo.focal_px else "the file does not say"),
    ]


def _save_source(held: state.OpenSurvey, photo: Photo) -> None:
    text = str(st.session_state["photo_whose"]).strip()

    def save(file: SurveyFile) -> None:
        file.update_photo(replace(_still_there(held, photo.id), source=text), expected_revision=file.known_revision)

    state.change(held, f"photo '{photo.name}' is the {text}'s", save)


def _still_there(held: state.OpenSurvey, photo: PhotoId) -> Photo:
    """Find the photo as it is by now; a change that waited may come after its removal."""
    found = held.survey.photo_by_id.get(photo)
    if found is None:
        raise InputError(f"photo '{photo}' was removed in another window; undo there brings it back")
    return found


def _move(held: state.OpenSurvey, photo: PhotoId, index: int) -> None:
    def save(file: SurveyFile) -> None:
        order = [p for p in held.survey.photos if p.id != photo]
        order.insert(index, _still_there(held, photo))
        moved = [replace(p, order=i) for i, p in enumerate(order, start=1) if p.order != i]
        file.update_photos(moved, label="photos put in order", expected_revision=file.known_revision)

    state.change(held, "photos put in order", save)


def _remove(held: state.OpenSurvey, photo: Photo) -> None:
    state.change(
        held,
        f"photo '{photo.name}' removed",
        lambda file: file.remove_photo(photo.id, expected_revision=file.known_revision),
    )
