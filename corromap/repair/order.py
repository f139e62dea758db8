"""The order of work, and what the reader has to know: common practice in words."""

from __future__ import annotations

from collections.abc import Sequence

from corromap.messages import joined, message, to_say
from corromap.repair.result import Method, WorkStep, ZonePlan
from corromap.template import BodyTemplate, Part, Role, Side, Zone

__all__ = ["ALWAYS_PRINTED", "LOWER_BOUND", "plan_notes", "work_order"]

ALWAYS_PRINTED = to_say(
    "To be done by a welder qualified to ISO 9606-1 or the local equivalent, for this thickness and position, with the "
    "car on proper stands. Local rules and licensed practice go before this sheet."
)

LOWER_BOUND = to_say(
    "This plan is a lower bound: closed sections rust from within, and rust grows when it is cut. One restorer's "
    "published rule: metal to replace reaches three times as far across as the hole one sees. That growth is in no "
    "figure here."
)

SPEAK_FROM_MM2 = 100.0
"""Less metal than this outside every zone is not worth a sentence."""

_DEPTH = {
    Part.SILL: 0, Part.RAIL: 1, Part.CROSSMEMBER: 2, Part.TOE_BOARD: 3, Part.WHEEL_ARCH: 4,
    Part.TUNNEL: 5, Part.FLOOR: 6, Part.BOOT_FLOOR: 7, Part.SCREEN_FRAME: 8,
}  # fmt: skip
"""Members before the panels that lie on them; ours."""

_SIDES = {Side.LEFT: to_say("Left side"), Side.RIGHT: to_say("Right side"), Side.CENTRE: to_say("Centre")}

_PREPARE = (
    WorkStep(
        to_say("Record"),
        to_say(
            "Car on level ground: measure and photograph door gaps, top and bottom, and ride height at all corners."
        ),
    ),
    WorkStep(
        to_say("Secure the car"),
        to_say(
            "Battery and generator off. Fuel tank and lines off and away, drained with a fuel retriever. Airbags and "
            "belt pre-tensioners as their maker says. Extinguisher and fire watch arranged."
        ),
    ),
    WorkStep(
        to_say("Strip"),
        to_say(
            "Suspension and other loads off the mountings in the work area; seats, carpet, trim, sound deadening and "
            "wiring out. Take unknown old sealers and underseal as holding asbestos, body solder and old paint as "
            "holding lead: wet methods, mask, no dry grinding. Zinc and paint off the weld area."
        ),
    ),
    WorkStep(
        to_say("Find the end of it"),
        to_say(
            "Clean to bright metal and probe around every cut line before cutting; move the line where sound metal "
            "lies farther out."
        ),
    ),
)

_FINISH = (
    WorkStep(
        to_say("Check"),
        to_say(
            "Door gaps again, with the braces still in, then with them out; compare with the first record. Look at "
            "every weld: no pores, cracks, undercut or cold laps."
        ),
    ),
    WorkStep(
        to_say("Protect"),
        to_say(
            "Weld-through primer was on the flanges; now seam sealer, primer and coating outside, cavity wax into "
            "every closed section, drain holes open. Wax again after a year."
        ),
    ),
    WorkStep(
        to_say("Record again"),
        to_say("Photos of the bare metal and of the finished welds, for whoever owns the car next."),
    ),
)


def work_order(zones: Sequence[ZonePlan], template: BodyTemplate) -> tuple[WorkStep, ...]:
    """Put the work in order: prepare, brace, one side at a time, check, protect.

    Parameters
    ----------
    zones : sequence of ZonePlan
        Zones with work.
    template : BodyTemplate
        The body.

    Returns
    -------
    tuple of WorkStep
        Empty when there is nothing to do.
    """
    if not zones:
        return ()
    cut = [zone for zone in zones if zone.method is not Method.CLEAN]
    steps = [*_PREPARE] if cut else [_PREPARE[1], _PREPARE[2]]
    if any(_is_shell(template, template.zone_by_id[zone.zone]) for zone in cut):
        steps.append(
            WorkStep(
                to_say("Support and brace"),
                to_say(
                    "Shell level on stands under its strong points, on both sides of every cut; braces across the door "
                    "openings and between the sills before anything load-bearing is cut. Doors stay hung."
                ),
            )
        )
    for side in (Side.LEFT, Side.RIGHT, Side.CENTRE):
        steps += _side(side, cut, template)
    only = [zone.zone for zone in zones if zone.clean_mm2 > 0]
    if only:
        text = to_say("Surface rust to bright metal, then treat and prime.")
        steps.append(WorkStep(to_say("Clean"), text, tuple(only)))
    return (*steps, *(_FINISH if cut else _FINISH[1:]))


def _is_shell(template: BodyTemplate, zone: Zone) -> bool:
    return zone.role is Role.PRIMARY or template.panel(zone.panel).part is Part.SILL


def _side(side: Side, cut: Sequence[ZonePlan], template: BodyTemplate) -> list[WorkStep]:
    found: dict[Part, list[ZonePlan]] = {}
    for plan in cut:
        panel = template.panel(template.zone_by_id[plan.zone].panel)
        if panel.side is side:
            found.setdefault(panel.part, []).append(plan)
    steps = []
    for part in sorted(found, key=_DEPTH.__getitem__):
        plans = sorted(found[part], key=lambda plan: _inner_first(template.zone_by_id[plan.zone]))
        labels = ", ".join(piece.label for plan in plans for piece in plan.pieces)
        text: str = message(
            "Pieces {labels}: one at a time. Cut, fit, tack all round, check that nothing moved, weld in short runs "
            "far from each other, let each cool.",
            labels=labels,
        )
        if part is Part.SILL:
            text = joined(" ", (text, message("Finish and check this side before the other is cut.")))
        title = message("{side}: {part}", side=message(_SIDES[side]), part=message(part.value))
        steps.append(WorkStep(title, text, tuple(plan.zone for plan in plans)))
    return steps


def _inner_first(zone: Zone) -> int:
    """Inner walls of a box before its underside, the outer skin last."""
    name = f"{zone.panel} {zone.id}"
    return 2 if "outer" in name else 1 if "underside" in name else 0


def plan_notes(zones: Sequence[ZonePlan], outside_mm2: float, not_shown: int) -> tuple[str, ...]:
    """Say what the reader of the plan has to know.

    Parameters
    ----------
    zones : sequence of ZonePlan
        Zones with work.
    outside_mm2 : float
        Metal to cut on ground that is in no zone.
    not_shown : int
        Load-bearing zones not shown well enough.

    Returns
    -------
    tuple of str
        Sentences; the first two are always there.
    """
    notes: list[str] = [message(LOWER_BOUND), message(ALWAYS_PRINTED)]
    if not_shown:
        notes.append(
            message(
                "Load-bearing zones not shown well enough: {count}. This plan says nothing of them, and they are not "
                "clean.",
                count=not_shown,
            )
        )
    if outside_mm2 >= SPEAK_FROM_MM2:
        notes.append(
            message(
                "{area:.0f} cm² of metal to cut lies under another member and is in no zone: it is not in the figures.",
                area=outside_mm2 / 100,
            )
        )
    if any(zone.pieces for zone in zones):
        notes.append(
            message(
                "Corners of pieces are drawn square: round them by about 10 mm when cutting (common practice). "
                "Thickness is the template's nominal one: measure the car's sheet, and weld in no thinner."
            )
        )
    return tuple(notes)
