"""What changes when a limit, a rule or the evidence changes."""

from __future__ import annotations

from dataclasses import dataclass

from corromap.assessment.outcome import Assessment, RuleResult
from corromap.errors import InvalidValueError
from corromap.frames import ZoneId

__all__ = ["Comparison", "ResultChange", "compare"]


@dataclass(frozen=True, slots=True)
class ResultChange:
    """One rule at one place, before and after.

    Parameters
    ----------
    before, after : RuleResult or None
        None where the rule was, or is, not in the set.
    """

    before: RuleResult | None
    after: RuleResult | None

    @property
    def shown(self) -> RuleResult:
        """The result to name it by."""
        found = self.after or self.before
        if found is None:
            raise InvalidValueError("a change needs a result before or after it")
        return found


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two assessments of one survey, side by side.

    Parameters
    ----------
    before, after : Assessment
        The two.
    changes : tuple of ResultChange
        Rules that came to be reached or no longer are, or whose verdict
        differs, in the order of the later set; those that were left out last.
    """

    before: Assessment
    after: Assessment
    changes: tuple[ResultChange, ...]

    @property
    def outcome_changes(self) -> bool:
        """Whether the outcome of the whole survey differs."""
        return self.before.outcome.kind is not self.after.outcome.kind


def compare(before: Assessment, after: Assessment) -> Comparison:
    """Compare two assessments rule by rule and place by place.

    Parameters
    ----------
    before, after : Assessment
        Of the same survey, under other rules or with other evidence.

    Returns
    -------
    Comparison
        What differs.
    """
    old, new = _by_place(before), _by_place(after)
    keys = [*new, *(key for key in old if key not in new)]
    pairs = [ResultChange(old.get(key), new.get(key)) for key in keys]
    return Comparison(before, after, tuple(pair for pair in pairs if _differs(pair)))


def _by_place(assessment: Assessment) -> dict[tuple[str, ZoneId | None], RuleResult]:
    return {(result.rule.id, result.zone): result for result in assessment.results}


def _differs(change: ResultChange) -> bool:
    before, after = change.before, change.after
    if before is None or after is None:
        return change.shown.is_reached
    return (before.verdict, before.is_reached, before.rule.outcome) != (
        after.verdict,
        after.is_reached,
        after.rule.outcome,
    )
