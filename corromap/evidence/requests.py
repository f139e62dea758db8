"""What to ask for: the fewest photos that close the most structural gaps.

Choosing k photos that cover the most weighted ground is maximum coverage.
Taking the best next one each time covers at least 1 - 1/e (63 %) of what the
best k photos could (Nemhauser, Wolsey and Fisher 1978, "An analysis of
approximations for maximizing submodular set functions"), and no polynomial way
can promise more unless P = NP (Feige 1998).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corromap.evidence.detail import FIVE_MM_HOLE, SmallestSeen
from corromap.evidence.seen_well import Showing, panel_evidence
from corromap.evidence.viewpoints import HALF_HEIGHT, HALF_WIDTH, BodyCells, Viewpoint, body_cells, what_they_show
from corromap.frames import DatumId, FloatArray, ZoneId
from corromap.template import BodyTemplate, Role

__all__ = ["HiddenZone", "PhotoRequest", "RequestList", "greedy_cover", "standard_shots", "what_to_ask_for"]

ROLE_WEIGHT: Mapping[Role, float] = {Role.PRIMARY: 1.0, Role.SECONDARY: 0.4, Role.CLOSING: 0.2}
"""How much a gap counts by what the zone carries. Ours."""
ENOUGH_SHARE = 0.9
"""A zone seen well to this share asks for no photo of its own. Ours."""
LEAST_GAIN_MM2 = 15_000.0
"""A photo that adds less weighted ground than this (150 cm2) is not asked for. Ours."""
NAMED_SHARE = 0.15
"""A zone is named on a request that shows at least this share of it anew."""
HIDDEN_SHARE = 0.2
MOST_DATUM_POINTS = 5


@dataclass(frozen=True, slots=True)
class PhotoRequest:
    """One photo to take.

    Parameters
    ----------
    number : int
        From 1, most useful first.
    view : Viewpoint
        From where.
    aim_mm : tuple of float
        Middle of what it is to show, car frame.
    distance_mm : float
        From the camera to there.
    zones : tuple of ZoneId
        What it newly shows, most ground first.
    gain_mm2 : float
        Ground it newly shows.
    datum_ids : tuple of DatumId
        Datum points to keep in the frame, so that the photo can be placed.
    """

    number: int
    view: Viewpoint
    aim_mm: tuple[float, float, float]
    distance_mm: float
    zones: tuple[ZoneId, ...]
    gain_mm2: float
    datum_ids: tuple[DatumId, ...]


@dataclass(frozen=True, slots=True)
class HiddenZone:
    """A zone that is in the photos but covered there.

    Parameters
    ----------
    zone : ZoneId
        The zone.
    share : float
        Of it that is hidden in every photo that shows it.
    """

    zone: ZoneId
    share: float


@dataclass(frozen=True, slots=True)
class RequestList:
    """What to ask for.

    Parameters
    ----------
    requests : tuple of PhotoRequest
        In order of use.
    gap_mm2, closed_mm2 : float
        Ground not seen well enough, and the part of it that the photos show.
    hidden : tuple of HiddenZone
        To be cleaned or laid bare; another photo alone does not help.
    out_of_reach : tuple of ZoneId
        Load-bearing gaps that no candidate viewpoint shows: to be seen on a
        lift, with parts off, or with a camera on a stalk.
    """

    requests: tuple[PhotoRequest, ...]
    gap_mm2: float
    closed_mm2: float
    hidden: tuple[HiddenZone, ...]
    out_of_reach: tuple[ZoneId, ...]


def greedy_cover(weights: FloatArray, shows: NDArray[np.bool_], most: int, least: float) -> tuple[int, ...]:
    """Choose sets that cover the most weight, best next one first.

    Parameters
    ----------
    weights : ndarray of float64, shape (N,)
        Of the elements, not negative.
    shows : ndarray of bool, shape (V, N)
        Which elements each set holds.
    most : int
        Largest number of sets.
    least : float
        A set that adds less than this is not taken.

    Returns
    -------
    tuple of int
        Indices of sets, in the order chosen; ties go to the earlier one.
    """
    left, chosen = np.array(weights, dtype=np.float64), list[int]()
    as_numbers = shows.astype(np.float64)
    while len(chosen) < min(most, len(shows)):
        gains = as_numbers @ left
        best = int(np.argmax(gains))
        if gains[best] < least or gains[best] <= 0:
            break
        chosen.append(best)
        left[shows[best]] = 0.0
    return tuple(chosen)


def standard_shots(template: BodyTemplate, most: int = 16) -> RequestList:
    """List the photos to take of a body before any photo exists.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    most : int
        Longest list.

    Returns
    -------
    RequestList
        As if nothing had been seen.
    """
    seen = np.zeros(len(body_cells(template).at_mm), dtype=bool)
    return _requests(template, seen, most, ())


def what_to_ask_for(
    template: BodyTemplate, showing: Showing, smallest: SmallestSeen = FIVE_MM_HOLE, most: int = 12
) -> RequestList:
    """Turn the gaps in what was shown into photos to take.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    showing : Showing
        What the photos show.
    smallest : SmallestSeen
        What has to be seen for a place to count.
    most : int
        Longest list.

    Returns
    -------
    RequestList
        Empty requests when nothing is missing that a photo can show.
    """
    cells = body_cells(template)
    found = [panel_evidence(grid, showing, smallest) for grid in cells.grids]
    hidden = []
    for evidence in found:
        for index, zone in enumerate(evidence.grid.panel.zones):
            here = evidence.grid.zone == index
            share = float((evidence.shown & ~evidence.unhidden)[here].mean()) if here.any() else 0.0
            if share >= HIDDEN_SHARE:
                hidden.append(HiddenZone(zone.id, share))
    hidden.sort(key=lambda h: -h.share)
    # a place that is shown but hidden needs a brush, not another photo
    settled = np.concatenate([e.well | (e.shown & ~e.unhidden) for e in found])
    return _requests(template, settled, most, tuple(hidden))


def _requests(
    template: BodyTemplate, settled: NDArray[np.bool_], most: int, hidden: tuple[HiddenZone, ...]
) -> RequestList:
    cells = body_cells(template)
    views, shows = what_they_show(template)
    gap = ~settled & ~_nearly_done(cells, settled)
    weights = np.where(gap, _role_weights(cells) * _cell_areas(cells), 0.0)
    chosen = greedy_cover(weights, shows, most, LEAST_GAIN_MM2)
    left, requests = gap.copy(), []
    for number, index in enumerate(chosen, start=1):
        new = shows[index] & left
        requests.append(_request(number, views[index], cells, new, template))
        left &= ~new
    areas = _cell_areas(cells)
    return RequestList(
        requests=tuple(requests),
        gap_mm2=float(areas[gap].sum()),
        closed_mm2=float(areas[gap & ~left].sum()),
        hidden=hidden,
        out_of_reach=_out_of_reach(cells, gap, np.asarray(shows.any(axis=0))),
    )


def _zone_keys(cells: BodyCells) -> NDArray[np.intp]:
    """One number for each zone of the body, by cell."""
    return np.asarray(cells.panel * 1000 + np.concatenate([grid.zone for grid in cells.grids]))


def _cell_areas(cells: BodyCells) -> FloatArray:
    return np.full(len(cells.at_mm), cells.grids[0].cell_mm2)


def _role_weights(cells: BodyCells) -> FloatArray:
    parts = [np.array([ROLE_WEIGHT[grid.panel.zones[i].role] for i in grid.zone]) for grid in cells.grids]
    return np.concatenate(parts)


def _nearly_done(cells: BodyCells, settled: NDArray[np.bool_]) -> NDArray[np.bool_]:
    _, zone = np.unique(_zone_keys(cells), return_inverse=True)
    share = np.bincount(zone, settled) / np.bincount(zone)
    return np.asarray(share[zone] >= ENOUGH_SHARE)


def _zones_of(cells: BodyCells, some: NDArray[np.bool_], least: float) -> list[tuple[float, ZoneId]]:
    """Zones of which `some` holds at least a share, with the number of cells."""
    keys = _zone_keys(cells)
    found = []
    for key in np.unique(keys[some]).tolist():
        panel = cells.grids[key // 1000].panel
        count, whole = int((keys[some] == key).sum()), int((keys == key).sum())
        if count >= least * whole:
            found.append((float(count), panel.zones[key % 1000].id))
    return found


def _request(
    number: int, view: Viewpoint, cells: BodyCells, new: NDArray[np.bool_], template: BodyTemplate
) -> PhotoRequest:
    middle = cells.at_mm[new].mean(axis=0)
    named = _zones_of(cells, new, NAMED_SHARE) or _zones_of(cells, new, 0.0)
    named.sort(key=lambda item: (template.zone_by_id[item[1]].role is not Role.PRIMARY, -item[0]))
    return PhotoRequest(
        number=number,
        view=view,
        aim_mm=(float(middle[0]), float(middle[1]), float(middle[2])),
        distance_mm=float(np.linalg.norm(middle - view.at_mm)),
        zones=tuple(zone for _, zone in named),
        gain_mm2=float(new.sum()) * cells.grids[0].cell_mm2,
        datum_ids=_datum_points(view, cells, new, template),
    )


def _datum_points(
    view: Viewpoint, cells: BodyCells, new: NDArray[np.bool_], template: BodyTemplate
) -> tuple[DatumId, ...]:
    """Datum points of the panel shown most, inside the picture and far from each other."""
    panel = cells.grids[int(np.argmax(np.bincount(cells.panel[new])))].panel
    positions = template.datum_positions(panel.id)
    ids = list(positions)
    if not ids:
        return ()
    at = panel.place.to_car(np.array([positions[i] for i in ids]))
    inside = _in_frame(view, at)
    ids, at = [i for i, keep in zip(ids, inside, strict=True) if keep], at[inside]
    chosen = list[int]()
    nearest = np.linalg.norm(at - at.mean(axis=0), axis=1) if ids else np.empty(0)  # the first is an outer one
    while len(chosen) < min(MOST_DATUM_POINTS, len(ids)):
        chosen.append(int(np.argmax(nearest)))
        away = np.linalg.norm(at - at[chosen[-1]], axis=1)
        nearest = away if len(chosen) == 1 else np.minimum(nearest, away)
    return tuple(ids[i] for i in chosen)


def _in_frame(view: Viewpoint, at_mm: FloatArray) -> NDArray[np.bool_]:
    ray = at_mm - view.at_mm
    depth = ray @ view.towards
    across, upwards = np.abs(ray @ np.cross(view.towards, view.up)), np.abs(ray @ view.up)
    return np.asarray((across <= HALF_WIDTH * depth) & (upwards <= HALF_HEIGHT * depth))


def _out_of_reach(cells: BodyCells, gap: NDArray[np.bool_], reachable: NDArray[np.bool_]) -> tuple[ZoneId, ...]:
    lost = [zone for _, zone in _zones_of(cells, gap & ~reachable, 0.5)]
    primary = {z.id for grid in cells.grids for z in grid.panel.zones if z.role is Role.PRIMARY}
    return tuple(zone for zone in lost if zone in primary)
