"""The welder's sheet rendered by poppler and measured: a page that is not true to size cuts a wrong piece."""

from __future__ import annotations

import io
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from corromap.assessment import CAUTIONS
from corromap.evaluation import Evaluation, evaluate, repair_plan
from corromap.frames import PanelId
from corromap.io.rates import default_rates
from corromap.io.rules import default_rules
from corromap.report.welder_sheet import welder_pdf
from corromap.survey import Car, MarkKind, RustStage
from tests.unit.surveys import TEMPLATE, mark_at, survey_of

FLOOR = PanelId("floor-left")
DPI = 100
MM = DPI / 25.4
MADE_AT = "2026-01-02 03:04+00:00"

needs_poppler = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="needs poppler-utils")


@pytest.fixture(scope="module")
def evaluation() -> Evaluation:
    """One hole of 40 x 30 mm in the rear floor: a piece of 100 x 90 mm."""
    ring = [(150, 150), (190, 150), (190, 180), (150, 180)]
    hole = mark_at("hole", FLOOR, ring, MarkKind.RUST, RustStage.HOLED)
    return evaluate(survey_of([FLOOR], [hole]), TEMPLATE, default_rules())


def sheet(evaluation: Evaluation, paper: str) -> bytes:
    rates = default_rates()
    return welder_pdf(evaluation, repair_plan(evaluation, rates), rates, made_at=MADE_AT, paper=paper)


def rendered(pdf: bytes, folder: Path, page: int) -> np.ndarray:
    (folder / "sheet.pdf").write_bytes(pdf)
    command = ["pdftoppm", "-r", str(DPI), "-f", str(page), "-l", str(page), "-gray", "-png", "sheet.pdf", "page"]
    subprocess.run(command, cwd=folder, check=True, capture_output=True, timeout=60)
    (picture,) = folder.glob("page*.png")
    return np.asarray(Image.open(picture).convert("L"))


def longest_run(line: np.ndarray) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(int), [0]])))
    runs = edges[1::2] - edges[::2]
    return int(runs.max()) if len(runs) else 0


@needs_poppler
@pytest.mark.parametrize(("paper", "size_mm"), [("A4", (210.0, 297.0)), ("Letter", (215.9, 279.4))])
def test_ruler_is_100_mm_and_the_piece_100_by_90(
    evaluation: Evaluation, tmp_path: Path, paper: str, size_mm: tuple[float, float]
) -> None:
    pdf = sheet(evaluation, paper)
    pages = PdfReader(io.BytesIO(pdf)).pages
    last = pages[-1].mediabox
    assert sorted((float(last.width) / 72 * 25.4, float(last.height) / 72 * 25.4)) == pytest.approx(
        sorted(size_mm), abs=0.1
    )
    dark = rendered(pdf, tmp_path, len(pages)) < 70  # ink; frame, zone and dimensions are steel grey
    height, width = dark.shape
    foot = dark[int(height - 24 * MM) :]
    assert max(longest_run(row) for row in foot) == pytest.approx(100 * MM, abs=2)
    # the cut line is the only long line in ink above the foot; it is 0.9 mm wide
    page = dark[: int(height - 25 * MM), int(12 * MM) : int(width - 12 * MM)]
    across = [longest_run(row) for row in page[int(12 * MM) :]]
    along = [longest_run(column) for column in page[int(12 * MM) :].T]
    assert max(across) == pytest.approx(100 * MM + 0.9 * MM, abs=2)
    assert max(along) == pytest.approx(90 * MM + 0.9 * MM, abs=2)


def test_what_is_always_printed(evaluation: Evaluation) -> None:
    reader = PdfReader(io.BytesIO(sheet(evaluation, "A4")))
    text = " ".join(" ".join(page.extract_text().split()) for page in reader.pages)
    assert "ISO 9606-1" in text
    assert "lower bound" in text
    for caution in CAUTIONS:
        assert f"{caution.title}." in text
    assert "100 mm: check with a rule before you cut" in text
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]


def test_plan_and_outcome_agree_on_what_was_not_shown(evaluation: Evaluation) -> None:
    plan = repair_plan(evaluation, default_rates())
    assert plan.not_shown == evaluation.assessment.outcome.unseen_zones
    assert len(plan.not_shown) > 1


def test_nothing_to_cut_is_said_with_the_cautions() -> None:
    nothing = evaluate(survey_of([FLOOR]), TEMPLATE, default_rules())
    named = replace(nothing, survey=replace(nothing.survey, car=Car(label='#image("x") \U0001f697 \u05d0 $a_1$')))
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(sheet(named, "A4"))).pages)
    assert "Nothing that has to be cut or cleaned is marked" in " ".join(text.split())
    assert "lower bound" in text
    assert "#image" in text, "a name is data, never typesetting"
    assert "Asbestos." in text


def test_same_plan_same_bytes(evaluation: Evaluation) -> None:
    assert sheet(evaluation, "A4") == sheet(evaluation, "A4")
