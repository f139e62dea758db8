"""Page 5: what the survey comes to, zone by zone, with what is behind it."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from corromap.assessment import ADVICE, ALWAYS, CAUTIONS, OutcomeKind, Rule, RuleResult, Verdict
from corromap.frames import MarkId, ZoneId
from corromap.report import figures
from corromap.report.detail_map import detail_map_svg
from corromap.report.drawing import map_svg
from corromap.report.findings import NearMark, mark_numbers, mounting_rows, patch_rows
from corromap.report.tables import AreaCell, FindingRow, GroupRow, ZoneRow, group_rows, zone_rows
from corromap.ui import state
from corromap.ui.evidence import offer_photo_list, show_seller_message
from corromap.ui.markup import Cell, empty_state, esc, lead, note, plain_md, show, show_svg, table
from corromap.ui.pages.by_hand import show_by_hand
from corromap.ui.pages.limits import show_limits
from corromap.ui.pages.notes import show_notes
from corromap.ui.pages.structure import show_structure, show_what_if
from corromap.ui.steps import Page, counted, placed_photos
from corromap.ui.widgets import next_button

__all__ = ["show_page"]

_WORDS = {
    OutcomeKind.CLEAR: "Clear in what was shown",
    OutcomeKind.NOT_SHOWN: "Not shown",
    OutcomeKind.REPAIR: "Repair",
    OutcomeKind.STOP: "Stop",
}
_ALL_ZONES = ""
_MOST_RULES, _MOST_PLACES, _MOST_LINKS, _MOST_UNSEEN = 4, 3, 4, 8
_MAPS = ("What was found", "How well it was shown")
_UPRIGHT_PX = 560.0
"""Narrower than usual, so that its words are larger on a phone; a lying map needs the width for its numbers."""
_ZONE_FILTERS = ("With marks", "Load-bearing", "Not fully shown", "All")


def show_page(held: state.OpenSurvey) -> None:
    """Draw the page.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    st.header("Zones and outcome")
    if not placed_photos(held.registrations):
        empty_state(
            "Nothing to judge yet.",
            "No photo is placed on the body, so nobody has shown anything. Add photos and place them; "
            "an area nobody has shown is never reported clean.",
        )
        next_button(Page.PLACE if held.survey.photos else Page.PHOTOS)
        return
    _headline(held)
    with st.container(key="outcome_columns"):  # on a phone the map comes first
        left, right = st.columns([6, 5], gap="large")
    with right:
        _map(held)
    with left:
        show_what_if(held)
        _margins(held)
        _reasons(held)
        _unseen(held)
    _zones(held)
    _groups(held)
    show_structure(held)
    _mountings(held)
    show_by_hand(held)
    show_notes(held)
    show_limits(held)
    _cautions()
    next_button(Page.PLAN)


def _headline(held: state.OpenSurvey) -> None:
    outcome = held.evaluation.assessment.outcome
    advice = "".join(f"<li>{esc(text)}</li>" for text in (*ADVICE[outcome.kind], *ALWAYS))
    css = outcome.kind.value.replace(" ", "")
    show(
        f'<section class="cm-outcome {css}"><div class="word">{esc(_WORDS[outcome.kind])}</div>'
        f'<div class="head">{esc(outcome.headline)}</div><ul>{advice}</ul></section>'
    )


def _reasons(held: state.OpenSurvey) -> None:
    outcome = held.evaluation.assessment.outcome
    st.subheader("Why")
    reasons = [result for result in outcome.reasons if result.rule.outcome is not OutcomeKind.NOT_SHOWN]
    if not reasons:
        lead("No limit on damage or repair is reached in what was shown.")
    grouped = list(_by_rule(reasons).items())
    for rule, results in grouped[:_MOST_RULES]:
        _reason(held, rule, results, "why")
    if len(grouped) > _MOST_RULES:
        with st.expander(f"{counted(len(grouped) - _MOST_RULES, 'more limit')} reached"):
            for rule, results in grouped[_MOST_RULES:]:
                _reason(held, rule, results, "why")
    uncertain = [result for result in outcome.uncertain if not result.is_reached]
    if uncertain:
        st.subheader("Cannot tell")
        lead("The 95 % interval lies on both sides of the limit: closer photos, or more datum points, would tell.")
        with st.expander(counted(len(uncertain), "limit") + " inside the interval"):
            for rule, results in _by_rule(uncertain).items():
                _reason(held, rule, results, "unsure")


def _by_rule(results: Sequence[RuleResult]) -> dict[Rule, list[RuleResult]]:
    groups: dict[Rule, list[RuleResult]] = {}
    for result in results:
        groups.setdefault(result.rule, []).append(result)
    return groups


def _reason(held: state.OpenSurvey, rule: Rule, results: Sequence[RuleResult], part: str) -> None:
    with st.container(border=True, key=f"cm_{part}_{rule.id}", gap="small"):
        kind = "house rule" if rule.house_rule else "published"
        show(
            f'<div><b>{esc(rule.title)}</b> <span class="cm-tag">{esc(rule.outcome.value)}</span> '
            f'<span class="cm-tag{" is-house" if rule.house_rule else ""}">{kind}</span></div>'
            f"<div class='cm-lead'>Source: {esc(rule.source)}</div>"
        )
        for result in results[:_MOST_PLACES]:
            _place(held, result, part)
        if len(results) > _MOST_PLACES:
            with st.expander(counted(len(results) - _MOST_PLACES, "more place")):
                for result in results[_MOST_PLACES:]:
                    _place(held, result, part)


def _place(held: state.OpenSurvey, result: RuleResult, part: str) -> None:
    """One sentence with what is behind it: the zone on the map, the marks on their photos."""
    key = f"{part}_{result.rule.id}_{result.zone or 'all'}"
    doubt = " <em>The interval lies on both sides of the limit.</em>" if result.verdict is Verdict.CANNOT_TELL else ""
    show(f"<div class='cm-why'>{esc(result.sentence)}{doubt if result.is_reached else ''}</div>")
    numbers = mark_numbers(held.evaluation)
    with st.container(horizontal=True, gap="small", key=f"cm_links_{key}"):
        if result.zone is not None or result.marks:
            st.button("On the map", key=f"{key}_map", type="tertiary", icon=":material/map:", on_click=_highlight,
                      args=(result.zone, result.marks))  # fmt: skip
        for mark in sorted(result.marks, key=lambda m: numbers[m])[:_MOST_LINKS]:
            photo = held.survey.photo_by_id[held.survey.mark_by_id[mark].photo]
            st.button(f"Mark {numbers[mark]}, {plain_md(photo.name)}", key=f"{key}_{mark}", type="tertiary",
                      icon=":material/image:", on_click=state.go_to_mark, args=(photo.id, mark))  # fmt: skip
        if len(result.marks) > _MOST_LINKS:
            show(f'<span class="cm-lead">and {counted(len(result.marks) - _MOST_LINKS, "more mark")}</span>')


def _highlight(zone: ZoneId | None, marks: tuple[MarkId, ...]) -> None:
    st.session_state["highlight"] = zone or _ALL_ZONES
    st.session_state["map_shows"] = _MAPS[0]
    st.session_state["lit_marks"] = marks


def _unlight() -> None:
    st.session_state["lit_marks"] = ()


def _margins(held: state.OpenSurvey) -> None:
    st.subheader("Too many patches?")
    rows = [
        [
            Cell(row.title, small=row.place),
            Cell(row.value, small=row.interval),
            Cell(row.limit, small=row.outcome),
            Cell(row.margin, small=row.verdict),
        ]
        for row in patch_rows(held.evaluation)
    ]
    show(
        table(
            ["Limit", "now", "limit, asks for", "margin"],
            rows,
            numeric=frozenset({1, 2}),
            caption="Each limit at the place nearest to it. No published rule sets a number of patches: "
            "these are house rules, and you can change them below.",
        )
    )


def _unseen(held: state.OpenSurvey) -> None:
    zones = held.evaluation.assessment.outcome.unseen_zones
    if not zones:
        return
    st.subheader("Not shown well enough to judge")
    number = len(zones)
    lead(f"{counted(number, 'load-bearing zone')}, those that matter most first. Ask for photos of them:")
    offer_photo_list(held)
    show_seller_message(held)
    show(_unseen_table(held, zones[:_MOST_UNSEEN]))
    if number > _MOST_UNSEEN:
        with st.expander(counted(number - _MOST_UNSEEN, "more zone")):
            show(_unseen_table(held, zones[_MOST_UNSEEN:]))


def _unseen_table(held: state.OpenSurvey, zones: Sequence[ZoneId]) -> str:
    found = {measure.zone: measure for measure in held.evaluation.measures.zones}
    rows = [
        [
            held.template.zone_by_id[zone].name,
            Cell(markup=_coverage(found[zone].well_share, found[zone].seen_share, found[zone].hidden_share)),
            figures.fraction(found[zone].seen_share),
            figures.fraction(found[zone].well_share),
            figures.fraction(found[zone].hidden_share),
        ]
        for zone in zones
    ]
    return table(
        ["Load-bearing zone", "coverage", "shown", "well enough", "hidden"],
        rows,
        numeric=frozenset({2, 3, 4}),
        caption=f"Bar: full is shown well enough to find a hole of {held.survey.settings.smallest_hole_mm:g} mm, dots "
        "are shown less well, lines are shown but hidden, hatching is shown by nobody.",
    )


def _coverage(well: float, seen: float, hidden: float) -> str:
    never = max(0.0, 1.0 - seen - hidden)
    title = (
        f"{100 * seen:.0f} % shown, {100 * well:.0f} % well enough, {100 * hidden:.0f} % hidden, "
        f"{100 * never:.0f} % never seen"
    )
    parts = (("seen", well), ("poor", max(0.0, seen - well)), ("hid", hidden), ("never", never))
    inner = "".join(f'<i class="{name}" style="width:{100 * share:.2f}%"></i>' for name, share in parts)
    return f'<span class="cm-bar3" role="img" aria-label="{title}">{inner}</span>'


def _map(held: state.OpenSurvey) -> None:
    zones = held.template.zone_by_id
    names: dict[str, str] = {_ALL_ZONES: "all alike"}
    names.update({str(z.id): f"{n} {z.name}" for n, z in enumerate(held.template.zones, start=1)})
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    with left:
        st.selectbox("Show a zone", list(names), format_func=lambda z: names[z], key="highlight", on_change=_unlight)
    with right:
        turn = st.toggle("Front to the right", key="map_turn")
    shows = st.segmented_control("The map shows", _MAPS, default=_MAPS[0], key="map_shows")
    width = 760.0 if turn else _UPRIGHT_PX
    if shows == _MAPS[1]:
        show_svg(detail_map_svg(held.evaluation, width=width, turn=turn))
        return
    chosen = st.session_state["highlight"]
    lit: list[ZoneId | MarkId] = [ZoneId(chosen)] if chosen in zones else []
    lit += st.session_state.get("lit_marks", ())
    show_svg(map_svg(held.template, held.evaluation, highlight=lit, turn=turn, width=width, prefix="outmap"))


def _zones(held: state.OpenSurvey) -> None:
    st.subheader("Zones")
    chosen = st.segmented_control("Which zones", _ZONE_FILTERS, default=_ZONE_FILTERS[0], key="zone_filter")
    rows = [row for row in zone_rows(held.evaluation) if _wanted(row, str(chosen))]
    if not rows:
        lead("No zone is of that sort.")
        return
    show(
        _finding_table(
            "Zone", [(f"{row.number} {row.found.name}", f"{row.role}, {row.sheet}", row.found) for row in rows]
        )
    )


def _wanted(row: ZoneRow, chosen: str) -> bool:
    match chosen:
        case "Load-bearing":
            return row.is_load_bearing
        case "With marks":
            return row.found.affected.is_marked
        case "Not fully shown":
            return row.found.seen_share < 0.995
        case _:
            return True


def _groups(held: state.OpenSurvey) -> None:
    with st.expander("Totals by side, role and part"):
        rows: Sequence[GroupRow] = group_rows(held.evaluation)
        show(_finding_table("Together", [(row.found.name, counted(row.zones, "zone"), row.found) for row in rows]))
        lead("A place marked in several photos counts once; the intervals keep what the marks of one photo share.")


def _finding_table(head: str, rows: Sequence[tuple[str, str, FindingRow]]) -> str:
    body = []
    for name, under, found in rows:
        stages = ", ".join(f"{stage} {area}" for stage, area in found.stages)
        patches = f"{found.patch_count} {'patch' if found.patch_count == 1 else 'patches'}"
        on_patch = f", {found.patch_on_patch} on a patch" if found.patch_on_patch else ""
        patch = _area(found.patch, patches + on_patch if found.patch_count else "")
        body.append(
            [
                Cell(name, small=f"{under}, {found.area}"),
                _area(found.affected, counted(found.pieces, "piece") if found.pieces else ""),
                _area(found.rust, stages),
                _area(found.filler),
                patch,
                Cell(markup=_coverage(found.well_share, found.seen_share, found.hidden_share),
                     small=f"{found.seen} seen ({found.well} well), {found.hidden} hidden, {found.never_seen} never"),
            ]
        )  # fmt: skip
    return table(
        [head, "affected", "rust", "filler", "patch", "coverage"],
        body,
        numeric=frozenset({1, 2, 3, 4}),
        caption="Area in cm² with its 95 % interval and its share of the zone. Affected is rust, filler and patch "
        "together, each place once. A photo shows a lower bound.",
    )


def _area(cell: AreaCell, more: str = "") -> Cell:
    if not cell.is_marked:
        return Cell(cell.value)
    # breaks only between the parts: a figure stays with its unit, the column stays narrow
    parts = [cell.interval, cell.share, *more.split(", ")]
    small = "; ".join(part.replace(" ", "\u00a0") for part in parts if part)
    return Cell(cell.value, small=small)


def _mountings(held: state.OpenSurvey) -> None:
    rows = mounting_rows(held.evaluation)
    if not rows:
        return
    with st.expander(f"Marks near mountings: {sum(bool(row.within) for row in rows)} mountings within 300 mm"):
        show(
            table(
                ["Mounting", "kind", "within 300 mm", "near miss"],
                [[row.mounting, row.kind, _near(row.within), _near(row.beyond)] for row in rows],
                caption="Distance along the body. 300 mm: Great Britain, MOT inspection manual, Appendix A section 2, "
                "'within 30 cm of the mounting location'. Other places have other rules.",
            )
        )


def _near(marks: Sequence[NearMark]) -> str:
    return "; ".join(f"mark {near.number}, {near.mark}: {near.distance}" for near in marks)


def _cautions() -> None:
    with st.expander("Cautions before any repair"):
        note([f"{c.title}. {c.text} (Source: {c.source})" for c in CAUTIONS], "warn")
