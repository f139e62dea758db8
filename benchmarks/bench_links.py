"""Forty rendered photos placed by sixteen clicks: what is placed, how well, and how long each part takes.

Run: ``python benchmarks/bench_links.py``. Pixels come from the truth bench's renderer, which knows nothing of the
program's fits; times are processor time of this process, and wall time beside it for the matching.
"""

from __future__ import annotations

import os
import sys
import time
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # threads that wait would count as work

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from corromap.registration import Registration, place_at_once, place_photos
from corromap.registration import place as placing
from corromap.registration.links import chain_photos
from corromap.survey import Sighting, Survey
from tests.rendered_row import RenderedRow, camera_at
from tools.demo_scene.camera import Camera

SIGHTED = ((2, 6), (20, 5), (37, 5))
"""Photos clicked on, and how often: sixteen clicks in all."""

TARGET_PLACED, TARGET_SOLVE_S, TARGET_AT_ONCE_S = 40, 2.0, 0.05


def cameras() -> list[Camera]:
    """Five rows of eight under the car: both sills, both floors, the tunnel between them."""
    found = []
    for row, y in enumerate((560.0, 310.0, 0.0, -310.0, -560.0)):
        for i in range(8):
            x = 700.0 - 230.0 * i + 30.0 * (row % 2)
            eye = (x + 40 * (-1) ** i, y + 30.0 * (i % 3 - 1), -620.0 + 40 * ((i + row) % 2))
            found.append(camera_at(eye, (x - 50.0, y + 60.0 * ((i + 1) % 3 - 1), -20.0)))
    return found


def main() -> int:
    """Render, link, solve and say whether the targets are met."""
    row = RenderedRow(cameras())
    start = time.process_time()
    _ = row.rendered
    print(f"40 photos rendered        {time.process_time() - start:.0f} s")
    clicks: list[Sighting] = [s for number, count in SIGHTED for s in row.clicks(number, count)]
    survey = Survey("forty", photos=row.photos, sightings=tuple(clicks))
    start, wall = time.process_time(), time.perf_counter()
    chained = chain_photos(survey, row.body, row.grey)
    spent, clock = time.process_time() - start, time.perf_counter() - wall
    print(f"matching                  {spent:.0f} s, {clock:.0f} s on the clock")
    whole = replace(survey, ties=tuple(tie for one in chained.proposals for tie in one.ties))
    solve_s, placed = _solved(whole, row)
    print(f"clicks                    {len(clicks)}; ties {len(whole.ties)}, "
          f"{sum(len(tie.new_px) for tie in whole.ties)} points")  # fmt: skip
    errors, count = [], 0
    for number, photo in enumerate(row.photos):
        mine = [r for (key, _), r in placed.items() if key == photo.id and isinstance(r, Registration)]
        count += bool(mine)
        own = [row.errors_mm(number, one) for one in mine]
        errors += [e[np.isfinite(e)] for e in own]
    every = np.concatenate(errors)
    print(f"photos placed             {count} of 40 (target {TARGET_PLACED})")
    print(
        f"error of places           median {np.median(every):.1f} mm, 95th percentile {np.percentile(every, 95):.1f} mm"
    )
    print(f"all placed, with links    {solve_s:.2f} s (target {TARGET_SOLVE_S:g})")
    at_once_s, again_s = _again(whole, row)
    print(f"a click moved, at once    {at_once_s * 1000:.0f} ms (target {TARGET_AT_ONCE_S * 1000:g})")
    print(f"a click moved, all again  {again_s:.2f} s")
    for one in chained.not_linked:
        print(one.message)
    return 0 if count == TARGET_PLACED and solve_s <= TARGET_SOLVE_S and at_once_s <= TARGET_AT_ONCE_S else 1


def _solved(survey: Survey, row: RenderedRow) -> tuple[float, dict]:
    times = []
    for _ in range(3):
        placing.forget()
        start = time.process_time()
        placed = place_photos(survey, row.body)
        times.append(time.process_time() - start)
    return float(np.median(times)), placed


def _again(survey: Survey, row: RenderedRow) -> tuple[float, float]:
    """Times after a click has moved: its photo shown at once, and all photos adjusted again."""
    at_once, whole, now = [], [], survey
    for i in range(7):
        first, *rest = now.sightings
        moved = Sighting(first.photo, first.datum, first.at_px + np.array([0.5 + 0.1 * i, -0.3]))
        now = replace(now, sightings=(moved, *rest))
        start = time.process_time()
        place_at_once(now, row.body, moved.photo)
        middle = time.process_time()
        place_photos(now, row.body)
        at_once.append(middle - start)
        whole.append(time.process_time() - middle)
    return float(np.median(at_once)), float(np.median(whole))


if __name__ == "__main__":
    sys.exit(main())
