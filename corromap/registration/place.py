"""Placing photos on panels."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from corromap.control import PhotoTie
from corromap.frames import DatumId, PanelId, PhotoId, TieId
from corromap.registration.camera_fit import CameraRefusal, PhotoCamera
from corromap.registration.camera_place import camera_panels, panel_stands_out
from corromap.registration.cameras import PlacedCamera, forget_cameras, own_camera, solve_cameras
from corromap.registration.flat_checks import may_be_used
from corromap.registration.network import LinkedCamera, Network, linked_at_once, linked_panels, solve_network
from corromap.registration.panel_place import OwnFits
from corromap.registration.result import Registration, RegistrationFailure
from corromap.registration.sighted import lone_datums
from corromap.survey import Photo, Settings, Sighting, Survey
from corromap.template import BodyTemplate

__all__ = ["contradicted_ties", "forget", "place_at_once", "place_photos"]

REMEMBERED = 8
"""Answers kept by `place_photos`: drawing a mark changes nothing it depends on."""


def place_photos(
    survey: Survey, template: BodyTemplate
) -> dict[tuple[PhotoId, PanelId], Registration | RegistrationFailure]:
    """Place every photo on every panel it has sightings on.

    Parameters
    ----------
    survey : Survey
        Photos, sightings and settings.
    template : BodyTemplate
        Panels and datum points.

    Returns
    -------
    dict
        By photo and panel, in the order of the survey and the template. A panel
        is tried when one of its own datum points was clicked, or four points in
        all when those on its folds are counted. Refusals are told of panels
        that a clicked point belongs to alone; where only points on folds were
        clicked and nothing could be placed, of the panels they are listed under.
    """
    return dict(_of(survey, template).placed)


def contradicted_ties(survey: Survey, template: BodyTemplate) -> dict[TieId, float]:
    """Find the ties that `place_photos` does not use because the rest of the survey contradicts them.

    Parameters
    ----------
    survey : Survey
        As for `place_photos`.
    template : BodyTemplate
        Likewise.

    Returns
    -------
    dict of TieId to float
        By how many pixels each misses.
    """
    return dict(_of(survey, template).network.broken)


def place_at_once(
    survey: Survey, template: BodyTemplate, photo: PhotoId
) -> dict[tuple[PhotoId, PanelId], Registration | RegistrationFailure] | None:
    """Place a photo by its clicks as they are now, in a network adjusted before they changed.

    Good for showing that photo while `place_photos` adjusts all; no figure may be taken from it. The other photos
    stand where they stood.

    Parameters
    ----------
    survey : Survey
        As for `place_photos`.
    template : BodyTemplate
        Likewise.
    photo : PhotoId
        The photo that was clicked on.

    Returns
    -------
    dict, or None
        As `place_photos` gives it. None when that has its answer ready, or there is no network to start from: other
        clicks than the photo's have changed, or it was in none.
    """
    asked = _Question.of(survey, template)
    if any(one.question == asked for one in _answers):
        return None
    answer = next((one for one in reversed(_answers) if one.question.without(photo) == asked.without(photo)), None)
    if answer is None or photo not in answer.network.cameras:
        return None
    shown = next(p for p in survey.photos if p.id == photo)
    own = [s for s in survey.sightings if s.photo == photo]
    camera = own_camera(shown, own, survey.settings, template)
    weights = camera.weights if isinstance(camera, PhotoCamera) else {}
    linked = linked_at_once(answer.network.cameras[photo], own, weights, template)
    if linked is None:
        return None
    others = {key: found for key, found in answer.placed.items() if key[0] != photo}
    mine = _linked(shown, own, linked, survey.settings, template)
    return others | {(photo, panel): found for panel, found in mine.items()}


def forget() -> None:
    """Forget the answers kept, as benchmarks have to."""
    _answers.clear()
    forget_cameras()


@dataclass(frozen=True, slots=True)
class _TieKey:
    """A tie by its content: each reading of a survey makes new ones."""

    tie: PhotoTie = field(compare=False)
    content: tuple[object, ...]

    @classmethod
    def of(cls, tie: PhotoTie) -> _TieKey:
        numbers = tie.known_px.tobytes(), tie.new_px.tobytes(), tie.sigma_px
        return cls(tie, (tie.id, tie.known, tie.new, tie.panel, *numbers))


@dataclass(frozen=True, slots=True)
class _Question:
    """All that an answer depends on."""

    photos: tuple[Photo, ...]
    clicks: tuple[tuple[PhotoId, DatumId, float, float], ...]
    ties: tuple[_TieKey, ...]
    settings: Settings
    template: BodyTemplate

    @classmethod
    def of(cls, survey: Survey, template: BodyTemplate) -> _Question:
        clicks = tuple((s.photo, s.datum, float(s.at_px[0]), float(s.at_px[1])) for s in survey.sightings)
        return cls(survey.photos, clicks, tuple(map(_TieKey.of, survey.ties)), survey.settings, template)

    def without(self, photo: PhotoId) -> _Question:
        """Leave a photo's clicks out."""
        return replace(self, clicks=tuple(click for click in self.clicks if click[0] != photo))

    def is_near(self, other: _Question) -> bool:
        """Whether only clicks are different."""
        return replace(self, clicks=()) == replace(other, clicks=())


@dataclass(frozen=True, slots=True)
class _Answer:
    question: _Question
    placed: Mapping[tuple[PhotoId, PanelId], Registration | RegistrationFailure]
    network: Network


_answers: deque[_Answer] = deque(maxlen=REMEMBERED)


def _of(survey: Survey, template: BodyTemplate) -> _Answer:
    asked, kept = _Question.of(survey, template), tuple(_answers)
    for answer in kept:
        if answer.question == asked:
            return answer
    near = next((one.network for one in reversed(kept) if one.question.is_near(asked)), None)
    answer = _answered(asked, near)
    _answers.append(answer)
    return answer


def _answered(asked: _Question, near: Network | None) -> _Answer:
    photos, settings, template = asked.photos, asked.settings, asked.template
    sightings = tuple(Sighting(photo, datum, np.array(at_px)) for photo, datum, *at_px in asked.clicks)
    solved = solve_cameras(Survey("placing", photos=photos, sightings=sightings, settings=settings), template)
    own = {photo.id: [s for s in sightings if s.photo == photo.id] for photo in photos}
    every = {p.id: OwnFits(p, own[p.id], solved.lenses[p.id], settings, template) for p in photos}
    ties = [key.tie for key in asked.ties]
    network = solve_network(photos, sightings, ties, solved, every, settings, template, near)
    placed: dict[tuple[PhotoId, PanelId], Registration | RegistrationFailure] = {}
    for photo in photos:
        linked = network.cameras.get(photo.id)
        if linked is not None:
            whole = _linked(photo, own[photo.id], linked, settings, template)
        else:
            whole = _with_camera(every[photo.id], own[photo.id], solved.cameras[photo.id], settings, template)
            whole = _with_links(photo, whole, network)
        placed.update(((photo.id, panel), answer) for panel, answer in whole.items())
    return _Answer(asked, placed, network)


def _linked(
    photo: Photo, own: list[Sighting], camera: LinkedCamera, settings: Settings, template: BodyTemplate
) -> dict[PanelId, Registration | RegistrationFailure]:
    """Place a photo of the network; all its panels are seen through one lens."""
    return _with_camera(OwnFits(photo, own, camera.lens, settings, template), own, camera, settings, template)


def _with_links(
    photo: Photo, placed: Mapping[PanelId, Registration | RegistrationFailure], network: Network
) -> dict[PanelId, Registration | RegistrationFailure]:
    """Add to a photo outside the network why its ties are not used."""
    said = network.said.get(photo.id, ())
    whole = {panel: _warned(answer, said) for panel, answer in placed.items()}
    for (key, panel), failure in network.failures.items():
        if key == photo.id and not isinstance(whole.get(panel), Registration):
            whole[panel] = failure
    return whole


def _with_camera(
    found: OwnFits,
    sightings: Sequence[Sighting],
    camera: PlacedCamera | LinkedCamera | CameraRefusal,
    settings: Settings,
    template: BodyTemplate,
) -> dict[PanelId, Registration | RegistrationFailure]:
    """Choose, panel by panel, between its own fit and the photo's camera."""
    if isinstance(camera, PlacedCamera) and camera.found.is_flat:
        told = {panel: found[panel] for panel in _told(found, sightings, template)}
        camera = camera if may_be_used(camera, told, template) else CameraRefusal()
    if isinstance(camera, CameraRefusal):
        said = (camera.message,) if camera.message else ()
        return {panel: _warned(found[panel], said) for panel in _told(found, sightings, template)}
    pose = camera.pose if isinstance(camera, LinkedCamera) else camera.found.fit.pose
    by_camera = (
        linked_panels(camera, template, settings)
        if isinstance(camera, LinkedCamera)
        else camera_panels(camera, template, settings)
    )
    beside = _told(found, sightings, template) if found.keys() - by_camera.keys() else []
    chosen: dict[PanelId, Registration | RegistrationFailure] = {}
    for panel in template.panels:
        other = by_camera.get(panel.id)
        if other is not None:
            why = panel_stands_out(camera.weights(other.datum_ids), other) if panel.id in found else ""
            own = found[panel.id] if why else None
            chosen[panel.id] = replace(own, reason=why, camera=other.camera) if isinstance(own, Registration) else other
        elif panel.id in beside:
            answer = found[panel.id]
            chosen[panel.id] = replace(answer, camera=pose) if isinstance(answer, Registration) else answer
    return chosen


def _warned(answer: Registration | RegistrationFailure, said: tuple[str, ...]) -> Registration | RegistrationFailure:
    return replace(answer, warnings=(*answer.warnings, *said)) if isinstance(answer, Registration) else answer


def _told(found: OwnFits, sightings: Iterable[Sighting], template: BodyTemplate) -> list[PanelId]:
    """Panels worth telling of: a click on a fold serves two panels, but may be meant for one."""
    clicked = {s.datum for s in sightings}
    meant = {template.datum_points[datum][0].id for datum in clicked & lone_datums(template)}
    told = [panel for panel in found if panel in meant or isinstance(found[panel], Registration)]
    if not told:
        told = [panel for panel in found if any(datum.id in clicked for datum in template.panel(panel).datum_points)]
    return told
