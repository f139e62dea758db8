"""What would change the outcome: each uncertain thing in turn at its bounds, the rules run again.

Nothing is projected again: measures and readings are changed where they are
uncertain. Unseen load-bearing zones are taken as seen and clean, and one of
them as holed; a value whose interval straddles its limit is taken at either
end; a mark that a reason stands on is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from corromap.assessment.outcome import Assessment, Doubt, RuleResult, assess, outcome_of
from corromap.assessment.rules import MeasureName, OutcomeKind
from corromap.frames import MarkId, ZoneId
from corromap.measures import Measures
from corromap.measures.structure import Counted, Patchwork
from corromap.template import BodyTemplate, Role

__all__ = ["Supposed", "WhatIf", "what_would_change"]

MOST_MARKS = 12
"""Marks that are left out in turn; a value that many marks make up hangs on none of them."""

_ONE_BY_ONE = frozenset({MeasureName.PATCH_COUNT, MeasureName.HOLED_COUNT, MeasureName.PATCHES_AT_MOUNTING})
"""Counts that fall by one at most when a mark is left out."""


class Supposed(StrEnum):
    """What is supposed of an uncertain thing."""

    UNSEEN_CLEAN = "unseen zones seen and clean"
    UNSEEN_HOLED = "an unseen zone holed"
    VALUE_LOW = "a value at the low end of its interval"
    VALUE_HIGH = "a value at the high end of its interval"
    MARK_LEFT_OUT = "a mark left out"


@dataclass(frozen=True, slots=True)
class WhatIf:
    """An uncertain thing at one of its bounds, and what the survey would come to.

    Parameters
    ----------
    supposed : Supposed
        What is supposed.
    kind : OutcomeKind
        The outcome then.
    from_kind : OutcomeKind
        The outcome now.
    zones : tuple of ZoneId
        Zones it is about.
    mark : MarkId or None
        The mark left out.
    result : RuleResult or None
        The rule whose value is taken at an end of its interval.
    """

    supposed: Supposed
    kind: OutcomeKind
    from_kind: OutcomeKind
    zones: tuple[ZoneId, ...] = ()
    mark: MarkId | None = None
    result: RuleResult | None = None

    @property
    def changes(self) -> bool:
        """Whether the outcome would be another."""
        return self.kind is not self.from_kind

    @property
    def weight(self) -> int:
        """How far the outcome would move; a worse one weighs more than a milder one as far away."""
        step = self.kind.severity - self.from_kind.severity
        return 2 * abs(step) + (step > 0)


def what_would_change(
    assessment: Assessment,
    measures: Measures,
    template: BodyTemplate,
    without: Callable[[MarkId], Measures] | None = None,
) -> tuple[WhatIf, ...]:
    """Run the rules again with each uncertain thing at its bounds.

    Parameters
    ----------
    assessment : Assessment
        As it is.
    measures : Measures
        It was made from.
    template : BodyTemplate
        The body.
    without : callable, optional
        Measures of the same survey without one mark; asked for at most
        `MOST_MARKS` marks, and only for those all deciding reasons stand on.

    Returns
    -------
    tuple of WhatIf
        Those that would change the outcome, the weightiest first; the first
        two or three are what matters most. Empty when no single uncertain
        thing would change it.
    """
    tried = [*_unseen(assessment, measures, template), *_intervals(assessment, measures, template)]
    if without is not None:
        tried += _marks(assessment, template, without)
    return tuple(sorted((one for one in tried if one.changes), key=lambda one: -one.weight))


def _again(assessment: Assessment, measures: Measures, template: BodyTemplate) -> OutcomeKind:
    return assess(measures, template, assessment.rules).outcome.kind


def _unseen(assessment: Assessment, measures: Measures, template: BodyTemplate) -> Iterator[WhatIf]:
    zones, now = assessment.outcome.unseen_zones, assessment.outcome.kind
    if not zones:
        return
    shown = replace(
        measures,
        zones=tuple(
            replace(zone, seen_share=1.0, hidden_share=0.0, never_seen_share=0.0, well_of_seen=1.0)
            if zone.zone in zones
            else zone
            for zone in measures.zones
        ),
    )
    yield WhatIf(Supposed.UNSEEN_CLEAN, _again(assessment, shown, template), now, zones)
    worst = next((zone.id for zone in template.zones if zone.id in zones and zone.role is Role.PRIMARY), zones[0])
    work: Mapping[str, Patchwork] = measures.structure.patchwork
    holed = replace(work.get(worst) or Patchwork(worst), holed=Counted(1))
    pierced = replace(measures, structure=replace(measures.structure, patchwork={**work, worst: holed}))
    yield WhatIf(Supposed.UNSEEN_HOLED, _again(assessment, pierced, template), now, (worst,))


def _intervals(assessment: Assessment, measures: Measures, template: BodyTemplate) -> Iterator[WhatIf]:
    now = assessment.outcome.kind
    for result in assessment.results:
        if result.doubt is not Doubt.INTERVAL:
            continue
        reading, is_down = result.reading, result.is_reached
        value = reading.low if is_down else reading.high
        moved = replace(result, reading=replace(reading, value=value))
        results = tuple(moved if one is result else one for one in assessment.results)
        kind = outcome_of(results, measures, template).kind
        supposed = Supposed.VALUE_LOW if is_down else Supposed.VALUE_HIGH
        yield WhatIf(supposed, kind, now, (result.zone,) if result.zone else (), result=result)


def _marks(assessment: Assessment, template: BodyTemplate, without: Callable[[MarkId], Measures]) -> Iterator[WhatIf]:
    for mark in _decisive_marks(assessment):
        kind = _again(assessment, without(mark), template)
        yield WhatIf(Supposed.MARK_LEFT_OUT, kind, assessment.outcome.kind, mark=mark)


def _decisive_marks(assessment: Assessment) -> list[MarkId]:
    """List the marks that every deciding reason stands on, and without which it may fall."""
    outcome = assessment.outcome
    decisive = [reason for reason in outcome.reasons if reason.rule.outcome is outcome.kind]
    if not decisive or any(r.rule.measure in _ONE_BY_ONE and r.margin <= -1.0 for r in decisive):
        return []
    common = set(decisive[0].marks).intersection(*(reason.marks for reason in decisive))
    return [mark for mark in decisive[0].marks if mark in common][:MOST_MARKS]
