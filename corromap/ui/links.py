"""Places through other photos: looked for, shown as proposals, accepted or refused by the person."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime

import streamlit as st

from corromap.control import PhotoTie
from corromap.errors import CorromapError
from corromap.frames import PanelId, PhotoId, TieId
from corromap.io.photo_links import accept_links, find_links, refuse_link
from corromap.registration import Registration
from corromap.registration.links import Chained, ChainProposal
from corromap.survey import Photo
from corromap.ui import state
from corromap.ui.footprint import proposed_footprint
from corromap.ui.markup import Cell, esc, lead, note, plain_md, show, table

__all__ = ["proposal_for", "proposed_panel", "show_fit", "show_links", "show_proposal"]


def proposal_for(held: state.OpenSurvey, photo: Photo) -> ChainProposal | None:
    """Find the proposal for a photo that has no place yet.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    photo : Photo
        The photo.

    Returns
    -------
    ChainProposal or None
        None when it is placed by now, or nothing was found.
    """
    if _is_placed(held, photo.id):
        return None
    return next((one for one in _found(held).proposals if one.photo == photo.id), None)


def proposed_panel(places: Mapping[PanelId, Registration], proposal: ChainProposal) -> PanelId | None:
    """Choose the panel to look at first.

    Parameters
    ----------
    places : mapping of PanelId to Registration
        Of the proposal.
    proposal : ChainProposal
        The proposal.

    Returns
    -------
    PanelId or None
        The one with most shared points.
    """
    counts: dict[PanelId, int] = {}
    for tie in proposal.ties:
        if tie.panel is not None and tie.panel in places:
            counts[tie.panel] = counts.get(tie.panel, 0) + len(tie.new_px)
    return max(counts, key=lambda panel: counts[panel], default=None)


def show_proposal(held: state.OpenSurvey, photo: Photo, proposal: ChainProposal) -> None:
    """Show what is proposed for the photo on the canvas, and ask.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    photo : Photo
        The photo on the canvas.
    proposal : ChainProposal
        What is proposed for it.
    """
    note([f"Proposed, not accepted yet. {proposal.sentence}"], "warn")
    waits = [held.survey.photo_by_id[p].name for p in proposal.through if not _is_placed(held, p)]
    if waits:
        lead(f"It hangs on a place that is itself only proposed: accepting it accepts '{waits[0]}' too.")
    lead(
        "The map shows what the photo would cover. A little off: accept it, then click points on the photo; clicks and "
        "links are adjusted together. Wrong place: do not accept it."
    )
    given = (held, photo, proposal)
    with st.container(horizontal=True):
        st.button("Accept this place", key="link_accept", type="primary", icon=":material/check:",
                  on_click=_accept, args=given)  # fmt: skip
        st.button("Do not accept", key="link_refuse", icon=":material/close:", on_click=_refuse, args=given)


def show_fit(held: state.OpenSurvey, photo: Photo, proposal: ChainProposal) -> None:
    """Say how well a proposal would sit, and how much of each panel it would show.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    photo : Photo
        The photo on the canvas.
    proposal : ChainProposal
        What is proposed for it.
    """
    st.subheader("How well it would sit")
    seen = {one.panel: one.area.area for one in proposed_footprint(held, photo, proposal).seen}
    rows = []
    for panel_id in sorted(proposal.places):
        panel = held.template.panel(panel_id)
        rows.append([panel.name, Cell(f"{100 * seen.get(panel_id, 0.0) / panel.outline.polygon.area:.0f}")])
    show(
        table(
            ["Panel", "would be shown, %"],
            rows,
            numeric=frozenset({1}),
            caption=f"{proposal.points} points found on both photos miss each other by {proposal.rms_px:.1f} px or "
            f"{proposal.rms_mm:.1f} mm (root mean square).",
        )
    )


def show_links(held: state.OpenSurvey, photo: Photo) -> None:
    """Show what can be looked for, what was found, and the links of the photo on the canvas.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    photo : Photo
        The photo on the canvas.
    """
    st.subheader("Through other photos")
    missing = [p for p in held.survey.photos if not _is_placed(held, p.id)]
    if missing and len(missing) < len(held.survey.photos):
        lead(
            f"{len(missing)} photo{'s have' if len(missing) > 1 else ' has'} no place yet. Photos that show the same "
            "ground as a placed one can be placed through it; each place is proposed, and you accept it or not."
        )
        if st.button("Look for places", key="link_look", icon=":material/link:"):
            _look(held)
            st.rerun()
    elif missing:
        lead("Place one photo by clicking points; the others may then follow through it.")
    _list(held, photo)
    _accepted(held, photo)


def _look(held: state.OpenSurvey) -> None:
    bar = st.progress(0.0, text="Comparing photos")
    try:
        found = find_links(
            held.file,
            progress=lambda done, total: bar.progress(min(done / max(total, 1), 1.0), text="Comparing photos"),
        )
    except CorromapError as error:
        state.say(str(error), "bad")
    else:
        st.session_state[_key(held)] = found
    finally:
        bar.empty()


def _list(held: state.OpenSurvey, photo: Photo) -> None:
    found = _found(held)
    waiting = [one for one in found.proposals if not _is_placed(held, one.photo)]
    for one in waiting:
        name = held.survey.photo_by_id[one.photo].name
        figures = f"{one.points} points, {one.rms_px:.1f} px or {one.rms_mm:.1f} mm"
        here = one.photo == photo.id
        st.button(
            plain_md(f"{name}: {figures}{' (above)' if here else ''}"),
            key=f"link_show_{one.photo}",
            disabled=here,
            on_click=state.go_to,
            args=(state.current_page(), one.photo),
        )
    if len(waiting) > 1:
        st.button(
            f"Accept all {len(waiting)} places", key="link_accept_all", on_click=_accept_all, args=(held, waiting)
        )
    note([one.message for one in found.not_linked if not _is_placed(held, one.photo)])


def _accepted(held: state.OpenSurvey, photo: Photo) -> None:
    mine = [tie for tie in held.survey.ties if photo.id in {tie.known, tie.new}]
    by_other: dict[PhotoId, list[PhotoTie]] = {}
    for tie in mine:
        by_other.setdefault(tie.new if tie.known == photo.id else tie.known, []).append(tie)
    if not by_other:
        return
    show(f"<p>Linked with {len(by_other)} photo{'s' if len(by_other) > 1 else ''}:</p>")
    for other, ties in by_other.items():
        name = held.survey.photo_by_id[other].name
        points = sum(len(tie.new_px) for tie in ties)
        left, right = st.columns([3, 2], vertical_alignment="center")
        with left:
            show(f"<p>{esc(name)}: {points} points on {len(ties)} panel{'s' if len(ties) > 1 else ''}</p>")
        with right:
            st.button(
                "Take link off",
                key=f"link_off_{other}",
                on_click=_take_off,
                args=(held, photo, name, tuple(tie.id for tie in ties)),
            )


def _accept(held: state.OpenSurvey, photo: Photo, proposal: ChainProposal) -> None:
    needed, chosen = {proposal.photo}, []
    for one in reversed(_found(held).proposals):
        if one.photo in needed and not _is_placed(held, one.photo):
            needed |= set(one.through)
            chosen.append(one)
    _store(held, f"place of '{photo.name}' accepted", list(reversed(chosen)))


def _accept_all(held: state.OpenSurvey, proposals: list[ChainProposal]) -> None:
    _store(held, f"{len(proposals)} places accepted", proposals)


def _store(held: state.OpenSurvey, label: str, proposals: list[ChainProposal]) -> None:
    now = datetime.now(UTC)
    state.change(held, label, lambda file: accept_links(file, proposals, author=state.author(), at=now))


def _refuse(held: state.OpenSurvey, photo: Photo, proposal: ChainProposal) -> None:
    if not state.change(held, f"proposal for '{photo.name}' refused", lambda file: refuse_link(file, proposal)):
        return
    found, gone = _found(held), {proposal.photo}
    kept = []
    for one in found.proposals:  # what hangs on it goes with it
        if one.photo in gone or gone & set(one.through):
            gone.add(one.photo)
        else:
            kept.append(one)
    st.session_state[_key(held)] = replace(found, proposals=tuple(kept))


def _take_off(held: state.OpenSurvey, photo: Photo, name: str, ties: tuple[TieId, ...]) -> None:
    state.change(
        held,
        f"link of '{photo.name}' with '{name}' taken off",
        lambda file: file.remove_ties(ties, expected_revision=file.known_revision),
    )


def _found(held: state.OpenSurvey) -> Chained:
    found = st.session_state.get(_key(held))
    return found if isinstance(found, Chained) else Chained()


def _key(held: state.OpenSurvey) -> str:
    return f"links_{held.key}"


def _is_placed(held: state.OpenSurvey, photo: PhotoId) -> bool:
    return any(key == photo and isinstance(found, Registration) for (key, _), found in held.registrations.items())
