"""Page 6: the report, and the survey in forms that can be handed on."""

from __future__ import annotations

import streamlit as st

from corromap.report.html import report_html
from corromap.ui import state
from corromap.ui.hand_out import HandOut, copy_bytes, grant_hand_outs, hand_out_url, interchange_zip
from corromap.ui.markup import empty_state, esc, lead, show
from corromap.ui.steps import Page, placed_photos
from corromap.ui.surveys import SUFFIX, file_name_for
from corromap.ui.widgets import next_button

__all__ = ["show_page"]

_PREVIEW_PX = 900
_TITLES = {
    "report": ("Download the report", "One web page, with photos, map and figures inside it."),
    "folder": ("Download photos and JSON", "A zip of the survey's photos and its survey.json: everything, readable by other programs."),
    "copy": ("Download a copy of the survey", "One file that opens here, or in somebody else's corromap, with its history."),
}  # fmt: skip


def show_page(held: state.OpenSurvey) -> None:
    """Draw the page.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    st.header("Report")
    grant_hand_outs(held.token, _offers(held))
    is_placed = bool(placed_photos(held.evaluation))
    if is_placed:
        lead("It opens anywhere and needs no network. Read it once before you hand it over.")
    else:
        empty_state(
            "Nothing to report yet.",
            "A report needs at least one photo placed on the body; an area nobody has shown is never reported clean.",
        )
        next_button(Page.PLACE if held.survey.photos else Page.PHOTOS)
    _links(held, ["report", "folder", "copy"] if is_placed else ["folder", "copy"])
    if is_placed:
        st.subheader("Preview")
        # the revision is in the address, so that the frame loads again after a change
        address = hand_out_url(held.token, "report", shown=True)
        st.iframe(f"{address}&revision={held.record.revision}", height=_PREVIEW_PX, alt="The report as it will look")


def _links(held: state.OpenSurvey, kinds: list[str]) -> None:
    items = "".join(
        f'<li><a class="cm-get{" is-first" if kind == "report" else ""}" download data-get="{kind}" '
        f'href="{esc(hand_out_url(held.token, kind))}">{esc(_TITLES[kind][0])}</a><span>{esc(_TITLES[kind][1])}</span></li>'
        for kind in kinds
    )
    show(f'<ul class="cm-gets">{items}</ul>')


def _offers(held: state.OpenSurvey) -> dict[str, HandOut]:
    name = file_name_for(held.survey.car.label)
    return {
        "report": HandOut(f"{name}-report.html", "text/html; charset=utf-8", lambda: _html(held).encode()),
        "folder": HandOut(f"{name}.zip", "application/zip", lambda: interchange_zip(held.file)),
        "copy": HandOut(f"{name}{SUFFIX}", "application/vnd.sqlite3", lambda: copy_bytes(held.file)),
    }


def _html(held: state.OpenSurvey) -> str:
    return report_html(held.evaluation, held.file.photo_bytes)
