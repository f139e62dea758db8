"""Whole picture of 40 photos of 24 MP against warping everything, time and peak memory as ratios in one run.

Each way runs in a process of its own, so that the peak resident size is its own; on a shared machine read the
processor's seconds. The plain way decodes
every photo whole, warps it with its detail onto the whole sheet, keeps all layers and takes the finest at the end.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
from pathlib import Path

import cv2
import numpy as np

from corromap.evidence.sheet import sheet_of
from corromap.evidence.whole_picture import WholePicture
from corromap.frames import PhotoId
from corromap.io.photos import decode, encode_jpeg
from corromap.projection import project
from corromap.registration import Registration, place_photos
from corromap.survey import Photo, Sighting, Survey
from tests.unit.surveys import TEMPLATE

WIDTH, HEIGHT = 6000, 4000


def scene(count: int) -> tuple[Survey, bytes]:
    """Photos that each show one panel square-on, larger panels twice; one 24 MP JPEG serves all."""
    panels = sorted(TEMPLATE.panels, key=lambda panel: -panel.outline.area_mm2)
    photos, sightings = [], []
    for i in range(count):
        panel = panels[i % len(panels)]
        ring = panel.outline.exterior_mm
        low, size = ring.min(axis=0) - 20 - 15 * (i // len(panels)), np.ptp(ring, axis=0) + 60
        scale = max(size[0] / WIDTH, size[1] / HEIGHT)
        photo = PhotoId(f"photo-{i}")
        photos.append(Photo(photo, f"{i}.jpg", "0" * 64, WIDTH, HEIGHT, focal_px=4500.0))
        for datum, at in TEMPLATE.datum_positions(panel.id).items():
            x, y = (at - low) / scale
            sightings.append(Sighting(photo, datum, [x, y if panel.facing < 0 else HEIGHT - y]))
    noise = np.random.default_rng(1).normal(0, 40, (HEIGHT // 8, WIDTH // 8, 3))
    picture = cv2.resize(np.clip(noise + 120, 0, 255).astype(np.uint8), (WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC)
    return Survey("bench", photos=tuple(photos), sightings=tuple(sightings)), encode_jpeg(picture, 85)


def ours(survey: Survey, data: bytes) -> int:
    registrations = place_photos(survey, TEMPLATE)
    sheet = sheet_of(TEMPLATE, 1.0)
    picture = WholePicture(
        sheet, TEMPLATE, project(survey, TEMPLATE, registrations), registrations,
        lambda photo, reduce: decode(data, photo, reduce=reduce),
    )  # fmt: skip
    out = np.zeros((sheet.height_px, sheet.width_px, 3), dtype=np.uint8)
    for tile in picture.tiles():
        w = tile.window
        out[w.y : w.y + w.height, w.x : w.x + w.width] = tile.rgb
    return int(out.any(axis=2).sum())


def plain(survey: Survey, data: bytes) -> int:
    registrations = place_photos(survey, TEMPLATE)
    sheet = sheet_of(TEMPLATE, 1.0)
    layers, details = [], []
    x, y = np.meshgrid(np.arange(sheet.width_px, dtype=np.float64), np.arange(sheet.height_px, dtype=np.float64))
    grid = np.column_stack([x.ravel(), y.ravel()])
    for (photo, panel_id), placed in registrations.items():
        if not isinstance(placed, Registration):
            continue
        panel = TEMPLATE.panel(panel_id)
        xy = placed.to_px(sheet.to_uv(panel, grid))
        inside = ((xy >= 0) & (xy < (WIDTH, HEIGHT))).all(axis=1).reshape(x.shape)
        at = np.nan_to_num(xy, nan=-1e4).clip(-1e4, 3e4).astype(np.float32).reshape(*x.shape, 2)
        layers.append(cv2.remap(decode(data, photo), at[..., 0], at[..., 1], cv2.INTER_LINEAR))
        detail = placed.detail(xy).reshape(x.shape).astype(np.float32)
        details.append(np.where(inside, detail, np.inf))
    best = np.argmin(np.stack(details), axis=0)
    out = np.take_along_axis(np.stack(layers), best[None, ..., None], axis=0)[0]
    return int(out.any(axis=2).sum())


def memory_mb(field: str) -> float:
    """VmRSS (now) or VmHWM (peak) of this process, from the Linux kernel."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(float(line.split()[1]) / 1024 for line in lines if line.startswith(field))


def child(way: str, count: int) -> None:
    survey, data = scene(count)
    before = memory_mb("VmRSS")
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")  # the peak starts from here
    start, worked = time.perf_counter(), time.process_time()
    (ours if way == "ours" else plain)(survey, data)
    seconds, worked = time.perf_counter() - start, time.process_time() - worked
    peak = memory_mb("VmHWM")
    print(json.dumps({"seconds": seconds, "worked": worked, "beyond_mb": peak - before, "peak_mb": peak}))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=int, default=40)
    parser.add_argument("--way", choices=["ours", "plain"])
    given = parser.parse_args()
    if given.way:
        child(given.way, given.photos)
        return
    found = {}
    for way in ("ours", "plain"):
        command = [sys.executable, __file__, "--photos", str(given.photos), "--way", way]
        found[way] = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
        seconds, worked, peak, beyond = (found[way][key] for key in ("seconds", "worked", "peak_mb", "beyond_mb"))
        memory = f"peak {peak:.0f} MB, {beyond:.0f} MB of it for the picture"
        print(f"{way:6} {seconds:7.1f} s ({worked:.1f} s of processor), {memory}")
    print(f"time   {found['plain']['seconds'] / found['ours']['seconds']:.1f} x")
    print(f"work   {found['plain']['worked'] / found['ours']['worked']:.1f} x")
    print(f"memory {found['plain']['beyond_mb'] / found['ours']['beyond_mb']:.1f} x")


if __name__ == "__main__":
    main()
