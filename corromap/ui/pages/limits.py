"""The limits in force: what each rule asks, where it comes from, and changing it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from corromap.assessment import Rule, RuleSet, Unit
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.ui import state
from corromap.ui.markup import esc, lead, note, show
from corromap.ui.widgets import synced

__all__ = ["show_limits"]

_SIZES = (
    ("click_sigma_px", "One clicked point", "px of the photo"),
    ("outline_sigma_px", "Where the edge of a mark is drawn", "px of the photo"),
    ("coarsest_mm_per_px", "Coarsest detail that counts as seen", "mm per px"),
)


def show_limits(held: state.OpenSurvey) -> None:
    """Draw the list of rules with their limits.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    rules = held.record.rules
    departures = rules.departures_from(default_rules())
    with st.expander(f"Limits in force: {rules.name}" + (f", {len(departures)} changed" if departures else "")):
        lead(
            "Limits marked as house rules are this program's own, from common practice; set them to what your house "
            "works by. The report prints every limit that differs from the default."
        )
        if departures:
            note(departures, "warn")
            st.button(
                "Back to the default limits", key="rules_default", on_click=_set_rules, args=(held, default_rules())
            )
        for rule in rules.rules:
            _rule(held, rule)
    with st.expander("Error sizes the intervals stand on"):
        lead("Standard errors, from common practice. Larger ones widen every interval; the report prints them.")
        for column, (name, title, unit) in zip(st.columns(3), _SIZES, strict=True):
            with column:
                _size(held, name, f"{title}, {unit}")


def _size(held: state.OpenSurvey, name: str, title: str) -> None:
    key = f"size_{name}"
    synced(key, float(getattr(held.survey.settings, name)))
    st.number_input(
        title, min_value=0.1, max_value=100.0, step=0.5, format="%.1f", key=key, on_change=_save_size, args=(held, name)
    )


def _save_size(held: state.OpenSurvey, name: str) -> None:
    changed: dict[str, Any] = {name: float(st.session_state[f"size_{name}"])}

    def save(file: SurveyFile) -> None:
        file.set_settings(replace(held.survey.settings, **changed), expected_revision=file.known_revision)

    state.change(held, "error size changed", save)


def _rule(held: state.OpenSurvey, rule: Rule) -> None:
    key = f"limit_{rule.id}"
    synced(key, float(rule.at_least))
    house = "house rule" if rule.house_rule else "published"
    text, field = st.columns([4, 1], vertical_alignment="center")
    with text:
        show(
            f"<b>{esc(rule.title)}</b> <span class='cm-tag{' is-house' if rule.house_rule else ''}'>{house}</span>"
            f" <span class='cm-tag'>{esc(rule.outcome.value)}</span><br><span class='cm-lead'>{esc(rule.source)}</span>"
        )
    with field:
        whole = rule.unit is Unit.PIECES
        st.number_input(
            f"from, {rule.unit.value}",
            min_value=1.0 if whole else 0.1,
            max_value=100.0 if rule.unit is Unit.PERCENT else 1e6,
            step=1.0 if whole else 0.5,
            format="%.0f" if whole else "%.1f",
            key=key,
            disabled=not rule.house_rule,
            on_change=_save,
            args=(held, rule, key),
        )


def _save(held: state.OpenSurvey, rule: Rule, key: str) -> None:
    limit = float(st.session_state[key])
    rules = held.record.rules
    changed = tuple(replace(r, at_least=limit) if r.id == rule.id else r for r in rules.rules)
    _set_rules(held, replace(rules, rules=changed))


def _set_rules(held: state.OpenSurvey, rules: RuleSet) -> None:
    def save(file: SurveyFile) -> None:
        file.set_rules(rules, expected_revision=file.known_revision)

    state.change(held, "limits changed", save)
