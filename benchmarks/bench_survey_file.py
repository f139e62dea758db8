"""Saving a large survey as it is made; prints ratios of one run.

Run from the checkout: ``python -m benchmarks.bench_survey_file``. Forty photos
of 3 MB (random bytes: only size matters here) and 1,200 marks of 80 points are
put one by one, each saved before the next. The yardstick for one change is the
least any program could do: write the same bytes to a file of its own and wait
for the disk. Sizes are against the photos' own bytes.
"""

from __future__ import annotations

import hashlib
import json
import os
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from corromap.frames import MarkId, PhotoId, PhotoOutline
from corromap.io.rules import default_rules
from corromap.io.survey_bundle import opened_bundle, write_bundle
from corromap.io.survey_codec import mark_document
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template
from corromap.survey import Mark, MarkKind, Photo

PHOTOS, MARKS, POINTS, PHOTO_BYTES = 40, 1200, 80, 3_000_000


def timed(job: Callable[[], object]) -> float:
    begin = time.perf_counter()
    job()
    return (time.perf_counter() - begin) * 1e3


def write_and_wait(path: Path, data: bytes) -> None:
    with path.open("wb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def marks(rng: np.random.Generator) -> list[Mark]:
    return [
        Mark(
            MarkId(f"m{i}"),
            PhotoId(f"photo-{i % PHOTOS + 1}"),
            MarkKind.RUST,
            PhotoOutline(rng.uniform(0, 4000, (POINTS, 2))),
        )
        for i in range(MARKS)
    ]


def put_photos(file: SurveyFile, rng: np.random.Generator) -> list[float]:
    times = []
    for i in range(PHOTOS):
        data = rng.bytes(PHOTO_BYTES)
        photo = Photo(PhotoId("new"), f"{i}.jpg", hashlib.sha256(data).hexdigest(), 4000, 3000)
        times.append(timed(lambda photo=photo, data=data: file.put_photo(photo, data)))
    return times


def reloads(file: SurveyFile, made: list[Mark]) -> list[float]:
    """Times to load again after each of ten changes."""
    times = []
    for mark in made[:10]:
        file.remove_mark(mark.id)
        times.append(timed(file.load))
    return times[1:]  # the first time everything is new


def main() -> None:
    rng = np.random.default_rng(0)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        file = SurveyFile.create(folder / "a", load_template("two-seat-open"), default_rules())
        photo_ms = statistics.median(put_photos(file, rng))
        photo_floor = statistics.median(
            timed(lambda: write_and_wait(folder / "x", rng.bytes(PHOTO_BYTES))) for _ in range(10)
        )
        made = marks(rng)
        texts = [json.dumps(mark_document(mark)).encode() for mark in made]
        mark_ms = [timed(lambda mark=mark: file.put_mark(mark)) for mark in made]
        mark_floor = statistics.median(timed(lambda text=text: write_and_wait(folder / "x", text)) for text in texts)
        cold_ms = timed(lambda: SurveyFile.open(file.path).load())
        load_ms = statistics.median(reloads(file, made))
        undo_ms = statistics.median(timed(file.undo) for _ in range(50))
        size = file.path.stat().st_size
        print(f"photo of 3 MB saved        {photo_ms:8.1f} ms  {photo_ms / photo_floor:5.1f} x write and wait")
        early, late = statistics.median(mark_ms[:100]), statistics.median(mark_ms[-100:])
        print(f"mark saved                 {late:8.1f} ms  {late / mark_floor:5.1f} x write and wait")
        print(f"  last 100 against first   {late / early:8.2f} x")
        print(f"undo                       {undo_ms:8.1f} ms  {undo_ms / late:5.1f} x saving a mark")
        print(f"survey loaded at first     {cold_ms:8.1f} ms  {cold_ms / late:5.1f} x saving a mark")
        print(f"  and after one change     {load_ms:8.1f} ms  {load_ms / cold_ms:5.2f} x loading at first")
        print(f"file against its photos    {size / (PHOTOS * PHOTO_BYTES):8.3f} x")
        with opened_bundle(file.path) as bundle:
            copy_ms = timed(lambda: write_bundle(folder / "b.corromap", bundle, "", ""))
        print(f"log followed into a copy   {copy_ms:8.0f} ms")


if __name__ == "__main__":
    main()
