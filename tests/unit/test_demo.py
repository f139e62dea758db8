"""The demo's two sets of photos as the README of ``tools/demo_scene`` promises them, and how they are taken in."""

from __future__ import annotations

import json
from collections import Counter

import cv2
import numpy as np
import pytest

import corromap.cli_demo as demo
from corromap.errors import InputError
from corromap.io import photo_quality
from corromap.io.package_data import data_path
from corromap.io.photos import read_header
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template

FOLDER = data_path("demo_images")


@pytest.fixture(scope="module")
def document():
    return json.loads((FOLDER / "survey.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def cameras():
    return json.loads((FOLDER / "cameras.json").read_text(encoding="utf-8"))["photos"]


def test_the_sets_have_the_sizes_that_a_viewing_needs(document):
    count = Counter(photo["source"] for photo in document["photos"])
    assert 12 <= count["inspector"] <= 16
    assert 10 <= count["seller"] <= 12
    files = [file for file in FOLDER.rglob("*") if file.is_file()]
    assert sum(file.stat().st_size for file in files) < 12e6


def test_every_photo_has_its_camera_its_exif_and_its_own_second(document, cameras):
    taken = []
    for photo in document["photos"]:
        header = read_header((FOLDER / "photos" / photo["file"]).read_bytes(), photo["file"])
        camera = cameras[photo["file"]]
        assert (header.width_px, header.height_px) == (camera["width_px"], camera["height_px"])
        assert header.focal_px == pytest.approx(camera["K"][0][0], rel=0.03)
        taken.append(header.taken_at)
    assert None not in taken
    assert len(set(taken)) == len(taken)


def test_points_clicked_by_looking_lie_where_the_cameras_have_them(document, cameras):
    """A datum point taken for another would be off by tens of pixels; cv2 is what the cameras are defined by."""
    panels = load_template("two-seat-open").panels
    where = {d.id: panel.place.to_car([d.at_mm])[0] for panel in panels for d in panel.datum_points}
    files = {photo["id"]: photo["file"] for photo in document["photos"]}
    errors = []
    for sighting in document["sightings"]:
        camera = {
            key: np.array(value, float) for key, value in cameras[files[sighting["photo"]]].items() if key != "title"
        }
        at = cv2.projectPoints(
            where[sighting["datum"]].reshape(1, 1, 3), camera["rvec"], camera["tvec_mm"], camera["K"], camera["dist"]
        )[0].reshape(2)
        errors.append(np.linalg.norm(at - sighting["at_px"]))
    assert np.median(errors) < 3.0
    assert max(errors) < 15.0


def test_the_truth_names_zones_of_the_template():
    zones = demo.read_truth(FOLDER / "truth.json")
    assert set(zones) <= set(load_template("two-seat-open").zone_by_id)
    assert all(area >= 0 for row in zones.values() for area in row.values())


def test_photos_are_examined_while_the_folder_is_imported_and_kept(document, tmp_path, monkeypatch):
    name = document["photos"][0]["file"]
    few = {**document, "photos": document["photos"][:1], "sightings": [], "marks": []}
    source = tmp_path / "folder"
    (source / "photos").mkdir(parents=True)
    (source / "survey.json").write_text(json.dumps(few), encoding="utf-8")
    (source / "photos" / name).write_bytes((FOLDER / "photos" / name).read_bytes())
    demo.take_in(source, tmp_path / "few.corromap", lambda _done, _total: None)
    monkeypatch.setattr(photo_quality, "_KNOWN", type(photo_quality._KNOWN)())  # a fresh process knows nothing
    monkeypatch.setattr(photo_quality, "_examined", lambda *_: pytest.fail("examined a second time"))
    file = SurveyFile.open(tmp_path / "few.corromap")
    photos = file.load().survey.photos
    assert list(photo_quality.examined_photos(file, photos)) == [photos[0].id]


def test_a_folder_without_its_photos_is_refused_and_leaves_no_file(document, tmp_path):
    source = tmp_path / "folder"
    (source / "photos").mkdir(parents=True)
    (source / "survey.json").write_text(json.dumps(document), encoding="utf-8")
    with pytest.raises(
        InputError, match=r"survey\.photos\[0\]\.file: '01_left_sill_and_floor_front\.jpg' is not there"
    ):
        demo.take_in(source, tmp_path / "none.corromap", lambda _done, _total: None)
    assert not (tmp_path / "none.corromap").exists()
