"""Whole picture of 40 photos of 24 MP against warping everything, time and peak memory as ratios in one run.

Each way runs in a process of its own, so that the peak resident size is its own; on a shared machine read the
processor's seconds. The plain way is what one writes first with OpenCV: decode every photo whole, take its lens out,
`cv2.warpPerspective` it onto each panel, keep a layer of the whole sheet for each photo (bytes, and its detail as
float32), let the finest win at the end, feathered. It is spared what ours does besides: no evening of the light, no
panels in front, no photo's own edge.
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
from numpy.typing import NDArray

from corromap.evidence.sheet import PictureSheet, sheet_of
from corromap.evidence.whole_picture import WholePicture
from corromap.frames import PhotoId
from corromap.io.photos import decode, encode_jpeg
from corromap.projection import project
from corromap.registration import Registration, place_photos
from corromap.survey import Photo, Sighting, Survey
from tests.unit.surveys import TEMPLATE

WIDTH, HEIGHT = 6000, 4000

Picture = NDArray[np.uint8]


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
    size = sheet.height_px, sheet.width_px
    layers, details = [], []
    for photo in survey.photos:
        placed = [r for (of, _), r in registrations.items() if of == photo.id and isinstance(r, Registration)]
        if not placed:
            continue
        straight = without_lens(decode(data, photo.id), placed[0])
        layer, detail = np.zeros((*size, 3), dtype=np.uint8), np.full(size, np.inf, dtype=np.float32)
        for one in placed:
            warp_onto(one, straight, sheet, layer, detail)
        layers.append(layer)
        details.append(detail)
    out = blended(layers, details)
    return int(out.any(axis=2).sum())


def without_lens(rgb: Picture, placed: Registration) -> Picture:
    """Straight pixels of the same size."""
    rows = np.arange(0, HEIGHT, 16, dtype=np.float64)
    x, y = np.meshgrid(np.arange(0, WIDTH, 16, dtype=np.float64), rows)
    coarse = placed.lens.distort(np.column_stack([x.ravel(), y.ravel()])) - np.column_stack([x.ravel(), y.ravel()])
    bent = cv2.resize(coarse.reshape(*x.shape, 2).astype(np.float32), (WIDTH, HEIGHT), interpolation=cv2.INTER_LINEAR)
    bent[..., 0] += np.arange(WIDTH, dtype=np.float32)
    bent[..., 1] += np.arange(HEIGHT, dtype=np.float32)[:, None]
    return cv2.remap(rgb, bent[..., 0], bent[..., 1], cv2.INTER_LINEAR)


def warp_onto(
    placed: Registration, straight: Picture, sheet: PictureSheet, layer: Picture, detail: NDArray[np.float32]
) -> None:
    """One panel of one photo into the photo's layer, by OpenCV's own warp; only the panel's box is touched."""
    panel = TEMPLATE.panel(placed.panel)
    ring = sheet.to_px(panel, panel.outline.exterior_mm)
    x0, y0 = np.floor(ring.min(axis=0)).astype(int)
    width, height = np.ceil(np.ptp(ring, axis=0)).astype(int) + 2
    low = sheet.to_uv(panel, np.array([[x0, y0], [x0 + 1, y0], [x0, y0 + 1]], dtype=np.float64))
    to_uv = np.vstack([np.column_stack([low[1] - low[0], low[2] - low[0], low[0]]), [0, 0, 1]])
    to_px = np.linalg.inv(placed.matrix) @ to_uv
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    shown = cv2.warpPerspective(straight, to_px, (int(width), int(height)), flags=flags)
    mask = np.zeros((height, width), dtype=np.uint8)
    cv2.fillPoly(mask, [np.rint(ring - (x0, y0)).astype(np.int32)], (255,))
    whole = np.full(straight.shape[:2], 255, dtype=np.uint8)
    inside = cv2.warpPerspective(whole, to_px, (int(width), int(height)), flags=flags) & mask == 255
    x, y = np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32)[:, None]
    w = (to_px[2, 0] * x + to_px[2, 1] * y + to_px[2, 2]).astype(np.float32)
    # a homography's area scale is det / w^3; its root is millimetres a pixel
    finer = np.sqrt(np.maximum(w, 1e-6) ** 3 / np.float32(abs(np.linalg.det(to_px))))
    here = np.s_[y0 : y0 + height, x0 : x0 + width]
    layer[here][inside] = shown[inside]
    detail[here][inside] = finer[inside]


def blended(layers: list[Picture], details: list[NDArray[np.float32]]) -> Picture:
    """The finest wins, 30 mm feather, weights summed over the whole sheet."""
    best = np.argmin(np.stack(details), axis=0)
    total, weight = np.zeros(layers[0].shape, dtype=np.float32), np.zeros(best.shape, dtype=np.float32)
    for index, (layer, detail) in enumerate(zip(layers, details, strict=True)):
        shown = np.isfinite(detail)
        own = cv2.blur(((best == index) & shown).astype(np.float32), (61, 61)) * shown
        total += own[..., None] * layer
        weight += own
    return (total / np.maximum(weight, 1e-6)[..., None] + 0.5).astype(np.uint8)


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
