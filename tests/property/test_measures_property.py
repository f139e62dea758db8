"""What must hold of every figure, whatever was drawn."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corromap.measures import Figure, Measures
from corromap.survey import MEASURED_KINDS, MarkKind, RustStage
from tests.geo_scene import FLOOR, HEIGHT, WIDTH, Scene, template, view

KINDS = [(MarkKind.RUST, None), *((MarkKind.RUST, s) for s in RustStage), *((k, None) for k in MEASURED_KINDS[1:])]

rings = (
    st.lists(st.tuples(st.floats(-200, WIDTH + 200), st.floats(-200, HEIGHT + 200)), min_size=3, max_size=9)
    .filter(lambda points: points[0] != points[-1])
    .map(lambda points: np.array(points, dtype=float))
)
spots = st.tuples(st.floats(0, WIDTH), st.floats(0, HEIGHT), st.floats(5, 250), st.integers(3, 12)).map(
    lambda s: np.stack(
        [
            s[0] + s[2] * np.cos(np.linspace(0, 6.283, s[3], endpoint=False)),
            s[1] + s[2] * np.sin(np.linspace(0, 6.283, s[3], endpoint=False)),
        ],
        axis=1,
    )
)
drawings = st.lists(st.tuples(st.sampled_from("ab"), st.one_of(rings, spots), st.sampled_from(KINDS)), max_size=6)

FEW = settings(max_examples=40, deadline=None)


def scene_of(marks: list) -> Scene:
    scene = Scene(template(0.01))
    scene.photo("a", {FLOOR: view(0.6, tilt=-2e-4)})
    scene.photo("b", {FLOOR: view(0.5, tilt=1e-4, turn=0.3, at=(50, -300))})
    for photo, ring, (kind, stage) in marks:
        scene.mark(photo, ring, kind, stage=stage)
    return scene


def every_figure(measures: Measures) -> dict[str, tuple[Figure, float]]:
    found = {}
    for part in (*measures.zones, *measures.groups):
        name = getattr(part, "zone", None) or getattr(part, "id", "")
        for word, figures in (("kind", part.kinds), ("stage", part.stages), ("resolved", part.resolved)):
            found |= {f"{name} {word} {key}": (figure, part.area_mm2) for key, figure in figures.items()}
        found[f"{name} affected"] = (part.affected, part.area_mm2)
    return found


@FEW
@given(drawings)
def test_every_figure_is_within_its_zone(marks: list) -> None:
    measures = scene_of(marks).measures()
    for name, (figure, whole) in every_figure(measures).items():
        assert 0 <= figure.area_mm2 <= whole, name
        assert 0 <= figure.low_mm2 <= figure.area_mm2 <= figure.high_mm2 <= whole, name
        assert 0 <= figure.low_share <= figure.share <= figure.high_share <= 1, name
        assert figure.sigma_mm2 >= 0, name
        assert (figure.pieces > 0) == (figure.area_mm2 > 0), name
        assert figure.separate <= len(figure.marks), name
    for part in (*measures.zones, *measures.groups):
        shares = (part.seen_share, part.hidden_share, part.never_seen_share)
        assert min(shares) >= 0
        assert sum(shares) == pytest.approx(1.0, abs=1e-9)


@FEW
@given(drawings)
def test_no_part_of_a_mark_is_lost_in_silence(marks: list) -> None:
    projection = scene_of(marks).projection()
    assert [f.mark for f in projection.fates] == sorted(
        (f"m{i}" for i in range(len(marks))), key=_as_listed(projection)
    )
    for fate in projection.fates:
        shares = (fate.placed_share, fate.lost_horizon_share, fate.lost_edge_share, fate.lost_frame_share)
        assert min(shares) >= 0
        assert sum(shares) == pytest.approx(1.0, abs=1e-6)
        assert fate.message or fate.placed_share > 0.99
        landed = [m for m in projection.marks if m.mark.id == fate.mark]
        assert bool(landed) or fate.placed_share < 1e-6


def _as_listed(projection: object) -> object:
    order = [f.mark for f in projection.fates]  # type: ignore[attr-defined]
    return order.index


@FEW
@given(drawings)
def test_union_is_at_most_the_sum_and_kinds_share_out_the_affected(marks: list) -> None:
    scene = scene_of(marks)
    measures, projection = scene.measures(), scene.projection()
    whole = measures.groups[0]
    for kind in MEASURED_KINDS:
        summed = sum(m.area.area for m in projection.marks if m.mark.kind is kind)
        assert whole.kinds[kind].area_mm2 <= summed + 1e-6
    resolved = sum(f.area_mm2 for f in whole.resolved.values())
    assert resolved == pytest.approx(whole.affected.area_mm2, abs=1e-3)
    assert sum(z.affected.area_mm2 for z in measures.zones) == pytest.approx(whole.affected.area_mm2, abs=1e-3)


@FEW
@given(drawings, st.tuples(st.sampled_from("ab"), st.one_of(rings, spots), st.sampled_from(KINDS)))
def test_adding_a_mark_never_lowers_a_measure(marks: list, extra: tuple) -> None:
    """Own figures, affected ground, worst stage, separate marks, patches on patches, near mountings."""
    before, after = scene_of(marks).measures(), scene_of([*marks, extra]).measures()
    for old, new in zip((*before.zones, *before.groups), (*after.zones, *after.groups), strict=True):
        pairs = [(old.kinds[k], new.kinds[k]) for k in MEASURED_KINDS]
        pairs += [(old.affected, new.affected), (old.stages[RustStage.HOLED], new.stages[RustStage.HOLED])]
        for was, now in pairs:
            assert now.area_mm2 >= was.area_mm2 - 1e-6
            assert now.separate >= was.separate
        assert new.patch_on_patch >= old.patch_on_patch
    was_near = {(d.mounting, d.mark): d.distance_mm for d in before.near_mountings}
    now_near = {(d.mounting, d.mark): d.distance_mm for d in after.near_mountings}
    assert was_near.items() <= now_near.items()


@FEW
@given(spots, st.integers(0, 20), st.booleans())
def test_start_vertex_and_winding_do_not_matter(ring: np.ndarray, shift: int, reverse: bool) -> None:
    turned = np.roll(ring, shift % len(ring), axis=0)
    turned = turned[::-1] if reverse else turned
    rust = (MarkKind.RUST, None)
    one, other = (scene_of([("a", r, rust)]).measures().groups[0].affected for r in (ring, turned))
    assert other.area_mm2 == pytest.approx(one.area_mm2, abs=1e-6)
    assert other.sigma_mm2 == pytest.approx(one.sigma_mm2, rel=1e-6, abs=1e-6)
    assert other.perimeter_mm == pytest.approx(one.perimeter_mm, abs=1e-6)


@FEW
@given(spots, st.floats(0.2, 0.9))
def test_scale_k_gives_k_squared(ring: np.ndarray, k: float) -> None:
    """A square-on photo: the mark drawn k times as large is k^2 the area and k times the perimeter."""
    ring = np.array([WIDTH / 2, HEIGHT / 2]) + 0.5 * (ring - ring.mean(axis=0))
    figures = []
    for factor in (1.0, k):
        scene = Scene(template())
        scene.photo("a", {FLOOR: view(0.4, at=(100, 0))})
        scene.mark("a", np.array([WIDTH / 2, HEIGHT / 2]) + factor * (ring - ring.mean(axis=0)))
        figures.append(scene.measures().groups[0].affected)
    assert figures[1].area_mm2 == pytest.approx(k**2 * figures[0].area_mm2, rel=1e-9)
    assert figures[1].perimeter_mm == pytest.approx(k * figures[0].perimeter_mm, rel=1e-9)


@FEW
@given(drawings, st.randoms(use_true_random=False))
def test_the_order_of_marks_does_not_matter(marks: list, random: object) -> None:
    shuffled = list(marks)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    one, other = every_figure(scene_of(marks).measures()), every_figure(scene_of(shuffled).measures())
    for name, (figure, _) in one.items():
        again = other[name][0]
        assert again.area_mm2 == pytest.approx(figure.area_mm2, abs=1e-6), name
        assert (again.pieces, again.separate) == (figure.pieces, figure.separate), name
