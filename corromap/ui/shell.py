"""The frame around every page: theme, bar, order of work, notices."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import streamlit as st

from corromap import __version__
from corromap.errors import CorromapError
from corromap.ui import state
from corromap.ui.markup import esc, note, plain_md, show
from corromap.ui.page_top import page_top
from corromap.ui.pages import car, mark, outcome, photos, place, plan, report, start
from corromap.ui.steps import Page, Step, next_page, steps_of
from corromap.ui.surveys import opened_at_start
from corromap.ui.tokens import style_sheet

__all__ = ["run"]

_PAGES: dict[Page, Callable[[state.OpenSurvey], None]] = {
    Page.CAR: car.show_page,
    Page.PHOTOS: photos.show_page,
    Page.PLACE: place.show_page,
    Page.MARK: mark.show_page,
    Page.OUTCOME: outcome.show_page,
    Page.PLAN: plan.show_page,
    Page.REPORT: report.show_page,
}
_ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><rect width="32" height="32" rx="4" fill="#262C32"/>'
    '<path d="M5 9h22v14H5z" fill="#F1EEE6"/><path d="M10 23l6-14h6l-6 14z" fill="#22776E"/>'
    '<path d="M5 9h22v14H5z" fill="none" stroke="#E79A5E" stroke-width="2"/></svg>'
)
_ABOUT = (
    f"**corromap {__version__}**. Rust, filler and patches marked on photos, carried to scale onto a body template. "
    "A photo shows a lower bound. Local rules and licensed practice go before anything shown here."
)


def run() -> None:
    """Draw the page the address asks for."""
    st.set_page_config(
        page_title="corromap",
        page_icon=_ICON,
        layout="wide",
        initial_sidebar_state="collapsed",
        menu_items={"About": _ABOUT, "Get help": None, "Report a bug": None},
    )
    show(f"<style>{style_sheet(_theme())}</style>")
    first = opened_at_start()
    if first is not None and not st.query_params:
        state.open_survey(first)
    try:
        held = state.open_current()
    except CorromapError as error:
        _bar_without_survey()
        note([f"{error}"], "bad")
        st.button("Back to the list of surveys", on_click=state.close_survey)
        return
    if held is None:
        _bar_without_survey()
        _notices()
        try:
            start.show_page()
        except CorromapError as error:
            note([f"The list cannot be drawn: {error}"], "bad")
        return
    _survey(held)


def _survey(held: state.OpenSurvey) -> None:
    page = state.current_page()
    if held.survey.car.label:
        st.set_page_config(page_title=f"{held.survey.car.label} - corromap")  # tells two windows apart
    _bar(held)
    # the strip of steps needs the whole evaluation: its place is kept, and it is filled after the page
    place = st.container(key="cm_steps", horizontal=True)
    page_top(page)
    try:
        _stale(held)
        _notices()
        _PAGES[page](held)
        with place:
            _steps(steps_of(held.survey, held.evaluation), page)
    except CorromapError as error:
        note([f"This page cannot be drawn: {error}", "Nothing was lost; undo takes back the last change."], "bad")


def _theme() -> str:
    return str(getattr(st.context.theme, "type", None) or "light")


def _bar_without_survey() -> None:
    with st.container(key="cm_bar", horizontal=True, vertical_alignment="center"):
        show('<div class="cm-wordmark">corromap</div>')


def _bar(held: state.OpenSurvey) -> None:
    car_ = held.survey.car
    label = car_.label or "Car without a name"
    under = " · ".join(part for part in (car_.registration, held.template.name) if part)
    with st.container(key="cm_bar", horizontal=True, vertical_alignment="center", gap="small"):
        st.button("Surveys", icon=":material/arrow_back:", key="bar_list", on_click=state.close_survey)
        with st.container(key="cm_bar_name", width="stretch"):
            show(f'<div class="cm-carname"><b>{esc(label)}</b><span>{esc(under)}</span></div>')
        show(f'<div class="cm-saved" role="status">{_saved(held.saved_at)}</div>')
        _undo_button("Undo", held.next_undo, ":material/undo:", state.undo)
        _undo_button("Redo", held.next_redo, ":material/redo:", state.redo)


def _saved(at: str) -> str:
    moment = datetime.fromisoformat(at)
    is_today = moment.date() == datetime.now(tz=moment.tzinfo).date()
    when = moment.strftime("%H:%M") if is_today else moment.strftime("%Y-%m-%d %H:%M")
    return f"Saved <b>{when}</b>"


def _undo_button(word: str, what: str | None, icon: str, on_click: Callable[[], None]) -> None:
    label = f"**{word}**  \n{plain_md(what)}" if what else f"**{word}**"
    tip = f"{word}: {plain_md(what)}" if what else f"Nothing to {word.lower()}"
    st.button(label, key=f"bar_{word.lower()}", icon=icon, help=tip, disabled=what is None, on_click=on_click)


def _steps(steps: tuple[Step, ...], page: Page) -> None:
    following = next_page(steps)
    for step in steps:
        # an outcome or a plan is not something one ticks off
        sign = "✓ " if step.is_done and step.page not in {Page.OUTCOME, Page.PLAN} else ""
        sign = "next: " if step.page is following else sign
        st.button(
            f"**{step.number} {step.title}**  \n{sign}{plain_md(step.state)}",
            key=f"step_{step.page.value}",
            type="primary" if step.page is page else "secondary",
            on_click=state.go_to,
            args=(step.page,),
        )


def _stale(held: state.OpenSurvey) -> None:
    waiting = state.pending(held)
    if not waiting:
        return
    labels = "; ".join(one.label for one in waiting)
    said = (
        f"Another window changed this survey before your change reached it ({labels}). Nothing was "
        "overwritten: the page shows the survey reloaded, without your change."
    )
    note([said], "warn")
    with st.container(horizontal=True):
        st.button("Make my change now", key="stale_retry", type="primary", on_click=state.retry_pending)
        st.button("Leave it out", key="stale_drop", on_click=state.drop_pending)


def _notices() -> None:
    for notice in state.take_notices():
        note([notice.text], notice.tone)
