"""What to do next, and the cautions, as texts with their sources."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from corromap.assessment.rules import OutcomeKind

__all__ = ["ADVICE", "ALWAYS", "CAUTIONS", "Caution"]


@dataclass(frozen=True, slots=True)
class Caution:
    """Something that can hurt someone.

    Parameters
    ----------
    id : str
        Short name.
    title : str
        A few words.
    text : str
        What to do.
    source : str
        Where it comes from; from memory or common practice is said.
    """

    id: str
    title: str
    text: str
    source: str


ALWAYS: tuple[str, ...] = (
    "Photos show a lower bound: closed sections rust from within, and an area nobody has shown is not clean.",
    (
        "Before money changes hands, have the car looked at on a lift by a qualified person, and follow the rules of "
        "the place where it will be used; they go before anything printed here."
    ),
)

ADVICE: Mapping[OutcomeKind, tuple[str, ...]] = {
    OutcomeKind.CLEAR: ("Ask for the zones with the least coverage to be shown, then have the car seen on a lift.",),
    OutcomeKind.NOT_SHOWN: (
        "Ask for photos of the zones listed as not shown, or see them on a lift, before you decide.",
        "Do not read a zone without marks as sound: nobody has shown it.",
    ),
    OutcomeKind.REPAIR: (
        (
            "Have the listed zones repaired by a welder qualified to ISO 9606-1 or the local equivalent, on sheet of "
            "body thickness, and ask for the repair in writing with photos of the bare metal."
        ),
        "Get a price for the work before you agree a price for the car: rust found on photos grows when it is cut.",
    ),
    OutcomeKind.STOP: (
        "Do not go on with this body as it stands. Common practice: replace whole sections rather than add patches.",
        (
            "If you still want the car, first have a welder qualified to ISO 9606-1 or the local equivalent judge on a "
            "lift, with the patches laid bare, whether the structure can be put right."
        ),
    ),
}

CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "stands",
        "Under the car",
        "Never go beneath a car that rests on a jack. Use jacks and axle stands on firm level ground, brakes on and "
        "wheels chocked; a rusted jacking point or sill may not carry the car.",
        "HSE (GB), vehicle repair: most deaths are crushing under an inadequately supported vehicle; INDG434",
    ),
    Caution(
        "fuel",
        "Fuel",
        "Petrol tanks and lines come off, and stay well away, before any hot work; hot work on tanks has killed. "
        "Draining is done with a fuel retriever.",
        "HSE (GB), motor vehicle repair, fire and explosion; DSEAR 2002",
    ),
    Caution(
        "battery",
        "Battery and electronics",
        "Battery and generator wiring off before arc welding; electronic units, airbags and belt pre-tensioners "
        "isolated as their maker says.",
        "a maker's workshop manual; common practice",
    ),
    Caution(
        "fire-watch",
        "Fire watch",
        "Clear combustibles, underseal and sound deadening around and behind the weld; extinguisher at hand; keep "
        "watch for at least 30 minutes after, longer where the insurer or local rule asks for it.",
        "29 CFR 1910.252(a)(2)(iii)",
    ),
    Caution(
        "fumes",
        "Welding fume",
        "Fume from welding mild steel can cause cancer: extraction indoors whatever the duration, with a mask for the "
        "rest. Zinc and paint are taken off the weld area first.",
        "HSE (GB) STSU1-2019; zinc from memory",
    ),
    Caution(
        "lead",
        "Lead",
        "Old paint, some fillers and body solder hold lead: no dry grinding, wet methods and a mask, wash hands.",
        "Enander et al. 1998-99 (Rhode Island DEM): sanding dust 180 to 7 300 mg/kg lead",
    ),
    Caution(
        "asbestos",
        "Asbestos",
        "Brakes, clutches and gaskets of older cars may hold asbestos: no air line, wet rags, asbestos waste. Treat "
        "unknown old sealers and underseal as suspect.",
        "HSE (GB), asbestos in mechanical repair (4 December 2023); sealers: from memory, not confirmed",
    ),
    Caution(
        "shell",
        "Open shell",
        "An open body folds when a sill is cut: brace and support it first, one side at a time, and compare door gaps "
        "before and after.",
        "published accounts; common practice",
    ),
    Caution(
        "belts",
        "Belt anchorages",
        "Seat-belt anchorages are safety-critical and may be of high-strength steel: follow the car maker's method or "
        "leave them to someone who has it.",
        "a maker's repair manual",
    ),
    Caution(
        "local",
        "Local rules",
        "Rules on structural repair differ by country and change. They, and licensed practice, go before this text.",
        "common practice",
    ),
)
