"""A survey's linked photos: from sightings and ties to adjusted cameras."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from corromap.control import PhotoTie
from corromap.frames import FloatArray, PanelId, PhotoId, TieId
from corromap.registration.by_camera import hull_of
from corromap.registration.camera import CameraPose
from corromap.registration.cameras import PlacedCamera, SurveyCameras
from corromap.registration.lens import Lens
from corromap.registration.network.anchors import anchors_of, better_held, held_of, own_points
from corromap.registration.network.growth import Growth, TiePart, grow, parts_of
from corromap.registration.network.linked import LinkedCamera, adjusted_lens, lenses_by_group, shared_errors
from corromap.registration.network.solve import Adjusted, adjust
from corromap.registration.network.start import Held, disagreement_px
from corromap.registration.network.transfer import body, link_rows, off_mm
from corromap.registration.network.values import LinkPoints, NetworkProblem, NetworkState
from corromap.registration.network.view import View, counted, view_of
from corromap.registration.network.wording import Given, doubts, failures_of, named_sightings
from corromap.registration.prior import prior_lens, shared_sigma
from corromap.registration.result import Registration, RegistrationFailure, lens_label
from corromap.survey import Photo, Settings, Sighting
from corromap.template import BodyTemplate, Panel

__all__ = ["Network", "solve_network"]

CLOSING_SIGMAS = 4.0
"""A tie that closes a circle may miss by so many standard errors of what the circle has drifted."""

LEAST_SCALE_SIGMA = 1e-4
LEAST_FAR_MM = 200.0
"""A panel stands off by the template's uncertainty times its distance from the sighted points, or
times this: 2 mm at one per cent, a body's own unevenness."""

LEAST_AHEAD_MM = 10.0
HELD_CENTRE = 1e-6
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


def solve_network(  # noqa: PLR0913, PLR0917 - everything a place may depend on
    photos: Sequence[Photo],
    sightings: Sequence[Sighting],
    ties: Sequence[PhotoTie],
    solved: SurveyCameras,
    found: Mapping[PhotoId, Mapping[PanelId, Registration | RegistrationFailure]],
    settings: Settings,
    template: BodyTemplate,
    near: Network | None = None,
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
    near : Network, optional
        The same photos and ties with other sightings, as adjusted before. Steps begin there where the same photos are
        in both; which ties are used is always found anew, so the answer does not depend on it.

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
    given = Given(by_id, clicked, good, solved, found, settings, template)
    held = {photo.id: held_of(photo, given) for photo in photos}
    anchors = anchors_of(given, held)
    few = {key: points for key in by_id if key not in anchors and (points := own_points(given, key)) is not None}
    growth = grow(anchors, good, held, few, template)
    network = _adjusted(given, held, growth, set(anchors), near)
    if not growth.refused or not network.cameras:
        return network
    # a focal length that was only assumed is known by now: photos that were refused may fit
    better = better_held(given, held, network.cameras)
    firm = {key: network.cameras[key].pose if key in network.cameras else pose for key, pose in anchors.items()}
    again = grow(firm, good, better, few, template)
    return _adjusted(given, better, again, set(anchors), near) if len(again.refused) < len(growth.refused) else network


def _adjusted(
    given: Given, held: Mapping[PhotoId, Held], growth: Growth, anchors: set[PhotoId], near: Network | None
) -> Network:
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
        return Network(failures=failures_of(given, growth, broken, set(), anchors), broken=broken)
    problem = _problem(given, keys, parts)
    state = _from_before(problem, _start(problem, held, growth), near)
    first = adjust(problem, state)
    kept, drift = list(parts), 1.0
    for part, link, miss, allowed in _closing(given, first, keys, closing):
        if miss <= allowed:
            kept.append(part)
            drift = max(drift, miss / link.sigma_px)
        else:
            broken[part.tie.id] = miss
    network = first
    if len(kept) > len(parts):
        problem = _problem(given, keys, kept)
        network = adjust(problem, adjust(problem, _carried(first, problem), bend=drift).state)
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


def _problem(given: Given, keys: Sequence[PhotoId], parts: Sequence[TiePart]) -> NetworkProblem:
    groups: dict[str, list[PhotoId]] = {}
    lenses = {key: prior_lens(given.photos[key]) for key in keys}
    for key in keys:
        groups.setdefault(lens_label(lenses[key], key), []).append(key)
    number = {key: i for i, those in enumerate(groups.values()) for key in those}
    panels = _panels(given, keys, parts)
    homes = {panel.id: i for i, panel in enumerate(panels)}
    views = tuple(_view(given, key, lenses[key], number[key], homes) for key in keys)
    sigma = np.array([_group_sigma([given.photos[key] for key in those]) for those in groups.values()])
    middle = np.vstack([view.datum_mm for view in views]).mean(axis=0)
    scale_sigma = max(given.template.scale_sigma, LEAST_SCALE_SIGMA)
    off = _off_sigma(given, middle, panels)
    links = tuple(_link(part, keys) for part in parts)
    return NetworkProblem(views, links, middle, given.settings.click_sigma_px, sigma, scale_sigma, panels, off)


def _off_sigma(given: Given, middle_mm: FloatArray, panels: Sequence[Panel]) -> FloatArray:
    far = [abs(float((panel.place.origin_mm - middle_mm) @ panel.place.normal)) for panel in panels]
    return np.asarray(max(given.template.scale_sigma, LEAST_SCALE_SIGMA) * np.maximum(far, LEAST_FAR_MM))


def _panels(given: Given, keys: Sequence[PhotoId], parts: Sequence[TiePart]) -> tuple[Panel, ...]:
    """Panels with tied or sighted points, in the template's order."""
    used = {part.panel.id for part in parts}
    used |= {given.template.datum_points[s.datum][0].id for key in keys for s in given.sightings[key]}
    return tuple(panel for panel in given.template.panels if panel.id in used)


def _group_sigma(photos: Sequence[Photo]) -> FloatArray:
    """As in `cameras`: the wider prior for all, the centre held where photos were taken upright and across."""
    sigma = np.max([shared_sigma(photo) for photo in photos], axis=0)
    if len({photo.width_px > photo.height_px for photo in photos}) > 1:
        sigma[1:3] = HELD_CENTRE
    return np.asarray(sigma)


def _view(given: Given, key: PhotoId, lens: Lens, group: int, homes: Mapping[PanelId, int]) -> View:
    camera, clicked = given.solved.cameras[key], given.sightings[key]
    weights = camera.found.weights if isinstance(camera, PlacedCamera) else {}
    return view_of(given.photos[key], lens, group, counted(clicked, weights), homes, given.template)


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
    return NetworkState.of(poses, shared, _depths(problem, poses, held), len(problem.panels))


def _from_before(problem: NetworkProblem, start: NetworkState, near: Network | None) -> NetworkState:
    """Begin where the same photos were adjusted before, if they were."""
    if near is None or not near.cameras:
        return start
    network = next(iter(near.cameras.values())).network
    before, photos = network.problem, [view.photo.id for view in problem.views]
    if [v.photo.id for v in before.views] != photos or before.groups != problem.groups:
        return start
    return replace(_carried(network, problem), depths_mm=start.depths_mm)


def _carried(network: Adjusted, problem: NetworkProblem) -> NetworkState:
    """Take an adjusted state over to a problem with some of its photos, on panels that may be others."""
    before, old = network.problem, network.state
    photos = [view.photo.id for view in before.views]
    rows = [photos.index(view.photo.id) for view in problem.views]
    groups = {view.group: old.shared[before.views[i].group] for i, view in zip(rows, problem.views, strict=True)}
    shared = np.array([groups[g] for g in range(problem.groups)])
    off = np.array([off_mm(before, old, panel) for panel in problem.panels])
    return NetworkState(old.rotations[rows], old.shifts_mm[rows], shared, old.scale, old.depths_mm[rows], off)


def _depths(problem: NetworkProblem, poses: Sequence[CameraPose], held: Mapping[PhotoId, Held]) -> FloatArray:
    """How far ahead of each view its sighted points and the middles of its ties lie."""
    tied: list[list[tuple[Panel, FloatArray]]] = [[] for _ in poses]
    for link in problem.links:
        tied[link.known].append((link.panel, link.known_px.mean(axis=0)))
        tied[link.new].append((link.panel, link.new_px.mean(axis=0)))
    depths = np.empty(len(poses))
    for i, (view, pose) in enumerate(zip(problem.views, poses, strict=True)):
        found = [pose.inside(view.datum_mm)[:, 2]]
        if tied[i]:
            lens, px = held[view.photo.id].lens, np.array([middle for _, middle in tied[i]])
            rays = np.column_stack([(lens.undistort(px) - lens.centre_px) / pose.focal_px, np.ones(len(px))])
            planes = np.array([pose.plane(panel.place) for panel, _ in tied[i]])
            found.append(1.0 / np.linalg.solve(planes, rays[:, :, None])[:, 2, 0])
        depths[i] = max(float(np.median(np.concatenate(found))), LEAST_AHEAD_MM)
    return depths


def _closing(
    given: Given, network: Adjusted, keys: Sequence[PhotoId], parts: Sequence[TiePart]
) -> Iterator[tuple[TiePart, LinkPoints, float, float]]:
    """Tell how far ties miss that are no part of the network, and how far they may, drift allowed for."""
    problem = network.problem
    links = tuple(_link(part, keys) for part in parts)
    shown = {panel.id for panel in problem.panels}
    extra = tuple({link.panel.id: link.panel for link in links if link.panel.id not in shown}.values())
    if extra:
        off = _off_sigma(given, problem.middle_mm, extra)
        problem = replace(
            problem, panels=(*problem.panels, *extra), panel_sigma_mm=np.concatenate([problem.panel_sigma_mm, off])
        )
    state = replace(network.state, off_mm=np.concatenate([network.state.off_mm, np.zeros(len(extra))]))
    covariance = np.zeros((problem.size, problem.size))
    covariance[: len(network.covariance), : len(network.covariance)] = network.covariance
    last = np.arange(len(network.covariance), problem.size)
    covariance[last, last] = problem.panel_sigma_mm[len(problem.panels) - len(extra) :] ** 2
    tied = link_rows(replace(problem, links=links), state)
    for part, link, rows in zip(parts, links, tied.links, strict=True):
        away = np.where(rows.fits, np.hypot(*rows.missed_px.T), np.inf)
        within = covariance[np.ix_(rows.columns, rows.columns)]
        drift = float(np.sqrt(np.median(((rows.design @ within) * rows.design).sum(axis=(1, 2)))))
        photo = given.photos[part.tie.new]
        diagonal = float(np.hypot(photo.width_px, photo.height_px))
        yield part, link, float(np.median(away)), disagreement_px(link.sigma_px, diagonal) + CLOSING_SIGMAS * drift


def _without_broken(  # noqa: PLR0913, PLR0917 - the adjusted network and its bookkeeping
    given: Given,
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
    given: Given, network: Adjusted, parts: list[TiePart], anchors: set[PhotoId]
) -> tuple[Adjusted, list[TiePart]]:
    """Adjust what is left of a network."""
    before = [view.photo.id for view in network.problem.views]
    standing = Growth({key: CameraPose(np.eye(3), np.zeros(3), 1.0) for key in before})
    keys = _connected(anchors & set(before), parts, standing)
    parts = [part for part in parts if part.tie.known in keys and part.tie.new in keys]
    if not keys:
        return replace(network, problem=replace(network.problem, views=(), links=())), []
    problem = _problem(given, keys, parts)
    return adjust(problem, _carried(network, problem)), parts


def _network(  # noqa: PLR0913, PLR0917 - the adjusted network and its bookkeeping
    given: Given,
    network: Adjusted,
    parts: Sequence[TiePart],
    growth: Growth,
    broken: Mapping[TieId, float],
    anchors: set[PhotoId],
) -> Network:
    views = network.problem.views
    placed = {view.photo.id for view in views}
    said = {key: tuple(doubts(given, key, broken)) for key in growth.poses}
    failures = failures_of(given, growth, broken, placed, anchors)
    if not views:
        return Network({}, failures, {key: text for key, text in said.items() if text}, broken)
    errors = shared_errors(network, LABEL)
    lenses = lenses_by_group(network)
    cameras = {}
    shown = _tied_points(network)
    for i, view in enumerate(views):
        mine = [p.tie for p in parts if view.photo.id in {p.tie.known, p.tie.new}]
        others = dict.fromkeys(tie.new if tie.known == view.photo.id else tie.known for tie in mine)
        cameras[view.photo.id] = LinkedCamera(
            network, errors, i, lenses, adjusted_lens(network, view), *shown[i], tuple(others),
            (*said[view.photo.id], *named_sightings(given, network, i)),
        )  # fmt: skip
    outside = {key: text for key, text in said.items() if text and key not in placed}
    return Network(cameras, failures, outside, broken)


def _tied_points(network: Adjusted) -> list[tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]]:
    """Tied points of each view, by how much they miss, and depths of all its points."""
    problem, state = network.problem, network.state
    rows, all_miss = network.tied, np.vstack([*(x.missed_px for x in network.tied.links), np.empty((0, 2))])
    found = []
    for i, view in enumerate(problem.views):
        as_known, as_new = problem.tied.by_known[i], problem.tied.by_new[i]
        own = body(problem, state, view.datum_mm) @ state.rotations[i].T + state.shifts_mm[i]
        depth = np.concatenate([own[:, 2], rows.known_depth_mm[as_known], rows.new_depth_mm[as_new]])
        px = np.vstack([problem.tied.known_px[as_known], problem.tied.new_px[as_new]])
        miss = all_miss[as_new if len(as_new) else as_known]
        hull = hull_of(np.vstack([view.clicked_px, px]))
        found.append((px, hull, network.missed_px(i), miss, np.maximum(depth[np.isfinite(depth)], 1.0)))
    return found
