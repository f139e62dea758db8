"""Overlays of marks on one panel."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from corromap.frames import PanelId
from corromap.io.templates import load_template
from corromap.measures.ground import cells_of, ground_of
from corromap.survey import MarkKind
from tests.geo_scene import Scene, disc, view

SILL = PanelId("sill-left-outer")
AFFECTED = (MarkKind.RUST, MarkKind.FILLER, MarkKind.PATCH)


@pytest.mark.parametrize("seed", [7, 9])
def test_rounding_along_a_slanting_zone_leaves_no_slivers_that_count_as_pieces(seed: int) -> None:
    body = load_template("four-door-saloon")
    scene = Scene(body)
    scene.photo("a", {SILL: view(0.8)})
    rng = np.random.default_rng(seed)
    low, high = np.reshape(body.panel(SILL).outline.polygon.bounds, (2, 2))
    for i in range(60):
        scene.mark("a", disc(*rng.uniform(low, high), rng.uniform(10, 45)), AFFECTED[i % 3], mm_on=SILL)
    cells = cells_of(ground_of(body.panel(SILL), [m for m in scene.projection().marks if m.panel == SILL]))
    areas = np.concatenate([shapely.area(cell.pieces) for cell in cells])
    assert len(areas) > 20
    assert areas.min() > 0.001
