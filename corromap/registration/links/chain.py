"""From neighbour to neighbour: proposals for all photos of a survey that have no place yet."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.control import PhotoTie
from corromap.frames import FloatArray, PanelId, PhotoId
from corromap.registration.cameras import solve_lenses
from corromap.registration.homography import apply
from corromap.registration.links.by_body import Ground, tie_by_body
from corromap.registration.links.features import Features, find_features
from corromap.registration.links.pair import matched_rows
from corromap.registration.network.hits import first_panels
from corromap.registration.network.start import Held
from corromap.registration.place import contradicted_ties, place_photos
from corromap.registration.result import Registration, RegistrationFailure
from corromap.survey import Photo, Survey
from corromap.template import BodyTemplate

__all__ = ["ChainProposal", "Chained", "NotLinked", "chain_photos"]

STRONGEST = 1500
"""Features by which it is guessed which placed photo may be a neighbour."""

NEIGHBOURS = 3
"""A photo is tied to so many placed ones, where they overlap: then its ties check one another."""

LIKELIEST = 6
"""Placed photos that are tried in full, the likeliest first."""

Progress = Callable[[int, int], object]


@dataclass(frozen=True, slots=True, eq=False)
class ChainProposal:
    """A place proposed for a photo; nothing counts until a person accepts it.

    Parameters
    ----------
    photo : PhotoId
        What is placed.
    through : tuple of PhotoId
        Placed photos it is tied to; those that are proposals themselves come first in the list of proposals.
    ties : tuple of PhotoTie
        What is stored when it is accepted.
    places : mapping of PanelId to Registration
        Where it would sit.
    points : int
        Tied points.
    rms_px, rms_mm : float
        By how much they miss, root mean square, in the photo and on the body.
    sentence : str
        For the person who accepts or refuses.
    """

    photo: PhotoId
    through: tuple[PhotoId, ...]
    ties: tuple[PhotoTie, ...]
    places: Mapping[PanelId, Registration]
    points: int
    rms_px: float
    rms_mm: float
    sentence: str


@dataclass(frozen=True, slots=True)
class NotLinked:
    """A photo for which no place can be proposed.

    Parameters
    ----------
    photo : PhotoId
        The photo.
    message : str
        Why, one sentence ending in what to do.
    """

    photo: PhotoId
    message: str


@dataclass(frozen=True, slots=True, eq=False)
class Chained:
    """What was found for a survey.

    Parameters
    ----------
    proposals : tuple of ChainProposal
        In an order in which they can be accepted one after another.
    not_linked : tuple of NotLinked
        The other photos without a place.
    """

    proposals: tuple[ChainProposal, ...] = ()
    not_linked: tuple[NotLinked, ...] = ()


@dataclass(eq=False)
class _Work:
    """What is known while the chain grows."""

    template: BodyTemplate
    load: Callable[[PhotoId], NDArray[np.uint8]]
    seed: int
    features: dict[PhotoId, Features] = field(default_factory=dict)
    grounds: dict[PhotoId, Ground] = field(default_factory=dict)
    tried: set[tuple[PhotoId, PhotoId]] = field(default_factory=set)
    reasons: dict[PhotoId, list[str]] = field(default_factory=dict)

    def features_of(self, photo: PhotoId) -> Features:
        if photo not in self.features:
            self.features[photo] = find_features(photo, self.load(photo))
        return self.features[photo]


def chain_photos(  # noqa: PLR0913 - all but the first three have defaults
    survey: Survey,
    template: BodyTemplate,
    load: Callable[[PhotoId], NDArray[np.uint8]],
    *,
    progress: Progress | None = None,
    refused: frozenset[tuple[PhotoId, PhotoId]] = frozenset(),
    seed: int = 0,
) -> Chained:
    """Look for places of photos without enough sightings, through placed neighbours and onward.

    Parameters
    ----------
    survey : Survey
        Photos, sightings and the ties accepted so far.
    template : BodyTemplate
        The body.
    load : callable
        Gives the grey pixels of a photo, upright, full size: uint8 of shape (H, W).
    progress : callable, optional
        Called with the steps done and the steps in all.
    refused : frozenset of (PhotoId, PhotoId)
        Pairs, known and new, that a person refused before.
    seed : int
        Of the consensus.

    Returns
    -------
    Chained
        Proposals and, for the rest, why not.
    """
    told = progress or (lambda _done, _total: None)
    work = _Work(template, load, seed, tried=set(refused))
    trial, total = survey, 2 * len(survey.photos)
    found: dict[PhotoId, tuple[PhotoTie, ...]] = {}
    missing = _missing(trial, template)
    if not missing or len(missing) == len(survey.photos):
        return Chained((), tuple(NotLinked(p.id, _nothing_placed(p)) for p in missing))
    for done, photo in enumerate(survey.photos, start=1):
        work.features_of(photo.id)
        told(done, total)
    while True:
        ties = _one_round(work, trial, missing)
        if not ties:
            break
        trial = replace(trial, ties=(*trial.ties, *(tie for those in ties.values() for tie in those)))
        wrong = contradicted_ties(trial, template)
        found.update({key: tuple(t for t in those if t.id not in wrong) for key, those in ties.items()})
        missing = _missing(trial, template)
        still = {photo.id for photo in missing}
        told(total - len(still), total)
        trial = replace(trial, ties=tuple(t for t in trial.ties if t.id not in wrong and t.new not in still))
    told(total, total)
    return _answer(survey, trial, template, found, missing, work)


def _missing(survey: Survey, template: BodyTemplate) -> list[Photo]:
    """Photos without any place."""
    placed = {photo for (photo, _), r in place_photos(survey, template).items() if isinstance(r, Registration)}
    return [photo for photo in survey.photos if photo.id not in placed]


def _one_round(work: _Work, survey: Survey, missing: list[Photo]) -> dict[PhotoId, tuple[PhotoTie, ...]]:
    """Tie photos without a place to placed ones."""
    placed = place_photos(survey, work.template)
    lenses = solve_lenses(survey, work.template)
    out = {photo.id for photo in missing}
    work.grounds = {}  # places have moved since
    found: dict[PhotoId, tuple[PhotoTie, ...]] = {}
    for photo in missing:
        held = Held(
            lenses[photo.id], _focal(photo, survey, placed, lenses[photo.id].focal_px),
            float(np.hypot(photo.width_px, photo.height_px)), photo.focal_px is not None,
        )  # fmt: skip
        ties: list[PhotoTie] = []
        neighbours = 0
        for other in _likeliest(work, photo, survey, out, placed):
            work.tried.add((other, photo.id))
            answer = tie_by_body(
                _ground(work, other, placed), work.features_of(photo.id), held, work.template, work.seed
            )
            if isinstance(answer, str):
                work.reasons.setdefault(photo.id, []).append(answer)
                continue
            ties += answer
            neighbours += 1
            if neighbours == NEIGHBOURS:
                break
        if ties:
            found[photo.id] = tuple(ties)
    return found


def _focal(
    photo: Photo,
    survey: Survey,
    placed: Mapping[tuple[PhotoId, PanelId], Registration | RegistrationFailure],
    stated_px: float,
) -> float:
    """Focal length of a photo, from placed ones of its camera where there are any."""
    for (key, _), found in placed.items():
        other = survey.photo_by_id[key]
        if (
            isinstance(found, Registration)
            and found.camera is not None
            and photo.camera
            and other.camera == photo.camera
        ):
            return found.camera.focal_px * max(photo.width_px, photo.height_px) / max(other.width_px, other.height_px)
    return stated_px


def _likeliest(
    work: _Work,
    photo: Photo,
    survey: Survey,
    out: set[PhotoId],
    placed: Mapping[tuple[PhotoId, PanelId], Registration | RegistrationFailure],
) -> list[PhotoId]:
    """Placed photos that look most like this one and have not been tried with it."""
    mine = work.features_of(photo.id).descriptors[:STRONGEST]
    scores = {}
    for other in survey.photos:
        if other.id in out or (other.id, photo.id) in work.tried:
            continue
        ground = _ground(work, other.id, placed)
        scores[other.id] = len(matched_rows(ground.features.descriptors[:STRONGEST], mine)[0])
    return sorted(scores, key=lambda key: -scores[key])[:LIKELIEST]


def _ground(
    work: _Work, photo: PhotoId, placed: Mapping[tuple[PhotoId, PanelId], Registration | RegistrationFailure]
) -> Ground:
    """Let a placed photo say what its features lie on."""
    if photo not in work.grounds:
        features = work.features_of(photo)
        own = [r for (key, _), r in placed.items() if key == photo and isinstance(r, Registration)]
        index, uv = _where(features.at_px, own, work.template)
        rows = np.flatnonzero(index >= 0)
        car = np.empty((len(rows), 3))
        for number in np.unique(index[rows]):
            here = index[rows] == number
            car[here] = work.template.panels[number].place.to_car(uv[rows][here])
        kept = Features(photo, features.at_px[rows], features.descriptors[rows])
        work.grounds[photo] = Ground(kept, index[rows], car)
    return work.grounds[photo]


def _where(px: FloatArray, own: list[Registration], template: BodyTemplate) -> tuple[NDArray[np.int64], FloatArray]:
    """Panel and place of pixels: by the photo's camera, else by the panels it is placed on."""
    index, uv = np.full(len(px), -1, dtype=np.int64), np.full((len(px), 2), np.nan)
    if own and own[0].camera is not None:
        index, uv = first_panels(own[0].camera, own[0].lens, px, template)
        # where the photo's own points contradict its camera, or nothing is placed, nothing is tied
        known = {r.panel for r in own}
        lost = np.array([n >= 0 and template.panels[n].id not in known for n in index])
        index[lost] = -1
        return index, uv
    # panels that stand in front of others come later in a template
    for registration in own:
        at, w = apply(registration.matrix, registration.lens.undistort(px))
        panel = template.panel(registration.panel)
        here = (w > registration.w_min) & shapely.intersects_xy(panel.outline.polygon, *at.T)
        index[here], uv[here] = template.panels.index(panel), at[here]
    return index, uv


def _answer(  # noqa: PLR0913, PLR0917 - all that was found
    survey: Survey,
    trial: Survey,
    template: BodyTemplate,
    found: Mapping[PhotoId, tuple[PhotoTie, ...]],
    missing: list[Photo],
    work: _Work,
) -> Chained:
    placed = place_photos(trial, template)
    out = {photo.id for photo in missing}
    proposals = [
        _proposal(survey, key, ties, placed, template) for key, ties in found.items() if key not in out and ties
    ]
    return Chained(tuple(proposals), tuple(NotLinked(p.id, _why(p, work)) for p in missing))


def _proposal(
    survey: Survey,
    key: PhotoId,
    ties: tuple[PhotoTie, ...],
    placed: Mapping[tuple[PhotoId, PanelId], Registration | RegistrationFailure],
    template: BodyTemplate,
) -> ChainProposal:
    places = {panel: r for (photo, panel), r in placed.items() if photo == key and isinstance(r, Registration)}
    through = tuple(dict.fromkeys(tie.known for tie in ties))
    points = sum(len(tie.new_px) for tie in ties)
    px, mm = _misses(key, ties, placed)
    most = max({tie.panel for tie in ties}, key=lambda p: sum(len(t.new_px) for t in ties if t.panel == p))
    name = "the body" if most is None else f"'{template.panel(most).name}'"
    others = len({tie.panel for tie in ties}) - 1
    more = f" and {others} more panel{'s' if others > 1 else ''}" if others else ""
    names = " and ".join(f"'{survey.photo_by_id[p].name}'" for p in through)
    sentence = (
        f"Photo '{survey.photo_by_id[key].name}' seems to show {name}{more} as {names} "
        f"{'do' if len(through) > 1 else 'does'}: {points} points agree to {px:.1f} px ({mm:.1f} mm). Look at the "
        "outline over the photo before you accept it."
    )
    return ChainProposal(key, through, ties, places, points, px, mm, sentence)


def _misses(
    key: PhotoId,
    ties: tuple[PhotoTie, ...],
    placed: Mapping[tuple[PhotoId, PanelId], Registration | RegistrationFailure],
) -> tuple[float, float]:
    """Root mean square miss of tied points: between where both photos put them, in px of the new one and in mm."""
    px, mm = [], []
    for tie in ties:
        if tie.panel is None:
            continue
        here, there = placed.get((key, tie.panel)), placed.get((tie.known, tie.panel))
        if isinstance(here, Registration) and isinstance(there, Registration):
            at = there.to_mm(tie.known_px)[0]
            mm.append(here.to_mm(tie.new_px)[0] - at)
            px.append(here.to_px(at) - tie.new_px)
    return _rms(px), _rms(mm)


def _rms(parts: list[FloatArray]) -> float:
    every = np.vstack([*parts, np.empty((0, 2))])
    every = every[np.isfinite(every).all(axis=1)]
    return float(np.sqrt((every**2).sum(axis=1).mean())) if len(every) else float("nan")


def _nothing_placed(photo: Photo) -> str:
    return (
        f"Photo '{photo.name}' is not placed: no photo of this survey is placed yet, so there is nothing to link it "
        "with; click four datum points on one of them."
    )


def _why(photo: Photo, work: _Work) -> str:
    reasons = work.reasons.get(photo.id, [])
    because = max(reasons, key=_agreeing, default="nothing in it looks like what the placed photos show")
    return (
        f"No place is proposed for photo '{photo.name}': {because}; click datum points on it, or take a photo that "
        "shows both its place and one already placed."
    )


def _agreeing(reason: str) -> int:
    """How near a reason came to a link: its last number."""
    numbers = [int(word) for word in reason.replace(",", " ").split() if word.isdigit()]
    return numbers[-1] if numbers else 10**6
