"""How large this car is: lengths taken on it, and scales seen in photos."""

from __future__ import annotations

import numpy as np
import streamlit as st

from corromap.control import MeasuredLength, ScaleSighting
from corromap.errors import CorromapError
from corromap.frames import DatumId, LengthId, ScaleId
from corromap.io.photo_links import find_scale
from corromap.io.survey_file import new_id
from corromap.registration.scale_check import ScaleCheck, check_scales
from corromap.report.board_sheet import board_pdf
from corromap.survey import Photo
from corromap.template import Panel
from corromap.ui import state
from corromap.ui.canvas import ScaleView
from corromap.ui.markup import Cell, esc, lead, note, show, table

__all__ = ["scale_views", "show_lengths", "show_scales"]

TAPE_MM = 2.0


def show_lengths(held: state.OpenSurvey) -> None:
    """Draw the lengths taken on the car, and the fields for another.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    lengths, fit = held.survey.lengths, held.template.fit
    with st.expander(f"Lengths measured on the car: {len(lengths)}" if lengths else "Lengths measured on the car"):
        lead(
            "No car is exactly the template. Measure straight from one datum point to another, best once along the car "
            "and once across, as long as you can reach: the template is stretched to fit, and areas are known better."
        )
        for one in lengths:
            _length_row(held, one)
        if fit is not None:
            show(_factors(held))
            note(fit.messages, "warn")
        _new_length(held)


def _length_row(held: state.OpenSurvey, one: MeasuredLength) -> None:
    left_out = held.template.fit is not None and one.id in held.template.fit.left_out
    with st.container(horizontal=True, vertical_alignment="center", key=f"cm_length_{one.id}"):
        with st.container(width="stretch"):
            ends = f"{esc(_name(held, one.first))} to {esc(_name(held, one.second))}"
            show(f"<b>{one.length_mm:.0f} ± {one.sigma_mm:.0f} mm</b> {ends}{' (left out)' if left_out else ''}")
        st.button("Remove", key=f"length_gone_{one.id}", type="tertiary", on_click=_remove_length, args=(held, one.id))


def _factors(held: state.OpenSurvey) -> str:
    fit = held.template.fit
    if fit is None:
        return ""
    sigma = np.sqrt(np.diag(fit.covariance))
    rows = [
        [name, Cell(f"{100 * (factor - 1):+.1f}"), Cell(f"± {100 * one:.1f}")]
        for name, factor, one in zip(("along", "across", "up"), fit.factors, sigma, strict=True)
    ]
    return table(
        ["This car against the template", "%", "standard error, %"],
        rows,
        numeric=frozenset({1, 2}),
        caption="Every area, length and drawing below is that of the stretched template.",
    )


def _new_length(held: state.OpenSurvey) -> None:
    names = {d: _name(held, d) for d in held.template.datum_points}
    round_ = st.session_state.setdefault("length_round", 0)
    first = st.selectbox("From", list(names), format_func=lambda d: names[d], index=None, key=f"length_first_{round_}")
    second = st.selectbox("To", list(names), format_func=lambda d: names[d], index=None, key=f"length_second_{round_}")
    left, right = st.columns(2)
    with left:
        length = st.number_input("Length, mm", 1.0, 10_000.0, None, step=1.0, key=f"length_mm_{round_}")
    with right:
        sigma = st.number_input("Good to ± mm", 0.5, 100.0, TAPE_MM, step=0.5, key=f"length_sigma_{round_}")
    ready = first is not None and second is not None and first != second and length is not None
    st.button(
        "Add the length",
        key="length_add",
        disabled=not ready,
        on_click=_add_length,
        args=(held, first, second, length, sigma),
    )


def _add_length(held: state.OpenSurvey, first: DatumId, second: DatumId, length_mm: float, sigma_mm: float) -> None:
    try:
        one = MeasuredLength(LengthId(new_id("length")), first, second, length_mm, sigma_mm)
    except CorromapError as error:
        state.say(str(error), "bad")
        return
    if state.change(held, "length added", lambda f: f.put_length(one, expected_revision=f.known_revision)):
        st.session_state["length_round"] += 1  # fresh, empty fields


def _remove_length(held: state.OpenSurvey, length: LengthId) -> None:
    state.change(held, "length removed", lambda f: f.remove_length(length, expected_revision=f.known_revision))


def scale_views(held: state.OpenSurvey, photo: Photo) -> tuple[ScaleView, ...]:
    """Gather the scales of a photo, with what they say of the template's size.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    photo : Photo
        The photo on the canvas.

    Returns
    -------
    tuple of ScaleView
        In the survey's order.
    """
    mine = [one for one in held.survey.scales if one.photo == photo.id]
    if not mine:
        return ()
    checks = {one.scale: one for one in check_scales(held.survey, held.template, held.registrations)}
    return tuple(_view(one, checks.get(one.id)) for one in mine)


def _view(scale: ScaleSighting, check: ScaleCheck | None) -> ScaleView:
    own = f"{scale.length_mm:g} mm" if scale.is_bar else "printed board"
    if check is None:
        return ScaleView(scale, own)
    if check.ratio is None:
        return ScaleView(scale, own, check.sentence)
    shown = f"{scale.length_mm / check.ratio:.0f} mm" if scale.is_bar else f"{100 / check.ratio - 100:+.1f} %"
    return ScaleView(scale, f"{own}\nby the template {shown}", check.sentence, check.agrees)


def show_scales(held: state.OpenSurvey, photo: Photo, panel: Panel, views: tuple[ScaleView, ...]) -> None:
    """Draw the scales of a photo, and what they say of the template's size.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    photo : Photo
        The photo on the canvas.
    panel : Panel
        The panel chosen there.
    views : tuple of ScaleView
        From `scale_views`.
    """
    note([one.sentence for one in views if not one.agrees], "warn")
    with st.expander(f"Scales on this photo: {len(views)}" if views else "A bar or board of known size on this photo"):
        lead(
            "A rule or bar that lies flat on the panel checks the template's size: choose 'Scale bar' above the "
            "photo, click both its ends and give its length. It changes no figure; when both disagree, you are told."
        )
        for one in views:
            _scale_row(held, one)
        left, right = st.columns(2)
        with left:
            st.button(
                f"Find the printed board on {panel.name}",
                key="scale_find",
                icon=":material/grid_on:",
                on_click=_find,
                args=(held, photo, panel),
            )
        with right:
            if st.toggle("Print the board", key="scale_print"):
                paper = held.survey.settings.paper
                st.download_button(
                    f"Board for {paper} (PDF)", board_pdf(paper), "board.pdf", "application/pdf", key="scale_pdf"
                )


def _scale_row(held: state.OpenSurvey, view: ScaleView) -> None:
    one = view.scale
    with st.container(horizontal=True, vertical_alignment="center", key=f"cm_scale_{one.id}"):
        with st.container(width="stretch"):
            kind = f"bar, {one.length_mm:g} mm" if one.is_bar else f"board, {len(one.at_px)} corners"
            show(f"<p><b>{kind}</b>, on {esc(held.template.panel(one.panel).name)}: {esc(view.sentence)}</p>")
        st.button("Remove", key=f"scale_gone_{one.id}", type="tertiary", on_click=_remove_scale, args=(held, one.id))


def _find(held: state.OpenSurvey, photo: Photo, panel: Panel) -> None:
    try:
        found = find_scale(held.file, photo.id, panel.id, photo.name)
    except CorromapError as error:
        state.say(str(error), "bad")
        return
    if found is None:
        state.say(
            f"The printed board was not found on '{photo.name}': it has to be in the photo with at least six inner "
            "corners, sharp and not in shadow.",
            "warn",
        )
        return
    state.change(held, "scale added", lambda f: f.put_scale(found, expected_revision=f.known_revision))


def _remove_scale(held: state.OpenSurvey, scale: ScaleId) -> None:
    state.change(held, "scale removed", lambda f: f.remove_scale(scale, expected_revision=f.known_revision))


def _name(held: state.OpenSurvey, datum: DatumId) -> str:
    return held.template.datum_points[datum][1].name if datum in held.template.datum_points else str(datum)
