"""The detail map: every cell has the colour of what is known of it."""

from __future__ import annotations

import base64
import io
import re

import numpy as np
import pytest
from PIL import Image

from corromap.evaluation import evaluate
from corromap.evidence.quality import QualityMap
from corromap.frames import PanelId, PhotoId
from corromap.io.rules import default_rules
from corromap.report.detail_map import _HIDDEN, _HIDDEN_MARK, _POOR, _POOR_MARK, _WELL, detail_map_svg
from corromap.survey import MarkKind
from tests.unit.surveys import TEMPLATE, mark_at, photo_of, survey_of

FLOOR = PanelId("floor-left")


def rasters(svg: str) -> list[np.ndarray]:
    return [
        np.asarray(Image.open(io.BytesIO(base64.b64decode(data))))
        for data in re.findall(r"data:image/png;base64,([A-Za-z0-9+/=]+)", svg)
    ]


def share(picture: np.ndarray, *colours: tuple[int, int, int]) -> float:
    drawn = picture[picture[..., 3] > 0][:, :3]
    return float(np.mean([(drawn == colour).all(axis=1) for colour in colours], axis=1).sum())


@pytest.mark.parametrize("turn", [False, True])
def test_classes_have_their_shares(turn: bool) -> None:
    """A photo of 0.5 mm per px, black in its left half, a quarter of the rest hidden."""
    shot = photo_of(FLOOR)
    dark = np.zeros((8, 20))
    dark[:, :10] = 1.0
    cells = QualityMap(shot.width_px, shot.height_px, np.ones((8, 20)), dark, 0 * dark, dark < 0)
    low, high = (TEMPLATE.panel(FLOOR).outline.polygon.bounds[i::2] for i in (0, 1))
    u = [low[0] + 0.75 * (low[1] - low[0]), low[1]]
    ring = [[u[0], high[0]], [u[1], high[0]], [u[1], high[1]], [u[0], high[1]]]
    survey = survey_of([FLOOR], [mark_at("h", FLOOR, ring, MarkKind.HIDDEN)])
    found = evaluate(survey, TEMPLATE, default_rules(), {PhotoId(f"photo-{FLOOR}"): cells})
    svg = detail_map_svg(found, turn=turn)
    picture = max(rasters(svg), key=lambda found: found[..., 3].sum())  # the floor; its neighbours show in part
    assert share(picture, _WELL[0]) == pytest.approx(0.25, abs=0.06)
    assert share(picture, _POOR, _POOR_MARK) == pytest.approx(0.5, abs=0.06)
    assert share(picture, _HIDDEN, _HIDDEN_MARK) == pytest.approx(0.25, abs=0.06)
    assert "in no photo" in svg
    assert re.search(r'aria-label="How well each place was shown: of the whole body [\d.]+ % well enough', svg)


def test_nothing_shown_is_hatched_everywhere() -> None:
    """White would read as clean: what no photo shows is hatched, as on the other maps."""
    svg = detail_map_svg(evaluate(survey_of([]), TEMPLATE, default_rules()))
    assert rasters(svg) == []
    (pattern,) = re.findall(r'<pattern id="([^"]+)"', svg)
    zones = sum(len(panel.zones) for panel in TEMPLATE.panels)
    assert svg.count(f'fill="url(#{pattern})"') == zones + 1  # and its sample in the key


def test_sizes_on_one_page_do_not_share_ids() -> None:
    found = evaluate(survey_of([]), TEMPLATE, default_rules())
    drawn = [detail_map_svg(found, width=width, turn=turn) for width, turn in ((430, False), (760, False), (760, True))]
    assert len({re.findall(r'<pattern id="([^"]+)"', svg)[0] for svg in drawn}) == 3
