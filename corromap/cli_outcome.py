"""The outcome as the command line prints it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from corromap.assessment import ADVICE, ALWAYS, OutcomeKind, Rule, RuleResult
from corromap.evaluation import Evaluation
from corromap.measures import ZoneMeasure
from corromap.report.findings import PATCH_FAMILY, RuleRow, mark_numbers, rule_row
from corromap.report.what_if_rows import what_if_rows
from corromap.template import Role

__all__ = ["print_outcome"]

ALSO = 3
"""Places named beside the first that reaches a limit; the report lists them all. House rule."""


def print_outcome(evaluation: Evaluation, console: Console, *, every: bool = False) -> None:
    """Print the outcome, its reasons, the margins and what to do next.

    Parameters
    ----------
    evaluation : Evaluation
        What to show.
    console : rich.console.Console
        Where.
    every : bool
        Each place that reaches a limit, not the first ones of each rule.
    """
    result = evaluation.assessment.outcome
    console.print(f"[bold]Outcome: {result.kind.value}.[/bold] {escape(result.headline)}")
    console.print(_reasons(evaluation, every=every))
    if result.unseen_zones:
        console.print(f"Not shown well enough, {len(result.unseen_zones)} load-bearing zones:")
        for line in _unseen_lines(evaluation):
            console.print(f"  {escape(line)}")
    console.print("Too many patches, nearest to each limit:")
    for row in _rows(evaluation, evaluation.assessment.margins(PATCH_FAMILY)):
        left = "limit reached" if row.is_reached else row.margin
        console.print(f"  {escape(row.title)}: {escape(row.value)}, {escape(row.place)}; {escape(left)}.")
    console.print("What would change it:")
    for changed in what_if_rows(evaluation) or (None,):
        nothing = "no single uncertain thing; the outcome does not hang on one."
        console.print(f"  {escape(f'{changed.text}: {changed.outcome}.' if changed else nothing)}")
    console.print("Next:")
    for advice in (*ADVICE[result.kind], *ALWAYS):
        console.print(f"  {escape(advice)}")


def _rows(evaluation: Evaluation, results: Sequence[RuleResult]) -> Iterator[RuleRow]:
    numbers = mark_numbers(evaluation)
    return (rule_row(result, numbers) for result in results)


def _reasons(evaluation: Evaluation, *, every: bool) -> Table:
    """One entry for a rule: its worst place as a sentence, the others beside it.

    A badly rusted car reaches seventy limits of a dozen rules; one line each
    cannot be read in a terminal.
    """
    # what nobody has shown is listed together, by panel: there may be dozens
    told = [r for r in evaluation.assessment.outcome.reasons if r.rule.outcome is not OutcomeKind.NOT_SHOWN]
    by_rule: dict[str, list[RuleResult]] = {}
    for result in told:
        by_rule.setdefault(result.rule.id, []).append(result)
    lines = Table.grid(padding=(0, 1, 0, 1))
    for first, *others in by_rule.values():
        label = f"[dim]\\[{_label(first.rule)}; asks for {first.rule.outcome.value}][/dim]"
        lines.add_row("-", f"{escape(first.sentence)} {label}{_also(evaluation, others, every=every)}")
    for doubt in evaluation.assessment.outcome.uncertain:
        place, title = escape(doubt.zone_name), escape(doubt.rule.title)
        lines.add_row("?", f"{place}: {title}: the interval straddles the limit.")
    return lines


def _also(evaluation: Evaluation, others: Sequence[RuleResult], *, every: bool) -> str:
    named = others if every else others[:ALSO]
    places = [f"{row.place} ({row.value})" for row in _rows(evaluation, named)]
    if len(others) > len(named):
        places.append(f"{len(others) - len(named)} more")
    return f"\n[dim]also[/dim] {escape('; '.join(places))}" if places else ""


def _label(rule: Rule) -> str:
    return "house rule" if rule.house_rule else "published"


def _unseen_lines(evaluation: Evaluation) -> Iterator[str]:
    """Group the unseen load-bearing zones by panel, whole panels in one line."""
    unseen = set(evaluation.assessment.outcome.unseen_zones)
    measures = {measure.zone: measure for measure in evaluation.measures.zones}
    wholly: list[str] = []
    for panel in evaluation.template.panels:
        primary = [zone for zone in panel.zones if zone.role is Role.PRIMARY]
        missing = [zone for zone in primary if zone.id in unseen]
        if missing and all(not measures[zone.id].seen_share for zone in primary):
            wholly.append(panel.name)
        else:
            yield from (f"{zone.name}: {_shown(measures[zone.id])}" for zone in missing)
    if wholly:
        yield "Never shown: " + ", ".join(wholly)


def _shown(measure: ZoneMeasure) -> str:
    shown, well = 100 * measure.seen_share, 100 * measure.well_share
    return f"{shown:.0f} % shown" + (f", {well:.0f} % well enough" if round(shown) else "")
