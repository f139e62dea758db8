"""A whole bench survey from a seed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from corromap.frames import DatumId
from corromap.io.templates import list_templates, load_template
from corromap.survey import Settings, Survey
from corromap.template import BodyTemplate
from tools.truth_bench.cameras import Shot, take_photos
from tools.truth_bench.conditions import Condition
from tools.truth_bench.hand import Drawn, Eye
from tools.truth_bench.links import ties_of
from tools.truth_bench.relief import Relief
from tools.truth_bench.scene import Scene, make_scene
from tools.truth_bench.tape import lengths_of

__all__ = ["BenchSurvey", "survey_of_seed"]


@dataclass(frozen=True, eq=False)
class BenchSurvey:
    """A survey with everything that is true of it.

    Parameters
    ----------
    scene : Scene
        The car.
    shots : tuple of Shot
        Its photos with their true cameras.
    drawn : tuple of Drawn
        Its marks with what they were meant to be.
    survey : Survey
        What the program gets.
    relief : Relief or None
        None when the panels are flat.
    """

    scene: Scene
    shots: tuple[Shot, ...]
    drawn: tuple[Drawn, ...]
    survey: Survey
    relief: Relief | None


def survey_of_seed(seed: int, condition: Condition, template_id: str | None = None) -> BenchSurvey:
    """Make a survey; the same seed and condition give the same survey.

    Car and photos are drawn from one stream of numbers, clicks and outlines
    from another, so that conditions which differ in the hand alone see the
    same photos.

    Parameters
    ----------
    seed : int
        Not negative.
    condition : Condition
        What errors it has.
    template_id : str, optional
        A packaged body; without it the seed chooses.

    Returns
    -------
    BenchSurvey
        Photos without pixels; `tools.truth_bench.render` makes them.
    """
    car, person = (np.random.default_rng([seed, stream]) for stream in (1, 2))
    ids = sorted(i for i, _ in list_templates())
    chosen = ids[int(car.integers(len(ids)))]
    template = _body(template_id or chosen)
    sigma = template.scale_sigma if condition.template_scale else 0.0
    scene = make_scene(template, car, scale_sigma=sigma, seed=seed)
    shots = take_photos(scene, condition, car)
    relief = Relief(scene) if condition.relief else None
    eye = Eye(scene, condition, relief, person)
    strayed = _strayed(scene, condition, person)
    drawn, sightings = [], []
    clicked_on = _clicked_on(len(shots), condition, seed)
    for number, shot in enumerate(shots):
        marks = eye.draw(shot)
        drawn += marks
        clicks = eye.click(shot, marks, strayed)
        sightings += clicks if number in clicked_on else []
    others = np.random.default_rng([seed, 3])
    survey = Survey(
        f"bench-{condition.name}-{seed}",
        photos=tuple(shot.photo for shot in shots),
        marks=tuple(d.mark for d in drawn),
        sightings=tuple(sightings),
        ties=ties_of(shots, condition, relief, others) if condition.is_linked else (),
        lengths=lengths_of(scene, others) if condition.is_measured else (),
        settings=Settings(outline_sigma_px=condition.stated_sigma_px),
    )
    return BenchSurvey(scene, shots, tuple(drawn), survey, relief)


def _clicked_on(count: int, condition: Condition, seed: int) -> set[int]:
    """Photos that are clicked on, two at least, from a stream of their own."""
    wanted = max(2, round(condition.clicked_share * count))
    return set(np.random.default_rng([seed, 4]).permutation(count)[:wanted].tolist())


@lru_cache
def _body(template_id: str) -> BodyTemplate:
    return load_template(template_id)


def _strayed(scene: Scene, condition: Condition, rng: np.random.Generator) -> dict[DatumId, NDArray[np.float64]]:
    if condition.body_sigma_mm == 0:
        return {}
    return {datum: rng.normal(0, condition.body_sigma_mm, 3) for datum in scene.template.datum_points}
