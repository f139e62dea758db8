"""The whole picture as a file: scale in the metadata, overlay, command."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from corromap.errors import OutputError
from corromap.evidence.sheet import PictureSheet, Window, sheet_of
from corromap.evidence.whole_picture import PictureTile
from corromap.io.picture_files import PictureScale, write_picture
from corromap.report.palette import look_of
from corromap.report.picture_overlay import HATCH_RGB, PANEL_RGB, PAPER_RGB, PictureOverlay
from tests import report_scene

SCALE = PictureScale(700, 300, 512, 2.0)
RAMP = (np.arange(700)[None, :, None] // 4 + np.zeros((300, 1, 3))).astype(np.uint8)


def tiles() -> Iterator[np.ndarray]:
    yield RAMP[:, :512]
    yield RAMP[:, 512:]


def test_tiff_is_tiled_and_knows_its_scale(tmp_path: Path) -> None:
    target = tmp_path / "a.tif"
    write_picture(tiles(), SCALE, target, title="Trial é")
    with tifffile.TiffFile(target) as file:
        page = file.pages[0]
        assert (page.is_tiled, page.tilewidth, page.tilelength) == (True, 512, 512)
        assert page.tags["ResolutionUnit"].value == 3  # centimetre
        assert page.tags["XResolution"].value == (5, 1)  # 2 mm per px
        assert page.description == "Trial ?"
    with Image.open(target) as image:  # another reader than the writer
        np.testing.assert_array_equal(np.asarray(image), RAMP)


def test_jpeg_knows_its_scale(tmp_path: Path) -> None:
    target = tmp_path / "a.jpg"
    write_picture(tiles(), SCALE, target, title="Trial")
    with Image.open(target) as image:
        assert image.info["dpi"] == pytest.approx((12.7, 12.7), abs=0.5)
        assert float(image.getexif()[0x011A]) == pytest.approx(5.0)
        assert np.abs(np.asarray(image).astype(int) - RAMP).mean() < 1.5


@pytest.mark.parametrize(
    ("name", "scale", "words"),
    [
        ("a.png", SCALE, "ends in .tif or .jpg"),
        ("a.jpg", PictureScale(70_000, 10, 512, 1.0), "too large for a JPEG"),
        ("none/a.tif", SCALE, "could not be written"),
    ],
)
def test_what_cannot_be_written_is_told_and_leaves_nothing(
    tmp_path: Path, name: str, scale: PictureScale, words: str
) -> None:
    with pytest.raises(OutputError, match=words):
        write_picture(tiles(), scale, tmp_path / name, title="")
    assert list(tmp_path.iterdir()) == []


def test_a_failure_half_way_keeps_the_older_picture(tmp_path: Path) -> None:
    target = tmp_path / "a.jpg"
    target.write_bytes(b"older")

    def broken() -> Iterator[np.ndarray]:
        yield RAMP[:, :512]
        raise OSError(28, "No space left on device")

    with pytest.raises(OutputError, match="No space left"):
        write_picture(broken(), SCALE, target, title="")
    assert [p.name for p in tmp_path.iterdir()] == ["a.jpg"]
    assert target.read_bytes() == b"older"


def tile_of(sheet: PictureSheet, state: int, window: Window | None = None) -> PictureTile:
    w = window or Window(0, 0, sheet.width_px, sheet.height_px)
    return PictureTile(w, np.full((w.height, w.width, 3), 90, np.uint8), np.full((w.height, w.width), state, np.uint8))


@pytest.mark.parametrize(("state", "colours"), [(0, {PAPER_RGB}), (1, {HATCH_RGB, PANEL_RGB}), (2, {(90, 90, 90)})])
def test_ground_by_state(state: int, colours: set[tuple[int, int, int]]) -> None:
    scene = report_scene.evaluation()
    sheet = sheet_of(scene.template, 4.0)
    overlay = PictureOverlay(scene, sheet, marks=False, zones=False)
    corner = overlay.paint(tile_of(sheet, state, Window(300, 150, 40, 40)))
    assert set(map(tuple, corner.reshape(-1, 3).tolist())) == colours


def test_overlay_of_tiles_is_the_overlay_of_the_sheet() -> None:
    scene = report_scene.evaluation()
    sheet = sheet_of(scene.template, 4.0)
    overlay = PictureOverlay(scene, sheet)
    whole = overlay.paint(tile_of(sheet, 2))
    for window in (Window(0, 0, 200, 150), Window(130, 170, 180, 160)):
        part = overlay.paint(tile_of(sheet, 2, window))
        same = whole[window.y : window.y + window.height, window.x : window.x + window.width]
        # text is placed on whole pixels by either; lines may differ where a join falls on the cut
        assert (part != same).any(axis=2).mean() < 0.01


def test_marks_are_drawn_in_the_colour_of_their_kind() -> None:
    scene = report_scene.evaluation()
    sheet = sheet_of(scene.template, 2.0)
    drawn = PictureOverlay(scene, sheet).paint(tile_of(sheet, 2)).reshape(-1, 3)
    bare = PictureOverlay(scene, sheet, marks=False).paint(tile_of(sheet, 2)).reshape(-1, 3)
    new = {tuple(c) for c in np.unique(drawn, axis=0).tolist()} - {tuple(c) for c in np.unique(bare, axis=0).tolist()}
    for projected in scene.projection.marks:
        colour = look_of(projected.mark).colour
        assert tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5)) in new
