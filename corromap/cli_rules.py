"""Rule sets on the command line: show, copy, choose for a survey."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from corromap.assessment import Comparison, RuleSet, assess, compare
from corromap.cli_tables import CLI_AUTHOR
from corromap.io.opened import evaluated
from corromap.io.rules import default_rules, load_rules, write_rules
from corromap.io.survey_file import SurveyFile
from corromap.report.findings import rule_row

__all__ = ["choose_rules", "copy_rules", "show_rules"]

DEFAULT = "default"
"""Names the set that comes with the program."""


def rules_of(survey: Path | None) -> RuleSet:
    """Find the set in force.

    Parameters
    ----------
    survey : Path or None
        A survey file; None for the default set.

    Returns
    -------
    RuleSet
        The set.
    """
    if survey is None:
        return default_rules()
    return SurveyFile.open(survey, author=CLI_AUTHOR).load().rules


def show_rules(survey: Path | None, console: Console) -> None:
    """Print a rule set and where it differs from the default.

    Parameters
    ----------
    survey : Path or None
        Whose set; None for the default.
    console : rich.console.Console
        Where to.
    """
    rules = rules_of(survey)
    table = Table("rule", "from", "asks for", "source")
    for rule in rules.rules:
        house = " [dim]house rule[/dim]" if rule.house_rule else ""
        limit = f"{rule.at_least:g} {rule.unit.value}"
        table.add_row(escape(rule.title), limit, rule.outcome.value, escape(rule.source) + house)
    console.print(table)
    console.print(f"{escape(rules.name)} ({escape(rules.id)}), version {rules.version}: {len(rules.rules)} rules.")
    for departure in rules.departures_from(default_rules()):
        console.print(f"  differs from the default: {escape(departure)}")


def copy_rules(survey: Path | None, target: Path) -> None:
    """Write a rule set to a file that can be changed by hand.

    Parameters
    ----------
    survey : Path or None
        Whose set; None for the default.
    target : Path
        A new file.
    """
    write_rules(rules_of(survey), target)


def choose_rules(survey: Path, source: str, console: Console) -> None:
    """Put a rule set in force for a survey, and say what changes.

    Parameters
    ----------
    survey : Path
        The survey file.
    source : str
        A rule file, or ``default``.
    console : rich.console.Console
        Where to.

    Raises
    ------
    RuleSetError
        If the file is not a rule set; the survey is untouched.
    """
    rules = default_rules() if source == DEFAULT else load_rules(source)
    file, before = evaluated(survey, CLI_AUTHOR)
    after = assess(before.measures, before.template, rules)
    file.set_rules(rules, expected_revision=file.known_revision)
    console.print(f"{escape(rules.name)}, version {rules.version}, is in force.")
    for line in comparison_lines(compare(before.assessment, after)):
        console.print(f"  {escape(line)}")


def comparison_lines(comparison: Comparison) -> list[str]:
    """Say what changes, one line a rule and place.

    Parameters
    ----------
    comparison : Comparison
        Before and after.

    Returns
    -------
    list of str
        The outcome first.
    """
    before, after = comparison.before.outcome.kind.value, comparison.after.outcome.kind.value
    lines = [f"Outcome: {after}, was {before}." if before != after else f"Outcome: {after}, as before."]
    for change in comparison.changes:
        row = rule_row(change.shown, {})
        was = rule_row(change.before, {}).verdict if change.before else "not in the set"
        now = rule_row(change.after, {}).verdict if change.after else "left out"
        lines.append(f"{row.title}, {row.place}: {now}, was: {was}")
    return lines
