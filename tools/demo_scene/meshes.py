"""Triangle meshes as numpy arrays: (vertices mm, faces, texture coordinates or None)."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import ConvexHull
from surface import Surface

Mesh = tuple[NDArray[np.float32], NDArray[np.uint32], NDArray[np.float32]]


def grid_faces(rows: int, cols: int) -> NDArray[np.uint32]:
    """Two triangles a cell of a rows x cols vertex grid."""
    i = np.arange(rows * cols).reshape(rows, cols)
    a, b, c, d = (x.ravel() for x in (i[:-1, :-1], i[:-1, 1:], i[1:, 1:], i[1:, :-1]))
    return np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.uint32)


def skin(
    s: Surface, origin: ArrayLike, u_axis: ArrayLike, v_axis: ArrayLike, towards: ArrayLike, step_mm: float
) -> tuple[Mesh, NDArray[np.float32]]:
    """Displaced mesh of a panel, and the fine height the mesh cannot carry (mm, per texel)."""
    low, high = s.low_mm, s.low_mm + np.array(s.shape[::-1]) / s.ppm
    cols, rows = (np.ceil((high - low) / step_mm).astype(int) + 1).tolist()
    u, v = np.linspace(low[0], high[0], cols), np.linspace(low[1], high[1], rows)
    smooth = cv2.GaussianBlur(s.height, (0, 0), max(0.45 * step_mm * s.ppm, 0.3))
    mx, my = np.meshgrid(
        ((u - low[0]) * s.ppm - 0.5).astype(np.float32), ((v - low[1]) * s.ppm - 0.5).astype(np.float32)
    )
    coarse = cv2.remap(smooth, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    uu, vv = np.meshgrid(u, v)
    verts = (
        np.asarray(origin, float)
        + uu[..., None] * np.asarray(u_axis)
        + vv[..., None] * np.asarray(v_axis)
        + coarse[..., None] * np.asarray(towards)
    )
    tex = np.stack([(uu - low[0]) / (high[0] - low[0]), (vv - low[1]) / (high[1] - low[1])], -1)
    tx, ty = np.meshgrid(
        ((np.arange(s.shape[1]) + 0.5) / s.shape[1] * (cols - 1)).astype(np.float32),
        ((np.arange(s.shape[0]) + 0.5) / s.shape[0] * (rows - 1)).astype(np.float32),
    )
    carried = cv2.remap(coarse, tx, ty, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    faces = grid_faces(rows, cols)
    if np.dot(np.cross(np.asarray(u_axis, float), np.asarray(v_axis, float)), np.asarray(towards, float)) < 0:
        faces = faces[:, ::-1]
    mesh = (verts.reshape(-1, 3).astype(np.float32), faces, tex.reshape(-1, 2).astype(np.float32))
    return mesh, (s.height - carried).astype(np.float32)


def _there_and_back(angle: NDArray[np.float64]) -> NDArray[np.float64]:
    """Texture coordinate round a full turn that meets itself, so that no seam shows."""
    return np.abs(np.mod(angle, 2 * np.pi) - np.pi)


def tube(path_mm: ArrayLike, radius_mm: float | ArrayLike, sides: int = 20, bend_mm: float = 30.0) -> Mesh:
    """A pipe along a polyline whose corners are rounded.

    Parameters
    ----------
    path_mm : array_like, shape (N, 3)
        Corners.
    radius_mm : float or array_like
        Radius; an array is spread along the length.
    sides : int
        Facets round.
    bend_mm : float
        Length taken off each side of a corner by its bend.
    """
    line = _rounded(np.asarray(path_mm, float), bend_mm)
    tangent = np.gradient(line, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    side = np.cross(tangent[0], [0.31, 0.77, 0.55])
    frames = []
    for t in tangent:
        side = side - (side @ t) * t
        side /= np.linalg.norm(side)
        frames.append((side, np.cross(t, side)))
    a = np.linspace(0, 2 * np.pi, sides + 1)
    length = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    r = np.interp(length / length[-1], np.linspace(0, 1, np.size(radius_mm)), np.atleast_1d(radius_mm))
    n, b = (np.array([f[k] for f in frames]) for k in (0, 1))
    ring = np.cos(a)[None, :, None] * n[:, None] + np.sin(a)[None, :, None] * b[:, None]
    verts = line[:, None] + r[:, None, None] * ring
    tex = np.stack(np.broadcast_arrays(length[:, None] / 1000, (_there_and_back(a) * r.max() / 1000)[None]), -1)
    return (
        verts.reshape(-1, 3).astype(np.float32),
        grid_faces(len(line), sides + 1),
        tex.reshape(-1, 2).astype(np.float32),
    )


def _rounded(path: NDArray[np.float64], bend: float) -> NDArray[np.float64]:
    out = [path[:1]]
    for p, q, r in zip(path[:-2], path[1:-1], path[2:], strict=True):
        d1, d2 = q - p, r - q
        k = min(bend, 0.45 * np.linalg.norm(d1), 0.45 * np.linalg.norm(d2))
        a, c = q - d1 / np.linalg.norm(d1) * k, q + d2 / np.linalg.norm(d2) * k
        t = np.linspace(0, 1, 9)[:, None]
        out.append((1 - t) ** 2 * a + 2 * t * (1 - t) * q + t**2 * c)
    out.append(path[-1:])
    line = np.concatenate(out)
    keep = np.concatenate([[True], np.linalg.norm(np.diff(line, axis=0), axis=1) > 1e-3])
    line = line[keep]
    dense = [line[:1]]
    for a, b in itertools.pairwise(line):
        n = max(int(np.linalg.norm(b - a) / 40), 1)
        dense.append(a + (b - a) * np.linspace(0, 1, n + 1)[1:, None])
    return np.concatenate(dense)


def box(centre: ArrayLike, size: ArrayLike, axes: ArrayLike | None = None, bevel_mm: float = 1.5) -> Mesh:
    """A box with bevelled edges; `axes` are its three unit directions (rows)."""
    h = np.asarray(size, float) / 2
    b = min(bevel_mm, 0.4 * h.min())
    frame = np.eye(3) if axes is None else np.asarray(axes, float)
    verts: list[NDArray[np.float64]] = []
    faces: list[list[int]] = []
    tex: list[tuple[float, float]] = []
    for k in range(3):
        i, j = (k + 1) % 3, (k + 2) % 3
        for sign in (-1, 1):
            base = len(verts)
            for a, c in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
                p = np.zeros(3)
                p[k], p[i], p[j] = sign * h[k], a * (h[i] - b), c * (h[j] - b)
                verts.append(p)
                tex.append(((a * h[i] + 500) / 1000, (c * h[j] + 500) / 1000))
            quad = [(0, 1, 2), (0, 2, 3)] if sign > 0 else [(0, 2, 1), (0, 3, 2)]
            faces += [[base + q for q in tri] for tri in quad]
    pts = np.array(verts)
    # bevels: the hull of the six faces; scipy keeps this short
    hull = ConvexHull(pts)
    tri = hull.simplices.copy()
    out = (
        np.einsum(
            "ij,ij->i",
            np.cross(pts[tri[:, 1]] - pts[tri[:, 0]], pts[tri[:, 2]] - pts[tri[:, 0]]),
            hull.equations[:, :3],
        )
        < 0
    )
    tri[out] = tri[out][:, ::-1]
    flat = pts[tri].reshape(-1, 3)
    uv = np.array(tex)[tri].reshape(-1, 2)
    world = np.asarray(centre, float) + flat @ frame
    return world.astype(np.float32), np.arange(len(flat)).reshape(-1, 3).astype(np.uint32), uv.astype(np.float32)


def disc_head(centre: ArrayLike, normal: ArrayLike, radius: float, height: float, sides: int = 6) -> Mesh:
    """A bolt head (6 sides) or a round plug (many), standing on a face."""
    n = np.asarray(normal, float) / np.linalg.norm(normal)
    e = np.cross(n, [0.3, 0.5, 0.81])
    e /= np.linalg.norm(e)
    f = np.cross(n, e)
    a = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    circle = np.cos(a)[:, None] * e + np.sin(a)[:, None] * f
    c = np.asarray(centre, float)
    rings = [c + radius * circle - n, c + radius * circle + n * height * 0.8, c + 0.86 * radius * circle + n * height]
    tri = []
    for k in range(2):
        for i in range(sides):
            j = (i + 1) % sides
            p, q, r, s = rings[k][i], rings[k][j], rings[k + 1][j], rings[k + 1][i]
            tri += [p, q, r, p, r, s]
    for i in range(sides):
        tri += [rings[2][i], rings[2][(i + 1) % sides], c + n * height]
    verts = np.array(tri)
    uv = np.stack([verts @ e, verts @ f], 1) / 200 + 0.5
    return verts.astype(np.float32), np.arange(len(verts)).reshape(-1, 3).astype(np.uint32), uv.astype(np.float32)


def _squarer(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """A sine or cosine whose circle is nearer to a square: a tyre's section."""
    return np.asarray(np.sign(x) * np.abs(x) ** 0.55)


def ring_torus(centre: ArrayLike, axis: ArrayLike, radius: float, thick: float, width: float) -> Mesh:
    """A tyre: a rounded ring round `axis`."""
    n = np.asarray(axis, float) / np.linalg.norm(axis)
    e = np.cross(n, [0.2, 0.3, 0.93])
    e /= np.linalg.norm(e)
    f = np.cross(n, e)
    a, b = np.meshgrid(np.linspace(0, 2 * np.pi, 73), np.linspace(0, 2 * np.pi, 33), indexing="ij")
    r = radius + thick * _squarer(np.cos(b))
    verts = np.asarray(centre, float) + (r * np.cos(a))[..., None] * e + (r * np.sin(a))[..., None] * f
    verts = verts + (width * _squarer(np.sin(b)))[..., None] * n
    tex = np.stack([_there_and_back(a) * radius / 1000, _there_and_back(b) / 6.3], -1)
    return verts.reshape(-1, 3).astype(np.float32), grid_faces(73, 33), tex.reshape(-1, 2).astype(np.float32)


def quad(a: ArrayLike, b: ArrayLike, c: ArrayLike, d: ArrayLike, tile_mm: float = 1000.0) -> Mesh:
    """A flat four-cornered face."""
    verts = np.array([a, b, c, d], np.float32)
    w, h = np.linalg.norm(verts[1] - verts[0]) / tile_mm, np.linalg.norm(verts[3] - verts[0]) / tile_mm
    tex = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
    return verts, np.array([[0, 1, 2], [0, 2, 3]], np.uint32), tex
