"""Colours and patterns of kinds, stages and evidence: the only place they are set.

Colour never stands alone: every look has a pattern of its own. The colours of
damage and repair keep a contrast of at least 3:1 on the panel fill (WCAG 2.2,
1.4.11) and at least 20 in CIEDE2000 from each other, also as people with each
of the three kinds of colour blindness see them; ``tests/reference`` checks
both. Evidence (hidden, sound, never seen) is neutral grey, dark or light enough
to differ from every colour of damage by at least 10, also where red and green
look alike and the patch's green turns grey.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from corromap.messages import to_say
from corromap.report.svg import element
from corromap.survey import Mark, MarkKind, RustStage

__all__ = [
    "ACCENT",
    "BLUR",
    "FAINT",
    "FILLER",
    "HIDDEN",
    "INK",
    "KIND_STYLES",
    "LOOKS",
    "NEVER_SEEN",
    "PANEL",
    "PAPER",
    "PATCH",
    "PATCH_ON_PATCH",
    "RUST_HOLED",
    "RUST_SCALED",
    "RUST_SURFACE",
    "RUST_UNSTAGED",
    "SOUND",
    "STEEL",
    "KindStyle",
    "Look",
    "PatternName",
    "look_of",
    "pattern_defs",
    "style_key",
]

PAPER = "#FBF9F4"
"""Sheet the map is drawn on."""
PANEL = "#F1EEE6"
"""Fill of a panel; the contrasts are against this."""
INK = "#1E2328"
"""Lines and text."""
STEEL = "#565B61"
"""Quieter lines and text; at least 4.5:1 on the panel fill."""
FAINT = "#A39C8D"
"""Line work that only helps to find one's way; carries no meaning of its own."""
ACCENT = "#1F5FA8"
"""Datum points, highlight; used for nothing else."""


PatternName = Literal[
    "dots", "grid", "solid", "horizontal", "diagonal", "back-diagonal", "dashes", "waves", "ticks", "hatch"
]


@dataclass(frozen=True, slots=True)
class Look:
    """How one kind, stage or state of evidence is drawn.

    Parameters
    ----------
    key : str
        Part of element ids, for example ``rust-holed``.
    pattern : str
        The pattern in a word, for other drawers (the photo canvas).
    label : str
        As printed in legends.
    colour : str
        Of outline and pattern, ``#RRGGBB``.
    tile_px : float
        Side of the repeating square.
    strokes : str
        SVG path of the tile, stroked in `colour`; empty for a solid fill.
    stroke_px : float
        Width of those strokes.
    angle_deg : float
        Rotation of the whole pattern.
    is_solid : bool
        Filled with the colour itself.
    """

    key: str
    pattern: PatternName
    label: str
    colour: str
    tile_px: float
    strokes: str
    stroke_px: float = 1.6
    angle_deg: float = 0.0
    is_solid: bool = False


RUST_SURFACE = Look("rust-surface", "dots", to_say("Rust, surface"), "#CC6A0A", 5, "M1.5 1.5h.01M4 4h.01", 2.2)
RUST_SCALED = Look("rust-scaled", "grid", to_say("Rust, scaled"), "#8F1C0A", 5, "M0 2.5H5M2.5 0V5", 1.1)
RUST_HOLED = Look("rust-holed", "solid", to_say("Rust, holed"), "#33142B", 4, "", is_solid=True)
# One kind, so it may share a colour with a stage; the pattern tells them apart.
RUST_UNSTAGED = Look("rust", "dashes", to_say("Rust, stage not given"), "#8F1C0A", 5, "M2.5 0V3.5", 1.6)
FILLER = Look("filler", "horizontal", to_say("Filler"), "#8B6FE6", 4.5, "M0 2.25H4.5", 1.8)
PATCH = Look("patch", "diagonal", to_say("Patch"), "#22776E", 5.5, "M0 2.75H5.5", 1.9, angle_deg=-45)
PATCH_ON_PATCH = Look(
    "patch-on-patch", "back-diagonal", to_say("Patch on patch"), "#3E05C2", 4.5, "M0 2.25H4.5", 1.9, angle_deg=45
)
HIDDEN = Look("hidden", "waves", to_say("Hidden"), "#45433F", 8, "M0 2Q2 0 4 2T8 2M0 6Q2 4 4 6T8 6", 1.1)
SOUND = Look("sound", "ticks", to_say("Looked at, sound"), "#45433F", 12, "M3 6.2L5 8.4L9 3.4", 1.1)
BLUR = Look("blur", "solid", to_say("Blurred when handed out"), "#45433F", 4, "", is_solid=True)
NEVER_SEEN = Look("never-seen", "hatch", to_say("Never seen"), "#8A8690", 7, "M0 3.5H7", 0.9, angle_deg=45)

LOOKS = (RUST_SURFACE, RUST_SCALED, RUST_HOLED, RUST_UNSTAGED, FILLER, PATCH, PATCH_ON_PATCH, HIDDEN, SOUND, NEVER_SEEN)
"""Every look, in the order of the legend."""

KindStyle = Look
"""The name other drawers know a look by: ``colour``, ``pattern``, ``label``."""

KIND_STYLES: Mapping[str, Look] = MappingProxyType(
    {
        "rust": RUST_UNSTAGED,
        "rust surface": RUST_SURFACE,
        "rust scaled": RUST_SCALED,
        "rust holed": RUST_HOLED,
        "filler": FILLER,
        "patch": PATCH,
        "patch on patch": PATCH_ON_PATCH,
        "hidden": HIDDEN,
        "sound": SOUND,
        "blur": BLUR,
    }
)
"""Looks by the words a page uses; see `style_key`."""


def style_key(kind: MarkKind, stage: RustStage | None) -> str:
    """Key of a kind and stage in `KIND_STYLES`.

    Parameters
    ----------
    kind : MarkKind
        Any kind.
    stage : RustStage or None
        For rust.

    Returns
    -------
    str
        For example ``rust holed``.
    """
    return f"rust {stage.value}" if kind is MarkKind.RUST and stage is not None else kind.value


def look_of(mark: Mark) -> Look:
    """Choose the look of a mark.

    Parameters
    ----------
    mark : Mark
        Any kind; the stage counts for rust.

    Returns
    -------
    Look
        Its look.
    """
    return KIND_STYLES[style_key(mark.kind, mark.stage)]


def pattern_defs(prefix: str, looks: Iterable[Look] = LOOKS, *, ground: str = "#FFFFFF", scale: float = 1.0) -> str:
    """Write the ``<pattern>`` elements of looks.

    Parameters
    ----------
    prefix : str
        Of the ids: ``{prefix}-{key}``; lets two drawings share one page.
    looks : iterable of Look
        Which.
    ground : str
        Colour below the strokes; ``none`` leaves them see-through.
    scale : float
        Of the tile; photos are drawn in their own pixels.

    Returns
    -------
    str
        SVG, to go inside ``<defs>``.
    """
    return "".join(_pattern(prefix, look, ground, scale) for look in looks)


def _pattern(prefix: str, look: Look, ground: str, scale: float) -> str:
    side = look.tile_px
    below = look.colour if look.is_solid else ground
    inside = element("rect", width=side, height=side, fill=below) if below != "none" else ""
    if look.strokes:
        cap = "round" if "h.01" in look.strokes or look is SOUND else "butt"
        if ground == "none":  # on a photo: pale edges keep dark lines visible on dark metal
            inside += _strokes(look, "#FFFFFF", look.stroke_px + 1.0, cap, opacity=0.55)
        inside += _strokes(look, look.colour, look.stroke_px, cap)
    turn = f"scale({scale:g}) rotate({look.angle_deg:g})"
    return element(
        "pattern",
        inside,
        id=f"{prefix}-{look.key}",
        width=side,
        height=side,
        patternUnits="userSpaceOnUse",
        patternTransform=turn,
    )


def _strokes(look: Look, colour: str, width: float, cap: str, opacity: float | None = None) -> str:
    return element(
        "path",
        d=look.strokes,
        fill="none",
        stroke=colour,
        stroke_width=width,
        stroke_linecap=cap,
        stroke_opacity=opacity,
    )
