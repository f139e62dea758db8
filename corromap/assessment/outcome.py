"""From rules and measures to an outcome that can be defended.

The outcome is the most severe one that a met rule asks for. It is never
better than the evidence: whatever the rule set says, a load-bearing zone of
which more than half was not seen well cannot leave the survey ``clear``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from corromap.assessment.reading import Reading, readings
from corromap.assessment.rules import OutcomeKind, Rule, RuleSet, Unit
from corromap.frames import MarkId, ZoneId
from corromap.measures import Measures
from corromap.messages import joined, message
from corromap.template import BodyTemplate, Role

__all__ = ["Assessment", "Doubt", "Outcome", "RuleResult", "Verdict", "assess", "outcome_of"]

UNSEEN_CAP = 0.5
"""Share of a load-bearing zone that, not seen well, bars ``clear`` under any rule set. Ours."""


class Verdict(StrEnum):
    """What one rule comes to at one place."""

    MET = "met"
    NOT_MET = "not met"
    CANNOT_TELL = "cannot tell"


class Doubt(StrEnum):
    """Why a rule cannot be told."""

    INTERVAL = "the interval straddles the limit"
    COVERAGE = "too little was seen well enough"
    NOBODY_LOOKED = "nobody looked"


@dataclass(frozen=True, slots=True)
class RuleResult:
    """One rule at one place.

    Parameters
    ----------
    rule : Rule
        The rule.
    reading : Reading
        What it read, with interval and marks.
    zone_name : str
        As printed; ``whole underside`` where the rule sums over all.
    doubt : Doubt or None
        Why it cannot be told.
    """

    rule: Rule
    reading: Reading
    zone_name: str
    doubt: Doubt | None

    @property
    def verdict(self) -> Verdict:
        """Whether the limit is met; ``cannot tell`` where there is a doubt."""
        if self.doubt is not None:
            return Verdict.CANNOT_TELL
        return Verdict.MET if self.is_reached else Verdict.NOT_MET

    @property
    def margin(self) -> float:
        """Limit minus value in the rule's unit; zero or less when reached."""
        return self.rule.at_least - self.reading.value

    @property
    def sentence(self) -> str:
        """As printed."""
        return message(
            self.rule.sentence,
            zone=message(self.zone_name),
            value=_printed(self.reading.value, self.rule.unit),
            limit=f"{self.rule.at_least:g}",
            low=_printed(self.reading.low, self.rule.unit),
            high=_printed(self.reading.high, self.rule.unit),
        )

    @property
    def is_reached(self) -> bool:
        """Whether the central value reaches the limit."""
        return self.margin <= 0

    @property
    def marks(self) -> tuple[MarkId, ...]:
        """Marks the reading comes from."""
        return self.reading.marks

    @property
    def zone(self) -> ZoneId | None:
        """The zone, or None for the whole underside."""
        return self.reading.zone


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the whole survey comes to.

    Parameters
    ----------
    kind : OutcomeKind
        The most severe outcome asked for.
    headline : str
        One sentence.
    reasons : tuple of RuleResult
        Rules whose limit is reached, most severe first.
    uncertain : tuple of RuleResult
        Rules whose interval straddles the limit.
    unseen_zones : tuple of ZoneId
        Load-bearing zones with too little shown to judge.
    """

    kind: OutcomeKind
    headline: str
    reasons: tuple[RuleResult, ...]
    uncertain: tuple[RuleResult, ...]
    unseen_zones: tuple[ZoneId, ...]


@dataclass(frozen=True, slots=True)
class Assessment:
    """Every rule at every place, and the outcome.

    Parameters
    ----------
    rules : RuleSet
        The set in force.
    results : tuple of RuleResult
        In the order of the rules, then of the zones.
    outcome : Outcome
        What it comes to.
    """

    rules: RuleSet
    results: tuple[RuleResult, ...]
    outcome: Outcome

    def margins(self, family: str) -> tuple[RuleResult, ...]:
        """For each rule of a family, the place nearest to its limit.

        Parameters
        ----------
        family : str
            As in the rule set, for example ``too many patches``.

        Returns
        -------
        tuple of RuleResult
            One a rule, in the order of the rules.
        """
        chosen = [rule for rule in self.rules.rules if rule.family == family]
        nearest = []
        for rule in chosen:
            places = [result for result in self.results if result.rule.id == rule.id]
            if places:
                nearest.append(min(places, key=lambda result: result.margin))
        return tuple(nearest)


def assess(measures: Measures, template: BodyTemplate, rules: RuleSet, *, least: Measures | None = None) -> Assessment:
    """Apply a rule set to the measures of a survey.

    Parameters
    ----------
    measures : Measures
        Of the survey.
    template : BodyTemplate
        Names zones and roles.
    rules : RuleSet
        The limits in force.
    least : Measures, optional
        Without the marks of which somebody could not tell whether they are
        there: intervals reach down to what is left.

    Returns
    -------
    Assessment
        Every result and the outcome.
    """
    enough = _least_seen(rules)
    results = tuple(
        _judge(rule, reading, template, enough)
        for rule in rules.rules
        for reading in _read(rule, measures, template, least)
    )
    return Assessment(rules, results, outcome_of(results, measures, template))


def _read(rule: Rule, measures: Measures, template: BodyTemplate, least: Measures | None) -> tuple[Reading, ...]:
    found = readings(rule, measures, template)
    if least is None:
        return found
    lower = readings(rule, least, template)
    return tuple(replace(one, low=min(one.low, other.low)) for one, other in zip(found, lower, strict=True))


def _judge(rule: Rule, reading: Reading, template: BodyTemplate, least_seen: float) -> RuleResult:
    name = template.zone_by_id[reading.zone].name if reading.zone else reading.place or "whole underside"
    return RuleResult(rule, reading, name, _doubt(rule, reading, least_seen))


def _doubt(rule: Rule, reading: Reading, least_seen: float) -> Doubt | None:
    if reading.low < rule.at_least <= reading.high and reading.low < reading.high:
        return Doubt.INTERVAL
    if reading.value >= rule.at_least or rule.measure.is_evidence:
        return None
    if not reading.is_known:
        return Doubt.NOBODY_LOOKED
    return Doubt.COVERAGE if reading.seen_well < least_seen else None


def _least_seen(rules: RuleSet) -> float:
    """Share that must have been seen well for "not met" to be said: what the set's own evidence rules ask for."""
    shares = [rule.at_least / 100.0 for rule in rules.rules if rule.measure.is_evidence and rule.unit is Unit.PERCENT]
    return 1.0 - min([*shares, UNSEEN_CAP])


def _printed(value: float, unit: Unit) -> str:
    if unit is Unit.PIECES:
        return f"{value:.0f}"
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}"


def outcome_of(results: tuple[RuleResult, ...], measures: Measures, template: BodyTemplate) -> Outcome:
    """Build the outcome from the results of all rules.

    Parameters
    ----------
    results : tuple of RuleResult
        Every rule at every place.
    measures : Measures
        What was seen of each zone.
    template : BodyTemplate
        Names the roles.

    Returns
    -------
    Outcome
        The most severe that a reached rule asks for, never better than the evidence.
    """
    reached = [result for result in results if result.is_reached]
    reached.sort(key=lambda result: (-result.rule.outcome.severity, result.margin / result.rule.at_least))
    unseen = _unseen(reached, measures, template)
    kinds = [result.rule.outcome for result in reached] + ([OutcomeKind.NOT_SHOWN] if unseen else [])
    kind = max(kinds, key=lambda item: item.severity, default=OutcomeKind.CLEAR)
    uncertain = tuple(result for result in results if result.doubt is Doubt.INTERVAL)
    return Outcome(kind, _headline(kind, reached, len(unseen)), tuple(reached), uncertain, unseen)


def _unseen(reached: list[RuleResult], measures: Measures, template: BodyTemplate) -> tuple[ZoneId, ...]:
    by_rule = {r.zone for r in reached if r.rule.measure.is_evidence and r.zone is not None}
    return tuple(
        zone.zone
        for zone in measures.zones
        if template.zone_by_id[zone.zone].role is Role.PRIMARY
        and (zone.zone in by_rule or 1.0 - zone.well_share > UNSEEN_CAP)
    )


def _headline(kind: OutcomeKind, reached: list[RuleResult], unseen: int) -> str:
    worst = [result for result in reached if result.rule.outcome is kind]
    places = len({result.zone for result in worst if result.zone is not None})
    too_little = _too_little(unseen)
    if kind is OutcomeKind.STOP:
        patched = any(result.rule.family == "too many patches" for result in worst)
        much, other = message("Too much patching to go on as it stands."), message("Do not go on as it stands.")
        return joined(" ", [much if patched else other, *too_little])
    if kind is OutcomeKind.REPAIR:
        return joined(" ", [_repair_where(places), *too_little])
    if kind is OutcomeKind.NOT_SHOWN:
        return joined(" ", [message("No outcome yet:"), *too_little])
    return message(
        "No limit is reached in what was shown. Photos show a lower bound: closed sections rust from within."
    )


def _too_little(unseen: int) -> list[str]:
    if not unseen:
        return []
    if unseen == 1:
        return [message("1 load-bearing zone not shown well enough to judge.")]
    return [message("{count} load-bearing zones not shown well enough to judge.", count=unseen)]


def _repair_where(places: int) -> str:
    if not places:
        return message("Repair by a qualified welder is called for.")
    if places == 1:
        return message("Repair by a qualified welder is called for in 1 zone.")
    return message("Repair by a qualified welder is called for in {count} zones.", count=places)
