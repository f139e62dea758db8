"""Report of 40 photos of 24 megapixels: page and PDF, time, size, memory; beside the bare cost of decoding the photos.

Prints seconds, megabytes and ratios of one run; the ratios are of processor time. The photos are real structure
at 6000 x 4000 (a demo photo enlarged, with grain, so that they compress like
photos); marks and datum points are the demo's.
"""

from __future__ import annotations

import argparse
import io
import resource
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from PIL import Image

from corromap.frames import PhotoId
from corromap.io.interchange import import_folder
from corromap.io.opened import evaluated
from corromap.io.package_data import data_path
from corromap.io.photos import decode
from corromap.io.survey_file import SurveyFile
from corromap.report.view import Length
from corromap.report.writing import write_report
from corromap.survey import Mark, Sighting

WIDTH, HEIGHT = 6000, 4000


@contextmanager
def timed(name: str, into: dict[str, float]) -> Iterator[None]:
    start, busy = time.perf_counter(), time.process_time()
    yield
    into[name] = time.process_time() - busy
    print(f"{name:48} {time.perf_counter() - start:8.2f} s, {into[name]:8.2f} s of processor time", flush=True)


def large_photo(data: bytes, seed: int) -> bytes:
    with Image.open(io.BytesIO(data)) as image:
        upright = image.convert("RGB").resize((WIDTH, HEIGHT), Image.Resampling.BICUBIC)
    grain = np.random.default_rng(seed).normal(0, 3, (HEIGHT // 2, WIDTH // 2)).repeat(2, 0).repeat(2, 1)
    pixels = np.clip(np.asarray(upright, dtype=np.int16) + grain[..., None].astype(np.int16), 0, 255).astype(np.uint8)
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", quality=88)
    return file.getvalue()


def build(folder: Path, count: int) -> Path:
    """The demo's photos again and again, enlarged, with their points and marks scaled along."""
    small = folder / "small.corromap"
    import_folder(data_path("demo_images"), small, author="bench")
    source = SurveyFile.open(small, author="bench")
    record = source.load()
    target = SurveyFile.create(
        folder / "large.corromap", record.template, record.rules_document, record.survey.car, author="bench"
    )
    photos = [photo for photo in record.survey.photos if photo.width_px > photo.height_px]
    for index in range(count):
        photo = photos[index % len(photos)]
        scale = np.array([WIDTH / photo.width_px, HEIGHT / photo.height_px])
        data = large_photo(source.photo_bytes(photo.id), index)
        new = target.add_photo(data, f"{index:02}-{photo.name}", source="bench")
        for sighting in record.survey.sightings:
            if sighting.photo == photo.id:
                target.put_sighting(Sighting(new, sighting.datum, sighting.at_px * scale))
        marks = [mark for mark in record.survey.marks if mark.photo == photo.id and index < 2 * len(photos)]
        target.put_marks([moved(mark, new, scale, index) for mark in marks])
    return target.path


def moved(mark: Mark, photo: PhotoId, scale: np.ndarray, index: int) -> Mark:
    outline = type(mark.outline)(mark.outline.exterior_px * scale, tuple(h * scale for h in mark.outline.holes_px))
    return Mark(type(mark.id)(f"{mark.id}-{index}"), photo, mark.kind, outline, mark.stage, mark.fixing, note=mark.note)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--photos", type=int, default=40)
    parser.add_argument("--survey", type=Path, help="use this survey file, or make it there")
    count = parser.parse_args().photos
    given: Path | None = parser.parse_args().survey
    took: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if given is not None and given.exists():
            path = given
        else:  # in a process of its own, so that its memory is not counted
            with ProcessPoolExecutor(max_workers=1) as apart:
                path = apart.submit(build, folder, count).result()
        if given is not None and not given.exists():
            SurveyFile.open(path, author="bench").save_copy(given)
            path = given
        file = SurveyFile.open(path, author="bench")
        photos = file.load().survey.photos
        size = sum(len(file.photo_bytes(photo.id)) for photo in photos) / 1e6
        print(f"{len(photos)} photos, {size:.0f} MB")
        with timed("decode all photos, bare", took):
            for photo in photos:
                decode(file.photo_bytes(photo.id), photo.name)
        with timed("open, examine, evaluate (once in a file's life)", took):
            file, evaluation = evaluated(path, "bench")
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        for suffix in (".pdf", ".html"):
            for length in Length:
                target = folder / f"report-{length.value}{suffix}"
                with timed(f"{suffix} {length.value}", took):
                    write_report(
                        evaluation, file.photo_bytes, target, made_at="2024-05-02T12:00:00+00:00", length=length
                    )
                ratio = took[f"{suffix} {length.value}"] / took["decode all photos, bare"]
                print(f"{'':42} {target.stat().st_size / 1e6:8.2f} MB, {ratio:.2f} x bare decoding")
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"peak memory {peak:.0f} MB (before the reports {before:.0f} MB)")


if __name__ == "__main__":
    main()
