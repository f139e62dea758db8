"""What would change the outcome, as rows of printed text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from corromap.assessment import OutcomeKind, Supposed, WhatIf
from corromap.evaluation import Evaluation, what_if
from corromap.frames import MarkId
from corromap.messages import to_say
from corromap.report import figures
from corromap.report.findings import mark_numbers
from corromap.report.language import tr

__all__ = ["WhatIfRow", "what_if_rows"]

MOST_WHAT_IF = 3
"""Facts told: the two or three that matter most."""


@dataclass(frozen=True, slots=True)
class WhatIfRow:
    """Something uncertain that would change the outcome.

    Parameters
    ----------
    text, outcome : str
        What is supposed; what the survey would come to.
    marks : tuple of int
        Numbers of the marks it is about.
    """

    text: str
    outcome: str
    marks: tuple[int, ...]


_OUTCOME_WORDS = {
    OutcomeKind.CLEAR: to_say("clear in what was shown"),
    OutcomeKind.NOT_SHOWN: to_say("not shown"),
    OutcomeKind.REPAIR: to_say("repair"),
    OutcomeKind.STOP: to_say("stop"),
}


def what_if_rows(evaluation: Evaluation) -> tuple[WhatIfRow, ...]:
    """Say which uncertain things would change the outcome.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.

    Returns
    -------
    tuple of WhatIfRow
        The weightiest, three at most.
    """
    numbers = mark_numbers(evaluation)
    return tuple(_what_if(evaluation, one, numbers) for one in what_if(evaluation)[:MOST_WHAT_IF])


def _what_if(evaluation: Evaluation, one: WhatIf, numbers: Mapping[MarkId, int]) -> WhatIfRow:
    zones = evaluation.template.zone_by_id
    marks: tuple[MarkId, ...] = (one.mark,) if one.mark is not None else ()
    match one.supposed:
        case Supposed.UNSEEN_CLEAN:
            text = tr("If the {count} load-bearing zones not shown were seen and found clean", count=len(one.zones))
        case Supposed.UNSEEN_HOLED:
            text = tr("If a hole were found in a zone not shown, for example {zone}", zone=tr(zones[one.zones[0]].name))
        case Supposed.MARK_LEFT_OUT:
            text = tr("If mark {number} were not what it was taken for", number=numbers.get(marks[0], 0))
        case Supposed.VALUE_LOW | Supposed.VALUE_HIGH:
            text = _at_an_end(one)
            marks = one.result.marks if one.result else ()
    found = tuple(sorted(numbers[mark] for mark in marks if mark in numbers))
    return WhatIfRow(text, tr(_OUTCOME_WORDS[one.kind]), found)


def _at_an_end(one: WhatIf) -> str:
    if one.result is None:
        return ""
    rule, reading = one.result.rule, one.result.reading
    is_low = one.supposed is Supposed.VALUE_LOW
    value = figures.limit_value(reading.low if is_low else reading.high, rule.unit)
    return tr(
        "If '{rule}' ({place}) were at the end of its interval, {value}",
        rule=tr(rule.title),
        place=tr(one.result.zone_name),
        value=value,
    )
