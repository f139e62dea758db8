"""A survey's linked photos: from sightings and ties to adjusted cameras."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from corromap.control import PhotoTie
from corromap.frames import FloatArray, PanelId, PhotoId, TieId
from corromap.registration.camera import CameraPose
from corromap.registration.cameras import PlacedCamera, SurveyCameras
from corromap.registration.lens import Lens
from corromap.registration.network.growth import Growth, TiePart, grow, parts_of
from corromap.registration.network.panels import LinkedCamera, adjusted_lens, shared_errors
from corromap.registration.network.solve import Adjusted, adjust
from corromap.registration.network.start import Held, TiedPoints, disagreement_px, pose_of_plane
from corromap.registration.network.transfer import body, cast, link_rows, see
from corromap.registration.network.values import LinkPoints, NetworkProblem, NetworkState, View
from corromap.registration.prior import prior_lens, shared_sigma
from corromap.registration.result import FailureReason, Registration, RegistrationFailure, lens_label
from corromap.survey import Photo, Settings, Sighting
from corromap.template import BodyTemplate

__all__ = ["Network", "solve_network"]

CLOSING_SIGMAS = 4.0
"""A tie that closes a circle may miss by so many standard errors of what the circle has drifted."""

LEAST_SCALE_SIGMA = 1e-4
HELD_CENTRE = 1e-6
NAMED_SIGMAS = 5.0
"""A sighting that misses by more is named."""

LABEL = "links"


@dataclass(frozen=True, eq=False)
class Network:
    """What ties make of a survey's photos.

    Parameters
    ----------
    cameras : mapping of PhotoId to LinkedCamera
        Photos of the network.
    failures : mapping of (PhotoId, PanelId) to RegistrationFailure
        Tied photos that are not placed, and why.
    said : mapping of PhotoId to tuple of str
        Sentences for photos whose ties are not used though they are placed.
    broken : mapping of TieId to float
        Ties that are not used, and by how many pixels they miss.
    """

    cameras: Mapping[PhotoId, LinkedCamera] = field(default_factory=dict)
    failures: Mapping[tuple[PhotoId, PanelId], RegistrationFailure] = field(default_factory=dict)
    said: Mapping[PhotoId, tuple[str, ...]] = field(default_factory=dict)
    broken: Mapping[TieId, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class _Given:
    """What the network starts from."""

    photos: Mapping[PhotoId, Photo]
    sightings: Mapping[PhotoId, tuple[Sighting, ...]]
    ties: tuple[PhotoTie, ...]
    solved: SurveyCameras
    found: Mapping[PhotoId, Mapping[PanelId, Registration | RegistrationFailure]]
    settings: Settings
    template: BodyTemplate

    def car_mm(self, sightings: Iterable[Sighting]) -> FloatArray:
        """Where the template has clicked points."""
        places = [self.template.datum_points[s.datum] for s in sightings]
        return np.array([panel.place.to_car(point.at_mm)[0] for panel, point in places]).reshape(-1, 3)


def solve_network(  # noqa: PLR0913, PLR0917 - everything a place may depend on
    photos: Sequence[Photo],
    sightings: Sequence[Sighting],
    ties: Sequence[PhotoTie],
    solved: SurveyCameras,
    found: Mapping[PhotoId, Mapping[PanelId, Registration | RegistrationFailure]],
    settings: Settings,
    template: BodyTemplate,
) -> Network:
    """Adjust all photos that ties connect with sighted ones.

    Parameters
    ----------
    photos : sequence of Photo
        All of the survey.
    sightings : sequence of Sighting
        All of the survey.
    ties : sequence of PhotoTie
        Accepted links.
    solved : SurveyCameras
        Cameras from sightings alone.
    found : mapping
        Placings from sightings alone, panel by panel.
    settings : Settings
        For the error of a click.
    template : BodyTemplate
        The body.

    Returns
    -------
    Network
        Empty without ties.
    """
    by_id = {photo.id: photo for photo in photos}
    known = template.datum_points
    clicked = {p.id: tuple(s for s in sightings if s.photo == p.id and s.datum in known) for p in photos}
    panels = {panel.id for panel in template.panels}
    good = tuple(t for t in ties if t.known in by_id and t.new in by_id and (t.panel is None or t.panel in panels))
    if not good:
        return Network()
    given = _Given(by_id, clicked, good, solved, found, settings, template)
    held = {photo.id: _held(photo, given) for photo in photos}
    anchors = _anchors(given, held)
    few = {key: points for key in by_id if key not in anchors and (points := _own(given, key)) is not None}
    growth = grow(anchors, good, held, few, template)
    return _adjusted(given, held, growth, set(anchors))


def _held(photo: Photo, given: _Given) -> Held:
    lens, camera = given.solved.lenses[photo.id], given.solved.cameras[photo.id]
    focal = lens.focal_px
    if isinstance(camera, PlacedCamera):
        focal = camera.found.fit.pose.focal_px
    else:
        label = lens_label(lens, photo.id)
        for other in given.solved.cameras.values():
            if isinstance(other, PlacedCamera) and lens_label(other.lens, other.found.photo.id) == label:
                # photos of one camera differ in size; their focal lengths go with what the lens states
                focal = lens.focal_px * other.found.fit.pose.focal_px / other.lens.focal_px
    return Held(lens, focal, float(np.hypot(photo.width_px, photo.height_px)))


def _anchors(given: _Given, held: Mapping[PhotoId, Held]) -> dict[PhotoId, CameraPose]:
    """Photos with a pose from their own points: on several panels, or on one."""
    poses = {}
    for key, camera in given.solved.cameras.items():
        if isinstance(camera, PlacedCamera):
            poses[key] = camera.found.fit.pose
            continue
        placings = [r for r in given.found[key].values() if isinstance(r, Registration)]
        if placings:
            best = max(placings, key=lambda r: len(r.datum_ids))
            panel = given.template.panel(best.panel)
            car = panel.place.to_car(best.datum_mm)
            own = TiedPoints(best.sighted_px, car, given.settings.click_sigma_px, (panel,))
            pose = pose_of_plane(held[key], own)
            if pose is not None:
                poses[key] = pose
    return poses


def _own(given: _Given, key: PhotoId) -> TiedPoints | None:
    clicked = given.sightings[key]
    if not clicked:
        return None
    px = np.array([s.at_px for s in clicked], dtype=np.float64)
    return TiedPoints(px, given.car_mm(clicked), given.settings.click_sigma_px)


def _adjusted(given: _Given, held: Mapping[PhotoId, Held], growth: Growth, anchors: set[PhotoId]) -> Network:
    """Adjust with the ties photos hang on, add those that close circles, take out what contradicts the rest."""
    broken: dict[TieId, float] = dict(growth.outvoted)
    parts = [part for tie in growth.used.values() for part in growth.parts[tie.id]]
    closing = []
    for tie in given.ties:
        if tie.id not in growth.used and tie.id not in broken and {tie.known, tie.new} <= growth.poses.keys():
            where = growth.parts.get(tie.id) or parts_of(
                tie, growth.poses[tie.known], held[tie.known], tie.known_px, given.template
            )
            closing += list(where)
    keys = _connected({*anchors}, [*parts, *closing], growth)
    if not keys:
        return Network(failures=_failures(given, growth, broken, set(), anchors), broken=broken)
    problem = _problem(given, keys, parts)
    state = _start(problem, held, growth)
    first = adjust(problem, state)
    kept, drift = list(parts), 1.0
    for part in closing:
        link = _link(part, keys)
        miss, allowed = _closing(first, link, held[part.tie.new].diagonal_px)
        if miss <= allowed:
            kept.append(part)
            drift = max(drift, miss / link.sigma_px)
        else:
            broken[part.tie.id] = miss
    network = first
    if len(kept) > len(parts):
        problem = _problem(given, keys, kept)
        network = adjust(problem, adjust(problem, first.state, bend=drift).state)
    network, kept = _without_broken(given, network, kept, held, broken, anchors)
    return _network(given, network, kept, growth, broken, anchors)


def _connected(anchors: set[PhotoId], parts: Sequence[TiePart], growth: Growth) -> tuple[PhotoId, ...]:
    """Photos on a tie that hang, through ties, on one with points of its own, in the order they were placed."""
    reached, tied = set(anchors), set()
    while True:
        more = {
            photo
            for part in parts
            for photo, other in ((part.tie.known, part.tie.new), (part.tie.new, part.tie.known))
            if other in reached and photo not in reached
        }
        if not more:
            break
        reached |= more
    for part in parts:
        tied |= {part.tie.known, part.tie.new}
    return tuple(key for key in growth.poses if key in reached & tied)


def _problem(given: _Given, keys: Sequence[PhotoId], parts: Sequence[TiePart]) -> NetworkProblem:
    groups: dict[str, list[PhotoId]] = {}
    lenses = {key: prior_lens(given.photos[key]) for key in keys}
    for key in keys:
        groups.setdefault(lens_label(lenses[key], key), []).append(key)
    number = {key: i for i, those in enumerate(groups.values()) for key in those}
    views = tuple(_view(given, key, lenses[key], number[key]) for key in keys)
    sigma = np.array([_group_sigma([given.photos[key] for key in those]) for those in groups.values()])
    sighted = np.vstack([view.datum_mm for view in views])
    return NetworkProblem(
        views,
        tuple(_link(part, keys) for part in parts),
        sighted.mean(axis=0),
        given.settings.click_sigma_px,
        sigma,
        max(given.template.scale_sigma, LEAST_SCALE_SIGMA),
    )


def _group_sigma(photos: Sequence[Photo]) -> FloatArray:
    """As in `cameras`: the wider prior for all, the centre held where photos were taken upright and across."""
    sigma = np.max([shared_sigma(photo) for photo in photos], axis=0)
    if len({photo.width_px > photo.height_px for photo in photos}) > 1:
        sigma[1:3] = HELD_CENTRE
    return np.asarray(sigma)


def _view(given: _Given, key: PhotoId, lens: Lens, group: int) -> View:
    camera, clicked = given.solved.cameras[key], given.sightings[key]
    weights: dict[str, float] = {}
    if isinstance(camera, PlacedCamera):
        weights = dict(zip(camera.found.ids, camera.found.fit.problem.weight.tolist(), strict=True))
        clicked = tuple(s for s in clicked if s.datum in weights)
    px = np.array([s.at_px for s in clicked], dtype=np.float64).reshape(-1, 2)
    weight = np.array([weights.get(s.datum, 1.0) for s in clicked])
    return View(given.photos[key], lens, group, tuple(s.datum for s in clicked), px, given.car_mm(clicked), weight)


def _link(part: TiePart, keys: Sequence[PhotoId]) -> LinkPoints:
    tie = part.tie
    return LinkPoints(
        keys.index(tie.known), keys.index(tie.new), part.panel,
        tie.known_px[part.rows], tie.new_px[part.rows], tie.sigma_px,
    )  # fmt: skip


def _start(problem: NetworkProblem, held: Mapping[PhotoId, Held], growth: Growth) -> NetworkState:
    poses = [growth.poses[view.photo.id] for view in problem.views]
    shared = np.zeros((problem.groups, 4))
    for view in problem.views:
        now, before = held[view.photo.id], view.lens
        shift = (now.lens.centre_px - before.centre_px) / before.focal_px
        shared[view.group] = [now.lens.k1 - before.k1, *shift, np.log(now.focal_px / before.focal_px)]
    shared[problem.shared_sigma <= HELD_CENTRE] = 0.0
    depths = np.full(len(poses), np.nan)
    for i, (view, pose) in enumerate(zip(problem.views, poses, strict=True)):
        points = [view.datum_mm, *(link.panel.place.to_car(_middle_on(link, i, pose, held[view.photo.id]))
                                   for link in problem.links if i in {link.known, link.new})]  # fmt: skip
        depths[i] = max(float(np.median(pose.inside(np.vstack(points))[:, 2])), 10.0)
    return NetworkState.of(poses, shared, depths)


def _middle_on(link: LinkPoints, index: int, pose: CameraPose, held: Held) -> FloatArray:
    """Where the middle of a tie's points lies on its panel."""
    px = (link.known_px if index == link.known else link.new_px).mean(axis=0, keepdims=True)
    ray = np.append((held.lens.undistort(px)[0] - held.lens.centre_px) / pose.focal_px, 1.0)
    met = np.linalg.solve(pose.plane(link.panel.place), ray)
    return np.asarray(met[None, :2] / met[2])


def _closing(network: Adjusted, link: LinkPoints, diagonal_px: float) -> tuple[float, float]:
    """How far a tie misses that is not part of the network, and how far it may, drift allowed for."""
    rows = link_rows(network.problem, network.state, link)
    away = np.where(rows.fits, np.hypot(*rows.missed_px.T), np.inf)
    covariance = network.covariance[np.ix_(rows.columns, rows.columns)]
    variance = np.einsum("nip,pq,niq->n", rows.design, covariance, rows.design, optimize=True)
    drift = float(np.sqrt(np.median(variance)))
    return float(np.median(away)), disagreement_px(link.sigma_px, diagonal_px) + CLOSING_SIGMAS * drift


def _without_broken(  # noqa: PLR0913, PLR0917 - the adjusted network and its bookkeeping
    given: _Given,
    network: Adjusted,
    parts: list[TiePart],
    held: Mapping[PhotoId, Held],
    broken: dict[TieId, float],
    anchors: set[PhotoId],
) -> tuple[Adjusted, list[TiePart]]:
    """Take out, one by one, ties that still miss when everything is adjusted together."""
    for _ in range(len(parts)):
        views = network.problem.views
        misses = [network.link_miss_px(i) for i in range(len(parts))]
        over = [
            miss / disagreement_px(link.sigma_px, held[views[link.new].photo.id].diagonal_px)
            for miss, link in zip(misses, network.problem.links, strict=True)
        ]
        if not over or max(over) <= 1.0:
            break
        worst = int(np.argmax(over))
        broken[parts[worst].tie.id] = misses[worst]
        parts = [part for part in parts if part.tie.id != parts[worst].tie.id]
        network, parts = _again(given, network, parts, anchors)
    return network, parts


def _again(
    given: _Given, network: Adjusted, parts: list[TiePart], anchors: set[PhotoId]
) -> tuple[Adjusted, list[TiePart]]:
    """Adjust what is left of a network."""
    before = [view.photo.id for view in network.problem.views]
    standing = Growth({key: CameraPose(np.eye(3), np.zeros(3), 1.0) for key in before})
    keys = _connected(anchors & set(before), parts, standing)
    parts = [part for part in parts if part.tie.known in keys and part.tie.new in keys]
    rows = [before.index(key) for key in keys]
    if not rows:
        return replace(network, problem=replace(network.problem, views=(), links=())), []
    problem, old = _problem(given, keys, parts), network.state
    groups = {
        view.group: old.shared[network.problem.views[i].group] for i, view in zip(rows, problem.views, strict=True)
    }
    shared = np.array([groups[g] for g in range(problem.groups)])
    state = NetworkState(old.rotations[rows], old.shifts_mm[rows], shared, old.scale, old.depths_mm[rows])
    return adjust(problem, state), parts


def _network(  # noqa: PLR0913, PLR0917 - the adjusted network and its bookkeeping
    given: _Given,
    network: Adjusted,
    parts: Sequence[TiePart],
    growth: Growth,
    broken: Mapping[TieId, float],
    anchors: set[PhotoId],
) -> Network:
    views = network.problem.views
    placed = {view.photo.id for view in views}
    said = {key: tuple(_doubts(given, key, broken)) for key in growth.poses}
    failures = _failures(given, growth, broken, placed, anchors)
    if not views:
        return Network({}, failures, {key: text for key, text in said.items() if text}, broken)
    errors = shared_errors(network, LABEL)
    by_group = {view.group: adjusted_lens(network, view, "linked") for view in views}
    lenses = tuple(by_group[g] for g in range(network.problem.groups))
    cameras = {}
    shown = _tied_points(network)
    for i, view in enumerate(views):
        mine = [p.tie for p in parts if view.photo.id in {p.tie.known, p.tie.new}]
        others = dict.fromkeys(tie.new if tie.known == view.photo.id else tie.known for tie in mine)
        cameras[view.photo.id] = LinkedCamera(
            network, errors, i, lenses, adjusted_lens(network, view, "linked"), *shown[i], tuple(others),
            (*said[view.photo.id], *_named(given, network, i)),
        )  # fmt: skip
    outside = {key: text for key, text in said.items() if text and key not in placed}
    return Network(cameras, failures, outside, broken)


def _tied_points(network: Adjusted) -> list[tuple[FloatArray, FloatArray, FloatArray]]:
    """Tied points of each view, by how much they miss, and depths of all its points."""
    problem, state = network.problem, network.state
    px: list[list[FloatArray]] = [[np.empty((0, 2))] for _ in problem.views]
    missed: list[list[FloatArray]] = [[] for _ in problem.views]
    from_new: list[list[FloatArray]] = [[] for _ in problem.views]
    points = [[body(problem, state, view.datum_mm)] for view in problem.views]
    for link in problem.links:
        miss = link_rows(problem, state, link).missed_px
        uv = cast(problem, state, link.known, link.known_px, link.panel.place)
        car = body(problem, state, link.panel.place.to_car(uv[np.isfinite(uv).all(axis=1)]))
        missed[link.new].append(miss)
        from_new[link.known].append(miss)
        for index, at in ((link.known, link.known_px), (link.new, link.new_px)):
            px[index].append(at)
            points[index].append(car)
    found = []
    for i in range(len(problem.views)):
        depth = np.maximum(see(problem, state, i, np.vstack(points[i])).depth_mm, 1.0)
        found.append((np.vstack(px[i]), np.vstack(missed[i] or from_new[i]), depth))
    return found


def _named(given: _Given, network: Adjusted, index: int) -> list[str]:
    """Sentences for sightings that the linked photos contradict."""
    view, texts = network.problem.views[index], []
    for datum, miss, weight in zip(view.ids, np.hypot(*network.missed_px(index).T), view.weight, strict=True):
        if miss * np.sqrt(weight) > NAMED_SIGMAS * network.problem.click_sigma_px:
            name = given.template.datum_points[datum][1].name
            texts.append(
                f"The point '{name}' lies {miss:.1f} px from where the linked photos and the other points put it and "
                "counts for little: click it again or remove it."
            )
    return texts


def _doubts(given: _Given, key: PhotoId, broken: Mapping[TieId, float]) -> Iterable[str]:
    """Sentences for ties of a photo that are not used."""
    for tie in given.ties:
        if tie.id in broken and key in {tie.known, tie.new}:
            other = given.photos[tie.new if tie.known == key else tie.known]
            yield (
                f"The link between '{given.photos[key].name}' and '{other.name}' is not used: it misses what the other "
                f"points and links say by {_pixels(broken[tie.id])}. Look at both photos and remove the link."
            )


def _failures(
    given: _Given, growth: Growth, broken: Mapping[TieId, float], placed: set[PhotoId], anchors: set[PhotoId]
) -> dict[tuple[PhotoId, PanelId], RegistrationFailure]:
    """Say of every tied photo that has no place why not."""
    failures = {}
    for tie in given.ties:
        for key in (tie.known, tie.new):
            if key in placed or key in anchors:
                continue
            text = _why_not(given, key, growth, broken)
            for panel in [tie.panel] if tie.panel is not None else _likely(given, key):
                failures[key, panel] = RegistrationFailure(key, panel, FailureReason.LINKS, text)
    return failures


def _likely(given: _Given, key: PhotoId) -> list[PanelId]:
    """Panel to tell a failure of when the tie names none."""
    return list(given.found[key])[:1] or [given.template.panels[0].id]


def _why_not(given: _Given, key: PhotoId, growth: Growth, broken: Mapping[TieId, float]) -> str:
    name = given.photos[key].name
    ending = "click datum points on it, or remove the link that is wrong."
    if key in growth.refused:
        others, miss = growth.refused[key]
        names = " and ".join(f"'{given.photos[o].name}'" for o in dict.fromkeys(others))
        return (
            f"Photo '{name}' is not placed: its links with {names} put it at different places, {_pixels(miss)} apart; "
            f"{ending}"
        )
    mine = [tie for tie in given.ties if key in {tie.known, tie.new}]
    if all(tie.id in broken for tie in mine):
        return f"Photo '{name}' is not placed: its links contradict what the other photos say; {ending}"
    return (
        f"Photo '{name}' is not placed: no link leads from it to a photo with four points of its own; click four datum "
        "points on it or on a photo it is linked with."
    )


def _pixels(miss: float) -> str:
    return f"{miss:.0f} px" if np.isfinite(miss) else "so much that it cannot be seen at all"
