"""Coats and dirt that belong to no mark: paint, underseal, dust, mud, wax, stains, chips."""

from __future__ import annotations

import cv2
import numpy as np
from noise import Field, cells, smoothstep
from numpy.typing import ArrayLike
from surface import Surface, srgb


def body_paint(s: Surface, colour: str = "#7d8a78") -> None:
    """Old cellulose paint: faded, chalky in places, a few runs."""
    base = srgb(colour)
    tone = 1 + 0.06 * s.fbm(150, octaves=4) + 0.03 * s.fbm(8, octaves=3)
    s.rgb[:] = base * tone[..., None]
    s.rough[:] = np.clip(0.34 + 0.08 * s.fbm(60, octaves=4), 0.15, 0.8)
    s.height += 0.04 * s.fbm(3, octaves=2)


def underseal(s: Surface, mask: Field, *, thick_mm: float = 0.7, worn: float = 0.0) -> None:
    """Brushed and sprayed bitumen coat: dimpled, duller where old, polished by stones where worn.

    Parameters
    ----------
    s : Surface
        The skin.
    mask : ndarray
        Where it is, 0 to 1.
    thick_mm : float
        Height of its grain.
    worn : float
        -1 keeps it whole, +1 wears much of it down to paint.
    """
    grain = s.fbm(9, octaves=5, gain=0.62, stretch=1.5)
    lumps = np.maximum(s.fbm(26, octaves=3), 0)
    dark, grey = srgb("#2b2a28"), srgb("#484540")
    t = smoothstep(-1.4, 1.8, s.fbm(110, octaves=5, stretch=2.0) + 0.35 * grain)
    colour = dark + t[..., None] * (grey - dark)
    s.paint(mask, colour, rough=np.clip(0.52 + 0.16 * s.fbm(45), 0.25, 0.9), lift=0.4 + thick_mm * 0.42 * grain)
    s.height += mask * thick_mm * 0.5 * lumps
    if worn > -1:
        _wear(s, mask, worn)


def _wear(s: Surface, mask: Field, worn: float) -> None:
    field = s.fbm(160, octaves=6, gain=0.55, stretch=1.8)
    sd = field - (1.9 - 0.8 * worn)
    gone = smoothstep(0.0, 0.03, sd) * mask
    under = srgb("#57534c")
    tone = (1 + 0.18 * s.fbm(20, octaves=4))[..., None]
    s.paint(gone, np.clip(under * tone, 0, 1), rough=0.62, lift=-0.8)
    s.paint(smoothstep(-0.25, 0.0, sd) * (1 - gone) * mask * 0.4, srgb("#55514a"))


def road_dust(s: Surface, amount: float = 0.5, *, colour: str = "#685d51", wake: Field | float = 0.0) -> None:
    """Fine dry dust, thicker in hollows and in the wake of what stands out; the last coat.

    Parameters
    ----------
    s : Surface
        The skin; `s.dust` holds back the coat where it is below 1.
    amount : float
        Mean cover.
    colour : str
        Hex.
    wake : ndarray or float
        Extra cover.
    """
    broad = s.fbm(240, octaves=4, stretch=2.2)
    fine = s.fbm(10, octaves=5, gain=0.75)
    hollow = np.clip(s.cavity(6), -0.9, 0.9)
    cover = amount * (1 + 0.45 * broad + 0.28 * fine) + 0.3 * hollow + wake
    cover = np.clip(cover, 0, 0.92) * np.clip(s.dust, 0, 1)
    tone = srgb(colour) * (1 + 0.12 * s.fbm(70))[..., None]
    s.paint(cover.astype(np.float32), np.clip(tone, 0, 1).astype(np.float32), rough=0.93, metal=0.0)


def splash(s: Surface, amount: float = 0.25) -> None:
    """Dark runs left by dirty water along the car."""
    runs = np.abs(s.fbm(30, octaves=4, stretch=5.0))
    s.paint((smoothstep(0.07, 0.0, runs) * amount * smoothstep(0, 1, s.fbm(150))).astype(np.float32), srgb("#2a2723"))


def mud(s: Surface, sd: Field, thick_mm: float = 3.0) -> None:
    """Dried brown mud, cracked where thick; `sd` is its signed distance, mm."""
    m = s.edge(sd, 1.6)
    value, edge = cells(s.shape, s.ppm, 19, s.rng)
    depth = np.clip(sd / 10, 0, 1)
    body = thick_mm * depth * (0.7 + 0.3 * s.fbm(16, octaves=5, gain=0.6))
    crack = (1 - smoothstep(0.1, 0.9, edge)) * smoothstep(0.6, 1.0, np.asarray(depth, np.float32)) * 0.35
    tone = srgb("#5a4c3d") * (1 + 0.16 * s.fbm(24, octaves=5) + 0.08 * (value - 0.5))[..., None]
    s.paint(m, np.clip(tone, 0, 1).astype(np.float32), rough=0.97, metal=0.0, lift=body)
    s.paint(m * crack, srgb("#3a2e24"), lift=-1.0)
    s.dust *= 1 - 0.7 * m


def thick_coat(s: Surface, sd: Field, thick_mm: float = 2.6) -> None:
    """Fresh thick underseal slapped over whatever is below: brush ridges, shiny, no dust yet."""
    m = s.edge(sd, 1.0)
    ridges = s.fbm(9, octaves=3, stretch=4.0)
    blobs = np.maximum(s.fbm(22, octaves=3), -0.4)
    lift = np.asarray(thick_mm * np.clip(sd / 4, 0, 1) * 0.5 + 0.28 * ridges + 0.6 * blobs, np.float32)
    base = cv2.GaussianBlur(s.height, (0, 0), 5 * s.ppm)
    s.height += m * (base - s.height)
    tone = srgb("#191817") * (1 + 0.2 * s.fbm(40))[..., None]
    s.paint(
        m, np.clip(tone, 0, 1).astype(np.float32), rough=np.clip(0.38 + 0.1 * s.fbm(12), 0.2, 0.7), metal=0.0, lift=lift
    )
    s.dust *= 1 - 0.72 * m


def red_oxide(s: Surface, sd: Field) -> None:
    """Red-oxide primer brushed on: flat, even, brush marks, a run or two. Not rust."""
    brush = s.fbm(5, octaves=4, stretch=14.0)
    m = smoothstep(-2.5, 1.5, sd + 3.2 * brush)
    tone = srgb("#55261d") * (1 + 0.1 * brush + 0.06 * s.fbm(60))[..., None]
    s.paint(m, np.clip(tone, 0, 1).astype(np.float32), rough=0.7, metal=0.0, lift=0.12 + 0.06 * brush)
    s.dust *= 1 - 0.45 * m


def wax(s: Surface, at: ArrayLike, reach_mm: float, count: int) -> None:
    """Amber cavity wax that ran out of a hole and dried in drips."""
    centre = np.asarray(at, float)
    for k in range(count):
        r = s.rng.uniform(0.1, 1.0) ** 1.6 * reach_mm
        a = s.rng.uniform(0, 2 * np.pi)
        d = s.disc(centre + r * np.array([np.cos(a), np.sin(a)]), float(s.rng.uniform(1.2, 5.0 if k else 11.0)))
        m = s.edge(d + 0.4 * s.noise(5), 1.0) * 0.75
        s.paint(m, srgb("#6d4f1f"), rough=0.14, metal=0.0, lift=np.clip(d, 0, 2.2))
        s.dust *= 1 - 0.8 * m


def leak(s: Surface, ring_mm: ArrayLike) -> None:
    """An oil stain: dark, wet, gathering grit at its edge."""
    sd = s.distance(ring_mm) + 14 * s.fbm(60, octaves=5)
    m = smoothstep(-22, 14, sd)
    s.paint(m * 0.88, srgb("#161310"), rough=0.22, metal=0.0)
    s.dust *= 1 - 0.85 * m


def chips(s: Surface, count: int, *, bare: str = "#6f6c66") -> None:
    """Stone chips: few, small, mostly down to grey primer; sizes follow a power law.

    Parameters
    ----------
    s : Surface
        The skin.
    count : int
        How many on this panel.
    bare : str
        Colour below.
    """
    tones = [srgb(bare), srgb("#57524b"), srgb("#4b3a2e")]
    low, span = s.low_mm, s.high_mm - s.low_mm
    lumps = s.rng.random((max(count // 10, 3), 2)) * span + low
    for _ in range(count):
        at = (
            lumps[s.rng.integers(len(lumps))] + s.rng.normal(0, 70, 2)
            if s.rng.random() < 0.75
            else low + s.rng.random(2) * span
        )
        radius = min(0.6 * (1 - s.rng.random()) ** -0.55, 3.2)
        _chip(s, at, radius, tones[s.rng.choice(3, p=[0.45, 0.35, 0.2])])


def _chip(s: Surface, at: np.ndarray, radius: float, tone: np.ndarray) -> None:
    i, j = ((at - s.low_mm) * s.ppm).astype(int)
    k = int(radius * s.ppm * 2.5) + 3
    if not (k <= i < s.shape[1] - k and k <= j < s.shape[0] - k):
        return
    sl = np.s_[j - k : j + k, i - k : i + k]
    a = np.arctan2(s.v[sl] - at[1], s.u[sl] - at[0])
    phase = s.rng.uniform(0, 6.3, 3)
    r = radius * (
        1 + 0.25 * np.sin(2 * a + phase[0]) + 0.2 * np.sin(3 * a + phase[1]) + 0.14 * np.sin(7 * a + phase[2])
    )
    m = smoothstep(-0.25, 0.25, (r - np.hypot(s.u[sl] - at[0], s.v[sl] - at[1])).astype(np.float32))
    s.rgb[sl] += m[..., None] * (tone - s.rgb[sl])
    s.height[sl] -= 0.45 * m
    s.rough[sl] += m * (0.6 - s.rough[sl])
    s.dust[sl] *= 1 - 0.5 * m
