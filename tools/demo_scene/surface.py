"""One panel's skin: colour, roughness, metal, height and holes on a millimetre grid.

Texel (row j, column i) has its centre at u = u0 + (i + 0.5) / ppm and
v = v0 + (j + 0.5) / ppm. Heights are millimetres towards the viewer's side.
Colours are linear, not sRGB.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from noise import Field, fbm, smooth_noise, smoothstep
from numpy.typing import ArrayLike, NDArray

Colour = tuple[float, float, float]


def srgb(code: str) -> NDArray[np.float32]:
    """Linear colour of a hex code.

    Parameters
    ----------
    code : str
        For example ``#8a4a20``.

    Returns
    -------
    ndarray of float32, shape (3,)
        Linear red, green, blue.
    """
    c = np.array([int(code[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4).astype(np.float32)


@dataclass
class Surface:
    """The skin of one panel.

    Parameters
    ----------
    panel : str
        Panel id.
    low_mm, high_mm : ndarray, shape (2,)
        Box of the panel's outline in (u, v).
    ppm : float
        Texels a millimetre.
    rng : Generator
        Source of every random number on this panel.
    """

    panel: str
    low_mm: NDArray[np.float64]
    high_mm: NDArray[np.float64]
    ppm: float
    rng: np.random.Generator
    rgb: NDArray[np.float32] = field(init=False)
    rough: Field = field(init=False)
    metal: Field = field(init=False)
    height: Field = field(init=False)
    solid: Field = field(init=False)
    dust: Field = field(init=False)

    def __post_init__(self) -> None:
        cols, rows = np.ceil((self.high_mm - self.low_mm) * self.ppm).astype(int)
        self.shape = (int(rows), int(cols))
        self.rgb = np.zeros((*self.shape, 3), np.float32)
        self.rough = np.full(self.shape, 0.6, np.float32)
        self.metal = np.zeros(self.shape, np.float32)
        self.height = np.zeros(self.shape, np.float32)
        self.solid = np.ones(self.shape, np.float32)
        self.dust = np.ones(self.shape, np.float32)  # how much of the last coat of dust settles here
        u = self.low_mm[0] + (np.arange(self.shape[1]) + 0.5) / self.ppm
        v = self.low_mm[1] + (np.arange(self.shape[0]) + 0.5) / self.ppm
        self.u, self.v = (a.astype(np.float32) for a in np.meshgrid(u, v))

    def window(self, low_mm: ArrayLike, high_mm: ArrayLike) -> Surface:
        """Part of this skin sharing its arrays, so that small marks cost little.

        Parameters
        ----------
        low_mm, high_mm : array_like, shape (2,)
            Box in panel millimetres; cut to the panel.

        Returns
        -------
        Surface
            Views into this one.
        """
        a = np.clip(np.floor((np.asarray(low_mm) - self.low_mm) * self.ppm), 0, self.shape[::-1]).astype(int)
        b = np.clip(np.ceil((np.asarray(high_mm) - self.low_mm) * self.ppm), a + 4, self.shape[::-1]).astype(int)
        part = object.__new__(Surface)
        part.panel, part.ppm, part.rng = self.panel, self.ppm, self.rng
        part.low_mm, part.high_mm = self.low_mm + a / self.ppm, self.low_mm + b / self.ppm
        part.shape = (int(b[1] - a[1]), int(b[0] - a[0]))
        for name in ("rgb", "rough", "metal", "height", "solid", "dust", "u", "v"):
            setattr(part, name, getattr(self, name)[a[1] : b[1], a[0] : b[0]])
        return part

    def fbm(self, cell_mm: float, **kwargs: float) -> Field:
        """Fractal noise on this panel; see `noise.fbm`."""
        return fbm(self.shape, self.ppm, cell_mm, self.rng, **kwargs)  # type: ignore[arg-type]

    def noise(self, cell_mm: float) -> Field:
        """One octave on this panel; see `noise.smooth_noise`."""
        return smooth_noise(self.shape, self.ppm, cell_mm, self.rng)

    def paint(
        self,
        mask: Field,
        colour: NDArray[np.float32] | None = None,
        *,
        rough: float | Field | None = None,
        metal: float | Field | None = None,
        lift: float | Field = 0.0,
    ) -> None:
        """Lay a coat over the skin where the mask (0..1) says."""
        m = mask.astype(np.float32)
        if colour is not None:
            self.rgb += m[..., None] * (colour - self.rgb)
        if rough is not None:
            self.rough += m * (rough - self.rough)
        if metal is not None:
            self.metal += m * (metal - self.metal)
        self.height += m * np.float32(1) * lift

    def distance(self, ring_mm: ArrayLike) -> Field:
        """Signed distance to a closed ring, mm, positive inside.

        Parameters
        ----------
        ring_mm : array_like, shape (N, 2)
            Panel millimetres.

        Returns
        -------
        ndarray of float32
            Over the whole panel.
        """
        ring = (np.asarray(ring_mm, float) - self.low_mm) * self.ppm - 0.5
        mask = np.zeros(self.shape, np.uint8)
        cv2.fillPoly(mask, [np.round(ring * 256).astype(np.int32)], 1, shift=8)
        inside = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
        outside = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)
        return (inside - outside) / np.float32(self.ppm)

    def box(self, centre: ArrayLike, size: tuple[float, float], radius: float = 0.0, turn_deg: float = 0.0) -> Field:
        """Exact signed distance to a box with rounded corners, mm, positive inside."""
        c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
        cu, cv = np.asarray(centre, float)
        x, y = self.u - np.float32(cu), self.v - np.float32(cv)
        a, b = np.abs(c * x + s * y) - size[0] / 2 + radius, np.abs(-s * x + c * y) - size[1] / 2 + radius
        gap = np.hypot(np.maximum(a, 0), np.maximum(b, 0)) + np.minimum(np.maximum(a, b), 0) - radius
        return np.asarray(-gap, np.float32)

    def disc(self, centre: ArrayLike, radius: float) -> Field:
        """Signed distance to a circle, mm, positive inside."""
        cu, cv = np.asarray(centre, float)
        return np.asarray(radius - np.hypot(self.u - cu, self.v - cv), np.float32)

    def segment(self, a: ArrayLike, b: ArrayLike) -> Field:
        """Distance to a straight piece, mm (not signed)."""
        p, q = np.asarray(a, float), np.asarray(b, float)
        d = q - p
        t = np.clip(((self.u - p[0]) * d[0] + (self.v - p[1]) * d[1]) / max(float(d @ d), 1e-9), 0, 1)
        return np.asarray(np.hypot(self.u - p[0] - t * d[0], self.v - p[1] - t * d[1]), np.float32)

    def cavity(self, size_mm: float) -> Field:
        """How far the skin lies below (+) or above (-) its surroundings, mm."""
        return cv2.GaussianBlur(self.height, (0, 0), size_mm * self.ppm) - self.height

    def edge(self, distance: Field, soft_mm: float = 0.6) -> Field:
        """Mask from a signed distance with a soft edge."""
        return smoothstep(-soft_mm / 2, soft_mm / 2, distance)
