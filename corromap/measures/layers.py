"""Which marks make up which figure.

A layer is the ground of some marks less the ground of others: rust is every
rust mark; resolved filler is every filler mark less all rust. All figures of
all zones come from the same eleven layers.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corromap.survey import MEASURED_KINDS, Mark, MarkKind, RustStage

__all__ = [
    "AFFECTED",
    "LAYERS",
    "PRECEDENCE",
    "RECIPES",
    "STAGES",
    "TOGETHER",
    "Layer",
    "Recipe",
    "class_of",
    "kind_layer",
    "resolved_layer",
    "stage_layer",
]

PRECEDENCE = (MarkKind.RUST, MarkKind.FILLER, MarkKind.PATCH)
"""Where kinds overlap, the first has the place. Rust is what has to be dealt
with whatever was put over it; filler hides more than a patch does."""

STAGES = (RustStage.HOLED, RustStage.SCALED, RustStage.SURFACE)
"""The worst stage has the place."""

_CLASSES: tuple[tuple[MarkKind, RustStage | None], ...] = (
    (MarkKind.RUST, None),
    *((MarkKind.RUST, stage) for stage in STAGES),
    *((kind, None) for kind in MEASURED_KINDS if kind is not MarkKind.RUST),
)


@dataclass(frozen=True, slots=True)
class Layer:
    """The ground of some classes of mark less that of others.

    Parameters
    ----------
    name : str
        Unique.
    over : tuple of bool
        Classes whose ground it is, by `class_of`.
    under : tuple of bool
        Classes whose ground is taken away.
    """

    name: str
    over: tuple[bool, ...]
    under: tuple[bool, ...]

    def signs(self, classes: NDArray[np.intp]) -> NDArray[np.int8]:
        """How each mark takes part: 1 adds ground, -1 takes it away, 0 not.

        Parameters
        ----------
        classes : ndarray of int, shape (N,)
            From `class_of`.

        Returns
        -------
        ndarray of int8, shape (N,)
            Signs.
        """
        table = np.array(self.over, dtype=np.int8) - np.array(self.under, dtype=np.int8)
        return np.asarray(table[classes], dtype=np.int8)


def class_of(marks: Sequence[Mark]) -> NDArray[np.intp]:
    """Class of each mark: its kind and, for rust, its stage.

    Parameters
    ----------
    marks : sequence of Mark
        Marks.

    Returns
    -------
    ndarray of int, shape (N,)
        Index of the class.
    """
    return np.array([_CLASSES.index((mark.kind, mark.stage)) for mark in marks], dtype=np.intp)


def _of_classes(classes: Iterable[tuple[MarkKind, RustStage | None]]) -> tuple[bool, ...]:
    wanted = set(classes)
    return tuple(one in wanted for one in _CLASSES)


def _of_kinds(kinds: Iterable[MarkKind]) -> tuple[bool, ...]:
    wanted = set(kinds)
    return tuple(kind in wanted for kind, _ in _CLASSES)


def _of_stages(stages: Iterable[RustStage]) -> tuple[bool, ...]:
    return _of_classes((MarkKind.RUST, stage) for stage in stages)


def kind_layer(kind: MarkKind) -> str:
    """Name of a kind's own layer.

    Parameters
    ----------
    kind : MarkKind
        The kind.

    Returns
    -------
    str
        The name.
    """
    return f"kind:{kind}"


def stage_layer(stage: RustStage) -> str:
    """Name of a rust stage's layer.

    Parameters
    ----------
    stage : RustStage
        The stage.

    Returns
    -------
    str
        The name.
    """
    return f"stage:{stage}"


def resolved_layer(kind: MarkKind) -> str:
    """Name of the layer where each place counts for one kind only.

    Parameters
    ----------
    kind : MarkKind
        Rust, filler or patch.

    Returns
    -------
    str
        The name; rust gives way to nothing, so it is its own layer.
    """
    return kind_layer(kind) if kind is PRECEDENCE[0] else f"resolved:{kind}"


AFFECTED = "affected"

LAYERS: tuple[Layer, ...] = (
    *(Layer(kind_layer(kind), _of_kinds([kind]), _of_kinds([])) for kind in MEASURED_KINDS),
    *(Layer(stage_layer(s), _of_stages([s]), _of_stages(STAGES[:i])) for i, s in enumerate(STAGES)),
    *(
        Layer(resolved_layer(kind), _of_kinds([kind]), _of_kinds(PRECEDENCE[:i]))
        for i, kind in enumerate(PRECEDENCE)
        if i > 0
    ),
    Layer(AFFECTED, _of_kinds(PRECEDENCE), _of_kinds([])),
)

_TAKES_PART = np.array([np.array(layer.over) | np.array(layer.under) for layer in LAYERS])

TOGETHER: NDArray[np.bool_] = (_TAKES_PART[:, :, None] & _TAKES_PART[:, None, :]).any(axis=0)
"""Whether marks of two classes ever meet in a layer, by `class_of` both ways."""

_SHARED: tuple[Layer, ...] = (
    *(Layer(f"class:{stage}", _of_classes([(MarkKind.RUST, stage)]), _of_kinds([])) for stage in (None, *STAGES[1:])),
    Layer("worse than surface", _of_stages(STAGES[:2]), _of_kinds([])),
    Layer("before patches", _of_kinds(PRECEDENCE[:2]), _of_kinds([])),
)
"""No figures of their own: joined once, then used in more than one layer."""


@dataclass(frozen=True, slots=True)
class Recipe:
    """From which earlier grounds a layer is put together.

    Parameters
    ----------
    layer : Layer
        The layer.
    number : int
        Its index in `LAYERS`, or -1 for one that has no figures.
    over, under : tuple of int
        Steps of `RECIPES` whose ground is joined, and taken away. Nothing to
        join: it is made of the marks themselves.
    """

    layer: Layer
    number: int
    over: tuple[int, ...]
    under: tuple[int, ...]


def _recipes() -> tuple[Recipe, ...]:
    found: list[Recipe] = []
    for layer in sorted((*LAYERS, *_SHARED), key=lambda layer: (any(layer.under), sum(layer.over))):
        number = LAYERS.index(layer) if layer in LAYERS else -1
        found.append(Recipe(layer, number, _from(layer.over, found), _from(layer.under, found)))
    return tuple(found)


def _from(wanted: tuple[bool, ...], earlier: Sequence[Recipe]) -> tuple[int, ...]:
    """Pick the fewest earlier grounds that make up some classes, largest first."""
    left = {i for i, want in enumerate(wanted) if want}
    picked = []
    for step in sorted(range(len(earlier)), key=lambda i: -sum(earlier[i].layer.over)):
        classes = {i for i, has in enumerate(earlier[step].layer.over) if has}
        if not any(earlier[step].layer.under) and classes <= left:
            picked.append(step)
            left -= classes
    return tuple(picked)


RECIPES = _recipes()
"""Every step, what it is put together from before it. Marks of one class are joined
once; rust, and then the affected ground, are joined from what is joined already."""
