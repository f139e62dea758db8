"""Counting what is separate, against trying every choice."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import shapely

from corromap.io.templates import list_templates, load_template
from corromap.measures.touching import count_groups, most_separate, touching_pairs
from corromap.measures.unfolding import hinges_of


def graph(count: int, share: float, seed: int) -> tuple[dict[int, frozenset[int]], list[tuple[int, int]]]:
    rng = np.random.default_rng(seed)
    pairs = [p for p in combinations(range(count), 2) if rng.random() < share]
    near = {i: frozenset(b if a == i else a for a, b in pairs if i in (a, b)) for i in range(count)}
    return near, pairs


def by_trying(count: int, pairs: list[tuple[int, int]]) -> int:
    masks = [sum(1 << j for a, b in pairs for j in (a, b) if i in (a, b) and j != i) for i in range(count)]
    best = 0
    for choice in range(1 << count):
        if all(not (choice >> i & 1 and masks[i] & choice) for i in range(count)):
            best = max(best, choice.bit_count())
    return best


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("share", [0.1, 0.3, 0.7])
def test_most_separate_is_the_most(seed: int, share: float) -> None:
    near, pairs = graph(11, share, seed)
    assert most_separate(range(11), near, {}) == by_trying(11, pairs)


@pytest.mark.parametrize("seed", range(4))
def test_above_the_exact_size_it_is_a_lower_bound_and_ends(seed: int) -> None:
    near, _ = graph(60, 0.2, seed)
    found = most_separate(range(60), near, {})
    assert 5 <= found <= 60


class Named(str):
    """A name that lands elsewhere in sets from one salt to the next, as every name does from run to run."""

    __slots__ = ()
    salt = 0

    def __hash__(self) -> int:
        return hash((self.salt, str(self)))


def test_above_the_exact_size_runs_agree() -> None:
    near, _ = graph(120, 0.05, 3)
    found = set()
    for salt in range(12):
        name = {i: type("Salted", (Named,), {"salt": salt})(f"mark-{i}") for i in near}
        found.add(most_separate(name.values(), {name[i]: frozenset(name[j] for j in near[i]) for i in near}, {}))
    assert len(found) == 1


def test_things_without_neighbours_all_count() -> None:
    assert most_separate(["a", "b"], {}, {}) == 2
    assert most_separate([], {}, {}) == 0


@pytest.mark.parametrize(
    ("pairs", "groups"), [([], 5), ([(0, 1)], 4), ([(0, 1), (1, 2), (0, 2)], 3), ([(3, 4), (0, 4)], 3)]
)
def test_count_groups(pairs: list, groups: int) -> None:
    assert count_groups(5, np.array(pairs, dtype=np.intp).reshape(-1, 2)) == groups


def test_touching_pairs_lists_each_once() -> None:
    shapes = np.array([shapely.box(x, 0, x + 10, 10) for x in (0, 11, 30, 5)], dtype=object)
    assert sorted(map(tuple, touching_pairs(shapes).tolist())) == [(0, 1), (0, 3), (1, 3)]


@pytest.mark.parametrize("name", [template_id for template_id, _ in list_templates()])
def test_every_fold_of_the_packaged_bodies_lays_flat(name: str) -> None:
    """The edges meet, lengths are kept, and the first panel comes to lie beyond the fold."""
    template = load_template(name)
    hinges = [h for some in hinges_of(template).values() for h in some]
    assert hinges
    for hinge in hinges:
        assert hinge.to_other(hinge.edge_mm) == pytest.approx(hinge.other_edge_mm, abs=1.0)
        rotation = hinge.to_other.rotation
        assert rotation @ rotation.T == pytest.approx(np.eye(2), abs=1e-9)
        here, there = (template.panel(p).outline.polygon for p in (hinge.panel, hinge.other))
        laid = shapely.transform(here, hinge.to_other)
        near_fold = shapely.LineString(hinge.other_edge_mm).buffer(20.0, cap_style="flat")
        twins = [h for h in hinges if (h.panel, h.other) == (hinge.panel, hinge.other)]
        if len([h for h in twins if np.allclose(h.edge_mm, hinge.edge_mm)]) == 2:
            continue  # a T: either half of the panel that runs on is laid beyond the fold once
        overlap = shapely.intersection_all([laid, there, near_fold]).area
        assert overlap < 0.5 * min(laid.intersection(near_fold).area, there.intersection(near_fold).area), hinge.panel
