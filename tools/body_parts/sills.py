"""A sill unfolded into inner face, underside and outer face."""

from __future__ import annotations

from body_parts.dimensions import Body
from body_parts.sheet import Draft, rectangle

__all__ = ["sill"]

JACK_HALF_LENGTH = 60
"""Half the length of a jacking plate, mm."""


def sill(body: Body) -> list[Draft]:
    """Draw the left sill: inner face, underside, outer face."""
    return [_inner(body), _underside(body), _outer(body)]


def _thirds(panel: Draft, body: Body, height: float, sheet_mm: float) -> None:
    cuts = [round(body.sill_length * share / 15) * 5 for share in range(3)] + [body.sill_length]
    for index, word in ((2, "front"), (1, "middle"), (0, "rear")):
        panel.zone(word, word, "primary", sheet_mm, 1, rectangle(cuts[index], 0, cuts[index + 1], height))


def _inner(body: Body) -> Draft:
    length, height = body.sill_length, body.sill_inner_height
    panel = Draft(
        id="sill-left-inner",
        name="Left inner sill",
        part="sill",
        side="left",
        seen_from="right",
        outline=rectangle(0, 0, length, height),
        origin=(-body.sill_half_length, body.floor_half_width, 0),
        u_axis=(1, 0, 0),
        v_axis=(0, 0, -1),
        map_origin=(body.floor_half_width + body.map_shift, body.sill_half_length),
    )
    _thirds(panel, body, height, 1.2)
    panel.datums(
        "seam end",
        "the inner face of the left sill",
        (
            "rear-end-lower",
            "rear end, lower corner",
            0,
            height,
            "Rear lower corner of {}, at the bend to the underside.",
        ),
        ("front-end-upper", "front end, upper corner", length, 0, "Front upper corner of {}, behind the front wheel."),
        ("front-end-lower", "front end, lower corner", length, height, "Front lower corner of {}, at the lower bend."),
        ("rear-end-upper", "rear end, upper corner", 0, 0, "Rear upper corner of {}, before the rear wheel."),
    )
    panel.datums(
        "round hole",
        "round hole in the inner face of the left sill",
        ("hole-rear", "rear hole", 0.31 * length, 0.5 * height, "Middle of the rear {}."),
        ("hole-middle", "middle hole", 0.52 * length, 0.62 * height, "Middle of the middle {}, lower than the others."),
        ("hole-front", "front hole", 0.78 * length, 0.5 * height, "Middle of the front {}."),
    )
    panel.datums(
        "flange notch",
        "notch in the bend between inner face and underside of the left sill",
        ("notch-rear", "rear notch of the lower bend", 0.41 * length, height, "Middle of the rear {}."),
        ("notch-front", "front notch of the lower bend", 0.61 * length, height, "Middle of the front {}."),
    )
    panel.line("seam", [[0, height - 14], [length, height - 14]])
    return panel


def _underside(body: Body) -> Draft:
    length, width = body.sill_length, body.sill_width
    panel = Draft(
        id="sill-left-underside",
        name="Left sill underside",
        part="sill",
        side="left",
        seen_from="below",
        outline=rectangle(0, 0, length, width),
        origin=(-body.sill_half_length, body.floor_half_width, -body.sill_inner_height),
        u_axis=(1, 0, 0),
        v_axis=(0, 1, 0),
        map_origin=(body.floor_half_width + body.map_shift + body.sill_inner_height, body.sill_half_length),
    )
    _thirds(panel, body, width, 1.2)
    _jacking_plates(panel, length, width)
    for word, u, v in (("rear", 0.36, 0.3), ("middle", 0.5, 0.55), ("front", 0.64, 0.3)):
        at = (u * length, v * width)
        text = f"Middle of the {word} drain slot in the underside of the left sill."
        panel.datum(f"slot-{word}", f"{word} drain slot", "slot", at, text)
        panel.box("hole", at[0] - 22, at[1] - 5, at[0] + 22, at[1] + 5)
    panel.datums(
        "round hole",
        "plug hole in the underside of the left sill, beside the jacking plate",
        ("plug-rear", "rear plug hole", 0.24 * length, 0.45 * width, "Middle of the rear {}."),
        ("plug-front", "front plug hole", 0.76 * length, 0.45 * width, "Middle of the front {}."),
    )
    flange = "the flange that joins underside and outer face of the left sill"
    panel.datums(
        "flange notch",
        flange,
        ("notch-rear", "rear notch of the outer flange", 0.27 * length, width, "Middle of the rear notch in {}."),
        ("notch-middle", "middle notch of the outer flange", 0.5 * length, width, "Middle of the middle notch in {}."),
        ("notch-front", "front notch of the outer flange", 0.73 * length, width, "Middle of the front notch in {}."),
    )
    panel.datums(
        "seam end",
        flange,
        ("outer-end-rear", "rear end of the outer flange", 0, width, "Rear end of {}."),
        ("outer-end-front", "front end of the outer flange", length, width, "Front end of {}."),
    )
    panel.line("seam", [[0, width - 12], [length, width - 12]])
    return panel


def _jacking_plates(panel: Draft, length: float, width: float) -> None:
    """Add the two plates: mountings, line work, and all their corners, the outermost first."""
    low, high, half = 0.16 * width, 0.84 * width, JACK_HALF_LENGTH
    middles = {"rear": 0.13 * length, "front": 0.87 * length}
    edges = {"rear": -half, "front": half}
    sides = {"inner": low, "outer": high}
    corners = [(plate, edge, side) for plate in middles for edge in edges for side in sides]
    for plate, edge, side in sorted(corners, key=lambda corner: corner[0] != corner[1]):
        at = (middles[plate] + edges[edge], sides[side])
        name = f"{plate} jacking plate, {edge} {side} corner"
        text = f"{edge.capitalize()} {side} corner of the {plate} jacking plate under the left sill."
        panel.datum(f"jack-{plate}-{edge}-{side}", name, "plate corner", at, text)
    for word, u in middles.items():
        panel.box("bracket", u - half, low, u + half, high)
        panel.mounting(f"jack-{word}", f"{word} jacking point", "jacking", (u, width / 2))


def _outer(body: Body) -> Draft:
    length, height = body.sill_length, body.sill_outer_height
    outer_y = body.floor_half_width + body.sill_width
    panel = Draft(
        id="sill-left-outer",
        name="Left outer sill",
        part="sill",
        side="left",
        seen_from="left",
        outline=rectangle(0, 0, length, height),
        origin=(-body.sill_half_length, outer_y, -body.sill_inner_height),
        u_axis=(1, 0, 0),
        v_axis=(0, 0, 1),
        map_origin=(outer_y + body.map_shift + body.sill_inner_height, body.sill_half_length),
    )
    _thirds(panel, body, height, 1.0)
    tread = 0.86 * height
    panel.datums(
        "seam end",
        "upper end of the left outer sill, where it disappears",
        ("rear-upper", "rear upper corner", 0, height, "Rear {} under the rear wing."),
        ("front-upper", "front upper corner", length, height, "Front {} under the front wing."),
    )
    panel.datums(
        "seam crossing",
        "crosses the tread edge of the left sill",
        ("door-front-seam", "front pillar seam", 0.8 * length, tread, "Where the seam below the front door pillar {}."),
        ("door-rear-seam", "lock pillar seam", 0.17 * length, tread, "Where the seam below the lock pillar {}."),
    )
    for word, share in (("rear", 0.315), ("middle", 0.5), ("front", 0.685)):
        text = f"Middle of the {word} small hole for the trim strip, half-way up the left outer sill."
        panel.datum(f"clip-{word}", f"{word} trim hole", "round hole", (share * length, 0.48 * height), text)
    for word, share in (("rearmost", 0.26), ("second", 0.42), ("third", 0.59), ("foremost", 0.73)):
        text = f"Middle of the {word} screw of the tread strip on the left sill, counted from the rear."
        panel.datum(f"screw-{word}", f"{word} tread screw", "bolt", (share * length, tread), text)
    panel.line("edge", [[0, tread], [length, tread]])
    panel.line("seam", [[0, 12], [length, 12]])
    for share in (0.17, 0.8):
        panel.line("seam", [[share * length, 0.5 * height], [share * length, height]])
    return panel
