"""Prove the camera on the picture itself: a traced chessboard against OpenCV's projection.

The board is a mesh in the car frame under the left floor, seen through the
same renderer, resampling, tone, noise and JPEG as the demo photos. Its corners
are found in the picture by ``cornerSubPix`` and compared with
``cv2.projectPoints``. Comparing a projection with a projection would hide a
wrong sign; this does not.

The board glows, so that the noise of path-traced light, which moves corners at
random, is not taken for the camera's error, and the grey picture is smoothed by
0.7 px: ``cornerSubPix`` follows the stairs of an edge that is sharper than a
lens would draw it.
"""

from __future__ import annotations

import argparse
import json
from io import BytesIO

import cv2
import mitsuba as mi
import numpy as np
import post
import tracing
from camera import Camera
from PIL import Image

COLUMNS, ROWS, SQUARE_MM, TEXELS = 13, 9, 50.0, 40
SMOOTHED_PX = 0.7


def _board(origin: np.ndarray) -> dict[str, object]:
    checks = np.indices((ROWS + 1, COLUMNS + 1)).sum(0) % 2
    picture = np.kron(checks, np.ones((TEXELS, TEXELS))).astype(np.float32) * 0.45 + 0.03
    w, h = (COLUMNS + 1) * SQUARE_MM, (ROWS + 1) * SQUARE_MM
    a = origin - np.array([SQUARE_MM, SQUARE_MM, 0])
    e, g = np.array([w, 0, 0]), np.array([0, h, 0])
    verts = np.array([a, a + e, a + e + g, a + g], np.float32)
    tex = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    mesh = (verts, np.array([[0, 2, 1], [0, 3, 2]], np.uint32), tex)  # turned to the camera below: only that side glows
    scene: dict[str, object] = {"type": "scene"}
    bitmap = {**tracing.texture(np.repeat(picture[..., None], 3, 2)), "filter_type": "nearest"}
    black = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}
    tracing.add_mesh(scene, "board", mesh, black, smooth=False, glow=bitmap)
    scene["sky"] = {"type": "constant", "radiance": {"type": "rgb", "value": 0.36}}
    return scene


def check(camera: Camera, origin: np.ndarray, spp: int) -> np.ndarray:
    """Differences found minus projected, px, shape (N, 2).

    Parameters
    ----------
    camera : Camera
        The camera.
    origin : ndarray, shape (3,)
        First inner corner, car frame.
    spp : int
        Rays a pixel.
    """
    scene = mi.load_dict(_board(origin))
    look = post.Look(quality=72)
    photo = post.develop(camera.distort(tracing.trace(scene, camera, spp=spp, depth=2)), look, camera, 4)
    data = post.jpeg(photo, camera, look, "2026:09:12 10:00:00")
    grey = np.array(Image.open(BytesIO(data)).convert("L"))
    grid = np.stack(np.meshgrid(np.arange(COLUMNS), np.arange(ROWS)), -1).reshape(-1, 2) * SQUARE_MM
    corners = np.column_stack([grid, np.zeros(len(grid))]) + origin
    want = camera.project(corners)
    inside = (want > 25).all(1) & (want < np.array([camera.width, camera.height]) - 25).all(1)
    found, board = cv2.findChessboardCornersSB(grey, (COLUMNS, ROWS))
    if not found:
        raise SystemExit("the chessboard was not found in the picture")
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 60, 1e-4)
    soft = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), SMOOTHED_PX)
    got = cv2.cornerSubPix(soft, board.reshape(-1, 1, 2).astype(np.float32), (13, 13), (-1, -1), stop).reshape(-1, 2)
    # findChessboardCorners may start at another corner: match by nearest
    nearest = np.linalg.norm(want[:, None] - got[None], axis=2).argmin(1)
    return np.asarray((got[nearest] - want)[inside])


def main() -> None:
    """Run the check for three poses and print the medians."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--spp", type=int, default=36)
    args = parser.parse_args()
    tracing.start()
    origin = np.array([100.0, 250.0, 0.0])
    out = []
    for eye, aim, up, k1 in (
        ((420, 420, -900), (410, 450, 0), (1, 0, 0), -0.09),
        ((-60, 200, -820), (400, 450, 0), (0.2, 1, 0), -0.12),
        ((860, 640, -760), (400, 450, 0), (0, 0.3, 1), -0.06),
    ):
        camera = Camera.looking(eye, aim, up, focal_px=1496, dist=(k1, 0.012, 0.0004, -0.0003, 0.0))
        error = check(camera, origin, args.spp)
        size = np.linalg.norm(error, axis=1)
        out.append(
            {
                "k1": k1,
                "corners": len(size),
                "median_px": round(float(np.median(size)), 4),
                "max_px": round(float(size.max()), 3),
                "mean_xy_px": np.round(error.mean(0), 4).tolist(),
            }
        )
        print(json.dumps(out[-1]))


if __name__ == "__main__":
    main()
