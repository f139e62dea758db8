"""Page 3: say where each photo sits on the body, by clicking datum points."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import streamlit as st

from corromap.frames import DatumId, PanelId
from corromap.registration import Registration, RegistrationFailure, next_datum
from corromap.registration.links import ChainProposal
from corromap.report.drawing import datum_sketch_svg
from corromap.survey import Photo
from corromap.template import DatumPoint, Panel
from corromap.ui import state
from corromap.ui.canvas import CanvasMode, CanvasView, Footprint, photo_canvas
from corromap.ui.canvas_use import apply_events, chosen_datum, photo_view, point_words, position_of
from corromap.ui.footprint import placed_footprint, proposed_footprint
from corromap.ui.links import proposal_for, proposed_panel, show_fit, show_links, show_proposal
from corromap.ui.markup import Cell, empty_state, esc, lead, note, plain_md, show, show_svg, table
from corromap.ui.size import scale_views, show_scales
from corromap.ui.steps import Page
from corromap.ui.widgets import next_button, photo_strip

__all__ = ["show_page"]

_WHY_THIS = "It adds most to the fit. Any other point of the panel will do: choose it on the map."

_LEAD = "Click points of the template that you recognise on the photo: four place it on a panel, a fifth checks it."
_ADJUSTING = "Adjusting the linked photos … what you see is this photo by your last click; figures follow."


def show_page(held: state.OpenSurvey) -> None:
    """Draw the page.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    photo = state.chosen_photo(held.survey)
    if photo is None:
        st.header("Place the photos")
        empty_state("No photos to place yet.", "Add photos of the underside and the sills first.")
        next_button(Page.PHOTOS)
        return
    draft = held.draft(photo.id)
    if draft is None:
        _show_photo(held, photo, _LEAD)
        return
    _show_photo(draft, photo, _ADJUSTING)
    _ = held.registrations  # takes its time; what is drawn by then is a draft of this photo
    st.rerun()


def _show_photo(held: state.OpenSurvey, photo: Photo, under_title: str) -> None:
    proposal = proposal_for(held, photo)
    scales = scale_views(held, photo)
    view = replace(photo_view(held, photo), scales=scales)
    if proposal is not None:  # drawn over the photo as if it were accepted
        view = replace(view, registrations={**view.registrations, **proposal.places})
        panel_id = proposed_panel(proposal.places, proposal)
        if panel_id is not None and f"panel_{photo.id}" not in st.session_state:
            _choose_panel(photo, panel_id)
    left, right = st.columns([5, 3], gap="medium", vertical_alignment="bottom")
    with left:
        st.header("Place the photos")
        lead(under_title)
    with right:
        panel = _panel(held, photo)
    if proposal is not None:
        show_proposal(held, photo, proposal)
    suggestion = _suggestion(held, photo, panel)
    photo_canvas(
        CanvasView(
            mode=CanvasMode.PLACE,
            template=held.template,
            main=view,
            projected=held.marks_on_map,
            active_panel=panel.id,
            suggestion=suggestion,
            message=_message(held, photo, panel, suggestion),
            can_undo=held.next_undo is not None,
            can_redo=held.next_redo is not None,
            position=position_of(held, photo),
            footprint=_footprint(held, photo, proposal),
        ),
        key="canvas_place",
        on_events=apply_events(held, photo, lambda chosen: _choose_panel(photo, chosen)),
        report_selection=True,
    )
    photo_strip(held, photo.id, what="place")
    left, right = st.columns([2, 3], gap="large")
    with left:
        _next_point(held, panel, suggestion)
        show_links(held, photo)
    with right:
        if proposal is None:
            _fits(held, photo, panel)
        else:
            show_fit(held, photo, proposal)
        show_scales(held, photo, panel, scales)
    next_button(Page.MARK)


def _footprint(held: state.OpenSurvey, photo: Photo, proposal: ChainProposal | None) -> Footprint | None:
    """Outline what the photo shows of the body; a proposal always with the photo itself, so that it can be judged."""
    if proposal is not None:
        return proposed_footprint(held, photo, proposal)
    return placed_footprint(held, photo, with_photo=bool(st.session_state.get("lay_on_map")))


def _choose_panel(photo: Photo, panel: PanelId) -> None:
    st.session_state[f"panel_{photo.id}"] = panel
    st.session_state["panel_last"] = panel


def _panel(held: state.OpenSurvey, photo: Photo) -> Panel:
    template = held.template
    known = {panel.id for panel in template.panels}
    chosen = st.session_state.get(f"panel_{photo.id}") or _busiest(held, photo) or st.session_state.get("panel_last")
    ids = [panel.id for panel in sorted(template.panels, key=_prominence)]
    current = chosen if chosen in known else ids[0]
    key = f"panel_select_{photo.id}"
    st.session_state[key] = current

    def picked() -> None:
        _choose_panel(photo, st.session_state[key])

    st.selectbox(
        "Panel seen on this photo",
        ids,
        key=key,
        format_func=lambda panel: f"{template.panel(panel).name}: {_state_of(held, photo, panel)}",
        on_change=picked,
    )
    return template.panel(PanelId(current))


def _prominence(panel: Panel) -> int:
    return min((zone.prominence for zone in panel.zones), default=99)


def _busiest(held: state.OpenSurvey, photo: Photo) -> PanelId | None:
    """Panel with most of the photo's sightings; the placed one when there are several."""
    clicked = {s.datum for s in held.survey.sightings if s.photo == photo.id}
    counts = {panel.id: len(clicked & set(held.template.datum_positions(panel.id))) for panel in held.template.panels}
    best = max(counts, key=lambda panel: counts[panel])
    return best if counts[best] else None


def _state_of(held: state.OpenSurvey, photo: Photo, panel: PanelId) -> str:
    found = held.registrations.get((photo.id, panel))
    if isinstance(found, Registration):
        by = "through other photos" if found.method == "linked" else "by the photo's camera"
        points = f"{len(found.datum_ids)} points" if found.datum_ids else by
        return f"placed, {points}, {found.rms_mm:.1f} mm"
    on_panel = set(held.template.datum_positions(panel))
    clicked = sum(s.photo == photo.id and s.datum in on_panel for s in held.survey.sightings)
    return f"{clicked} of at least 4 points clicked" if clicked else f"{len(on_panel)} datum points"


def _suggestion(held: state.OpenSurvey, photo: Photo, panel: Panel) -> DatumId | None:
    chosen = chosen_datum(photo.id)
    if chosen is not None and chosen in held.template.datum_positions(panel.id):
        return chosen
    return next_datum(photo, panel, held.survey.sightings, held.template)


def _message(held: state.OpenSurvey, photo: Photo, panel: Panel, suggestion: DatumId | None) -> str:
    """Only what the canvas does not say by itself: why the photo has no place."""
    found = held.registrations.get((photo.id, panel.id))
    if isinstance(found, RegistrationFailure) and (found.suspects or suggestion is None):
        return found.message
    return ""


def _next_point(held: state.OpenSurvey, panel: Panel, suggestion: DatumId | None) -> None:
    st.subheader("Next point")
    if suggestion is None:
        lead(f"Every datum point of {panel.name} is clicked. Choose another panel that this photo shows.")
        return
    datum: DatumPoint = held.template.datum_points[suggestion][1]
    show_svg(
        datum_sketch_svg(datum.shape),
        css_class="cm-box cm-sketch",
        before=f"<h4>{esc(datum.name)}</h4><p>{esc(datum.description)}</p>",
        after=f"<p class='cm-lead'>{_WHY_THIS}</p>",
    )


def _fits(held: state.OpenSurvey, photo: Photo, panel: Panel) -> None:
    st.subheader("How well it sits")
    found = {panel_id: r for (p, panel_id), r in held.registrations.items() if p == photo.id}
    if not found:
        lead("Nothing clicked yet on this photo.")
        return
    note(
        [f"{_panel_name(held, p)}: {r.message}" for p, r in found.items() if isinstance(r, RegistrationFailure)], "warn"
    )
    placed = {panel_id: r for panel_id, r in found.items() if isinstance(r, Registration)}
    if panel.id in placed:
        _fit_of(held, panel, placed[panel.id])
    warnings = dict.fromkeys(
        r.warnings for r in placed.values()
    )  # a camera's warnings are of the photo: once is enough
    for said in warnings:
        note(said, "warn")
    others = {panel_id: r for panel_id, r in placed.items() if panel_id != panel.id}
    if others:
        show(_other_panels(held, others))
    if placed:
        st.toggle(
            "Lay the photo on the map",
            key="lay_on_map",
            help="Where photo and template belong together, ribs and edges of the photo meet the lines of the map.",
        )
    _removal(held, photo)


def _fit_of(held: state.OpenSurvey, panel: Panel, result: Registration) -> None:
    count = len(result.datum_ids)
    points = f"by {count} point{'s' if count > 1 else ''}" if count else "without a point on it"
    show(
        f"<p><b>{esc(panel.name)}</b>: placed {points}, residual {result.rms_px:.1f} px or "
        f"{result.rms_mm:.1f} mm (root mean square). {esc(result.reason)}</p>"
    )
    if count:
        show(_residuals(held, result))


def _other_panels(held: state.OpenSurvey, placed: Mapping[PanelId, Registration]) -> str:
    return table(
        ["Also placed on", "points on it", "residual, px", "residual, mm"],
        [
            [_panel_name(held, panel_id), Cell(str(len(r.datum_ids))), Cell(f"{r.rms_px:.1f}"), Cell(f"{r.rms_mm:.1f}")]
            for panel_id, r in placed.items()
        ],
        numeric=frozenset({1, 2, 3}),
        caption="Choose a panel on the map to see the residual of each of its points.",
    )


def _panel_name(held: state.OpenSurvey, panel: PanelId) -> str:
    return held.template.panel(panel).name


def _residuals(held: state.OpenSurvey, result: Registration) -> str:
    rows = []
    for datum, px, mm in zip(result.datum_ids, result.residual_px, result.residual_mm, strict=True):
        rows.append(
            [
                held.template.datum_points[datum][1].name,
                Cell(f"{math.hypot(*px):.1f}"),
                Cell(f"{math.hypot(*mm):.1f}"),
            ]
        )
    few = " With four points every residual is nought: a fifth is the check." if len(rows) == 4 else ""
    return table(
        ["Datum point", "residual, px", "residual, mm"],
        rows,
        numeric=frozenset({1, 2}),
        caption=f"Residual: where it was clicked against where the fit puts it.{few}",
    )


def _removal(held: state.OpenSurvey, photo: Photo) -> None:
    clicked = [s.datum for s in held.survey.sightings if s.photo == photo.id]
    if not clicked:
        return
    names = {
        datum: held.template.datum_points[datum][1].name for datum in clicked if datum in held.template.datum_points
    }
    with st.popover("Take a point off this photo", icon=":material/backspace:"):
        for datum in clicked:
            st.button(
                plain_md(names.get(datum, datum)), key=f"off_{datum}", on_click=_take_off, args=(held, photo, datum)
            )


def _take_off(held: state.OpenSurvey, photo: Photo, datum: DatumId) -> None:
    state.change(
        held,
        f"{point_words(held.template, datum)} taken off '{photo.name}'",
        lambda file: file.remove_sighting(photo.id, datum, expected_revision=file.known_revision),
    )
