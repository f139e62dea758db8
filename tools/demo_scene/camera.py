"""The camera: OpenCV's pinhole with Brown-Conrady distortion, and nothing else.

A photo is traced through a plain pinhole with some margin and then resampled
to the distorted image. OpenCV counts pixel centres from (0, 0); the renderer
counts pixel corners, so its image centre (W / 2, H / 2) is OpenCV's
((W - 1) / 2, (H - 1) / 2).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Camera:
    """One photo's camera.

    Parameters
    ----------
    width, height : int
        Pixels.
    focal_px, cx, cy : float
        Pixels, square.
    dist : tuple of float
        k1, k2, p1, p2, k3 as OpenCV's.
    rvec, tvec : ndarray, shape (3,)
        Car frame (mm) to camera frame (x right, y down, z forward).
    """

    width: int
    height: int
    focal_px: float
    cx: float
    cy: float
    dist: tuple[float, float, float, float, float]
    rvec: Array
    tvec: Array

    @classmethod
    def looking(
        cls,
        eye_mm: ArrayLike,
        at_mm: ArrayLike,
        up: ArrayLike,
        *,
        size: tuple[int, int] = (2000, 1500),
        focal_px: float = 1480.0,
        dist: tuple[float, float, float, float, float] = (-0.09, 0.01, 0.0, 0.0, 0.0),
        centre_offset: tuple[float, float] = (6.0, -4.0),
    ) -> Camera:
        """Camera at `eye_mm` looking at `at_mm`, both in the car frame; `up` is up in the photo."""
        eye = np.asarray(eye_mm, float)
        z = np.asarray(at_mm, float) - eye
        z /= np.linalg.norm(z)
        x = np.cross(z, np.asarray(up, float))
        x /= np.linalg.norm(x)
        rotation = np.stack([x, np.cross(z, x), z])
        rvec = np.asarray(cv2.Rodrigues(rotation)[0], float).ravel()
        cx, cy = (size[0] - 1) / 2 + centre_offset[0], (size[1] - 1) / 2 + centre_offset[1]
        return cls(size[0], size[1], focal_px, cx, cy, dist, rvec, -rotation @ eye)

    @property
    def matrix(self) -> Array:
        """OpenCV's K, shape (3, 3)."""
        return np.array([[self.focal_px, 0, self.cx], [0, self.focal_px, self.cy], [0, 0, 1.0]])

    @property
    def rotation(self) -> Array:
        """Car to camera, shape (3, 3)."""
        return np.asarray(cv2.Rodrigues(self.rvec)[0])

    @property
    def eye_mm(self) -> Array:
        """Where the camera is, car frame."""
        return -self.rotation.T @ self.tvec

    def scaled(self, factor: float) -> Camera:
        """The same view with `factor` times the pixels."""
        return Camera(
            round(self.width * factor),
            round(self.height * factor),
            self.focal_px * factor,
            (self.cx + 0.5) * factor - 0.5,
            (self.cy + 0.5) * factor - 0.5,
            self.dist,
            self.rvec,
            self.tvec,
        )

    def project(self, points_mm: ArrayLike) -> Array:
        """Car-frame points to distorted pixels as OpenCV's `projectPoints` does, shape (N, 2).

        Written out: called from Python, OpenCV works out all derivatives too, which takes five times as long.
        """
        p = np.asarray(points_mm, float).reshape(-1, 3) @ self.rotation.T + self.tvec
        ahead = np.where(p[:, 2] == 0.0, 1.0, p[:, 2])
        x, y = p[:, 0] / ahead, p[:, 1] / ahead
        k1, k2, p1, p2, k3 = self.dist
        square = x * x + y * y
        radial = 1.0 + square * (k1 + square * (k2 + square * k3))
        across = x * radial + 2.0 * p1 * x * y + p2 * (square + 2.0 * x * x)
        down = y * radial + p1 * (square + 2.0 * y * y) + 2.0 * p2 * x * y
        return np.column_stack([self.focal_px * across + self.cx, self.focal_px * down + self.cy])

    def plain_size(self) -> tuple[int, int]:
        """Size of the plain pinhole picture that covers the distorted one."""
        x = np.linspace(0, self.width - 1, 33)
        y = np.linspace(0, self.height - 1, 33)
        edge = np.concatenate(
            [
                np.stack([x, 0 * x], 1),
                np.stack([x, 0 * x + self.height - 1], 1),
                np.stack([0 * y, y], 1),
                np.stack([0 * y + self.width - 1, y], 1),
            ]
        )
        rays = np.abs(cv2.undistortPoints(edge.reshape(-1, 1, 2), self.matrix, np.array(self.dist)).reshape(-1, 2))
        w, h = 2 * np.ceil(rays.max(0) * self.focal_px).astype(int) + 8
        return int(w), int(h)

    def distort(self, plain: NDArray[np.float32]) -> NDArray[np.float32]:
        """Resample the plain pinhole picture to the distorted photo."""
        rows, cols = plain.shape[:2]
        x, y = np.meshgrid(np.arange(self.width, dtype=float), np.arange(self.height, dtype=float))
        px = np.stack([x.ravel(), y.ravel()], 1).reshape(-1, 1, 2)
        rays = cv2.undistortPoints(px, self.matrix, np.array(self.dist)).reshape(self.height, self.width, 2)
        where = (rays * self.focal_px + [(cols - 1) / 2, (rows - 1) / 2]).astype(np.float32)
        return np.asarray(cv2.remap(plain, where[..., 0], where[..., 1], cv2.INTER_CUBIC), np.float32)

    def as_document(self) -> dict[str, object]:
        """For ``cameras.json``."""
        return {
            "width_px": self.width,
            "height_px": self.height,
            "K": self.matrix.tolist(),
            "dist": list(self.dist),
            "rvec": self.rvec.tolist(),
            "tvec_mm": self.tvec.tolist(),
        }
