"""Words for the repair plan's methods, edges, policy and rates, as printed."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from corromap.messages import to_say
from corromap.repair import EdgeKind, Method
from corromap.template import SeenFrom

__all__ = ["EDGES", "METHODS", "POLICY_WORDS", "SEEN", "WAYS", "WORK_WORDS"]

METHODS: Mapping[Method, str] = MappingProxyType(
    {
        Method.PIECES: to_say("pieces"),
        Method.WHOLE_ZONE: to_say("the whole zone"),
        Method.CLEAN: to_say("clean and protect"),
    }
)
"""How a zone is put right."""

EDGES: Mapping[EdgeKind, str] = MappingProxyType(
    {
        EdgeKind.CUT: to_say("cut in sheet, butt-welded all along"),
        EdgeKind.ZONE_SEAM: to_say("at the zone's seam, butt-welded"),
        EdgeKind.SHARED: to_say("to the next piece, butt-welded"),
        EdgeKind.FOLD: to_say("at a fold: flange lapped, plug-welded"),
        EdgeKind.PANEL_EDGE: to_say("at the panel's edge: flange lapped, plug-welded"),
    }
)
"""What an edge meets and how it is joined."""

POLICY_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "margin": to_say("Sound metal cut beyond the marked metal"),
        "snap": to_say("Narrowest strip left beside a seam, fold or edge"),
        "gap": to_say("Pieces nearer than this become one"),
        "whole_share": to_say("Share of a zone from which the whole zone is replaced"),
        "flange": to_say("Lap at folds and panel edges"),
        "plug_pitch": to_say("From one plug weld to the next"),
        "sheet_width": to_say("Width of a sheet"),
        "sheet_length": to_say("Length of a sheet"),
        "cut_gap": to_say("Room between two blanks"),
    }
)
"""What each value of the policy is."""

WORK_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "labour": to_say("An hour of work"),
        "seam": to_say("A metre of seam weld"),
        "plug": to_say("One plug weld"),
        "piece": to_say("Cutting out and fitting one piece"),
        "whole_zone": to_say("Cutting out and fitting a whole zone"),
        "clean": to_say("Cleaning surface rust"),
        "protect": to_say("Priming, sealing, waxing a zone"),
        "shell": to_say("Preparing and bracing the shell, measuring"),
        "consumables": to_say("Wire, gas and discs"),
        "protection": to_say("Primer, sealer and wax of a zone"),
    }
)
"""What each rate is for."""

WAYS: Mapping[tuple[int, int], str] = MappingProxyType(
    {
        (0, 1): to_say("forward"),
        (0, -1): to_say("rearward"),
        (1, 1): to_say("left"),
        (1, -1): to_say("right"),
        (2, 1): to_say("up"),
        (2, -1): to_say("down"),
    }
)
"""Ways on the car: axis of the car's frame, and which way along it."""

SEEN: Mapping[SeenFrom, str] = MappingProxyType(
    {
        SeenFrom.BELOW: to_say("seen from below"),
        SeenFrom.ABOVE: to_say("seen from above"),
        SeenFrom.LEFT: to_say("seen from the car's left"),
        SeenFrom.RIGHT: to_say("seen from the car's right"),
        SeenFrom.FRONT: to_say("seen from the front"),
        SeenFrom.REAR: to_say("seen from the rear"),
    }
)
"""From where a drawing is looked at; left and right are the car's."""
