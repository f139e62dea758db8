"""Assessment: rules as data, what they read, and what the survey comes to."""

from __future__ import annotations

from corromap.assessment.guidance import ADVICE, ALWAYS, CAUTIONS, Caution
from corromap.assessment.outcome import Assessment, Doubt, Outcome, RuleResult, Verdict, assess
from corromap.assessment.rules import MeasureName, OutcomeKind, Rule, RuleSet, Scope, Unit

__all__ = [
    "ADVICE",
    "ALWAYS",
    "CAUTIONS",
    "Assessment",
    "Caution",
    "Doubt",
    "MeasureName",
    "Outcome",
    "OutcomeKind",
    "Rule",
    "RuleResult",
    "RuleSet",
    "Scope",
    "Unit",
    "Verdict",
    "assess",
]
