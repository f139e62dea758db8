"""The rule set in force: each rule with what it reads now, its limit to change, and what a change changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from corromap.assessment import Comparison, ResultChange, Rule, RuleResult, RuleSet, Unit, assess, compare
from corromap.errors import RuleSetError
from corromap.io.rules import default_rules, parse_rules, rules_text
from corromap.io.survey_file import SurveyFile
from corromap.report.findings import RuleRow, rule_row
from corromap.ui import state
from corromap.ui.markup import Cell, esc, lead, note, show, table
from corromap.ui.steps import counted
from corromap.ui.widgets import synced

__all__ = ["show_rule_set"]

_CHANGES = "rule_changes"
_MOST_CHANGES = 12


def show_rule_set(held: state.OpenSurvey) -> None:
    """Draw the rules with their tallies, and let limits and the whole set be changed.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    rules = held.record.rules
    departures = rules.departures_from(default_rules())
    changed = _last_change(held)
    title = f"Rules in force: {rules.name}, version {rules.version}"
    with st.expander(title + (f", {len(departures)} changed" if departures else ""), expanded=changed is not None):
        lead(
            "Limits marked as house rules are this program's own, from common practice; set them to what your house "
            "works by. The report prints the set's name and version and every limit that differs from the default."
        )
        if changed is not None:
            _what_changed(changed)
        if departures:
            note(departures, "warn")
        _whole_set(held, rules, has_departures=bool(departures))
        nearest = {result.rule.id: result for family in _families(rules) for result in _nearest(held, family)}
        for family in _families(rules):
            show(f"<h4 class='cm-family'>{esc(family[:1].upper() + family[1:])}</h4>")
            for rule in rules.rules:
                if rule.family == family:
                    _rule(held, rule, nearest.get(rule.id))


def _families(rules: RuleSet) -> list[str]:
    return list(dict.fromkeys(rule.family for rule in rules.rules))


def _nearest(held: state.OpenSurvey, family: str) -> tuple[RuleResult, ...]:
    return held.evaluation.assessment.margins(family)


def _what_changed(comparison: Comparison) -> None:
    """Say what the last change of a rule changed, rule by rule."""
    before, after = comparison.before.outcome.kind.value, comparison.after.outcome.kind.value
    said = (
        f"Outcome: <b>{esc(after)}</b>, was {esc(before)}." if before != after else f"Outcome: {esc(after)}, as before."
    )
    number = len(comparison.changes)
    show(f"<p class='cm-changed'>{said} {counted(number, 'result')} changed.</p>")
    if number:
        more = f"and {number - _MOST_CHANGES} more" if number > _MOST_CHANGES else ""
        rows = [_change_cells(change) for change in comparison.changes[:_MOST_CHANGES]]
        show(table(["Rule and place", "value", "before", "now"], rows, numeric=frozenset({1}), caption=more))


def _change_cells(change: ResultChange) -> Sequence[Cell | str]:
    row = rule_row(change.shown, {})
    before, after = (_side(rule_row(side, {})) if side else None for side in (change.before, change.after))
    value = Cell(row.value, small=row.interval)
    return [Cell(row.title, small=row.place), value, before or Cell("not in the set"), after or Cell("left out")]


def _side(row: RuleRow) -> Cell:
    return Cell(f"{row.verdict}: {row.outcome}" if row.is_reached else row.verdict, small=row.limit)


def _whole_set(held: state.OpenSurvey, rules: RuleSet, *, has_departures: bool) -> None:
    """Copy the set to a file, choose another, or go back to the default."""
    with st.popover("Rule set: copy, choose, name", icon=":material/rule:"):
        st.download_button(  # holds no photo and nothing of the car
            "Copy it to a file",
            rules_text(rules),
            file_name=f"{rules.id}.toml",
            mime="application/toml",
            key="rules_copy",
        )
        round_ = st.session_state.setdefault("rules_round", 0)
        key = f"rules_file_{round_}"
        st.file_uploader("Choose a rule file", type=["toml"], key=key, on_change=_choose, args=(held, key))
        synced("rules_name", rules.name)
        synced("rules_version", rules.version)
        st.text_input("Name", key="rules_name", max_chars=200, on_change=_rename, args=(held,))
        st.number_input("Version", min_value=1, step=1, key="rules_version", on_change=_rename, args=(held,))
        if has_departures:
            st.button("Back to the default rules", key="rules_default", on_click=_put, args=(held, default_rules()))


def _choose(held: state.OpenSurvey, key: str) -> None:
    given = st.session_state.get(key)
    if given is None:
        return
    try:
        rules = parse_rules(given.getvalue(), given.name)
    except RuleSetError as error:
        state.say(f"Not chosen: {error}", "bad")
    else:
        _put(held, rules)
    st.session_state["rules_round"] += 1  # an empty field again


def _rename(held: state.OpenSurvey) -> None:
    name, version = str(st.session_state["rules_name"]).strip(), int(st.session_state["rules_version"])
    if name:
        _put(held, replace(held.record.rules, name=name, version=version))


def _rule(held: state.OpenSurvey, rule: Rule, nearest: RuleResult | None) -> None:
    key = f"limit_{rule.id}"
    synced(key, float(rule.at_least))
    house = "house rule" if rule.house_rule else "published"
    text, field = st.columns([4, 1], vertical_alignment="center")
    with text:
        tag = f"<span class='cm-tag{' is-house' if rule.house_rule else ''}'>{house}</span>"
        show(
            f"<b>{esc(rule.title)}</b> {tag} <span class='cm-tag'>{esc(rule.outcome.value)}</span>{_tally(nearest)}"
            f"<br><span class='cm-lead'>{esc(rule.source)}</span>"
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
            on_change=_save_limit,
            args=(held, rule, key),
        )


def _tally(nearest: RuleResult | None) -> str:
    """Say what the rule reads now at the place nearest to its limit."""
    if nearest is None:
        return ""
    row = rule_row(nearest, {})
    told = row.verdict if row.verdict.startswith("cannot tell") and not row.is_reached else row.margin
    return f"<br><span class='cm-tally'>now {esc(row.value)}, {esc(row.place)}: {esc(told)}</span>"


def _save_limit(held: state.OpenSurvey, rule: Rule, key: str) -> None:
    limit = float(st.session_state[key])
    rules = held.record.rules
    _put(held, replace(rules, rules=tuple(replace(r, at_least=limit) if r.id == rule.id else r for r in rules.rules)))


def _put(held: state.OpenSurvey, rules: RuleSet) -> None:
    """Put a set in force and keep what it changes, to be shown at once."""
    before = held.evaluation

    def save(file: SurveyFile) -> None:
        file.set_rules(rules, expected_revision=file.known_revision)

    if state.change(held, "rules changed", save):
        after = assess(before.measures, before.template, rules)
        st.session_state[_CHANGES] = (held.key, held.file.known_revision, compare(before.assessment, after))


def _last_change(held: state.OpenSurvey) -> Comparison | None:
    """Return what the last change of the rules changed, as long as nothing else was changed since."""
    match st.session_state.get(_CHANGES):
        case (held.key, held.record.revision, Comparison() as comparison):
            return comparison
        case _:
            return None
