"""Photos tied to one another: adjusted together, errors shared, wrong ties found."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from corromap.control import PhotoTie
from corromap.evaluation import evaluate
from corromap.frames import MarkId, PanelId, PhotoId, PhotoOutline, TieId
from corromap.io.rules import default_rules
from corromap.registration import FailureReason, Registration, RegistrationFailure, place_photos
from corromap.registration.network.solve import adjust
from corromap.registration.network.transfer import link_rows, sighting_rows
from corromap.registration.network.values import LinkPoints, NetworkProblem, NetworkState
from corromap.registration.network.view import View
from corromap.registration.place import _of
from corromap.registration.prior import prior_lens, shared_sigma
from corromap.survey import Mark, MarkKind, Survey
from tests.linked_scene import TRUE_LENS, clicks_on, places_of, row_of_shots, survey_of, ties_between, true_pose
from tests.whole_car_scene import BODY, WIDTH, photo

SHOTS = row_of_shots()
KEYS = tuple(SHOTS)
FIRST, FIFTH = KEYS[0], KEYS[4]


def chain(seed: int = 0) -> list[PhotoTie]:
    return [tie for a, b in pairwise(KEYS) for tie in ties_between(a, b, SHOTS, seed=seed)]


def ten_clicks(seed: int = 0, noise_px: float = 2.0) -> list:
    first = clicks_on(FIRST, SHOTS[FIRST], 5, seed=seed, noise_px=noise_px)
    return first + clicks_on(FIFTH, SHOTS[FIFTH], 5, seed=seed, noise_px=noise_px)


def errors_mm(survey: Survey) -> dict[PhotoId, float]:
    """Largest error of each photo, over what it really shows of panels it is placed on."""
    placed, found = place_photos(survey, BODY), dict[PhotoId, float]()
    for key, shot in SHOTS.items():
        for panel, (px, uv) in places_of(shot, 300.0).items():
            one = placed.get((key, panel))
            if isinstance(one, Registration):
                error = float(np.nanmax(np.hypot(*(one.to_mm(px)[0] - uv).T)))
                found[key] = max(found.get(key, 0.0), error)
    return found


def shifted(tie: PhotoTie, by_px: tuple[float, float]) -> PhotoTie:
    """The same link mistaken by one rib: consistent in itself, and wrong."""
    return replace(tie, id=TieId(f"{tie.id} wrong"), new_px=tie.new_px + by_px)


def test_ten_clicks_place_eight_linked_photos() -> None:
    """Issue 4's figure, on exact geometry with 2 px clicks and 0.7 px matches."""
    found = errors_mm(survey_of(SHOTS, ten_clicks(), chain()))
    assert set(found) == set(KEYS)
    assert max(found.values()) < 3.0


def test_without_ties_nothing_changes() -> None:
    bare = survey_of(SHOTS, ten_clicks(), [])
    placed = place_photos(bare, BODY)
    assert {key for key, _ in placed} == {FIRST, FIFTH}
    tied_elsewhere = survey_of(SHOTS, ten_clicks(), ties_between(KEYS[6], KEYS[7], SHOTS))
    again = place_photos(tied_elsewhere, BODY)
    for key, one in placed.items():
        other = again[key]
        assert isinstance(one, Registration)
        assert isinstance(other, Registration)
        assert np.array_equal(one.matrix, other.matrix)
        assert one.method == other.method


@pytest.mark.parametrize("kind", ["sighting", "link"])
def test_derivatives_against_differences(kind: str) -> None:
    pair = [KEYS[0], KEYS[1]]
    tie = next(t for t in ties_between(*pair, SHOTS) if t.panel == "floor-left")
    views = []
    homes = [panel.id for panel in BODY.panels]
    for key in pair:
        clicked = clicks_on(key, SHOTS[key], 4)
        places = [BODY.datum_points[s.datum] for s in clicked]
        car = np.array([panel.place.to_car(datum.at_mm)[0] for panel, datum in places])
        px = np.array([s.at_px for s in clicked])
        views.append(
            View(
                photo(key),
                prior_lens(photo(key)),
                0,
                tuple(s.datum for s in clicked),
                px,
                car,
                np.ones(4),
                np.array([homes.index(p.id) for p, _ in places]),
            )
        )
    link = LinkPoints(0, 1, BODY.panel(tie.panel), tie.known_px, tie.new_px, 0.7)
    sigma, off = shared_sigma(photo())[None], np.full(len(BODY.panels), 2.0)
    problem = NetworkProblem(tuple(views), (link,), np.array([100.0, 400.0, -50.0]), 2.0, sigma, 0.01, BODY.panels, off)
    shared = np.array([[-0.05, 0.002, -0.003, 0.01]])
    state = NetworkState.of([true_pose(SHOTS[key]) for key in pair], shared, np.array([600.0, 640.0]), len(off))
    strayed = np.random.default_rng(0).normal(0, 3, len(off))
    state = replace(state, scale=np.array([1.01, 0.99, 1.005]), off_mm=strayed)

    def rows(at: NetworkState):
        return sighting_rows(problem, at, 1) if kind == "sighting" else link_rows(problem, at).links[0]

    here, step = rows(state), 1e-6
    analytic = np.zeros((*here.missed_px.shape, problem.size))
    for column, derivative in zip(here.columns, np.moveaxis(here.design, 2, 0), strict=True):
        analytic[:, :, column] += derivative
    for i in range(problem.size):
        move = np.zeros(problem.size)
        move[i] = step
        ahead, back = rows(state.moved(move, problem)), rows(state.moved(-move, problem))
        numeric = -(ahead.missed_px - back.missed_px) / (2 * step)
        assert np.allclose(analytic[:, :, i], numeric, rtol=1e-4, atol=1e-3 * np.abs(analytic).max() * 1e-2), i


def test_errors_of_a_chain_are_shared_and_hold() -> None:
    """95 % of places within their ellipse or more; photos that hang on the same clicks err together."""
    inside, count, far = 0, 0, []
    for seed in range(2):
        placed = place_photos(survey_of(SHOTS, ten_clicks(seed), chain(seed)), BODY)
        for key in KEYS:
            px, uv = places_of(SHOTS[key], 300.0).get("floor-left", (None, None))
            one = placed.get((key, "floor-left"))
            if px is None or not isinstance(one, Registration):
                continue
            middle = len(px) // 2
            miss = (one.to_mm(px[middle : middle + 1])[0] - uv[middle])[0]
            moved = one.sensitivities(px[middle : middle + 1])
            covariance = sum(moved[s.label][0] @ s.covariance @ moved[s.label][0].T for s in one.sources)
            inside += float(miss @ np.linalg.solve(covariance, miss)) < 5.991
            count += 1
            far.append(float(np.sqrt(np.trace(covariance))))
    assert count >= 10
    assert inside >= 0.95 * count
    labels = [{s.label for s in r.sources} for (k, p), r in placed.items() if p == "floor-left"]
    assert all("links" in one for one in labels)
    assert all(sum(label.startswith("clicks:") for label in one) == 1 for one in labels)


def test_error_grows_along_a_chain() -> None:
    """Only the first photo is sighted: what is known of the last is less."""
    placed = place_photos(survey_of(SHOTS, clicks_on(FIRST, SHOTS[FIRST], 6), chain()), BODY)

    def sigma(key: PhotoId) -> float:
        px = places_of(SHOTS[key], 300.0)["floor-left"][0]
        one = placed[key, "floor-left"]
        moved = one.sensitivities(px)
        whole = sum(np.trace(moved[s.label] @ s.covariance @ np.swapaxes(moved[s.label], 1, 2), axis1=1, axis2=2)
                    for s in one.sources)  # fmt: skip
        return float(np.sqrt(np.median(whole)))

    assert sigma(KEYS[5]) > 2.0 * sigma(KEYS[0])


def test_a_wrong_tie_between_sighted_photos_is_named_and_drags_nothing() -> None:
    good = chain()
    wrong = shifted(next(t for t in good if t.known == KEYS[3] and t.panel == "floor-left"), (150.0, 20.0))
    wrong = replace(wrong, known=KEYS[0], new=KEYS[4])
    survey = survey_of(SHOTS, ten_clicks(), [*good, wrong])
    assert max(errors_mm(survey).values()) < 3.0
    said = [t for r in place_photos(survey, BODY).values() if isinstance(r, Registration) for t in r.warnings]
    assert any("The link between 'photo-1.jpg' and 'photo-5.jpg' is not used: it misses" in text for text in said)


def test_two_neighbours_that_disagree_leave_a_photo_unplaced() -> None:
    """One link right, one mistaken by a rib: no guess, and both neighbours are named."""
    last = KEYS[1]
    ties = ties_between(FIRST, last, SHOTS)
    wrong = [shifted(t, (170.0, 0.0)) for t in ties_between(KEYS[2], last, SHOTS)]
    clicks = clicks_on(FIRST, SHOTS[FIRST], 6) + clicks_on(KEYS[2], SHOTS[KEYS[2]], 6)
    placed = place_photos(survey_of(SHOTS, clicks, [*ties, *wrong]), BODY)
    failures = [r for (key, _), r in placed.items() if key == last]
    assert failures
    for one in failures:
        assert isinstance(one, RegistrationFailure)
        assert one.reason is FailureReason.LINKS
        assert "'photo-2.jpg' is not placed: its links with" in one.message
        assert "put it at different places" in one.message


def test_two_against_one_win() -> None:
    last = KEYS[2]
    right = ties_between(KEYS[1], last, SHOTS) + ties_between(KEYS[3], last, SHOTS)
    wrong = [shifted(t, (160.0, 0.0)) for t in ties_between(FIRST, last, SHOTS) or ties_between(KEYS[4], last, SHOTS)]
    clicks = [s for key in (FIRST, KEYS[1], KEYS[3], KEYS[4]) for s in clicks_on(key, SHOTS[key], 6)]
    survey = survey_of(SHOTS, clicks, [*right, *wrong])
    found = errors_mm(survey)
    assert found[last] < 3.0
    assert wrong


def test_own_clicks_vote_too() -> None:
    """Three clicks do not place a photo, but tell a right link from a wrong one."""
    last = KEYS[1]
    wrong = [shifted(t, (170.0, 0.0)) for t in ties_between(FIRST, last, SHOTS)]
    clicks = clicks_on(FIRST, SHOTS[FIRST], 6) + clicks_on(last, SHOTS[last], 3)
    placed = place_photos(survey_of(SHOTS, clicks, wrong), BODY)
    assert not any(isinstance(r, Registration) for (key, _), r in placed.items() if key == last)
    right = place_photos(survey_of(SHOTS, clicks, ties_between(FIRST, last, SHOTS)), BODY)
    assert any(isinstance(r, Registration) for (key, _), r in right.items() if key == last)


def test_photos_tied_only_to_one_another_say_what_is_missing() -> None:
    ties = ties_between(KEYS[6], KEYS[7], SHOTS)
    placed = place_photos(survey_of(SHOTS, ten_clicks(), ties), BODY)
    texts = {r.message for (key, _), r in placed.items() if key == KEYS[7]}
    expected = (
        "Photo 'photo-8.jpg' is not placed: no link leads from it to a photo with four points of its own; click four "
        "datum points on it or on a photo it is linked with."
    )
    assert texts == {expected}


def in_box(tie: PhotoTie, low: tuple[float, float], high: tuple[float, float]) -> PhotoTie:
    """The tie with the points that its new photo shows in a box, px."""
    kept = ((tie.new_px > low) & (tie.new_px < high)).all(axis=1)
    return replace(tie, known_px=tie.known_px[kept], new_px=tie.new_px[kept])


def unknown(survey: Survey, photo: PhotoId) -> Survey:
    """The survey with one photo's camera and focal length stripped off."""
    photos = (replace(p, focal_px=None, camera=None) if p.id == photo else p for p in survey.photos)
    return replace(survey, photos=tuple(photos))


def test_a_photo_that_shares_a_strip_is_not_placed_and_says_so() -> None:
    """Points 40 px across fix no angle: more ground, or points off the strip, do."""
    last = KEYS[1]
    tie = next(t for t in ties_between(FIRST, last, SHOTS, most=900) if t.panel == "floor-left")
    middle = float(np.median(tie.new_px[:, 1]))
    strip = in_box(tie, (0.0, middle - 20.0), (WIDTH, middle + 20.0))
    assert len(strip.new_px) >= 8
    clicks = clicks_on(FIRST, SHOTS[FIRST], 6)
    placed = place_photos(unknown(survey_of(SHOTS, clicks, [strip]), last), BODY)
    texts = {r.message for (key, _), r in placed.items() if key == last}
    (text,) = texts
    assert re.search(r"all it shares with 'photo-1.jpg' lies in a strip [2-4]\d px wide on it", text)
    for more in ([strip, replace(tie, id=TieId("more"))], [in_box(tie, (0.0, middle - 90.0), (WIDTH, middle + 90.0))]):
        placed = place_photos(unknown(survey_of(SHOTS, clicks, more), last), BODY)
        assert any(isinstance(r, Registration) for (key, _), r in placed.items() if key == last)
    placed = place_photos(survey_of(SHOTS, clicks, [strip]), BODY)
    assert any(isinstance(r, Registration) for (key, _), r in placed.items() if key == last)


def test_a_small_patch_and_an_unknown_focal_length_settle_in_a_few_steps() -> None:
    """Distance and focal length go together along a long valley; steps must follow it, not cross it."""
    last = KEYS[1]
    shots = {**SHOTS, last: replace(SHOTS[last], focal_px=1150.0)}
    tie = next(t for t in ties_between(FIRST, last, shots, most=900) if t.panel == "floor-left")
    centre = np.median(tie.new_px, axis=0)
    patch = in_box(tie, tuple(centre - 200.0), tuple(centre + 200.0))
    assert 12 <= len(patch.new_px) <= 60
    survey = survey_of(shots, clicks_on(FIRST, shots[FIRST], 6), [patch])
    network = next(iter(_of(unknown(survey, last), BODY).network.cameras.values())).network
    assert len(network.problem.views) == 2
    assert network.steps <= 10


def test_a_wrong_click_in_a_linked_photo_is_named() -> None:
    clicks = ten_clicks()
    moved = [replace(s, at_px=s.at_px + np.array([90.0, 0.0])) if i == 6 else s for i, s in enumerate(clicks)]
    extra = clicks_on(KEYS[2], SHOTS[KEYS[2]], 6)
    placed = place_photos(survey_of(SHOTS, [*moved, *extra], chain()), BODY)
    name = BODY.datum_points[clicks[6].datum][1].name
    texts = {t for (key, _), r in placed.items() if isinstance(r, Registration) for t in r.warnings if key == FIFTH}
    assert any(name in text and "Click it again or remove it." in text for text in texts)
    assert max(errors_mm(survey_of(SHOTS, [*moved, *extra], chain())).values()) < 6.0


def test_ties_that_name_no_panel_are_divided_among_panels() -> None:
    ties = ties_between(FIRST, KEYS[1], SHOTS)
    whole = PhotoTie(
        TieId("whole"), FIRST, KEYS[1], None,
        np.vstack([t.known_px for t in ties]), np.vstack([t.new_px for t in ties]), 0.7,
    )  # fmt: skip
    found = errors_mm(survey_of(SHOTS, clicks_on(FIRST, SHOTS[FIRST], 6), [whole]))
    assert found[KEYS[1]] < 4.0


def test_a_body_longer_than_the_template_bends_no_chain() -> None:
    """A car 1 % longer and narrower: clicks at both ends and ties agree, for the body's scales are solved."""
    longer = np.array([1.01, 0.99, 1.0])
    shots = {k: replace(s, eye_mm=tuple(np.array(s.eye_mm) * longer), at_mm=tuple(np.array(s.at_mm) * longer))
             for k, s in SHOTS.items()}  # fmt: skip
    clicks = []
    for key in (FIRST, KEYS[5]):
        for s in clicks_on(key, SHOTS[key], 6):
            panel, datum = BODY.datum_points[s.datum]
            clicks.append(replace(s, at_px=shots[key].sees(panel.place.to_car(datum.at_mm) * longer)[0]))
    ties = []
    for a, b in pairwise(KEYS[:6]):
        for tie in ties_between(a, b, SHOTS):
            panel = BODY.panel(tie.panel)
            index_px = tie.known_px
            uv = np.linalg.solve(_plane(panel, SHOTS[a]), np.column_stack([_rays(SHOTS[a], index_px)]).T).T
            car = panel.place.to_car(uv[:, :2] / uv[:, 2:]) * longer
            ties.append(replace(tie, known_px=shots[a].sees(car), new_px=shots[b].sees(car)))
    placed = place_photos(survey_of(shots, clicks, ties), BODY)
    for key in KEYS[:6]:
        one = placed[key, "floor-left"]
        assert isinstance(one, Registration)
        panel = BODY.panel("floor-left")
        uv = np.array([[300.0, 200.0], [500.0, 300.0], [700.0, 250.0], [900.0, 200.0]])
        px = shots[key].sees(panel.place.to_car(uv) * longer)
        shown = ((px > 0) & (px < [1999, 1499])).all(axis=1)
        if shown.any():
            assert np.nanmax(np.hypot(*(one.to_mm(px[shown])[0] - uv[shown]).T)) < 2.0


def _rays(shot, px: np.ndarray) -> np.ndarray:
    return np.column_stack([(TRUE_LENS.undistort(px) - TRUE_LENS.centre_px) / shot.focal_px, np.ones(len(px))])


def _plane(panel, shot) -> np.ndarray:
    return true_pose(shot).plane(panel.place)


def test_adjusting_twice_stays_where_it_is() -> None:
    pair = [KEYS[0], KEYS[1]]
    tie = next(t for t in ties_between(*pair, SHOTS) if t.panel == "floor-left")
    clicked = clicks_on(pair[0], SHOTS[pair[0]], 6)
    places = [BODY.datum_points[s.datum] for s in clicked]
    car = np.array([panel.place.to_car(datum.at_mm)[0] for panel, datum in places])
    empty, homes = np.empty((0, 2)), [panel.id for panel in BODY.panels]
    views = (
        View(photo("photo-1"), prior_lens(photo()), 0, tuple(s.datum for s in clicked),
             np.array([s.at_px for s in clicked]), car, np.ones(6), np.array([homes.index(p.id) for p, _ in places])),
        View(photo("photo-2"), prior_lens(photo()), 0, (), empty, car[:0], np.empty(0), np.empty(0, dtype=int)),
    )  # fmt: skip
    link = LinkPoints(0, 1, BODY.panel(tie.panel), tie.known_px, tie.new_px, 0.7)
    problem = NetworkProblem(
        views, (link,), car.mean(axis=0), 2.0, shared_sigma(photo())[None], 0.01, BODY.panels, np.full(len(homes), 2.0)
    )
    start = NetworkState.of([true_pose(SHOTS[k]) for k in pair], np.zeros((1, 4)), np.array([600.0, 640.0]), len(homes))
    first = adjust(problem, start)
    second = adjust(problem, first.state)
    assert np.allclose(first.state.shifts_mm, second.state.shifts_mm, atol=0.05)
    assert second.steps <= 4


def test_a_mark_on_a_linked_photo_is_measured_with_the_error_of_the_chain() -> None:
    """200 x 100 mm on the floor, drawn on a photo without a click: area to 2 %, the truth inside the interval."""
    last = KEYS[3]
    ring = np.array([[620.0, 150.0], [820.0, 150.0], [820.0, 250.0], [620.0, 250.0]])
    panel = BODY.panel(PanelId("floor-left"))
    px = SHOTS[last].sees(panel.place.to_car(ring))
    assert ((px > 0) & (px < [1999, 1499])).all()
    mark = Mark(MarkId("m"), last, MarkKind.PATCH, PhotoOutline(px), panels=(panel.id,))
    ties = [t for a, b in pairwise(KEYS[:4]) for t in ties_between(a, b, SHOTS)]
    survey = survey_of(SHOTS, clicks_on(FIRST, SHOTS[FIRST], 6), ties)
    found = evaluate(replace(survey, marks=(mark,)), BODY, default_rules())
    assert found.registrations[last, panel.id].method == "linked"
    figure = next(g for g in found.measures.groups if g.id == "all").affected
    assert figure.area_mm2 == pytest.approx(20_000.0, rel=0.02)
    assert figure.low_mm2 < 20_000.0 < figure.high_mm2
    assert "links" in found.measures.sources
    assert "links" in figure.gradient


def test_an_assumed_focal_length_a_third_off_is_found_with_the_ties() -> None:
    """No EXIF, and the lens is wider than assumed: what was refused at first fits once the others are adjusted."""
    shots = {key: replace(shot, focal_px=1150.0) for key, shot in SHOTS.items()}
    ties = [t for a, b in pairwise(KEYS) for t in ties_between(a, b, shots)]
    clicks = clicks_on(FIRST, shots[FIRST], 5) + clicks_on(FIFTH, shots[FIFTH], 5)
    placed = place_photos(survey_of(shots, clicks, ties, focal_px=None), BODY)
    assert {key for (key, _), r in placed.items() if isinstance(r, Registration)} == set(KEYS)
    one = next(r for (key, _), r in placed.items() if key == FIRST and isinstance(r, Registration))
    assert one.camera is not None
    assert one.camera.focal_px == pytest.approx(1150.0, rel=0.02)


def test_a_tie_between_sighted_photos_may_lie_on_a_panel_nothing_else_shows() -> None:
    """The circle it closes is adjusted with one panel more than what the photos hang on."""
    second, third = KEYS[1], KEYS[2]
    floor = PanelId("floor-left")
    every = [s for key in (FIRST, second) for s in clicks_on(key, SHOTS[key], 30)]
    clicks = [s for s in every if BODY.datum_points[s.datum][0].id == floor]
    hung_on = [tie for tie in ties_between(second, third, SHOTS) if tie.panel == floor]
    closing = [tie for tie in ties_between(FIRST, second, SHOTS) if tie.panel != floor]
    assert hung_on
    assert closing
    found = errors_mm(survey_of(SHOTS, clicks, [*hung_on, *closing]))
    assert {FIRST, second, third} <= set(found)
    assert max(found[FIRST], found[second]) < 6.0
