"""The printed board: true size on paper, found in photos, its size recovered.

Rendered by Poppler's ``pdftoppm``; found by OpenCV's aruco, whose own picture
of the board (``CharucoBoard.generateImage``) ours is held against.
"""

from __future__ import annotations

import shutil
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from corromap.cli import main
from corromap.errors import InvalidValueError
from corromap.registration.board import BOARD_MM, SQUARE_MM, black_rectangles, find_board
from corromap.report.board_sheet import RULER_MM, board_pdf
from tests.rendered_row import camera_at

DPI = 300
MM = DPI / 25.4


def rendered(paper: str, folder: Path) -> np.ndarray:
    tool = shutil.which("pdftoppm")
    if tool is None:
        pytest.skip("needs pdftoppm (poppler-utils)")
    (folder / "board.pdf").write_bytes(board_pdf(paper, made_at=datetime(2026, 1, 1, tzinfo=UTC)))
    subprocess.run(
        [tool, "-r", str(DPI), "-gray", "-png", "-singlefile", "board.pdf", "page"],
        cwd=folder, check=True, capture_output=True,
    )  # fmt: skip
    return cv2.imread(str(folder / "page.png"), cv2.IMREAD_GRAYSCALE)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_squares_and_ruler_are_true_to_size_on_paper(paper: str, tmp_path: Path) -> None:
    """Squares of 25 mm to 0.1 mm, over the whole board to 0.1 mm; the ruler is 150 mm to 0.1 mm."""
    page = rendered(paper, tmp_path)
    found = find_board(page)
    assert found is not None
    assert len(found.at_px) == 24
    apart = np.linalg.norm(found.at_px[:, None] - found.at_px, axis=2) / MM
    true = np.linalg.norm(found.at_mm[:, None] - found.at_mm, axis=2)
    assert np.abs(apart - true).max() < 0.1
    neighbours = np.isclose(true, SQUARE_MM)
    assert neighbours.sum() == 2 * (3 * 6 + 4 * 5)
    assert np.abs(apart[neighbours] - SQUARE_MM).max() < 0.1
    end = int(found.at_px[:, 1].max() + SQUARE_MM * MM)
    below = page[end + int(1.0 * MM) : end + int(15.0 * MM)]
    line = max(below, key=lambda row: int((row < 128).sum()))
    dark = np.flatnonzero(line < 160)
    assert (dark[-1] - dark[0]) / MM == pytest.approx(RULER_MM, abs=0.3)
    assert page.shape == ((3508, 2481) if paper == "A4" else (3300, 2550))


def test_the_drawing_is_the_board_that_opencv_looks_for() -> None:
    scale = 8
    ours = np.full((int(BOARD_MM[1] * scale), int(BOARD_MM[0] * scale)), 255, dtype=np.uint8)
    for x, y, w, h in black_rectangles():
        ours[round(y * scale) : round((y + h) * scale), round(x * scale) : round((x + w) * scale)] = 0
    board = cv2.aruco.CharucoBoard((5, 7), 25.0, 18.0, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    theirs = board.generateImage((ours.shape[1], ours.shape[0]), None, 0, 1)
    assert (np.abs(ours.astype(int) - theirs) > 100).mean() < 0.002


def test_a_board_seen_obliquely_is_found_with_its_place() -> None:
    """At 45 degrees: corners where they are, to half a pixel in the median."""
    scale = 8
    flat = np.full((int((BOARD_MM[1] + 40) * scale), int((BOARD_MM[0] + 40) * scale)), 235, dtype=np.uint8)
    for x, y, w, h in black_rectangles():
        flat[
            round((y + 20) * scale) : round((y + h + 20) * scale), round((x + 20) * scale) : round((x + w + 20) * scale)
        ] = 25
    camera = camera_at((0.0, 300.0, -300.0), (0.0, 60.0, 0.0))
    to_car = np.array([[1 / scale, 0, -20 - 60], [0, 1 / scale, -20], [0, 0, 0], [0, 0, 1.0]])
    to_px = camera.matrix @ np.column_stack([camera.rotation, camera.tvec]) @ to_car
    seen = cv2.warpPerspective(flat, to_px, (camera.width, camera.height), flags=cv2.INTER_AREA, borderValue=90)
    found = find_board(seen)
    if found is None:  # seen from behind it is mirrored, and no board
        seen = np.ascontiguousarray(seen[:, ::-1])
        found = find_board(seen)
        assert found is not None
        found_px = np.column_stack([camera.width - 1 - found.at_px[:, 0], found.at_px[:, 1]])
    else:
        found_px = found.at_px
    at = (found.at_mm + 20) * scale - 0.5
    q = np.column_stack([at, np.ones(len(at))]) @ to_px.T
    away = np.hypot(*(q[:, :2] / q[:, 2:] - found_px).T)
    assert np.median(away) < 0.5
    assert away.max() < 1.0
    assert len(found.at_px) >= 6


def test_a_part_of_the_board_is_enough_and_is_told_which_part(tmp_path: Path) -> None:
    page = rendered("A4", tmp_path)
    whole = find_board(page)
    assert whole is not None
    middle = int(np.median(whole.at_px[:, 0]))
    half = find_board(np.ascontiguousarray(page[:, :middle]))
    assert half is not None
    assert 6 <= len(half.at_px) < 24
    for px, mm in zip(half.at_px, half.at_mm, strict=True):
        same = np.flatnonzero((whole.at_mm == mm).all(axis=1))
        assert np.hypot(*(whole.at_px[same[0]] - px)) < 1.0


def test_no_board_is_no_board() -> None:
    noise = np.random.default_rng(0).integers(0, 255, (400, 600), dtype=np.uint8)
    assert find_board(noise) is None
    with pytest.raises(InvalidValueError, match="expected grey pixels"):
        find_board(np.zeros((4, 4, 3), dtype=np.uint8))


def test_command_writes_the_page_and_says_how_to_print(tmp_path: Path) -> None:
    target = tmp_path / "board.pdf"
    result = CliRunner().invoke(main, ["board", str(target), "--paper", "Letter"])
    assert result.exit_code == 0, result.output
    assert target.read_bytes().startswith(b"%PDF-")
    assert "print it at actual size (100 %) and check the ruler" in result.output
    result = CliRunner().invoke(main, ["board", str(tmp_path / "no" / "board.pdf")])
    assert result.exit_code == 1
    assert "cannot be written" in result.output
    with pytest.raises(InvalidValueError, match="choose A4 or Letter"):
        board_pdf("A3")
