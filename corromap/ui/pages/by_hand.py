"""What was found by hand at the car: points on the body, and checks of the whole shell."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import streamlit as st

from corromap.by_hand import SHELL_PLACES, HandFinding, HandKind, ShellCheck, ShellKind
from corromap.frames import HandFindingId, PanelId, PhotoId, ShellCheckId, ZoneId
from corromap.io.survey_file import new_id
from corromap.measures.hand import zone_of
from corromap.report.hand_rows import HAND_WORDS, HandRow, ShellRow, hand_rows, shell_rows
from corromap.ui import state
from corromap.ui.map_point import MapPoint, map_point, on_panel
from corromap.ui.markup import esc, lead, show

__all__ = ["show_by_hand"]

_NO_PHOTO = ""


def show_by_hand(held: state.OpenSurvey) -> None:
    """Draw the findings by hand and the checks of the shell, with forms for new ones.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    survey = held.survey
    number = len(survey.hand_findings) + len(survey.shell_checks)
    with st.expander(f"Found by hand: {number}" if number else "Found by hand: magnet, tap, probe, gauge, door gaps"):
        points, shell = st.tabs(["At a point of the body", "The shell as a whole"])
        with points:
            _points(held)
        with shell:
            _shell(held)


# --- at a point --------------------------------------------------------------------------------------------------


def _points(held: state.OpenSurvey) -> None:
    lead(
        "Click the place on the body (seen from below: the car's left is on the right). Rules read these findings: a "
        "point a probe goes through counts as a hole, a gauge is compared with the sheet the template gives."
    )
    for row, finding in zip(hand_rows(held.evaluation), held.survey.hand_findings, strict=True):
        _point_row(held, row, finding.id)
    left, right = st.columns([3, 2], gap="medium")
    chosen = _chosen(held)
    with left:
        known = [
            MapPoint(f.panel, float(f.at_mm[0]), float(f.at_mm[1]), HAND_WORDS[f.kind])
            for f in held.survey.hand_findings
            if any(panel.id == f.panel for panel in held.template.panels)
        ]
        map_point(held.template, known, chosen, key="hand_map", on_point=_choose)
    with right:
        _zone_choice(held)
        if chosen is None:
            lead("No place chosen yet.")
        else:
            zone = zone_of(chosen.panel, (chosen.u_mm, chosen.v_mm), held.template)
            name = held.template.zone_by_id[zone].name if zone else held.template.panel(chosen.panel).name
            show(f"<p><b>{esc(name)}</b>, at {chosen.u_mm:.0f}, {chosen.v_mm:.0f} mm on its panel</p>")
        _point_form(held)


def _chosen(held: state.OpenSurvey) -> MapPoint | None:
    chosen = st.session_state.get("hand_at")
    if isinstance(chosen, MapPoint) and any(panel.id == chosen.panel for panel in held.template.panels):
        return chosen
    return None


def _choose(point: MapPoint) -> None:
    st.session_state["hand_at"] = point
    st.session_state["hand_zone"] = None


def _zone_choice(held: state.OpenSurvey) -> None:
    """Choose a zone's middle without a pointer."""
    names = {str(zone.id): zone.name for zone in held.template.zones}
    st.selectbox("or the middle of a zone", list(names), index=None, format_func=lambda z: names[z], key="hand_zone",
                 placeholder="choose by name", on_change=_choose_zone, args=(held,))  # fmt: skip


def _choose_zone(held: state.OpenSurvey) -> None:
    zone = held.template.zone_by_id.get(ZoneId(str(st.session_state["hand_zone"])))
    if zone is not None:
        middle = zone.outline.polygon.representative_point()
        point = on_panel(held.template, {"panel": zone.panel, "u": middle.x, "v": middle.y})
        st.session_state["hand_at"] = point


def _point_form(held: state.OpenSurvey) -> None:
    round_ = st.session_state.setdefault("hand_round", 0)
    kind = st.radio("What was found", [k.value for k in HandKind], format_func=lambda k: HAND_WORDS[HandKind(k)],
                    key="hand_kind")  # fmt: skip
    if kind == HandKind.GAUGE:
        st.number_input("Thickness, mm", 0.0, 50.0, value=None, step=0.05, format="%.2f", key=f"hand_mm_{round_}")
    _photo(held, "hand_photo")
    st.text_input("Note", key=f"hand_note_{round_}", max_chars=500)
    ready = _typed_finding(held) is not None
    st.button("Add the finding", key="hand_add", disabled=not ready, on_click=_add_point, args=(held,))


def _typed_finding(held: state.OpenSurvey) -> HandFinding | None:
    """Read the form; None as long as something is missing."""
    chosen, round_ = _chosen(held), st.session_state.get("hand_round", 0)
    kind = HandKind(st.session_state.get("hand_kind") or HandKind.MAGNET)
    mm = st.session_state.get(f"hand_mm_{round_}") if kind is HandKind.GAUGE else None
    if chosen is None or (kind is HandKind.GAUGE and mm is None):
        return None
    at = np.array([chosen.u_mm, chosen.v_mm])
    note = str(st.session_state.get(f"hand_note_{round_}") or "").strip()
    identity = HandFindingId(new_id("hand"))
    return HandFinding(identity, kind, PanelId(chosen.panel), at, mm, _photo_of("hand_photo"), note, *_signed(held))


def _photo(held: state.OpenSurvey, key: str) -> None:
    names = {_NO_PHOTO: "no photo", **{str(photo.id): photo.name for photo in held.survey.photos}}
    st.selectbox("Photo of it", list(names), format_func=lambda p: names[p], key=key)


def _photo_of(key: str) -> PhotoId | None:
    chosen = st.session_state.get(key)
    return PhotoId(chosen) if chosen else None


def _add_point(held: state.OpenSurvey) -> None:
    # read now: what was typed last may be newer than the page the button was drawn on
    finding = _typed_finding(held)
    if finding is None:
        return
    label = f"{HAND_WORDS[finding.kind]}, noted"
    if state.change(held, label, lambda f: f.put_hand_finding(finding, expected_revision=f.known_revision)):
        st.session_state["hand_round"] += 1
        st.session_state["hand_at"] = None


def _signed(held: state.OpenSurvey) -> tuple[str, str]:
    now = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    return held.survey.car.inspector or state.author(), now


def _point_row(held: state.OpenSurvey, row: HandRow, finding: HandFindingId) -> None:
    said = ", ".join(part for part in (row.value, row.photo, row.note) if part)
    with st.container(horizontal=True, vertical_alignment="center", key=f"cm_hand_{finding}"):
        with st.container(width="stretch"):
            signed = f"<span class='cm-lead'>{esc(row.author)} {esc(row.when[:16].replace('T', ' '))}</span>"
            show(f"<b>{esc(row.place)}</b> ({esc(row.at)}): {esc(row.what)}{esc(f'; {said}' if said else '')} {signed}")
        st.button("Remove", key=f"hand_gone_{finding}", type="tertiary", on_click=_remove_point, args=(held, finding))


def _remove_point(held: state.OpenSurvey, finding: HandFindingId) -> None:
    state.change(held, "finding removed", lambda f: f.remove_hand_finding(finding, expected_revision=f.known_revision))


# --- the shell ---------------------------------------------------------------------------------------------------


def _shell(held: state.OpenSurvey) -> None:
    lead(
        "Measure door gaps and ride height with the car on its wheels on level ground, door gaps again with it raised. "
        "A gap that changes when the car is raised is a warning that the sills have lost stiffness (common practice)."
    )
    for row, done in zip(shell_rows(held.evaluation), held.survey.shell_checks, strict=True):
        _shell_row(held, row, done.id)
    left, right = st.columns(2, gap="medium")
    with left:
        st.radio("What was looked at", [kind.value for kind in ShellKind], key="shell_kind")
        kind = _shell_kind()
        st.selectbox("Where", SHELL_PLACES[kind], key=f"shell_place_{kind}")
    with right:
        _check_form(held, kind)


def _shell_kind() -> ShellKind:
    return ShellKind(st.session_state.get("shell_kind") or ShellKind.RIDE_HEIGHT)


def _check_form(held: state.OpenSurvey, kind: ShellKind) -> None:
    round_ = st.session_state.setdefault("shell_round", 0)
    if kind.is_length:
        if kind is not ShellKind.SILL_DEFLECTION:
            _length("On the ground, mm", f"shell_ground_{kind}_{round_}")
        if kind is not ShellKind.RIDE_HEIGHT:
            _length("Raised, mm", f"shell_raised_{kind}_{round_}")
    else:
        st.radio("Found", [True, False], format_func=lambda f: "yes" if f else "no", index=None,
                 horizontal=True, key=f"shell_found_{kind}_{round_}")  # fmt: skip
    _photo(held, "shell_photo")
    st.text_input("Note", key=f"shell_note_{round_}", max_chars=500)
    ready = _typed_check(held) is not None
    st.button("Add the check", key="shell_add", disabled=not ready, on_click=_add_check, args=(held,))


def _typed_check(held: state.OpenSurvey) -> ShellCheck | None:
    """Read the form; None as long as nothing is measured or answered."""
    kind, round_ = _shell_kind(), st.session_state.get("shell_round", 0)
    ground, raised, found = (
        st.session_state.get(f"shell_{name}_{kind}_{round_}") for name in ("ground", "raised", "found")
    )
    if ground is None and raised is None and found is None:
        return None
    place = str(st.session_state.get(f"shell_place_{kind}") or SHELL_PLACES[kind][0])
    note = str(st.session_state.get(f"shell_note_{round_}") or "").strip()
    identity = ShellCheckId(new_id("shell"))
    return ShellCheck(identity, kind, place, ground, raised, found, _photo_of("shell_photo"), note, *_signed(held))


def _length(label: str, key: str) -> None:
    st.number_input(label, -5000.0, 5000.0, value=None, step=0.5, format="%.1f", key=key)


def _add_check(held: state.OpenSurvey) -> None:
    check = _typed_check(held)
    if check is None:
        return
    label = f"{check.kind.value}, {check.place}, noted"
    if state.change(held, label, lambda f: f.put_shell_check(check, expected_revision=f.known_revision)):
        st.session_state["shell_round"] += 1


def _shell_row(held: state.OpenSurvey, row: ShellRow, check: ShellCheckId) -> None:
    lengths = [f"{name} {value}" for name, value in (("on the ground", row.ground), ("raised", row.raised)) if value]
    said = ", ".join(part for part in (*lengths, row.comes_to, row.photo, row.note) if part)
    with st.container(horizontal=True, vertical_alignment="center", key=f"cm_shell_{check}"):
        with st.container(width="stretch"):
            signed = f"<span class='cm-lead'>{esc(row.author)} {esc(row.when[:16].replace('T', ' '))}</span>"
            show(f"<b>{esc(row.what)}, {esc(row.place)}</b>: {esc(said)} {signed}")
        st.button("Remove", key=f"shell_gone_{check}", type="tertiary", on_click=_remove_check, args=(held, check))


def _remove_check(held: state.OpenSurvey, check: ShellCheckId) -> None:
    state.change(held, "check removed", lambda f: f.remove_shell_check(check, expected_revision=f.known_revision))
