"""The request list in words: for the inspector at the car, and for a seller by e-mail."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from corromap.evidence.requests import PhotoRequest, RequestList
from corromap.evidence.viewpoints import Stance, Viewpoint
from corromap.frames import PanelId, ZoneId
from corromap.messages import Message, joined, message, to_say
from corromap.template import BodyTemplate, DatumPoint, Panel

__all__ = ["GROUND_RULES", "RequestWords", "inspector_text", "request_words", "seller_text", "zone_list"]

GROUND_RULES: tuple[str, ...] = (
    (
        "Never go or reach under a car that rests on a jack. A lift at a garage is best; otherwise axle stands on firm "
        "level ground, brakes on, wheels chocked."
    ),
    "A rusted jacking point or sill may not carry the car: look at it before you lift there.",
    "Cold engine and exhaust; eye protection under the car; no flame and no spark near fuel.",
    "Brush loose dirt off by hand if you may. Do not scrape underseal off: old sealers may hold asbestos or lead.",
    "Local rules, and the person who runs the lift, go before this list.",
)
"""Cautions for whoever takes the photos; sources stand with the cautions of the report
(`corromap.assessment.guidance`); eye protection and the order of words are common practice."""

_SELLER_START = to_say(
    "thank you for showing me the car. Before I travel I would like to see a little more of the underside and the "
    "sills. Would you be so kind as to take {asked}? If time is short, the first ones help most."
)
_SELLER_SAFETY = to_say(
    "Please do not go under the car for this unless it stands on a lift or on axle stands; never when it rests on "
    "a jack. A garage or tyre shop can usually put it on the lift for ten minutes, and I am glad to pay for that."
)
_SELLER_DIRT = to_say(
    "Some parts are under dirt or underseal in the photos ({names}); if loose dirt can be brushed off by hand there, "
    "that would help. Please do not scrape anything."
)
_SELLER_TIPS = to_say(
    "Left and right are the car's own, seen from the driver's seat. A lamp held to one side works better than the "
    "flash. It helps if neighbouring photos overlap by a third, and if you send the files as they come from the "
    "camera: message services shrink them."
)

MIDDLE_MM = 150.0
"""Nearer to the middle than this is told as the middle."""


@dataclass(frozen=True, slots=True)
class RequestWords:
    """One request in words.

    Parameters
    ----------
    what : str
        The zones.
    where : str
        From where, in the car's own directions.
    which_way : str
        Where the camera points and how it is turned.
    how_near : str
        Distance.
    light : str
        Where the light comes from.
    keep_in : str
        Datum points to keep in the frame; empty if there are none.
    """

    what: str
    where: str
    which_way: str
    how_near: str
    light: str
    keep_in: str


def zone_list(template: BodyTemplate, zones: Sequence[ZoneId], most: int = 6) -> str:
    """Name zones, a whole panel by its own name.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    zones : sequence of ZoneId
        In order of importance.
    most : int
        Names written out before the rest is counted.

    Returns
    -------
    str
        For example ``Left floor; Left sill, inner face, front``.
    """
    by_panel: dict[PanelId, list[ZoneId]] = {}
    for zone in zones:
        by_panel.setdefault(template.zone_by_id[zone].panel, []).append(zone)
    names = []
    for panel_id, group in by_panel.items():
        panel = template.panel(panel_id)
        whole = len(group) == len(panel.zones) > 1
        names += [panel.name] if whole else [template.zone_by_id[z].name for z in group]
    parts = [message(name) for name in names[:most]]
    if len(names) > most:
        parts.append(message("and {count} more", count=len(names) - most))
    return joined("; ", parts)


def request_words(request: PhotoRequest, template: BodyTemplate) -> RequestWords:
    """Put one request into words.

    Parameters
    ----------
    request : PhotoRequest
        The photo to take.
    template : BodyTemplate
        The body.

    Returns
    -------
    RequestWords
        Left and right are the car's, seen from the driver's seat.
    """
    view = request.view
    points = [template.datum_points[i] for i in request.datum_ids if i in template.datum_points]
    return RequestWords(
        what=zone_list(template, request.zones),
        where=_where(view),
        which_way=_which_way(view),
        how_near=message("about {distance} from the metal", distance=_rounded(request.distance_mm)),
        light=_light(view),
        keep_in=_points(points),
    )


def _points(points: Sequence[tuple[Panel, DatumPoint]]) -> str:
    """Name datum points, each panel once, before its points."""
    said, before = [], ""
    for panel, datum in sorted(points, key=lambda one: [p.name for p, _ in points].index(one[0].name)):
        rest = datum.name.removeprefix(f"{panel.name}: ")
        is_new = panel.name != before and rest != datum.name
        name = message(rest)
        said.append(message("{panel}: {point}", panel=message(panel.name), point=name) if is_new else name)
        before = panel.name if rest != datum.name else ""
    return joined("; ", said)


def _rounded(mm: float) -> str:
    if mm < 950:
        return message("{length} cm", length=round(mm / 100) * 10)
    return message("{length:.1f} m", length=round(mm / 100) / 10)


def _where(view: Viewpoint) -> str:
    x, y, _ = view.at_mm
    along, stance = _along(x), message(view.stance.value)
    if view.stance in {Stance.LEFT, Stance.RIGHT}:
        low = view.towards[2] < 0.1
        height = message("sill height") if low else message("knee height or lower")
        return message("{stance}, {along}, kneeling, the camera at {height}", stance=stance, along=along, height=height)
    return message("{stance}, {along}, {across}", stance=stance, along=along, across=_across(y))


def _along(x: float) -> str:
    if abs(x) <= MIDDLE_MM:
        return message("level with the middle of the sills")
    ahead, behind = (
        to_say("{length} ahead of the middle of the sills"),
        to_say("{length} behind the middle of the sills"),
    )
    return Message(ahead if x > 0 else behind, {"length": _rounded(abs(x))})


def _across(y: float) -> str:
    if abs(y) <= MIDDLE_MM:
        return message("on the centre line")
    left, right = to_say("{length} left of the centre line"), to_say("{length} right of the centre line")
    return Message(left if y > 0 else right, {"length": _rounded(abs(y))})


def _which_way(view: Viewpoint) -> str:
    x, y, z = np.round(view.towards, 1)
    if z <= -0.9:
        return message("straight down, phone held crosswise")
    if z >= 0.9:
        return message("straight up, the long side of the picture along the car")
    side = message("to the car's left") if y > 0 else message("to the car's right")
    if view.stance is Stance.UNDER:
        ahead = message("forwards") if x > 0 else message("rearwards")
        return message("up at 45 degrees and {way}", way=side if abs(y) > abs(x) else ahead)
    square, tilted = (
        message("pointed square at the car, level"),
        message("pointed at the car, tilted up by about 25 degrees"),
    )
    return square if z < 0.1 else tilted


def _light(view: Viewpoint) -> str:
    if view.stance is Stance.UNDER:
        return message(
            "torch or lamp an arm's length to one side of the camera, flash off, so that pits throw a shadow"
        )
    return message("daylight without direct sun, or a torch held low along the panel, flash off")


def inspector_text(wanted: RequestList, template: BodyTemplate) -> str:
    """Write the list for the person at the car.

    Parameters
    ----------
    wanted : RequestList
        What to ask for.
    template : BodyTemplate
        The body.

    Returns
    -------
    str
        Plain text, one paragraph a photo, the cautions first.
    """
    lines = [
        "PHOTOS TO TAKE",
        "Left and right are the car's own, seen from the driver's seat.",
        "",
        "Before you start:",
    ]
    lines += [f"  - {rule}" for rule in GROUND_RULES]
    for request in wanted.requests:
        words = request_words(request, template)
        lines += ["", f"{request.number}. {words.what}", f"   From: {words.where}."]
        lines += [f"   Camera: {words.which_way}, {words.how_near}.", f"   Light: {words.light}."]
        if words.keep_in:
            lines.append(f"   Keep in the picture: {words.keep_in}.")
    return "\n".join([*lines, *_other_lines(wanted, template)]) + "\n"


def _other_lines(wanted: RequestList, template: BodyTemplate) -> list[str]:
    lines = [] if wanted.requests else ["", "No further photo would show more of the body from outside."]
    if wanted.hidden:
        lines += ["", "In the photos, but covered there; another photo alone does not help:"]
        lines += [f"  - {template.zone_by_id[h.zone].name} ({100 * h.share:.0f} % covered)" for h in wanted.hidden]
    if wanted.out_of_reach:
        lines += ["", "Not to be seen by a camera from outside; see these on a lift, with parts off:"]
        lines += [f"  - {template.zone_by_id[zone].name}" for zone in wanted.out_of_reach]
    return lines


def seller_text(wanted: RequestList, template: BodyTemplate) -> str:
    """Write a polite message to a seller, to be pasted into an e-mail.

    Parameters
    ----------
    wanted : RequestList
        What to ask for.
    template : BodyTemplate
        The body.

    Returns
    -------
    str
        Plain text. Nothing in it says that anything is wrong with the car.
    """
    if not wanted.requests:
        thanks = message(
            "thank you for the photos; they show what can be shown from outside. Might I see the car on a lift before "
            "we go on?"
        )
        return joined("\n", [message("Hello,"), "", thanks, "", message("Kind regards"), ""])
    count = len(wanted.requests)
    asked = message("one more photo") if count == 1 else message("these {count} photos", count=count)
    lines = [message("Hello,"), "", Message(_SELLER_START, {"asked": asked}), "", message(_SELLER_SAFETY), ""]
    for request in wanted.requests:
        words = request_words(request, template)
        line = message(
            "{number}. {what}: from {where}; camera {which_way}, {how_near}.",
            number=request.number,
            what=words.what,
            where=words.where,
            which_way=words.which_way,
            how_near=words.how_near,
        )
        lines += [line, ""]
    lines += [*_seller_end(wanted, template)]
    return joined("\n", [*lines, ""])


def _seller_end(wanted: RequestList, template: BodyTemplate) -> list[str]:
    covered = zone_list(template, [h.zone for h in wanted.hidden])
    first = [Message(_SELLER_DIRT, {"names": covered}), ""] if wanted.hidden else []
    last = [message("Thank you very much for your trouble."), "", message("Kind regards")]
    return [*first, message(_SELLER_TIPS), "", *last]
