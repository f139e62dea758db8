"""The list of surveys: open one, start one, try the demo, take one somebody sent."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from corromap.errors import CorromapError
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import list_templates, load_template
from corromap.report.drawing import map_svg
from corromap.survey import Car
from corromap.ui import state
from corromap.ui.demo import demo_folder, open_demo
from corromap.ui.markup import empty_state, esc, lead, plain_md, show, show_svg
from corromap.ui.sent import SENT_SUFFIXES, take_sent
from corromap.ui.steps import Page, counted
from corromap.ui.surveys import SUFFIX, folder, free_path, known_surveys

__all__ = ["show_page"]

_LISTED = 60
_DOCUMENT = "survey.json"


@dataclass(frozen=True, slots=True)
class _Summary:
    label: str
    under: str
    fault: str = ""


def show_page() -> None:
    """Draw the page."""
    st.header("Surveys")
    lead("One survey is one car looked at on one occasion: its photos, marks, findings and report, in one file.")
    left, right = st.columns([5, 4], gap="large")
    with left:
        _list()
    with right:
        _new()
        _demo()
        _sent()


def _list() -> None:
    known = known_surveys()
    if not known:
        empty_state("No survey yet.", "Start one for the car in front of you, or open the demo to see how it is done.")
    for key, path in list(known.items())[:_LISTED]:
        stat = path.stat()
        summary = _summary(str(path), stat.st_mtime_ns)
        changed = datetime.fromtimestamp(stat.st_mtime).astimezone().strftime("%Y-%m-%d %H:%M")
        with st.container(border=True, horizontal=True, vertical_alignment="center", key=f"row_{key}"):
            with st.container(width="stretch"):
                fault = f"<br>{esc(summary.fault)}" if summary.fault else ""
                show(
                    f"<b>{esc(summary.label)}</b><br><span class='cm-lead'>{esc(summary.under)}"
                    f" · changed {changed}{fault}</span>"
                )
            st.button("Open", key=f"open_{key}", on_click=state.open_survey, args=(path,), disabled=bool(summary.fault))
    if len(known) > _LISTED:
        lead(f"{len(known) - _LISTED} older ones are in the folder too; open one with: corromap app FILE")
    lead(f"The files lie in {folder()}")


@st.cache_data(max_entries=500, show_spinner=False)
def _summary(path: str, mtime_ns: int) -> _Summary:  # noqa: ARG001  the time is part of the cache's key
    file = Path(path)
    try:
        record = SurveyFile.open(file).load()
        survey = record.survey
        counts = f"{counted(len(survey.photos), 'photo')}, {counted(len(survey.marks), 'mark')}"
        return _Summary(survey.car.label or file.stem, f"{record.template.name} · {counts}")
    except CorromapError as error:
        return _Summary(file.name, "cannot be opened", str(error))


def _new() -> None:
    st.subheader("New survey")
    names = dict(list_templates())
    label = st.text_input(
        "Name of the car", key="new_label", max_chars=200, placeholder="as you would say it: the blue saloon, lot 14"
    )
    chosen = st.selectbox(
        "Body template: the nearest kind of body", list(names), format_func=lambda name: names[name], key="new_template"
    )
    template = load_template(chosen)
    with st.container(key="new_drawing"):
        show_svg(map_svg(template, None, turn=True, prefix="newmap", show_legend=False))
        lead(template.description)
    st.button("Start the survey", type="primary", key="new_start", on_click=_start, args=(label, chosen))


def _start(label: str, template_id: str) -> None:
    today = datetime.now().astimezone().date().isoformat()
    try:
        path = free_path(label)
        SurveyFile.create(
            path,
            load_template(template_id),
            default_rules(),
            Car(label=label.strip(), date=today),
            author=state.author(),
        )
    except CorromapError as error:
        state.say(f"The survey was not started: {error}", "bad")
        return
    state.open_survey(path)


def _demo() -> None:
    if demo_folder() is None:
        return
    st.subheader("The demo")
    lead("An invented car with rendered photos, already placed and marked in part. A fresh copy each time.")
    st.button("Open the demo", key="open_demo", on_click=_open_demo)


def _open_demo() -> None:
    try:
        path = open_demo()
    except CorromapError as error:
        state.say(f"The demo was not opened: {error}", "bad")
        return
    state.open_survey(path, Page.OUTCOME)


def _sent() -> None:
    st.subheader("A survey somebody sent you")
    sent = st.file_uploader(
        f"Survey file ({SUFFIX}), or photos and {_DOCUMENT} in a zip", type=list(SENT_SUFFIXES), key="sent"
    )
    lead("It is checked and copied before it is opened: the sent file itself is not touched.")
    if sent is not None:
        st.button(
            f"Check and open {plain_md(sent.name)}", key="sent_open", type="primary", on_click=_open_sent, args=(sent,)
        )


def _open_sent(sent: UploadedFile) -> None:
    try:
        target = take_sent(sent.name, sent.getvalue(), state.author())
    except CorromapError as error:
        state.say(f"'{sent.name}' was not opened: {error}", "bad")
        return
    state.say(f"'{sent.name}' was checked and copied.", "good")
    state.open_survey(target)
