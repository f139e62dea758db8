"""Page 7: the report, and the survey in forms that can be handed on."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

import streamlit as st

from corromap.io.rates import rates_from
from corromap.io.survey_file import SurveyFile
from corromap.report.html import report_html
from corromap.report.language import LANGUAGES
from corromap.report.pdf import report_pdf
from corromap.report.view import Length
from corromap.settings import LENGTH_UNITS, PAPERS
from corromap.ui import state
from corromap.ui.evidence import request_page, screen_scale, show_seller_message, whole_picture
from corromap.ui.exports import EXPORT_TITLES, export_offers, originals_are_chosen, originals_choice
from corromap.ui.hand_out import HandOut, grant_hand_outs, hand_out_url
from corromap.ui.markup import empty_state, esc, lead, show
from corromap.ui.steps import Page, counted, placed_photos
from corromap.ui.surveys import file_name_for
from corromap.ui.widgets import next_button, synced

__all__ = ["show_page"]

_PREVIEW_PX = 900
_TITLES = {
    "report": ("Download the report", "One web page, with photos, map and figures inside it."),
    "pdf": (
        "Download the report as PDF",
        "The same to print: with headings, tables and pictures that a reader can speak.",
    ),
    "one-page": ("Download one page", "Outcome, reasons, map, what was not shown and the patch tally, as PDF."),
    "welder": ("Download the welder's sheet", "Map, repair plan and each finding with its place, as PDF."),
    "requests": ("Download the photos to ask for", "What is missing, as a list with drawings to print or to send on."),
    "picture": ("Download the whole picture", "All photos on one scaled picture of the body, as a JPEG."),
    "tiff": ("Download the whole picture as TIFF", "The same without loss, in tiles, for printing and measuring."),
}


def show_page(held: state.OpenSurvey) -> None:
    """Draw the page.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    st.header("Report")
    grant_hand_outs(held.token, _offers(held) | export_offers(held, originals=originals_are_chosen()))
    is_placed = bool(placed_photos(held.registrations))
    if is_placed:
        lead("It opens anywhere and needs no network. Read it once before you hand it over.")
    else:
        empty_state(
            "Nothing to report yet.",
            "A report needs at least one photo placed on the body; an area nobody has shown is never reported clean.",
        )
        next_button(Page.PLACE if held.survey.photos else Page.PHOTOS)
    _how_printed(held)
    _links(held, ["report", "pdf", "one-page", "welder", "requests", "picture", "tiff"] if is_placed else ["requests"])
    show_seller_message(held)
    if is_placed:
        _picture(held)
    st.subheader("For other programs, and to keep")
    originals_choice()
    _links(held, list(EXPORT_TITLES) if is_placed else ["folder", "copy"])
    if is_placed:
        st.subheader("Preview")
        lead("Made afresh each time, which takes some seconds.")
        # the revision is in the address, so that the frame loads again after a change
        address = hand_out_url(held.token, "report", shown=True)
        st.iframe(f"{address}&revision={held.record.revision}", height=_PREVIEW_PX, alt="The report as it will look")


_CHOICES: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("language", "Language", tuple(LANGUAGES)),
    ("paper", "Paper", PAPERS),
    ("length_unit", "Lengths in", LENGTH_UNITS),
)
"""Setting, what it is, what may be chosen; kept with the survey."""


def _how_printed(held: state.OpenSurvey) -> None:
    for column, (name, title, choices) in zip(st.columns(len(_CHOICES)), _CHOICES, strict=True):
        key, own = f"printed_{name}", str(getattr(held.survey.settings, name))
        synced(key, own if own in choices else choices[0])
        column.selectbox(
            title,
            choices,
            key=key,
            format_func=lambda value: LANGUAGES[value].name if value in LANGUAGES else value,
            on_change=_save_printed,
            args=(held, name),
        )


def _save_printed(held: state.OpenSurvey, name: str) -> None:
    changed: dict[str, Any] = {name: str(st.session_state[f"printed_{name}"])}

    def save(file: SurveyFile) -> None:
        file.set_settings(replace(held.survey.settings, **changed), expected_revision=file.known_revision)

    state.change(held, "settings changed", save)


def _picture(held: state.OpenSurvey) -> None:
    if not st.toggle("Show the whole picture", key="whole_picture"):
        return
    photos = counted(len(placed_photos(held.registrations)), "photo")
    with st.spinner(f"Laying {photos} on one picture; made once after a change"):
        whole_picture(held, ".jpg", screen_scale(held))
    shown, full = (
        esc(f"{hand_out_url(held.token, kind, shown=True)}&revision={held.record.revision}")
        for kind in ("screen", "picture")
    )
    show(
        f'<a href="{full}" target="_blank" title="Open at full size"><img class="cm-picture" src="{shown}" '
        'alt="All photos on one scaled picture of the body, seen from below"></a>'
    )
    lead(
        f"{screen_scale(held):g} mm per pixel; hatched ground is in no photo. A click opens it at "
        f"{held.survey.settings.picture_mm_per_px:g} mm per pixel, which may take a minute."
    )


def _links(held: state.OpenSurvey, kinds: list[str]) -> None:
    def item(kind: str) -> str:
        title, words = (_TITLES | EXPORT_TITLES)[kind]
        css = "cm-get is-first" if kind == "report" else "cm-get"
        address = esc(hand_out_url(held.token, kind))
        link = f'<a class="{css}" download data-get="{kind}" href="{address}">{esc(title)}</a>'
        return f"<li>{link}<span>{esc(words)}</span></li>"

    show(f'<ul class="cm-gets">{"".join(item(kind) for kind in kinds)}</ul>')


def _offers(held: state.OpenSurvey) -> dict[str, HandOut]:
    name, scale = file_name_for(held.survey.car.label), held.survey.settings.picture_mm_per_px
    return {
        "report": HandOut(f"{name}-report.html", "text/html; charset=utf-8", lambda: _html(held).encode()),
        "pdf": HandOut(f"{name}-report.pdf", "application/pdf", lambda: _pdf(held, Length.FULL)),
        "one-page": HandOut(f"{name}-one-page.pdf", "application/pdf", lambda: _pdf(held, Length.ONE_PAGE)),
        "welder": HandOut(f"{name}-welders-sheet.pdf", "application/pdf", lambda: _pdf(held, Length.WELDER)),
        "requests": HandOut(f"{name}-photos-to-take.html", "text/html; charset=utf-8", lambda: request_page(held)),
        "picture": HandOut(f"{name}-whole-picture.jpg", "image/jpeg", lambda: whole_picture(held, ".jpg", scale)),
        "screen": HandOut(f"{name}-picture.jpg", "image/jpeg", lambda: whole_picture(held, ".jpg", screen_scale(held))),
        "tiff": HandOut(f"{name}-whole-picture.tif", "image/tiff", lambda: whole_picture(held, ".tif", scale)),
    }


def _now() -> str:
    return datetime.now().astimezone().isoformat(sep=" ", timespec="minutes")


def _html(held: state.OpenSurvey) -> str:
    rates = rates_from(held.record.rates_document)
    return report_html(held.evaluation, held.file.photo_bytes, made_at=_now(), rates=rates)


def _pdf(held: state.OpenSurvey, length: Length) -> bytes:
    rates = rates_from(held.record.rates_document)
    return report_pdf(held.evaluation, held.file.photo_bytes, made_at=_now(), length=length, rates=rates)
