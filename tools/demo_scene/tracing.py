"""Meshes and skins handed to mitsuba, light, and a denoised linear picture back."""

from __future__ import annotations

import ctypes.util
import os

import mitsuba as mi
import numpy as np
from camera import Camera
from meshes import Mesh
from noise import fbm, smoothstep
from numpy.typing import NDArray
from pyoidn import denoise as oidn
from surface import Surface, srgb


def start() -> None:
    """Choose the fast variant when LLVM 19 is there, else the plain one."""
    library = os.environ.get("DRJIT_LIBLLVM_PATH") or ctypes.util.find_library("LLVM-19")
    if library is not None and "19" in library:
        os.environ["DRJIT_LIBLLVM_PATH"] = library
        mi.set_variant("llvm_ad_rgb")
        return
    mi.set_variant("scalar_rgb")


def texture(data: NDArray[np.float32]) -> dict[str, object]:
    """Bitmap of linear numbers, clamped at its edges."""
    image = data[..., None] if data.ndim == 2 else data
    image = np.ascontiguousarray(image, np.float32)
    return {"type": "bitmap", "bitmap": mi.Bitmap(image), "raw": True, "wrap_mode": "clamp"}


def tiled(data: NDArray[np.float32]) -> dict[str, object]:
    """Bitmap of linear numbers that repeats."""
    return {**texture(data), "wrap_mode": "repeat"}


def mirrored(data: NDArray[np.float32]) -> dict[str, object]:
    """Bitmap of linear numbers that repeats mirrored, so that its edges do not show."""
    return {**texture(data), "wrap_mode": "mirror"}


def skin_material(s: Surface, fine: NDArray[np.float32]) -> dict[str, object]:
    """Material of a panel from its skin and the fine height its mesh cannot carry."""
    principled = {
        "type": "principled",
        "base_color": texture(np.clip(s.rgb, 0.004, 0.9)),
        "roughness": texture(np.clip(s.rough, 0.1, 1.0)),
        "metallic": texture(np.clip(s.metal, 0, 1)),
        "specular": 0.4,
    }
    bumped = {
        "type": "bumpmap",
        "arbitrary": texture(np.clip(fine, -0.5, 0.5) * 0.9),
        "scale": 1.0,
        "bsdf": principled,
    }
    both: dict[str, object] = {"type": "twosided", "bsdf": bumped}
    if float(s.solid.min()) > 0.5:
        return both
    return {"type": "mask", "opacity": texture((s.solid > 0.5).astype(np.float32)), "bsdf": both}


def plain_material(
    colour: str, rough: float = 0.6, metal: float = 0.0, *, grime: float = 0.5, seed: int = 0, kind: str = "dirt"
) -> dict[str, object]:
    """Material for pipes, brackets and the workshop: one colour, unevenly dirty.

    Parameters
    ----------
    colour : str
        Hex.
    rough, metal : float
        As the renderer's.
    grime : float
        0 clean to 1 filthy.
    seed : int
        Of its texture.
    kind : str
        ``dirt`` or ``rust``: what it is dirty with.
    """
    rng = np.random.default_rng(seed)
    shape = (768, 768)
    n, fine = fbm(shape, 0.768, 260, rng, octaves=7, gain=0.6), fbm(shape, 0.768, 30, rng, octaves=5, gain=0.7)
    base = srgb(colour) * (1 + 0.08 * n + 0.05 * fine)[..., None]
    dirt = srgb("#564d44" if kind == "dirt" else "#4a2f20") * (1 + 0.22 * fine)[..., None]
    cover = (np.clip(grime * (1 + 0.18 * n + 0.16 * fine), 0, 0.95) * smoothstep(0.0, 0.15, np.float32(grime)))[
        ..., None
    ]
    rgb = np.clip(base + cover * (dirt - base), 0.004, 0.9).astype(np.float32)
    mask = cover[..., 0].astype(np.float32)
    return {
        "type": "twosided",
        "bsdf": {
            "type": "principled",
            "base_color": mirrored(rgb),
            "roughness": mirrored(np.clip(rough + mask * (0.92 - rough), 0.1, 1).astype(np.float32)),
            "metallic": mirrored((metal * (1 - mask)).astype(np.float32)),
            "specular": 0.4,
        },
    }


def add_mesh(
    scene: dict[str, object],
    name: str,
    mesh: Mesh,
    material: dict[str, object] | object,
    *,
    smooth: bool = True,
    glow: dict[str, object] | None = None,
) -> None:
    """Put a mesh into a scene dictionary; `glow` is the radiance it gives off, if any."""
    verts, faces, tex = mesh
    props = mi.Properties()
    bsdf = mi.load_dict(material) if isinstance(material, dict) else material
    props["mesh_bsdf"] = bsdf
    if glow is not None:
        props["mesh_emitter"] = mi.load_dict({"type": "area", "radiance": glow})
    shape = mi.Mesh(name, len(verts), len(faces), has_vertex_normals=smooth, has_vertex_texcoords=True, props=props)
    params = mi.traverse(shape)
    params["vertex_positions"] = np.ascontiguousarray(verts, np.float32).ravel()
    params["faces"] = np.ascontiguousarray(faces, np.uint32).ravel()
    params["vertex_texcoords"] = np.ascontiguousarray(tex, np.float32).ravel()
    if smooth:
        params["vertex_normals"] = _normals(verts, faces).ravel()
    params.update()
    scene[name] = shape


def _normals(verts: NDArray[np.float32], faces: NDArray[np.uint32]) -> NDArray[np.float32]:
    a, b, c = (verts[faces[:, k]].astype(np.float64) for k in range(3))
    n = np.cross(b - a, c - a)
    total = np.zeros((len(verts), 3))
    for axis in range(3):
        for k in range(3):
            total[:, axis] += np.bincount(faces[:, k], n[:, axis], len(verts))
    total /= np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12)
    return np.ascontiguousarray(total, np.float32)


def sensor(camera: Camera, spp: int, seed: int) -> dict[str, object]:
    """The plain pinhole that the distorted photo is resampled from."""
    w, h = camera.plain_size()
    r = camera.rotation
    # the renderer's camera looks along +z with x to the LEFT and y up
    pose = np.eye(4)
    pose[:3, :3] = np.stack([-r[0], -r[1], r[2]], axis=1)
    pose[:3, 3] = camera.eye_mm
    return {
        "type": "perspective",
        "fov_axis": "x",
        "fov": float(np.degrees(2 * np.arctan(w / 2 / camera.focal_px))),
        "near_clip": 5.0,
        "far_clip": 60000.0,
        "to_world": mi.ScalarTransform4f(pose),
        "film": {
            "type": "hdrfilm",
            "width": w,
            "height": h,
            "rfilter": {"type": "box"},
            "pixel_format": "rgb",
            "component_format": "float32",
        },
        # stratified: with rays strewn at random an edge in the picture wanders by up to 0.1 px from corner to corner
        "sampler": {"type": "multijitter", "sample_count": spp, "seed": seed},
    }


def trace(
    scene: object, camera: Camera, *, spp: int = 32, seed: int = 0, depth: int = 4, passes: int = 1
) -> NDArray[np.float32]:
    """Path-trace and denoise; linear plain pinhole picture, shape (H, W, 3)."""
    path = mi.load_dict({"type": "path", "max_depth": depth, "hide_emitters": False})
    guide = mi.load_dict({"type": "aov", "aovs": "alb:albedo,nn:sh_normal"})
    cam = mi.load_dict(sensor(camera, spp, seed))
    total: NDArray[np.float64] | float = 0.0
    for k in range(passes):
        total = total + np.array(mi.render(scene, sensor=cam, integrator=path, spp=spp, seed=seed + k), np.float64)
    colour = np.nan_to_num((np.asarray(total) / passes)[..., :3].astype(np.float32), nan=0.0, posinf=50.0)
    colour = np.ascontiguousarray(np.minimum(colour, 60.0))
    aux = np.nan_to_num(np.array(mi.render(scene, sensor=cam, integrator=guide, spp=6, seed=seed + 99), np.float32))
    albedo, normal = (np.ascontiguousarray(aux[..., aux.shape[2] - 6 + k : aux.shape[2] - 3 + k]) for k in (0, 3))
    clean = np.asarray(oidn(color=colour, albedo=np.clip(albedo, 0, 1), normal=normal, hdr=True))
    return (0.95 * clean + 0.05 * colour).astype(np.float32)
