"""A sill unfolded into inner face, underside and outer face."""

from __future__ import annotations

from body_parts.dimensions import Body
from body_parts.sheet import Draft, rectangle

__all__ = ["JACK_HALF_LENGTH", "jack_places", "sill"]

JACK_HALF_LENGTH = 60
"""Half the length of a jacking plate, mm."""


def jack_places(body: Body) -> tuple[float, float]:
    """Return u of the middles of the rear and the front jacking plate."""
    return 0.13 * body.sill_length, 0.87 * body.sill_length


def sill(body: Body) -> list[Draft]:
    """Draw the left sill: inner face, underside, outer face."""
    return [_inner(body), _underside(body), _outer(body)]


def _thirds(panel: Draft, body: Body, height: float, sheet_mm: float) -> None:
    cuts = [0, body.sill_length / 3, 2 * body.sill_length / 3, body.sill_length]
    cuts = [round(cut / 5) * 5 for cut in cuts]
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
    panel.datum(
        "rear-end-lower",
        "rear end, lower corner",
        "seam end",
        (0, height),
        "Rear end of the bend between the inner face and the underside of the left sill.",
    )
    panel.datum(
        "front-end-upper",
        "front end, upper corner",
        "seam end",
        (length, 0),
        "Upper corner of the front end of the left inner sill, behind the front wheel.",
    )
    panel.datum(
        "front-end-lower",
        "front end, lower corner",
        "seam end",
        (length, height),
        "Front end of the bend between the inner face and the underside of the left sill.",
    )
    panel.datum(
        "rear-end-upper",
        "rear end, upper corner",
        "seam end",
        (0, 0),
        "Upper corner of the rear end of the left inner sill, before the rear wheel.",
    )
    panel.datum(
        "hole-rear",
        "rear hole",
        "round hole",
        (0.31 * length, 0.5 * height),
        "Middle of the rear round hole in the inner face of the left sill, for wax or paint.",
    )
    panel.datum(
        "hole-middle",
        "middle hole",
        "round hole",
        (0.52 * length, 0.62 * height),
        "Middle of the middle round hole in the inner face of the left sill, a little lower than the others.",
    )
    panel.datum(
        "hole-front",
        "front hole",
        "round hole",
        (0.78 * length, 0.5 * height),
        "Middle of the front round hole in the inner face of the left sill.",
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
    rear, front = jack_places(body)
    low, high = 0.16 * width, 0.84 * width
    half = JACK_HALF_LENGTH
    plate = "plate corner"
    panel.datum(
        "jack-rear-inner",
        "rear jacking plate, rear inner corner",
        plate,
        (rear - half, low),
        "Rear inner corner of the rear jacking plate under the left sill.",
    )
    panel.datum(
        "jack-front-outer",
        "front jacking plate, front outer corner",
        plate,
        (front + half, high),
        "Front outer corner of the front jacking plate under the left sill.",
    )
    panel.datum(
        "jack-rear-outer",
        "rear jacking plate, rear outer corner",
        plate,
        (rear - half, high),
        "Rear outer corner of the rear jacking plate under the left sill.",
    )
    panel.datum(
        "jack-front-inner",
        "front jacking plate, front inner corner",
        plate,
        (front + half, low),
        "Front inner corner of the front jacking plate under the left sill.",
    )
    panel.datum(
        "jack-rear-front-inner",
        "rear jacking plate, front inner corner",
        plate,
        (rear + half, low),
        "Front inner corner of the rear jacking plate under the left sill.",
    )
    panel.datum(
        "jack-front-rear-outer",
        "front jacking plate, rear outer corner",
        plate,
        (front - half, high),
        "Rear outer corner of the front jacking plate under the left sill.",
    )
    for suffix, word, share, v in (
        ("rear", "rear", 0.36, 0.3),
        ("middle", "middle", 0.5, 0.55),
        ("front", "front", 0.64, 0.3),
    ):
        at = (share * length, v * width)
        panel.datum(
            f"slot-{suffix}",
            f"{word} drain slot",
            "slot",
            at,
            f"Middle of the {word} drain slot in the underside of the left sill.",
        )
        panel.line(
            "hole",
            [
                [at[0] - 22, at[1] - 5],
                [at[0] + 22, at[1] - 5],
                [at[0] + 22, at[1] + 5],
                [at[0] - 22, at[1] + 5],
                [at[0] - 22, at[1] - 5],
            ],
        )
    panel.datum(
        "notch-rear",
        "rear notch of the outer flange",
        "flange notch",
        (0.27 * length, width),
        "Rear notch in the flange where underside and outer face of the left sill are joined.",
    )
    panel.datum(
        "notch-front",
        "front notch of the outer flange",
        "flange notch",
        (0.73 * length, width),
        "Front notch in the flange where underside and outer face of the left sill are joined.",
    )
    panel.datum(
        "outer-end-rear",
        "rear end of the outer flange",
        "seam end",
        (0, width),
        "Rear end of the flange where underside and outer face of the left sill are joined.",
    )
    panel.datum(
        "outer-end-front",
        "front end of the outer flange",
        "seam end",
        (length, width),
        "Front end of the flange where underside and outer face of the left sill are joined.",
    )
    for middle, word in ((rear, "rear"), (front, "front")):
        panel.line("bracket", [*rectangle(middle - half, low, middle + half, high), [middle - half, low]])
        panel.mounting(f"jack-{word}", f"{word} jacking point", "jacking", (middle, width / 2))
    panel.line("seam", [[0, width - 12], [length, width - 12]])
    return panel


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
    panel.datum(
        "rear-upper",
        "rear upper corner",
        "seam end",
        (0, height),
        "Rear upper end of the left outer sill, where it disappears under the rear wing.",
    )
    panel.datum(
        "front-upper",
        "front upper corner",
        "seam end",
        (length, height),
        "Front upper end of the left outer sill, where it disappears under the front wing.",
    )
    panel.datum(
        "door-front-seam",
        "door opening, front seam",
        "seam crossing",
        (0.8 * length, 0.86 * height),
        "Where the seam below the front door pillar crosses the tread edge of the left sill.",
    )
    panel.datum(
        "door-rear-seam",
        "door opening, rear seam",
        "seam crossing",
        (0.17 * length, 0.86 * height),
        "Where the seam below the lock pillar crosses the tread edge of the left sill.",
    )
    for suffix, share in (("rear", 0.34), ("middle", 0.5), ("front", 0.66)):
        at = (share * length, 0.48 * height)
        panel.datum(
            f"clip-{suffix}",
            f"{suffix} trim hole",
            "round hole",
            at,
            f"Middle of the {suffix} small hole for the trim strip, half-way up the left outer sill.",
        )
    panel.line("edge", [[0, 0.86 * height], [length, 0.86 * height]])
    panel.line("seam", [[0, 12], [length, 12]])
    for share in (0.17, 0.8):
        panel.line("seam", [[share * length, 0.5 * height], [share * length, height]])
    return panel
