"""Page 6: what it would take to put the marked metal right."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from corromap.repair import Rate, Rates
from corromap.repair.rates import POLICY
from corromap.report.findings import mark_numbers
from corromap.report.repair_view import RepairView, ZoneRepairRow
from corromap.report.repair_words import POLICY_WORDS, WORK_WORDS
from corromap.ui import state
from corromap.ui.hand_out import grant_hand_outs, hand_out_url
from corromap.ui.markup import Cell, empty_state, esc, facts, lead, note, plain_md, show, show_svg, table
from corromap.ui.repair import OFFER_TITLES, plan_of, plan_offers, rates_of, save_rate, save_rates, view_of
from corromap.ui.steps import Page, placed_photos
from corromap.ui.widgets import next_button, synced

__all__ = ["show_page"]

_MOST_ZONES, _MOST_LINKS = 10, 6


def show_page(held: state.OpenSurvey) -> None:
    """Draw the page.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    st.header("Repair plan")
    if not placed_photos(held.registrations):
        empty_state("Nothing to plan yet.", "A plan needs photos placed on the body, and marks on them.")
        next_button(Page.PLACE if held.survey.photos else Page.PHOTOS)
        return
    rates, fault = rates_of(held)
    view = view_of(held)
    if fault:
        note([f"The survey's rates cannot be used, the usual ones are: {fault}"], "bad")
    note(view.notes, "warn")
    if not view.zones:
        empty_state("Nothing to cut or to clean is marked.", "What nobody has shown is not in this plan.")
    else:
        grant_hand_outs(held.token, plan_offers(held))
        _totals(view)
        _zones(view)
        _zone(held, view)
        _sheet(view)
        _order(view)
        _links(held)
    with st.expander("Cautions before any repair"):
        note([f"{title}. {text} (Source: {source})" for title, text, source in view.cautions], "warn")
    _rates(held, rates, view)
    next_button(Page.REPORT)


def _totals(view: RepairView) -> None:
    show(facts(view.totals))
    if view.currency_note:
        note([view.currency_note], "warn")


def _zones(view: RepairView) -> None:
    st.subheader("Zones with work")
    show(_zone_table(view.zones[:_MOST_ZONES]))
    more = view.zones[_MOST_ZONES:]
    if more:
        with st.expander(f"{len(more)} more zones"):
            show(_zone_table(more))


def _zone_table(zones: Sequence[ZoneRepairRow]) -> str:
    rows = [
        [
            Cell(f"{row.number} {row.name}", small=f"{row.method}, sheet {row.sheet}"),
            ", ".join(piece.label for piece in row.pieces),
            Cell(row.area, small=row.area_range) if row.pieces else Cell("", small=f"clean {row.clean}"),
            Cell(row.seam, small=f"{row.plugs} plugs") if row.pieces else "",
            row.hours,
            Cell(row.cost, small=_whole(row)),
        ]
        for row in zones
    ]
    return table(
        ["Zone", "pieces", "area cut", "seam weld", "hours", "cost"],
        rows,
        numeric=frozenset({2, 3, 4, 5}),
        caption="Ranges hold the 95 % interval of the marks and the spread of the rates. Access is shared by the zones "
        "of one part and side; the shell's own hours are in the total only.",
    )


def _whole(row: ZoneRepairRow) -> str:
    if not row.whole:
        return ""
    return f"whole zone {row.whole}{', cheaper' if row.is_whole_cheaper else ''}"


def _zone(held: state.OpenSurvey, view: RepairView) -> None:
    cut = {row.zone: row for row in view.zones if row.drawing}
    if not cut:
        return
    st.subheader("Drawing")
    if st.session_state.get("plan_zone") not in cut:
        st.session_state["plan_zone"] = next(iter(cut))
    st.selectbox("Zone", list(cut), format_func=lambda zone: f"{cut[zone].number} {cut[zone].name}", key="plan_zone")
    row = cut[st.session_state["plan_zone"]]
    show_svg(row.drawing, css_class="cm-drawing cm-plan")
    points = "; ".join(f"{label}: {name}" for label, name in row.references)
    lead(f"Drawn as {row.seen}; {row.right} is to the right, {row.up} is up. Millimetres. {points}.")
    show(
        table(
            ["Piece", "inside the cut line", "sheet to cut", "edges"],
            [[p.label, p.size, p.blank, Cell("; ".join(p.edges), small=_near(p.near))] for p in row.pieces],
        )
    )
    _marks(held, row.zone)
    note(row.notes)
    with st.expander("Corners from the datum points"):
        show(
            table(
                ["Corner", "from", "right", "up", "tapes"],
                [[f"{c.piece} {c.number}", c.from_, c.right, c.up, c.tapes] for c in row.corners],
                numeric=frozenset({2, 3}),
                caption="Millimetres; right and up as drawn, negative is left or down; tapes are straight distances.",
            )
        )


def _marks(held: state.OpenSurvey, zone: str) -> None:
    """Link the marks behind the pieces of a zone."""
    numbers, survey = mark_numbers(held.evaluation), held.survey
    pieces = [piece for piece in plan_of(held).pieces if piece.zone == zone]
    marks = sorted({mark for piece in pieces for mark in piece.marks}, key=lambda mark: numbers[mark])
    with st.container(horizontal=True, gap="small", key="cm_links_plan"):
        for mark in marks[:_MOST_LINKS]:
            photo = survey.photo_by_id[survey.mark_by_id[mark].photo]
            st.button(f"Mark {numbers[mark]}, {plain_md(photo.name)}", key=f"plan_{mark}", type="tertiary",
                      icon=":material/image:", on_click=state.go_to_mark, args=(photo.id, mark))  # fmt: skip
        if len(marks) > _MOST_LINKS:
            show(f'<span class="cm-lead">and {len(marks) - _MOST_LINKS} more marks</span>')


def _near(near: str) -> str:
    return f"within 300 mm: {near}" if near else ""


def _sheet(view: RepairView) -> None:
    if not view.sheet:
        return
    st.subheader("Sheet to have at hand")
    rows = [[s.thickness, s.pieces, s.net, s.bought, s.waste, s.sheets, s.cost] for s in view.sheet]
    heads = ["Thickness", "pieces", "into the car", "to buy", "waste", "sheets begun", "cost"]
    show(table(heads, rows, numeric=frozenset(range(1, 7))))


def _order(view: RepairView) -> None:
    st.subheader("Order of work")
    steps = "".join(f"<li><b>{esc(step.title)}.</b> {esc(step.text)}</li>" for step in view.steps)
    show(f'<ol class="cm-order">{steps}</ol>')


def _links(held: state.OpenSurvey) -> None:
    def item(kind: str) -> str:
        title, words = OFFER_TITLES[kind]
        css = "cm-get is-first" if kind == "welder" else "cm-get"
        link = (
            f'<a class="{css}" download data-get="{kind}" href="{esc(hand_out_url(held.token, kind))}">{esc(title)}</a>'
        )
        return f"<li>{link}<span>{esc(words)}</span></li>"

    st.subheader("For the welder")
    show(f'<ul class="cm-gets">{"".join(item(kind) for kind in OFFER_TITLES)}</ul>')


def _rates(held: state.OpenSurvey, rates: Rates, view: RepairView) -> None:
    changed = f", {len(view.departures)} changed" if view.departures else ""
    with st.expander(f"Rates and policy: {rates.name}{changed}"):
        lead(
            "Every value is common practice or has its source beside it; put in what your place charges. No exchange "
            "rate is applied: a new currency needs new amounts."
        )
        if view.departures:
            note(view.departures, "warn")
            st.button("Back to the usual rates", key="rates_usual", on_click=save_rates, args=(held, None))
        synced("rate_currency", rates.currency)
        st.text_input("Currency, three capital letters", key="rate_currency", max_chars=3, width=220,
                      on_change=save_rate, args=(held, ("currency",), "rate_currency"))  # fmt: skip
        st.markdown("**How cut lines are drawn**")
        for name, words in POLICY_WORDS.items():
            setting = rates.policy[name]
            unit, low, high = POLICY[name]
            text, field, _ = st.columns([4, 1, 1], vertical_alignment="center")
            with text:
                _said(words, unit, setting.source)
            with field:
                _number(held, ("policy", name, "value"), setting.value, f"{words}, {unit}", (float(low), float(high)))
        st.markdown("**Hours and money, from and to**")
        for name, words in WORK_WORDS.items():
            _rate(held, ("rate", name), words, rates.work[name], rates.currency)
        for part, rate in rates.access.items():
            _rate(held, ("access", part.value), f"Access, {part.value}", rate, rates.currency)
        for index, one in enumerate(rates.sheet):
            _rate(held, ("sheet", str(index)), f"Sheet up to {one.up_to_mm:g} mm", one.rate, rates.currency)


def _said(words: str, unit: str, source: str) -> None:
    show(f"<b>{esc(words)}</b>, {esc(unit)}<br><span class='cm-lead'>{esc(source)}</span>")


def _rate(held: state.OpenSurvey, path: tuple[str, ...], words: str, rate: Rate, currency: str) -> None:
    unit = rate.unit.replace("money", currency)
    text, low, high = st.columns([4, 1, 1], vertical_alignment="center")
    with text:
        _said(words, f"from and to, {unit}", rate.source)
    with low:
        _number(held, (*path, "low"), rate.low, f"{words}: from, {unit}", (0.0, 1e7))
    with high:
        _number(held, (*path, "high"), rate.high, f"{words}: to, {unit}", (0.0, 1e7))


def _number(
    held: state.OpenSurvey, path: tuple[str, ...], value: float, label: str, limits: tuple[float, float]
) -> None:
    key = "rate_" + "_".join(path).replace(" ", "-")
    synced(key, float(value))
    step = 0.01 if value < 1 else 0.5 if value < 20 else 5.0
    # the words stand beside it; the label is for those who hear the page
    st.number_input(label, min_value=limits[0], max_value=limits[1], step=step, format="%g", key=key,
                    label_visibility="collapsed", on_change=save_rate, args=(held, path, key))  # fmt: skip
