"""What is true of a bench survey: exact areas, counts and coverage, without the program."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.frames import PanelId, PhotoId, ZoneId
from corromap.survey import MEASURED_KINDS, MarkKind, RustStage
from corromap.template import BodyTemplate, Panel
from tools.truth_bench.hand import COARSEST_MM_PER_PX, Drawn, detail_mm_per_px
from tools.truth_bench.make import BenchSurvey
from tools.truth_bench.scene import Scene

__all__ = ["FIGURES", "TrueCoverage", "carried_pieces", "coverage_of", "patch_counts", "true_areas"]

Array = NDArray[np.float64]
Placed = Collection[tuple[PhotoId, PanelId]]

SAMPLE_MM, LEAST_SAMPLES = 8.0, 3000
"""Coverage is counted on a point for every square of this side, and on so many points of a zone at least."""

LIMIT_DOUBT = 0.03
"""Share of the detail limit: ground nearer to it is neither seen nor unseen. The limit is a house rule, known no
better; how fine a photo is follows from clicks to 1 or 2 per cent, seen flatly that is many points of a zone."""

PLASTIC = 1.32471795724474602596
"""The real root of x^3 = x + 1."""

TOUCHING_MM = 2.0
OVERLAP_SHARE = 0.2
"""As the program states them: a gap closed, and patch on patch."""

AFFECTED = (MarkKind.RUST, MarkKind.FILLER, MarkKind.PATCH)
STAGES = (RustStage.HOLED, RustStage.SCALED, RustStage.SURFACE)

FIGURES = (
    *(f"kind:{kind}" for kind in MEASURED_KINDS if kind is not MarkKind.SOUND),
    *(f"stage:{stage}" for stage in STAGES),
    "resolved:filler",
    "resolved:patch",
    "affected",
)


def carried_pieces(bench: BenchSurvey, placed: Placed) -> list[Drawn]:
    """Marks drawn on photos that could be placed on the panel they lie on.

    Parameters
    ----------
    bench : BenchSurvey
        The survey.
    placed : collection of (PhotoId, PanelId)
        Where the program placed photos.

    Returns
    -------
    list of Drawn
        What the program's figures speak of.
    """
    return [d for d in bench.drawn if (d.mark.photo, d.panel) in placed]


def _union(pieces: Sequence[Drawn], kind: MarkKind | None = None, stage: RustStage | None = None) -> shapely.Geometry:
    wanted = [
        d.piece
        for d in pieces
        if (kind is None or d.source.kind is kind) and (stage is None or d.source.stage is stage)
    ]
    return shapely.union_all(wanted)


def _figures(pieces: Sequence[Drawn]) -> dict[str, shapely.Geometry]:
    """Ground of every figure on one panel."""
    kinds = [kind for kind in MEASURED_KINDS if kind is not MarkKind.SOUND]
    by_kind: dict[MarkKind, shapely.Geometry] = {kind: _union(pieces, kind) for kind in kinds}
    found = {f"kind:{kind}": area for kind, area in by_kind.items()}
    above: shapely.Geometry = shapely.Polygon()
    for stage in STAGES:
        here = _union(pieces, MarkKind.RUST, stage)
        found[f"stage:{stage}"] = shapely.difference(here, above)
        above = shapely.union(above, here)
    rust, filler, patch = (by_kind[kind] for kind in AFFECTED)
    found["resolved:filler"] = shapely.difference(filler, rust)
    found["resolved:patch"] = shapely.difference(patch, shapely.union(rust, filler))
    found["affected"] = shapely.union_all([rust, filler, patch])
    return found


def true_areas(scene: Scene, pieces: Sequence[Drawn]) -> dict[tuple[ZoneId, str], float]:
    """Exact area of every figure in every zone, real mm2.

    Parameters
    ----------
    scene : Scene
        The car; its scale counts twice.
    pieces : sequence of Drawn
        From `carried_pieces`.

    Returns
    -------
    dict of (ZoneId, figure) to float
        Only those with area.
    """
    found = {}
    for panel in scene.template.panels:
        here = [d for d in pieces if d.panel == panel.id]
        if not here:
            continue
        for name, ground in _figures(here).items():
            for zone in panel.zones:
                area = shapely.intersection(ground, zone.outline.polygon).area
                if area > 0:
                    found[zone.id, name] = area * scene.scale**2
    return found


def patch_counts(template: BodyTemplate, pieces: Sequence[Drawn]) -> tuple[dict[ZoneId | None, int], int]:
    """Separate true patches, and places where one true patch lies on another.

    Parameters
    ----------
    template : BodyTemplate
        For the zones.
    pieces : sequence of Drawn
        From `carried_pieces`.

    Returns
    -------
    separate : dict of ZoneId or None to int
        By zone, None for the whole car: the most patches no two of which
        touch; side by side on one photo, one not lying on the other, they are two.
        One of which less than 1 cm2 and a tenth lies in a zone is not counted there.
    stacked : int
        Pairs of patches that overlap by a fifth of the smaller.
    """
    shown: dict[str, tuple[PanelId, shapely.Geometry]] = {}
    for d in pieces:
        if d.source.kind is MarkKind.PATCH:
            before = shown.get(d.source.id, (d.panel, shapely.Polygon()))[1]
            shown[d.source.id] = (d.panel, shapely.union(before, d.piece))
    touching = {
        (a, b)
        for a, b in combinations(shown, 2)
        if shown[a][0] == shown[b][0] and shapely.distance(shown[a][1], shown[b][1]) <= TOUCHING_MM
    }
    stacked = sum(
        float(shapely.area(shapely.intersection(shown[a][1], shown[b][1])))
        > OVERLAP_SHARE * float(min(shapely.area(shown[a][1]), shapely.area(shown[b][1])))
        for a, b in touching
    )
    touching -= _side_by_side(pieces)
    counts: dict[ZoneId | None, int] = {None: _most_apart(list(shown), touching)}
    for zone in template.zones:
        here = [
            name
            for name, (panel, area) in shown.items()
            if panel == zone.panel
            and (held := float(shapely.area(shapely.intersection(area, zone.outline.polygon)))) > 0
            and held >= min(100.0, 0.1 * float(shapely.area(area)))
        ]
        if here:
            counts[zone.id] = _most_apart(here, touching)
    return counts, stacked


def _side_by_side(pieces: Sequence[Drawn]) -> set[tuple[str, str]]:
    """Pairs of patches that some photo shows one beside the other: two, as decision 0003 counts them."""
    on: dict[PhotoId, dict[str, shapely.Geometry]] = {}
    for d in pieces:
        if d.source.kind is MarkKind.PATCH:
            here = on.setdefault(d.mark.photo, {})
            here[d.source.id] = shapely.union(here.get(d.source.id, shapely.Polygon()), d.piece)
    found = set()
    for here in on.values():
        for a, b in combinations(here, 2):
            shared = float(shapely.area(shapely.intersection(here[a], here[b])))
            if shared <= OVERLAP_SHARE * float(min(shapely.area(here[a]), shapely.area(here[b]))):
                found |= {(a, b), (b, a)}
    return found


def _most_apart(names: Sequence[str], touching: Collection[tuple[str, str]]) -> int:
    """Largest set without a touching pair, by trying all; groups that touch are small here."""
    if not names:
        return 0
    first, rest = names[0], names[1:]
    near = {b for a, b in touching if a == first} | {a for a, b in touching if b == first}
    if not near & set(rest):
        return 1 + _most_apart(rest, touching)
    return max(_most_apart(rest, touching), 1 + _most_apart([n for n in rest if n not in near], touching))


@dataclass(frozen=True, eq=False)
class TrueCoverage:
    """Shares of zones, counted on a grid of points.

    Parameters
    ----------
    seen, hidden : mapping of ZoneId to float
        Shown uncovered by some placed photo; shown, but under something hidden.
    by_any : mapping of ZoneId to float
        Shown uncovered by some photo, whether it could be placed or not.
    seen_around : mapping of ZoneId to (float, float)
        As `seen`, were the detail limit finer or coarser by `LIMIT_DOUBT`.
    """

    seen: Mapping[ZoneId, float]
    hidden: Mapping[ZoneId, float]
    by_any: Mapping[ZoneId, float]
    seen_around: Mapping[ZoneId, tuple[float, float]]


def coverage_of(bench: BenchSurvey, placed: Placed) -> TrueCoverage:
    """Count what the photos show, finely enough, of every zone.

    The points put an edge across a zone within 0.15 percentage points (95 per cent of edges, measured).

    Parameters
    ----------
    bench : BenchSurvey
        The survey; what stands in front of what is known from its cameras.
    placed : collection of (PhotoId, PanelId)
        Where the program placed photos.

    Returns
    -------
    TrueCoverage
        By zone, every zone.
    """
    seen: dict[ZoneId, float] = {}
    hidden: dict[ZoneId, float] = {}
    by_any: dict[ZoneId, float] = {}
    around: dict[ZoneId, tuple[float, float]] = {}
    limits = COARSEST_MM_PER_PX * np.array([1.0, 1.0 - LIMIT_DOUBT, 1.0 + LIMIT_DOUBT])[:, None]
    for panel in bench.scene.template.panels:
        points, zone_of = _samples(panel)
        by_placed, by_every = np.zeros((len(limits), len(points)), dtype=bool), np.zeros(len(points), dtype=bool)
        for shot in bench.shots:
            if panel.id not in shot.sights:
                continue
            is_placed = (shot.photo.id, panel.id) in placed
            left = np.flatnonzero(~(by_placed.all(axis=0) & by_every if is_placed else by_every))
            left = left[shapely.contains_xy(shot.sights[panel.id].visible, points[left])]
            shown = detail_mm_per_px(shot, panel, points[left]) <= limits
            by_every[left] |= shown[0]
            if is_placed:
                by_placed[:, left] |= shown
        covers = [m.area for m in bench.scene.marks if m.panel == panel.id and m.kind is MarkKind.HIDDEN]
        covered = (
            shapely.contains_xy(shapely.union_all(covers), points) if covers else np.zeros(len(points), dtype=bool)
        )
        for z, zone in enumerate(panel.zones):
            here = zone_of == z
            exactly, finer, coarser = (by_placed & ~covered)[:, here].mean(axis=1).tolist()
            seen[zone.id], around[zone.id] = exactly, (finer, coarser)
            hidden[zone.id] = float((by_placed[0] & covered)[here].mean())
            by_any[zone.id] = float((by_every & ~covered)[here].mean())
    return TrueCoverage(seen, hidden, by_any, around)


@lru_cache(maxsize=512)
def _samples(panel: Panel) -> tuple[Array, NDArray[np.intp]]:
    """Points of a panel's zones and the zone of each, every zone spread over alike.

    A square grid would be off by half a row where a photo's or a fold's edge
    runs along it: 4 points of a zone 100 mm high. The R2 sequence (Roberts
    2018, after the plastic number) has no rows.
    """
    points, zone_of = [], []
    for z, zone in enumerate(panel.zones):
        (u0, v0), (u1, v1) = np.array(zone.outline.polygon.bounds).reshape(2, 2)
        density = max(LEAST_SAMPLES, zone.area_mm2 / SAMPLE_MM**2) / zone.area_mm2
        steps = np.arange(1, 1 + int(np.ceil(density * (u1 - u0) * (v1 - v0))))[:, None]
        spread = (u0, v0) + (steps / np.array([PLASTIC, PLASTIC**2])) % 1.0 * (u1 - u0, v1 - v0)
        inside = spread[shapely.contains_xy(zone.outline.polygon, spread)]
        points.append(inside)
        zone_of.append(np.full(len(inside), z, dtype=np.intp))
    return np.concatenate(points), np.concatenate(zone_of)
