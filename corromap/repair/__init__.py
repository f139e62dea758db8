"""The repair plan: cut lines, sheet, weld run, order of work, hours and cost as ranges.

A plan is a lower bound. It says what the marks ask for by a stated policy; it
never says that what is not marked is sound.
"""

from corromap.repair.planning import SHOWN_ENOUGH, plan_repair
from corromap.repair.rates import Rate, Rates, Setting, SheetRate
from corromap.repair.result import (
    EdgeKind,
    Joint,
    Method,
    Piece,
    PieceEdge,
    Range,
    RepairPlan,
    SheetNeed,
    WorkStep,
    ZonePlan,
)

__all__ = [
    "SHOWN_ENOUGH",
    "EdgeKind",
    "Joint",
    "Method",
    "Piece",
    "PieceEdge",
    "Range",
    "Rate",
    "Rates",
    "RepairPlan",
    "Setting",
    "SheetNeed",
    "SheetRate",
    "WorkStep",
    "ZonePlan",
    "plan_repair",
]
