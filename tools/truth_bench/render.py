"""Bench renderer: a photo of a scene with its truth, by numpy and OpenCV alone.

Every pixel's ray is met with every panel it may meet; the nearest that is not
a hole there gives the colour. The camera is OpenCV's pinhole with Brown-Conrady
distortion: rays come from ``cv2.undistortPoints``, so the picture can be held
against ``cv2.projectPoints``.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image

from corromap.frames import PanelId
from tools.demo_scene.camera import Camera
from tools.truth_bench.cameras import FULL_FRAME_MM
from tools.truth_bench.relief import CELL_MM, Relief
from tools.truth_bench.scene import Scene
from tools.truth_bench.sight import Face, faces_of, frame_rays, kept_side, through, to_ray, undistorted
from tools.truth_bench.texture import Skin, skin_of

__all__ = ["Light", "Rendered", "Renderer", "jpeg_bytes"]

Field = NDArray[np.float32]

GRID_PX = 8
"""Rays are found every so many pixels and drawn straight between: 0.004 px at k1 = -0.15."""

SOFTER = 0.35
"""The level of a skin is taken this much coarser than a pixel: finer ones flicker, and shift edges."""

NEAR_MM = 30.0
NOISE_TILE = 512


@dataclass(frozen=True)
class Light:
    """How a photo is lit and taken.

    Parameters
    ----------
    torch, ambient : float
        Strength of the lamp beside the lens, and of the light all around.
    exposure : float
        Linear level that the middle of the photo is brought to.
    noise : float
        Standard deviation at mid grey, 8-bit steps.
    quality : int
        JPEG.
    """

    torch: float = 1.0
    ambient: float = 0.12
    exposure: float = 0.16
    noise: float = 3.0
    quality: int = 85


@dataclass(frozen=True, eq=False)
class Rendered:
    """A photo and what each pixel of it shows.

    Parameters
    ----------
    image : ndarray of uint8, shape (rows, columns, 3)
        sRGB.
    panel : ndarray of int16, shape (rows, columns)
        Index of the panel in the template; -1 is background, or the back of a panel.
    depth_mm : ndarray of float32, shape (rows, columns)
        Along the optical axis; infinite for background.
    """

    image: NDArray[np.uint8]
    panel: NDArray[np.int16]
    depth_mm: Field


@dataclass(eq=False)
class Renderer:
    """Photos of one scene; skins are painted once.

    Parameters
    ----------
    scene : Scene
        The car.
    relief : Relief or None
        None for flat panels.
    skins : dict of PanelId to Skin
        Ready ones are used, others painted when a photo first shows them.
    """

    scene: Scene
    relief: Relief | None = None
    skins: dict[PanelId, Skin] = field(default_factory=dict)

    def skin(self, panel: PanelId) -> Skin:
        """Skin of a panel, painted once.

        Parameters
        ----------
        panel : PanelId
            The panel.

        Returns
        -------
        Skin
            Its colour.
        """
        if panel not in self.skins:
            self.skins[panel] = skin_of(self.scene, self.scene.template.panel(panel))
        return self.skins[panel]

    def render(self, camera: Camera, seed: int, light: Light | None = None) -> Rendered:
        """Take a photo.

        Parameters
        ----------
        camera : Camera
            Where from and with what lens.
        seed : int
            Of the noise.
        light : Light, optional
            A torch in a dim workshop by default.

        Returns
        -------
        Rendered
            The same for the same arguments.
        """
        light = light or Light()
        rays = ray_grid(camera)
        rng = np.random.default_rng([self.scene.seed, 13, seed])
        linear = _background(camera, rng)
        depth = np.full(linear.shape[:2], np.inf, np.float32)
        panel = np.full(linear.shape[:2], -1, np.int16)
        for face, matrix, box in self._in_view(camera):
            self._add(face, matrix, box, camera, light, (rays, linear, depth, panel))
        return Rendered(_develop(linear, np.isfinite(depth), light, rng), panel, depth)

    def _in_view(self, camera: Camera) -> Sequence[tuple[Face, NDArray[np.float64], tuple[slice, slice]]]:
        """Panels that reach into the frame, with the rows and columns they fill."""
        frame = frame_rays(camera)
        found = []
        for face in faces_of(self.scene.template):
            matrix = to_ray(camera, face.place)
            near = kept_side(face.area, matrix[2] - [0, 0, NEAR_MM])
            if face.panel is None or near.is_empty:
                continue
            shown = shapely.intersection(through(matrix, near), frame)
            if shown.is_empty:
                continue
            edge = shapely.get_coordinates(shapely.segmentize(shown, 0.03))
            px = cv2.projectPoints(
                np.column_stack([edge, np.ones(len(edge))]), np.zeros(3), np.zeros(3), camera.matrix,
                np.array(camera.dist),
            )[0].reshape(-1, 2)  # fmt: skip
            # relief moves points by a few pixels; they must not fall off the box
            low = np.maximum(np.floor(px.min(axis=0)) - 12, 0).astype(int)
            high = np.minimum(np.ceil(px.max(axis=0)) + 13, [camera.width, camera.height]).astype(int)
            if (high > low).all():
                found.append((face, matrix, (slice(low[1], high[1]), slice(low[0], high[0]))))
        return found

    def _add(
        self,
        face: Face,
        matrix: NDArray[np.float64],
        box: tuple[slice, slice],
        camera: Camera,
        light: Light,
        film: tuple[Field, Field, Field, NDArray[np.int16]],
    ) -> None:
        """Put one panel into the photo where it is nearest."""
        if face.panel is None:
            return
        rays, linear, depth, panel = film[0][box], film[1][box], film[2][box], film[3][box]
        u, v, z = _met(matrix, rays)
        if self.relief is not None:
            u, v, z = self._lifted(face, matrix, rays, (u, v, z))
        skin = self.skin(face.panel.id)
        level = _level(matrix, camera, skin, (u, v, z))
        scale, offset = skin.texels_of(level)
        colour = cv2.remap(
            skin.levels[level],
            u * np.float32(scale) + np.float32(offset[0]), v * np.float32(scale) + np.float32(offset[1]),
            cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=(0, 0, 0, 0),
        )  # fmt: skip
        here = (colour[..., 3] > 0.5) & (z > NEAR_MM) & (z < depth)
        if not here.any():
            return
        is_front = float((camera.eye_mm - face.place.origin_mm) @ face.place.normal) * face.panel.facing > 0
        lit = colour[..., :3] * _lit(face, camera, rays, z, light)[..., None] * (1.0 if is_front else 0.35)
        linear[here] = lit[here]
        depth[here] = z[here]
        panel[here] = [p.id for p in self.scene.template.panels].index(face.panel.id) if is_front else -1

    def _lifted(
        self, face: Face, matrix: NDArray[np.float64], rays: Field, met: tuple[Field, Field, Field]
    ) -> tuple[Field, Field, Field]:
        """Meet the sheet where it stands off its plane: the height there, three times over."""
        if face.panel is None or self.relief is None:
            return met
        low, heights = self.relief.grid(face.panel)
        grid = heights.astype(np.float32)
        normal = np.cross(matrix[:, 0], matrix[:, 1]) * face.panel.facing
        u, v, z = met
        for _ in range(3):
            x, y = (u - np.float32(low[0])) / CELL_MM, (v - np.float32(low[1])) / CELL_MM
            h: Field = np.asarray(
                cv2.remap(grid, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), dtype=np.float32
            )
            u, v, z = _met(matrix, rays, h, normal)
        return u, v, z


def ray_grid(camera: Camera) -> Field:
    """Ray of every pixel centre.

    Parameters
    ----------
    camera : Camera
        The camera.

    Returns
    -------
    ndarray of float32, shape (rows, columns, 2)
        x / z and y / z.
    """
    xs, ys = (np.arange(0, n + GRID_PX, GRID_PX, dtype=np.float64) for n in (camera.width, camera.height))
    x, y = np.meshgrid(xs, ys)
    knots = undistorted(camera, np.stack([x.ravel(), y.ravel()], axis=1)).reshape(len(ys), len(xs), 2)
    at = np.arange(camera.width)
    i, f = at // GRID_PX, ((at % GRID_PX) / GRID_PX)[None, :, None]
    across = knots[:, i] * (1 - f) + knots[:, i + 1] * f
    at = np.arange(camera.height)
    i, f = at // GRID_PX, ((at % GRID_PX) / GRID_PX)[:, None, None]
    return np.asarray(across[i] * (1 - f) + across[i + 1] * f, dtype=np.float32)


def _met(
    matrix: NDArray[np.float64], rays: Field, height: Field | None = None, normal: NDArray[np.float64] | None = None
) -> tuple[Field, Field, Field]:
    """Where rays meet a plane, or the surface `height` above it: u, v and depth.

    With M = [a b c], a u + b v + c + h n = z (x, y, 1); in the frame of a, b, n
    (orthonormal) the depth is (n . c + h) / (n . ray).
    """
    a, b, c = matrix.T
    n = np.cross(a, b) if normal is None else normal
    x, y = rays[..., 0], rays[..., 1]
    down = x * np.float32(n[0]) + y * np.float32(n[1]) + np.float32(n[2])
    away = np.float32(n @ c) if height is None else np.float32(n @ c) + height
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.asarray(away / down, dtype=np.float32)
    np.clip(z, -1e6, 1e6, out=z)
    u = z * (x * np.float32(a[0]) + y * np.float32(a[1]) + np.float32(a[2])) - np.float32(a @ c)
    v = z * (x * np.float32(b[0]) + y * np.float32(b[1]) + np.float32(b[2])) - np.float32(b @ c)
    return np.asarray(u, dtype=np.float32), np.asarray(v, dtype=np.float32), z


def _level(matrix: NDArray[np.float64], camera: Camera, skin: Skin, met: tuple[Field, Field, Field]) -> int:
    """Level of the skin whose texels are about a pixel where the panel is seen."""
    del matrix
    z = met[2][::16, ::16]
    ahead = z[(z > NEAR_MM) & (z < 1e5)]
    mm_per_px = float(np.median(ahead)) / camera.focal_px if len(ahead) else 1.0
    return int(np.clip(np.round(np.log2(max(mm_per_px * skin.ppm, 1e-3)) + SOFTER), 0, len(skin.levels) - 1))


def _lit(face: Face, camera: Camera, rays: Field, z: Field, light: Light) -> Field:
    """Torch beside the lens with the square of the distance, a soft cone, and ambient light."""
    n = camera.rotation @ face.place.normal
    x, y = rays[..., 0], rays[..., 1]
    far2 = x * x + y * y + 1
    cosine = np.abs(x * np.float32(n[0]) + y * np.float32(n[1]) + np.float32(n[2])) / np.sqrt(far2)
    cone = np.exp(-1.3 * (far2 - 1))
    torch = cosine * cone / (far2 * (np.maximum(z, NEAR_MM) / 600.0) ** 2)
    return np.asarray(light.torch * torch + light.ambient * (0.6 + 0.4 * cosine), dtype=np.float32)


def _background(camera: Camera, rng: np.random.Generator) -> Field:
    """A dark workshop: what a body without engine and axles lets through."""
    coarse = rng.random((7, 9)).astype(np.float32) * 0.012 + 0.004
    smooth = cv2.resize(coarse, (camera.width, camera.height), interpolation=cv2.INTER_CUBIC)
    return np.asarray(smooth[..., None] * np.array([1.0, 0.96, 0.9]), dtype=np.float32)


def _develop(linear: Field, is_body: NDArray[np.bool_], light: Light, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Exposure for the body in the middle, shoulder, sRGB curve and noise."""
    rows, cols = linear.shape[:2]
    inner = (slice(rows // 4, 3 * rows // 4, 4), slice(cols // 4, 3 * cols // 4, 4))
    middle = linear[inner].mean(axis=2)
    if is_body[inner].any():
        middle = middle[is_body[inner]]
    level = float(np.exp(np.log(middle + 1e-4).mean()))
    steps = np.arange(4096, dtype=np.float32) / 4095 * 4  # up to four times white
    bent = np.minimum(steps / (1 + 0.45 * steps) * 1.25, 1.0)
    curve = np.where(bent <= 0.0031308, 12.92 * bent, 1.055 * np.maximum(bent, 1e-9) ** (1 / 2.4) - 0.055)
    index = np.clip(linear * np.float32(light.exposure / level * 4095 / 4), 0, 4095).astype(np.int16)
    tone = (curve * 255).astype(np.float32)[index]
    tile = cv2.GaussianBlur(rng.standard_normal((NOISE_TILE, NOISE_TILE, 3)).astype(np.float32), (0, 0), 0.6) * 1.7
    times = (rows // NOISE_TILE + 1, cols // NOISE_TILE + 1, 1)
    tone += np.float32(light.noise) * np.tile(tile, times)[:rows, :cols]
    return np.asarray(np.clip(tone + 0.5, 0, 255).astype(np.uint8))


def jpeg_bytes(rendered: Rendered, camera: Camera, taken_at: str, quality: int = 85) -> bytes:
    """The file as a phone would have written it.

    Parameters
    ----------
    rendered : Rendered
        The photo.
    camera : Camera
        For the focal length.
    taken_at : str
        ``YYYY:MM:DD HH:MM:SS``.
    quality : int
        JPEG.

    Returns
    -------
    bytes
        JPEG with EXIF: camera, time, 35 mm equivalent focal length.
    """
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Invented", "Bench"
    diagonal = float(np.hypot(camera.width, camera.height))
    details: Mapping[int, object] = {0x9003: taken_at, 0xA405: round(camera.focal_px / diagonal * FULL_FRAME_MM)}
    exif.get_ifd(0x8769).update(details)
    out = io.BytesIO()
    Image.fromarray(rendered.image).save(out, "JPEG", quality=quality, exif=exif)
    return out.getvalue()
