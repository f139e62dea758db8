"""Trace the demo photos: ``python render.py --scale 0.25 02`` for a quick look, no arguments for all at full size."""

from __future__ import annotations

import argparse
import copy
import json
import pickle
import time
import zlib
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import body
import mitsuba as mi
import numpy as np
import post
import tracing
import vehicle
import workshop
from photos import SHOTS, Shot, torch_seat

HERE = Path(__file__).resolve().parent
TEMPLATE = HERE.parents[1] / "body_templates" / "two-seat-open.json"
SKIPPED = {"screen-frame-base"}


def build_panels(scale: float, cache: Path | None) -> dict[str, body.Panel]:
    """Every panel's skin, from the cache when it holds them.

    Parameters
    ----------
    scale : float
        Share of the full texture resolution.
    cache : Path or None
        Pickle of an earlier run of the same code; the caller removes it when the scene changes.
    """
    if cache is not None and cache.exists():
        return dict(pickle.loads(cache.read_bytes()))
    documents = [d for d in body.read_template(TEMPLATE) if d["id"] not in SKIPPED]
    documents.sort(key=lambda d: d["id"] not in body.FINE)
    with ProcessPoolExecutor(2) as pool:
        built = {p.id: p for p in pool.map(partial(body.make_panel, scale=scale), documents)}
    if cache is not None:
        cache.write_bytes(pickle.dumps(built))
    return built


def light(scene: dict[str, Any], shot: Shot) -> None:
    """Room, lamp and torch of one shot."""
    k = shot.ambient
    scene["sky"] = {"type": "constant", "radiance": {"type": "rgb", "value": [0.02 * k, 0.021 * k, 0.023 * k]}}
    for name in [n for n in scene if n.startswith("tube")]:
        scene[name] = copy.deepcopy({**scene[name], "to_world": None}) | {"to_world": scene[name]["to_world"]}
        scene[name]["emitter"]["radiance"]["value"] = [15 * k, 15.5 * k, 16 * k]
    if shot.lamp is not None:
        at, to, power = shot.lamp
        workshop.lamp(scene, "worklamp", list(at), list(to), (260, 180), (power, 0.94 * power, 0.84 * power))
    if shot.torch > 0:
        camera = shot.camera
        aim = np.array(shot.torch_at) if shot.torch_at else camera.eye_mm + camera.rotation[2] * 600
        workshop.torch(scene, torch_seat(camera), aim, shot.torch, spread_deg=shot.spread_deg)


def solids(panels: dict[str, body.Panel], step: float) -> dict[str, Any]:
    """Car and workshop, built once for all shots."""
    scene: dict[str, Any] = {"type": "scene"}
    vehicle.assemble(scene, panels, step)
    workshop.shell(scene)
    workshop.clutter(scene, np.random.default_rng(77))
    workshop.lift(scene, [np.array([760.0, s * 370, 0.0]) for s in (1, -1)])
    workshop.stand(scene, np.array([-1175.0, 470.0, -97.0]))
    return scene


def picture(shot: Shot, base: dict[str, Any], scale: float, spp: int, passes: int, keep: Path | None = None) -> bytes:
    """One finished JPEG; the linear picture is kept in `keep` when given."""
    scene = copy.copy(base)
    light(scene, shot)
    camera = shot.camera.scaled(scale)
    started = time.perf_counter()
    loaded = mi.load_dict(scene)
    print(f"  load {time.perf_counter() - started:.0f} s", flush=True)
    plain = tracing.trace(loaded, camera, spp=spp, passes=passes, seed=11)
    print(f"  trace {time.perf_counter() - started:.0f} s", flush=True)
    if keep is not None:
        np.save(keep / f"{shot.name}.npy", plain.astype(np.float16))
    image = post.develop(camera.distort(plain), shot.look, camera, seed=zlib.crc32(shot.name.encode()))
    return post.jpeg(image, camera, shot.look, shot.taken, shot.model)


def _place(shot: Shot, wanted: list[str]) -> int:
    """Order asked for on the command line."""
    return next((i for i, w in enumerate(wanted) if shot.name.startswith(w)), len(wanted))


def main() -> None:
    """Render the named shots."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("shots", nargs="*", help="beginnings of names; all when none is given")
    parser.add_argument("--scale", type=float, default=1.0, help="share of the full photo size")
    parser.add_argument("--texture", type=float, default=1.0, help="share of the full texture resolution")
    parser.add_argument("--spp", type=int, default=36)
    parser.add_argument("--passes", type=int, default=2)
    parser.add_argument("--step", type=float, default=2.0, help="mesh step, mm")
    parser.add_argument("--cache", type=Path, help="pickle of the painted panels")
    parser.add_argument("--keep", type=Path, help="folder for the linear pictures, to develop again without tracing")
    parser.add_argument("--out", type=Path, default=HERE.parents[1] / "demo_images" / "photos")
    args = parser.parse_args()
    started = time.perf_counter()
    panels = build_panels(args.texture, args.cache)
    print(f"panels {time.perf_counter() - started:.0f} s", flush=True)
    tracing.start()
    base = solids(panels, args.step)
    print(f"scene {time.perf_counter() - started:.0f} s", flush=True)
    args.out.mkdir(parents=True, exist_ok=True)
    for shot in sorted(SHOTS, key=lambda s: _place(s, args.shots)):
        if args.shots and not any(shot.name.startswith(s) for s in args.shots):
            continue
        data = picture(shot, base, args.scale, args.spp, args.passes, args.keep)
        (args.out / f"{shot.name}.jpg").write_bytes(data)
        print(
            json.dumps({"shot": shot.name, "kB": len(data) // 1000, "s": round(time.perf_counter() - started)}),
            flush=True,
        )


if __name__ == "__main__":
    main()
