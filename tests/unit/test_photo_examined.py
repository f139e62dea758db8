"""A photo is examined once: what was found is kept in the survey file and comes back the same."""

from __future__ import annotations

import io
import sqlite3
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from corromap.io import photo_quality
from corromap.io.opened import evaluated
from corromap.io.photo_quality import ExaminedPhoto, examined_photos, quality_maps
from corromap.io.survey_file import SurveyFile
from tests.store_scene import full_file, new_file


def picture(side: int, seed: int) -> bytes:
    """Texture, black in its left third."""
    rgb = np.random.default_rng(seed).integers(60, 200, (side, side, 3), dtype=np.uint8)
    rgb[:, : side // 3] = 3
    data = io.BytesIO()
    Image.fromarray(rgb).save(data, "PNG")
    return data.getvalue()


@pytest.fixture
def file(tmp_path: Path) -> SurveyFile:
    made = full_file(tmp_path, "survey")
    made.add_photo(picture(300, 1), "left dark.png")
    made.add_photo(picture(20, 2), "tiny.png")
    photo_quality._KNOWN.clear()
    return made


def told(found: dict[str, ExaminedPhoto]) -> dict[str, object]:
    maps = {key: one.quality.map for key, one in found.items() if one.quality}
    return {
        key: (one.sentences, one.look, one.origin, repr(one.quality), maps[key].usable.tolist() if key in maps else 0)
        for key, one in found.items()
    }


def test_kept_and_read_back(file: SurveyFile, monkeypatch: pytest.MonkeyPatch) -> None:
    photos, revision, calls = file.load().survey.photos, file.revision, []
    first = examined_photos(file, photos, lambda done, total: calls.append((done, total)))
    assert calls == [(i, len(photos)) for i in range(1, len(photos) + 1)]
    assert file.revision == revision  # no change of the survey
    photo_quality._KNOWN.clear()
    monkeypatch.setattr(photo_quality, "decode", lambda *_a, **_k: pytest.fail("examined twice"))
    again = examined_photos(file, photos, lambda *_: pytest.fail("examined twice"))
    assert told(again) == told(first)
    dark = next(first[p.id] for p in photos if p.name == "left dark.png")
    assert dark.sentences[0] == "Too dark to judge the left third."
    tiny = next(p for p in photos if p.name == "tiny.png")
    assert first[tiny.id].sentences[0] == "Too small to judge anything on it."
    assert tiny.id not in quality_maps(first)


@pytest.mark.parametrize(
    "damage", ['{"version":1}', '{"version":2,"cells":"x","dark_share":0,"blown_share":0,"orientation":1}', "[]", "{"]
)
def test_what_cannot_be_read_is_examined_anew(file: SurveyFile, damage: str) -> None:
    photos = file.load().survey.photos
    first = told(examined_photos(file, photos))
    photo_quality._KNOWN.clear()
    with sqlite3.connect(file.path) as conn:
        conn.execute("UPDATE worked_out SET document = ?", (damage,))
    assert told(examined_photos(file, photos)) == first


def test_a_photo_known_from_another_survey_is_kept_in_this_one_too(
    file: SurveyFile, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    photos = file.load().survey.photos
    first = examined_photos(file, photos)
    other = new_file(tmp_path, "other.corromap")
    for photo in photos:
        other.add_photo(file.photo_bytes(photo.id), photo.name)
    monkeypatch.setattr(photo_quality, "decode", lambda *_a, **_k: pytest.fail("examined twice"))
    copied = other.load().survey.photos
    assert {one.sha256 for one in examined_photos(other, copied).values()} == {p.sha256 for p in photos}
    photo_quality._KNOWN.clear()  # the next process knows nothing
    again = examined_photos(other, copied)
    assert {one.look for one in again.values()} == {one.look for one in first.values()}


def test_evaluation_of_a_file_knows_the_quality(file: SurveyFile) -> None:
    _, found = evaluated(file.path, "tester")
    assert set(found.quality) == {p.id for p in found.survey.photos if min(p.width_px, p.height_px) >= 32}
    assert len(found.evidence) == len(found.template.zones)
