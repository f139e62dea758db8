"""A click moved on a linked photo: shown at once, and the same in the end whatever was there before."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from corromap.frames import PanelId, PhotoId
from corromap.registration import Registration, RegistrationFailure, place_at_once, place_photos
from corromap.registration.place import forget
from corromap.survey import Sighting, Survey
from tests.linked_scene import clicks_on, row_of_shots, survey_of, ties_between
from tests.whole_car_scene import BODY

SHOTS = row_of_shots()
KEYS = tuple(SHOTS)
FIRST, FIFTH = KEYS[0], KEYS[4]
Placed = Mapping[tuple[PhotoId, PanelId], Registration | RegistrationFailure]


@pytest.fixture(autouse=True)
def _without_memory() -> Iterator[None]:
    forget()
    yield
    forget()


@pytest.fixture(scope="module")
def survey() -> Survey:
    clicks = [s for key in (FIRST, FIFTH) for s in clicks_on(key, SHOTS[key], 6)]
    return survey_of(SHOTS, clicks, [tie for a, b in pairwise(KEYS) for tie in ties_between(a, b, SHOTS)])


def moved(survey: Survey, by_px: tuple[float, float], which: int = 2) -> Survey:
    clicks = list(survey.sightings)
    clicks[which] = Sighting(clicks[which].photo, clicks[which].datum, clicks[which].at_px + by_px)
    return replace(survey, sightings=tuple(clicks))


def apart(first: Placed, second: Placed, photo: PhotoId | None = None) -> tuple[float, float]:
    """Largest distance of places in standard errors, and largest ratio of their standard errors less 1."""
    keys = {key for key in second if photo in {None, key[0]}}
    assert keys == {key for key in first if photo in {None, key[0]}}
    far, wider = 0.0, 0.0
    for key in keys:
        one, other = first[key], second[key]
        assert isinstance(one, Registration) == isinstance(other, Registration)
        if isinstance(one, Registration) and isinstance(other, Registration):
            px = other.hull_px
            sigma, mine = errors_of(other, px), errors_of(one, px)
            away = np.abs(one.to_mm(px)[0] - other.to_mm(px)[0]) / sigma
            far = max(far, float(np.nanmax(away)))
            wider = max(wider, float(np.nanmax(np.abs(mine / sigma - 1.0))))
    return far, wider


def errors_of(one: Registration, px: np.ndarray) -> np.ndarray:
    """Standard error of each coordinate, mm."""
    moves = one.sensitivities(px)
    parts = [np.einsum("nip,pq,niq->ni", moves[s.label], s.covariance, moves[s.label]) for s in one.sources]
    return np.sqrt(np.sum(parts, axis=0))


@pytest.mark.parametrize("by_px", [(0.5, -0.3), (-6.0, 9.0), (40.0, 25.0)])
def test_the_answer_does_not_depend_on_what_was_there_before(survey: Survey, by_px: tuple[float, float]) -> None:
    """Steps begin at the last answer; they end where they end without it, to a millionth of a standard error."""
    cold = place_photos(moved(survey, by_px), BODY)
    forget()
    place_photos(survey, BODY)
    warm = place_photos(moved(survey, by_px), BODY)
    far, wider = apart(warm, cold)
    assert far < 1e-6
    assert wider < 1e-6
    assert [type(r) for r in warm.values()] == [type(r) for r in cold.values()]


def test_a_wrong_click_does_not_stay_after_it_is_taken_back(survey: Survey) -> None:
    """The last answer may be far off: a click 300 px astray, and then where it belongs."""
    cold = place_photos(survey, BODY)
    forget()
    place_photos(moved(survey, (300.0, -200.0)), BODY)
    assert apart(place_photos(survey, BODY), cold)[0] < 1e-6


@pytest.mark.parametrize(("by_px", "most"), [((0.5, -0.3), 0.002), ((-4.0, 8.0), 0.05)])
def test_what_is_shown_at_once_is_what_comes(survey: Survey, by_px: tuple[float, float], most: float) -> None:
    before = place_photos(survey, BODY)
    now = moved(survey, by_px)
    shown = place_at_once(now, BODY, FIRST)
    assert shown is not None
    full = place_photos(now, BODY)
    far, wider = apart(shown, full, FIRST)
    assert far < most
    assert wider < 0.02
    assert apart(before, full, FIRST)[0] > 5 * far  # it did move
    assert all(shown[key] is before[key] for key in before if key[0] != FIRST)


def test_a_click_on_a_photo_without_any_is_shown_at_once(survey: Survey) -> None:
    place_photos(survey, BODY)
    third = KEYS[2]
    tied = {tie.panel for tie in survey.ties}
    known = (s for s in clicks_on(third, SHOTS[third], 6) if BODY.datum_points[s.datum][0].id in tied)
    now = replace(survey, sightings=(*survey.sightings, next(known)))
    shown = place_at_once(now, BODY, third)
    assert shown is not None
    far, wider = apart(shown, place_photos(now, BODY), third)
    assert far < 0.02
    assert wider < 0.05


def test_nothing_is_shown_at_once_where_nothing_is_waited_for(survey: Survey) -> None:
    assert place_at_once(survey, BODY, FIRST) is None  # nothing was adjusted yet
    place_photos(survey, BODY)
    assert place_at_once(survey, BODY, FIRST) is None  # the answer is there
    both = moved(moved(survey, (1.0, 1.0)), (1.0, 1.0), which=8)
    assert both.sightings[8].photo == FIFTH
    assert place_at_once(both, BODY, FIRST) is None  # another photo's click has moved as well
    untied = replace(survey, ties=())
    place_photos(untied, BODY)
    assert place_at_once(moved(untied, (1.0, 1.0)), BODY, FIRST) is None
