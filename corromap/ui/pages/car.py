"""Page 1: the car, the occasion, the body template, and staying alive under a car."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from corromap.assessment import CAUTIONS
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import list_templates, load_template
from corromap.report.drawing import map_svg
from corromap.ui import state
from corromap.ui.markup import esc, facts, lead, show, show_svg
from corromap.ui.size import show_lengths
from corromap.ui.steps import Page
from corromap.ui.widgets import next_button, synced

__all__ = ["show_page"]

_FIELDS: tuple[tuple[str, str, str], ...] = (
    ("label", "Name of the car", "as you would say it: the blue saloon, lot 14"),
    ("registration", "Registration or chassis number", ""),
    ("odometer", "Odometer reading", "with its unit"),
    ("date", "Date of the inspection", "year-month-day"),
    ("place", "Place", ""),
    ("inspector", "Inspected by", ""),
    ("seller", "Seller", ""),
    ("owner", "Owner", ""),
)
_UNDER_THE_CAR = ("stands", "fuel", "battery", "local")


def show_page(held: state.OpenSurvey) -> None:
    """Draw the page.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    st.header("The car")
    lead("Every field is saved when you leave it. Leave empty what you do not know.")
    left, right = st.columns([5, 6], gap="large")
    with left:
        _form(held)
        _cautions()
    with right:
        _template(held)
    next_button(Page.PHOTOS)


def _form(held: state.OpenSurvey) -> None:
    first = st.container()
    columns = st.columns(2)
    for index, (name, title, hint) in enumerate(_FIELDS):
        key = f"car_{name}"
        synced(key, getattr(held.survey.car, name))
        with columns[(index + 1) % 2] if index else first:
            st.text_input(
                title, key=key, placeholder=hint, max_chars=200, on_change=_save_field, args=(held, name, title)
            )


def _save_field(held: state.OpenSurvey, name: str, title: str) -> None:
    text = str(st.session_state[f"car_{name}"]).strip()

    def save(file: SurveyFile) -> None:
        # the car as this window knows it by then: a retry must not bring back another window's old words
        file.set_car(replace(held.survey.car, **{name: text}), expected_revision=file.known_revision)

    state.change(held, f"{title}: {text}", save)


def _template(held: state.OpenSurvey) -> None:
    template = held.template
    st.subheader("Body template")
    if not held.survey.sightings and not held.survey.marks:
        _choose(held)
    primary = sum(zone.role.value == "primary" for zone in template.zones)
    show(
        facts(
            [
                ("Template", template.name),
                ("What it is", template.description),
                ("Zones", f"{len(template.zones)}, of which {primary} load-bearing"),
                ("Datum points", len(template.datum_points)),
                ("Mountings", len(template.mountings)),
                ("Fit to a real car", f"± {100 * template.scale_sigma:.1f} % (one standard error of every length)"),
            ]
        )
    )
    show_lengths(held)
    show_svg(map_svg(template, None, prefix="carmap"))


def _choose(held: state.OpenSurvey) -> None:
    names = dict(list_templates())
    names.setdefault(held.template.id, held.template.name)
    synced("car_template", held.template.id)
    st.selectbox(
        "The nearest kind of body",
        list(names),
        format_func=lambda name: names[name],
        key="car_template",
        help="It can be chosen again until the first datum point is clicked or the first mark drawn.",
        on_change=_set_template,
        args=(held,),
    )


def _set_template(held: state.OpenSurvey) -> None:
    chosen = str(st.session_state["car_template"])
    state.change(
        held,
        "body template chosen",
        lambda file: file.set_template(load_template(chosen), expected_revision=file.known_revision),
    )


def _cautions() -> None:
    st.subheader("Before anybody goes under the car")
    chosen = [caution for caution in CAUTIONS if caution.id in _UNDER_THE_CAR]
    rows = "".join(
        f"<li><b>{esc(c.title)}.</b> {esc(c.text)} <small class='cm-lead'>Source: {esc(c.source)}</small></li>"
        for c in chosen
    )
    show(f'<div class="cm-note is-warn"><ul>{rows}</ul></div>')
