"""What the marks are about: rust in three stages, welded patches, filler.

Every function takes the signed distance (mm, positive inside) whose zero
contour is the truth; noise is added to it before the contour is taken, never
after, so the picture and the truth share one edge.
"""

from __future__ import annotations

import cv2
import numpy as np
from noise import Field, cells, smoothstep
from surface import Surface, srgb

RUST = np.stack([srgb(c) for c in ("#1c1310", "#2d1d17", "#41281c", "#5a3622", "#75492b", "#8d6540")])
BEAD_MM = 3.4
"""Half the width of a weld bead; a patch ends at the bead's outer toe."""


def ragged(s: Surface, sd: Field, amount_mm: float, cell_mm: float) -> Field:
    """Fray a distance field; the result's zero contour is the truth."""
    return (sd + amount_mm * s.fbm(cell_mm, octaves=6, gain=0.55)).astype(np.float32)


def rust_colour(t: Field) -> np.ndarray:
    """Colour of rust from 0 (dark, deep) to 1 (dry orange dust)."""
    knots = np.linspace(0, 1, len(RUST))
    return np.stack([np.interp(t, knots, RUST[:, c]) for c in range(3)], axis=-1).astype(np.float32)


def surface_rust(s: Surface, sd: Field) -> None:
    """Bloom: the coat is gone, the steel is freckled brown, still flat."""
    m = s.edge(sd, 1.2)
    freckle = s.fbm(5, octaves=5, gain=0.75)
    dense = smoothstep(-0.5, 1.1, freckle + np.clip(sd / 28, 0, 1.3))
    steel = srgb("#5a5048") * (1 + 0.12 * s.fbm(18))[..., None]
    s.paint(m, np.clip(steel, 0, 1).astype(np.float32), rough=0.6, metal=0.1, lift=-0.55 - 0.0 * sd)
    tone = rust_colour(np.clip(0.42 + 0.16 * s.fbm(22, octaves=5) + 0.1 * freckle, 0, 1))
    s.paint(m * (0.3 + 0.7 * dense), tone, rough=0.9, metal=0.0, lift=0.1 * freckle)
    _bleed(s, sd, 0.35)
    s.dust *= 1 - 0.62 * m


def _bleed(s: Surface, sd: Field, strength: float) -> None:
    halo = smoothstep(-16, -0.5, sd + 5 * s.fbm(12, octaves=4)) * (1 - s.edge(sd, 1.0))
    s.paint(halo * strength, srgb("#4a3020"), rough=0.85)


def scaled_rust(s: Surface, sd: Field) -> None:
    """Scale: swollen, flaking in layers, the coat's rim lifted, blisters round about."""
    m = s.edge(sd, 1.0)
    _blisters(s, sd)
    _bleed(s, sd, 0.6)
    depth = np.clip(sd / 24, 0, 1)
    big, big_edge = cells(s.shape, s.ppm, 17, s.rng)
    small, small_edge = cells(s.shape, s.ppm, 5.5, s.rng)
    grain = s.fbm(3.2, octaves=4, gain=0.8)
    swell = 1.1 * np.clip(sd / 5, 0, 1) + 0.5 * s.fbm(30, octaves=4) * depth
    flakes = (1.5 * (big - 0.4) * smoothstep(0, 0.8, big_edge) + 0.55 * (small - 0.5)) * depth
    t = (
        0.31
        + 0.15 * s.fbm(34, octaves=5, gain=0.6)
        + 0.09 * grain
        - 0.10 * depth
        + 0.14 * (big - 0.5)
        + 0.08 * (small - 0.5)
    )
    t -= 0.25 * (1 - smoothstep(0.0, 0.8, big_edge)) * depth + 0.10 * (1 - smoothstep(0.0, 0.5, small_edge)) * depth
    t += 0.16 * np.exp(-((sd / 6) ** 2))
    pits = smoothstep(1.5, 1.9, s.fbm(7, octaves=3)) * depth
    s.height += m * (cv2.GaussianBlur(s.height, (0, 0), 3 * s.ppm) - s.height)
    s.paint(m, rust_colour(np.clip(t - 0.3 * pits, 0, 1)), rough=0.92, metal=0.0)
    s.height += m * (swell - 0.7 + flakes + 0.28 * grain - 0.9 * pits)
    rim = np.exp(-(((sd + 1.4) / 1.3) ** 2)) * smoothstep(-0.8, 0.6, s.fbm(14))
    s.height += 1.1 * rim
    s.dust *= 1 - 0.75 * m


def _blisters(s: Surface, sd: Field) -> None:
    near = smoothstep(-30, -2, sd) * (1 - s.edge(sd, 1.0))
    bump = smoothstep(0.9, 2.0, s.fbm(11, octaves=2))
    s.height += 1.5 * bump * near
    s.paint(0.5 * smoothstep(0.75, 1.0, bump) * near, srgb("#4d2c1b"), rough=0.85)


def hole(s: Surface, sd: Field) -> None:
    """A hole through the sheet: ragged thin edge, dark behind."""
    rim = smoothstep(-7, -0.2, sd)
    s.paint(rim, rust_colour(np.clip(0.3 + 0.2 * s.fbm(4, octaves=3), 0, 1)), rough=0.95)
    s.height -= 1.3 * rim
    curl = np.exp(-(((sd + 0.8) / 1.0) ** 2)) * s.fbm(7)
    s.height += 0.9 * curl
    s.solid *= 1 - (sd > 0)


def weld_patch(s: Surface, sd: Field, along: Field, *, fresh: bool) -> None:
    """A welded plate with the bead run round it.

    Parameters
    ----------
    s : Surface
        The skin.
    sd : ndarray
        Distance to the plate's own edge, mm.
    along : ndarray
        Way along the bead, mm.
    fresh : bool
        Grey primer brushed on, heat tints and burnt coat round it; else coated over and dirty.
    """
    plate = s.edge(sd, 0.7)
    bead_sd = BEAD_MM - np.abs(sd) + 0.55 * s.fbm(9, octaves=2)
    bead = smoothstep(-0.3, 0.5, bead_sd)
    _burnt(s, sd, fresh)
    flat = cv2.GaussianBlur(s.height, (0, 0), 12 * s.ppm)
    s.height += plate * (flat + 1.5 + 0.12 * s.fbm(60, octaves=2) - s.height)
    ripple = np.sin(2 * np.pi * (along + 0.9 * np.abs(sd) + 0.5 * s.fbm(14, octaves=2)) / 2.7)
    dome = np.sqrt(np.clip(1 - (sd / (BEAD_MM + 0.6)) ** 2, 0, 1))
    toe = flat + 0.3
    s.height += bead * (np.maximum(toe, s.height) * 0 + toe + dome * (2.1 + 0.35 * ripple + 0.3 * s.fbm(12)) - s.height)
    steel = srgb("#6a6763") * (1 + 0.07 * s.fbm(4, octaves=3, stretch=10.0))[..., None]
    s.paint(plate, np.clip(steel, 0, 1).astype(np.float32), rough=0.42, metal=0.75)
    _tints(s, sd, plate)
    s.paint(bead, srgb("#5c5650"), rough=0.45, metal=0.7)
    soot = bead * smoothstep(0.1, 1.0, s.fbm(30, octaves=4))
    s.paint(soot * 0.7, srgb("#3a2c24"), rough=0.8, metal=0.1)
    _spatter(s, sd)
    if fresh:
        _primer(s, sd)
        s.paint(bead * (0.35 + 0.45 * smoothstep(-0.5, 0.8, s.fbm(22, octaves=3))), srgb("#40362f"), rough=0.6)
        s.dust *= 1 - 0.55 * smoothstep(-12, 2, sd)
    else:
        _overcoat(s, sd)


def _burnt(s: Surface, sd: Field, fresh: bool) -> None:  # noqa: FBT001 - one switch, two callers
    reach = 15 if fresh else 7
    ring = smoothstep(-reach, -reach + 1.2, sd + 4.5 * s.fbm(15, octaves=5)) * (1 - s.edge(sd, 0.7))
    scrape = s.fbm(4, octaves=3, stretch=9.0)
    tone = srgb("#66605a" if fresh else "#2c2825") * (1 + 0.15 * scrape)[..., None]
    s.paint(ring, np.clip(tone, 0, 1).astype(np.float32), rough=0.5, metal=0.55 if fresh else 0.0)
    s.height += ring * (cv2.GaussianBlur(s.height, (0, 0), 4 * s.ppm) - 0.7 - s.height)
    soot = np.exp(-(((sd + 7) / 6) ** 2)) * smoothstep(-0.6, 1.0, s.fbm(25, octaves=4))
    s.paint(soot.astype(np.float32) * (0.75 if fresh else 0.4), srgb("#1b1512"), rough=0.85, metal=0.0)


def _tints(s: Surface, sd: Field, plate: Field) -> None:
    wob = sd + 1.5 * s.fbm(20)
    for centre, width, tone, how in ((6, 2.5, "#7d6238", 0.55), (10, 2.2, "#4d4058", 0.5), (13.5, 2.4, "#4a566e", 0.4)):
        s.paint(plate * np.exp(-(((wob - centre) / width) ** 2)) * how, srgb(tone))


def _spatter(s: Surface, sd: Field) -> None:
    dots = smoothstep(2.3, 2.6, s.noise(2.2)) * smoothstep(-26, -4, sd) * smoothstep(28, 6, sd)
    s.paint(dots, srgb("#59544d"), rough=0.4, metal=0.6, lift=0.8)


def _primer(s: Surface, sd: Field) -> None:
    brush = s.fbm(5, octaves=4, stretch=16.0)
    edge = smoothstep(-9, -5, sd + 4 * brush + 3 * s.fbm(30))
    thin = smoothstep(-1.7, -0.7, s.fbm(50, octaves=5, stretch=3.0) + 0.5 * brush)
    tone = srgb("#5b5a57") * (1 + 0.06 * brush + 0.05 * s.fbm(40))[..., None]
    s.paint(edge * thin, np.clip(tone, 0, 1).astype(np.float32), rough=0.62, metal=0.0, lift=0.05 * brush)


def _overcoat(s: Surface, sd: Field) -> None:
    m = smoothstep(-14, -9, sd + 5 * s.fbm(24, octaves=4))
    ridges = s.fbm(6, octaves=4, stretch=4.0)
    soft = cv2.GaussianBlur(s.height, (0, 0), 0.9 * s.ppm)
    s.height += m * (soft - s.height) * 0.8
    tone = srgb("#262523") * (1 + 0.22 * s.fbm(50, octaves=4))[..., None]
    s.paint(
        m,
        np.clip(tone, 0, 1).astype(np.float32),
        rough=np.clip(0.62 + 0.1 * s.fbm(20), 0.35, 0.9),
        metal=0.0,
        lift=0.25 + 0.22 * ridges,
    )
    s.dust *= 1 - 0.35 * m


def filler(s: Surface, sd: Field) -> None:
    """Body filler sanded back: feathered rings of paint, primer and steel round a flat dull patch."""
    wob = sd + 1.2 * s.fbm(60, octaves=3)
    scratch = s.fbm(0.9, octaves=2, stretch=30.0) + 0.7 * s.fbm(1.1, octaves=2, stretch=12.0)
    for start, tone, metal, rough in (
        (-26, "#8d8f86", 0.0, 0.6),
        (-17, "#59463c", 0.0, 0.6),
        (-9, "#6d6963", 0.75, 0.4),
    ):
        ring = smoothstep(start - 2.5, start + 2.5, wob + 0.8 * s.fbm(9, octaves=3))
        c = srgb(tone) * (1 + 0.06 * scratch)[..., None]
        s.paint(ring, np.clip(c, 0, 1).astype(np.float32), rough=rough, metal=metal)
    m = s.edge(sd, 1.4)
    dull = srgb("#6a6054") * (1 + 0.05 * s.fbm(50, octaves=4) + 0.03 * scratch)[..., None]
    s.height += smoothstep(-26, 4, sd) * (cv2.GaussianBlur(s.height, (0, 0), 8 * s.ppm) - s.height)
    lift = np.asarray(0.25 + 0.03 * scratch, np.float32)
    s.paint(m, np.clip(dull, 0, 1).astype(np.float32), rough=0.85, metal=0.0, lift=lift)
    pin = smoothstep(2.4, 2.7, s.noise(1.6)) * m
    s.paint(pin, srgb("#3e362e"), lift=-0.5)
    s.dust *= 1 - 0.7 * smoothstep(-26, -8, sd)
