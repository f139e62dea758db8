"""Assessment: rules as data, what they read, and what the survey comes to."""

from __future__ import annotations

from corromap.assessment.comparing import Comparison, ResultChange, compare
from corromap.assessment.guidance import ADVICE, ALWAYS, CAUTIONS, Caution
from corromap.assessment.outcome import Assessment, Doubt, Outcome, RuleResult, Verdict, assess
from corromap.assessment.rules import MeasureName, OutcomeKind, Rule, RuleSet, Scope, Unit
from corromap.assessment.sensitivity import Supposed, WhatIf, what_would_change

__all__ = [
    "ADVICE",
    "ALWAYS",
    "CAUTIONS",
    "Assessment",
    "Caution",
    "Comparison",
    "Doubt",
    "MeasureName",
    "Outcome",
    "OutcomeKind",
    "ResultChange",
    "Rule",
    "RuleResult",
    "RuleSet",
    "Scope",
    "Supposed",
    "Unit",
    "Verdict",
    "WhatIf",
    "assess",
    "compare",
    "what_would_change",
]
