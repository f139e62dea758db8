"""Notes in words."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st

from corromap.frames import NoteId, ZoneId
from corromap.io.survey_file import new_id
from corromap.survey import Note
from corromap.ui import state
from corromap.ui.markup import esc, lead, show

__all__ = ["show_notes"]

_WHOLE_CAR = ""


def show_notes(held: state.OpenSurvey) -> None:
    """Draw the notes and the field for a new one.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    notes, zones = held.survey.notes, held.template.zone_by_id
    with st.expander(f"Notes: {len(notes)}" if notes else "Notes"):
        lead("Anything else worth writing down. Notes are printed in the report; no rule reads them.")
        for note in notes:
            _row(held, note)
        names: dict[str, str] = {_WHOLE_CAR: "the whole car"}
        names.update({str(zone.id): zone.name for zone in held.template.zones})
        where, what = st.columns([1, 2])
        with where:
            zone = st.selectbox("About", list(names), format_func=lambda z: names[z], key="note_zone")
        with what:
            round_ = st.session_state.setdefault("note_round", 0)
            text = st.text_input("Note", key=f"note_text_{round_}", max_chars=500)
        chosen = ZoneId(zone) if zone in zones else None
        st.button("Add the note", key="note_add", disabled=not text.strip(), on_click=_add, args=(held, text, chosen))


def _row(held: state.OpenSurvey, note: Note) -> None:
    zone = held.template.zone_by_id.get(note.zone) if note.zone else None
    where = zone.name if zone else "the whole car"
    with st.container(horizontal=True, vertical_alignment="center", key=f"cm_note_{note.id}"):
        with st.container(width="stretch"):
            signed = f"<span class='cm-lead'>{esc(note.author)} {esc(note.at[:10])}</span>"
            show(f"<b>{esc(where)}</b>: {esc(note.text)} {signed}")
        st.button("Remove", key=f"note_gone_{note.id}", type="tertiary", on_click=_remove, args=(held, note.id))


def _add(held: state.OpenSurvey, text: str, zone: ZoneId | None) -> None:
    now = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    note = Note(NoteId(new_id("note")), text.strip(), zone, held.survey.car.inspector or state.author(), now)
    if state.change(held, "note written", lambda f: f.put_note(note, expected_revision=f.known_revision)):
        st.session_state["note_round"] += 1  # a fresh, empty field


def _remove(held: state.OpenSurvey, note: NoteId) -> None:
    state.change(held, "note removed", lambda f: f.remove_note(note, expected_revision=f.known_revision))
