"""The limits in force: what each rule asks, where it comes from, and changing it."""

from __future__ import annotations

from collections.abc import Sequence
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

_ERRORS = (
    ("click_sigma_px", "One clicked point", "px of the photo", 100.0),
    ("outline_sigma_px", "Where the edge of a mark is drawn", "px of the photo", 100.0),
)
_SEEN = (
    ("smallest_hole_mm", "Smallest hole that must have been visible", "mm", 1000.0),
    ("pixels_across", "Pixels across it", "px", 100.0),
    ("coarsest_mm_per_px", "Coarsest detail that counts as seen at all", "mm per px", 100.0),
    ("picture_mm_per_px", "Scale of the whole picture", "mm per px", 20.0),
)
"""Setting, what it is, unit, largest value offered."""


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
        _sizes(held, _ERRORS)
    with st.expander("What counts as seen, and how large the whole picture is"):
        lead(
            "A place is seen well enough when some photo shows it, not hidden, with so many pixels across the smallest "
            "hole, in the light, not blurred wider than the hole and not looked at flatter than 70 degrees. Two pixels "
            "are one line pair: the limit of detection (Johnson 1958, from memory); 5 mm is common practice. "
            "Load-bearing zones that were not seen well enough keep the outcome from being clear."
        )
        _sizes(held, _SEEN)


def _sizes(held: state.OpenSurvey, sizes: Sequence[tuple[str, str, str, float]]) -> None:
    for column, (name, title, unit, most) in zip(st.columns(len(sizes)), sizes, strict=True):
        with column:
            key = f"size_{name}"
            synced(key, float(getattr(held.survey.settings, name)))
            st.number_input(f"{title}, {unit}", min_value=0.1, max_value=most, step=0.5, format="%.1f", key=key,
                            on_change=_save_size, args=(held, name))  # fmt: skip


def _save_size(held: state.OpenSurvey, name: str) -> None:
    changed: dict[str, Any] = {name: float(st.session_state[f"size_{name}"])}

    def save(file: SurveyFile) -> None:
        file.set_settings(replace(held.survey.settings, **changed), expected_revision=file.known_revision)

    state.change(held, "settings changed", save)


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
