"""One survey evaluated and held against its truth."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.evaluation import Evaluation, evaluate
from corromap.frames import PanelId, PhotoId, ZoneId
from corromap.io.rules import default_rules
from corromap.measures import Figure, GroupMeasure, ZoneMeasure
from corromap.registration import Registration
from corromap.survey import MarkKind, RustStage
from corromap.template import Panel, Zone
from tools.truth_bench.conditions import Condition
from tools.truth_bench.exact import exact_outcome
from tools.truth_bench.hand import Drawn
from tools.truth_bench.make import BenchSurvey, survey_of_seed
from tools.truth_bench.truth import FIGURES, carried_pieces, coverage_of, patch_counts, true_areas

__all__ = ["Crash", "FigureError", "Judgement", "figure_of", "judge", "judge_seed", "judge_seeds"]

Array = NDArray[np.float64]
Placings = Mapping[tuple[PhotoId, PanelId], Registration]


@dataclass(frozen=True)
class FigureError:
    """One figure against its truth, mm2.

    Parameters
    ----------
    where : str
        Zone or group.
    is_group : bool
        Whether it is a group.
    figure : str
        One of `FIGURES`.
    true, found, sigma, low, high : float
        The truth and what the program says is likely.
    zone_mm2 : float
        Of the zone or group.
    photos : int
        Photos with a mark of that figure there.
    fewest_clicks : int
        Of the placings those marks went through.
    lens_known : bool
        Whether those photos' lenses were estimated.
    extrapolated : float
        Largest share of one of those marks that lies outside the hull of the clicks.
    union : float
        All outlines together, mm2; `found` is what is likely.
    """

    where: str
    is_group: bool
    figure: str
    true: float
    found: float
    sigma: float
    low: float
    high: float
    zone_mm2: float
    photos: int
    fewest_clicks: int
    lens_known: bool
    extrapolated: float = 0.0
    union: float = 0.0

    @property
    def holds(self) -> bool:
        """Whether the 95 % interval holds the truth."""
        return self.low <= self.true <= self.high


@dataclass(frozen=True)
class Judgement:
    """Everything the table needs of one survey."""

    seed: int
    photos: int
    marks: int
    placings: int
    refused: int
    lost_marks: int
    seconds: float
    scale: float
    place_mm: Array = field(repr=False)
    outline_mm: Array = field(repr=False)
    figures: tuple[FigureError, ...] = field(repr=False)
    seen_error: Array = field(repr=False)
    """Seen share, found minus true, percentage points, of zones that some placed photo shows or is said to show."""
    seen_apart: Array = field(repr=False)
    """The same, as far as it lies outside what a detail limit finer or coarser by 3 % would give."""
    hidden_error: Array = field(repr=False)
    unplaced_share: float = 0.0
    """Mean share of a zone that is shown by photos, but by none that could be placed on it."""
    patches: tuple[tuple[int, int], ...] = ()
    """True and found count, whole car first, then zones that have either."""
    stacked: tuple[int, int] = (0, 0)
    outcome: tuple[str, str] = ("", "")
    """Of the truth, and found."""


@dataclass(frozen=True)
class Crash:
    """A survey the program raised an exception for.

    Parameters
    ----------
    seed : int
        Of the survey.
    message : str
        The exception.
    """

    seed: int
    message: str


def judge_seed(seed: int, condition: Condition) -> Judgement | Crash:
    """Make, evaluate and judge one survey.

    Parameters
    ----------
    seed : int
        Not negative.
    condition : Condition
        What errors it has.

    Returns
    -------
    Judgement or Crash
        The same for the same arguments, but for the time taken.
    """
    return judge(survey_of_seed(seed, condition), seed)


def judge_seeds(seeds: Sequence[int], condition: Condition) -> list[Judgement | Crash]:
    """Judge several surveys; what a worker process is given.

    Parameters
    ----------
    seeds : sequence of int
        Not negative.
    condition : Condition
        What errors they have.

    Returns
    -------
    list of Judgement or Crash
        In that order.
    """
    return [judge_seed(seed, condition) for seed in seeds]


def judge(bench: BenchSurvey, seed: int) -> Judgement | Crash:
    """Evaluate a survey by the public API and hold it against its truth.

    Parameters
    ----------
    bench : BenchSurvey
        The survey.
    seed : int
        Kept for the record.

    Returns
    -------
    Judgement or Crash
        Errors and times; or what the program raised, which it never should.
    """
    rules, started = default_rules(), time.perf_counter()
    try:
        found = evaluate(bench.survey, bench.scene.template, rules)
    except (ArithmeticError, ValueError, RuntimeError, np.linalg.LinAlgError, shapely.errors.ShapelyError) as error:
        return Crash(seed, f"{type(error).__name__}: {error}"[:160])
    seconds = time.perf_counter() - started
    placed = {key: r for key, r in found.registrations.items() if isinstance(r, Registration)}
    pieces = carried_pieces(bench, placed.keys())
    place_mm, outline_mm = _position_errors(bench, found, placed, pieces)
    truth = coverage_of(bench, placed.keys())
    zones = {z.zone: z for z in found.measures.zones}
    shown = [z for z in zones if truth.seen[z] + truth.hidden[z] > 0 or zones[z].never_seen_share < 1]
    counts, stacked = patch_counts(bench.scene.template, pieces)
    whole = found.measures.groups[0]
    patches = [(counts[None], whole.kinds[MarkKind.PATCH].separate)]
    patches += [
        (counts.get(z, 0), m.kinds[MarkKind.PATCH].separate)
        for z, m in zones.items()
        if z in counts or m.kinds[MarkKind.PATCH].separate
    ]
    return Judgement(
        seed, len(bench.shots), len(bench.drawn), len(placed), len(found.registrations) - len(placed),
        len(bench.drawn) - len(pieces), seconds, bench.scene.scale,
        place_mm, outline_mm, tuple(_figure_errors(bench, found, placed, pieces)),
        np.array([100 * (zones[z].seen_share - truth.seen[z]) for z in shown]),
        np.array([100 * _outside(zones[z].seen_share, *truth.seen_around[z]) for z in shown]),
        np.array([100 * (zones[z].hidden_share - truth.hidden[z]) for z in shown]),
        float(np.mean([truth.by_any[z] - truth.seen[z] for z in zones])),
        tuple(patches), (stacked, whole.patch_on_patch),
        (exact_outcome(bench, placed.keys(), rules), str(found.assessment.outcome.kind)),
    )  # fmt: skip


def _outside(value: float, low: float, high: float) -> float:
    return min(value - low, 0.0) + max(value - high, 0.0)


def _position_errors(
    bench: BenchSurvey, found: Evaluation, placed: Placings, pieces: list[Drawn]
) -> tuple[Array, Array]:
    """Error of the placing at the marks' true edges, and of the outlines as projected, mm."""
    back = {panel.id: _unstretched(bench, found, panel) for panel in found.template.panels}
    by_place = [
        np.hypot(*(placed[d.mark.photo, d.panel].to_mm(d.true_px)[0] @ back[d.panel].T - d.true_mm).T) for d in pieces
    ]
    true = {(d.mark.id, d.panel): d.piece for d in pieces}
    by_outline = []
    for m in found.projection.marks:
        piece = true.get((m.mark.id, m.panel))
        if piece is None or m.area.is_empty:
            continue
        edge = shapely.get_coordinates(shapely.segmentize(m.area.boundary, 10.0)) @ back[m.panel].T
        by_outline.append(shapely.distance(piece.exterior, shapely.points(edge)))
    scale = bench.scene.scale
    place, outline = (np.concatenate([np.empty(0), *parts]) * scale for parts in (by_place, by_outline))
    return place[np.isfinite(place)], outline


def _unstretched(bench: BenchSurvey, found: Evaluation, panel: Panel) -> Array:
    """Matrix from millimetres of the template stretched to the car, if lengths were taken, to the published ones."""
    published = bench.scene.template.panel(panel.id)
    if published is panel or found.template is bench.scene.template:
        return np.eye(2)
    solved = np.linalg.lstsq(panel.outline.exterior_mm, published.outline.exterior_mm)[0]
    return np.asarray(solved.T)


def figure_of(measure: ZoneMeasure | GroupMeasure, name: str) -> Figure:
    """Find a figure by the bench's name for it.

    Parameters
    ----------
    measure : ZoneMeasure or GroupMeasure
        What was measured.
    name : str
        One of `FIGURES`.

    Returns
    -------
    Figure
        The figure.
    """
    family, _, member = name.partition(":")
    if family == "kind":
        return measure.kinds[MarkKind(member)]
    if family == "stage":
        return measure.stages[RustStage(member)]
    return measure.resolved[MarkKind(member)] if family == "resolved" else measure.affected


def _is_of(drawn: Drawn, name: str) -> bool:
    family, _, member = name.partition(":")
    if family == "stage":
        return drawn.source.stage is not None and drawn.source.stage == member
    if family in {"kind", "resolved"}:
        return drawn.source.kind == member
    return drawn.source.kind.is_affected


def _figure_errors(bench: BenchSurvey, found: Evaluation, placed: Placings, pieces: list[Drawn]) -> list[FigureError]:
    truth = true_areas(bench.scene, pieces)
    outside = {(m.mark.id, m.panel): m.extrapolated_share for m in found.projection.marks}
    of_zone = {zone.id: zone for zone in bench.scene.template.zones}
    errors = []
    measures: list[tuple[str, tuple[ZoneId, ...], ZoneMeasure | GroupMeasure]] = [
        (m.zone, (m.zone,), m) for m in found.measures.zones
    ]
    measures += [(g.id, g.zones, g) for g in found.measures.groups]
    for where, zones, measure in measures:
        panels = {of_zone[z].panel for z in zones}
        near = [d for d in pieces if d.panel in panels]
        for name in FIGURES:
            figure = figure_of(measure, name)
            true = sum(truth.get((z, name), 0.0) for z in zones)
            if true == 0 and figure.area_mm2 == 0:
                continue
            sources = [d for d in near if _is_of(d, name) and _reaches(d, zones, of_zone)]
            through = [placed[d.mark.photo, d.panel] for d in sources]
            errors.append(
                FigureError(
                    where, isinstance(measure, GroupMeasure), name, true, figure.likely_mm2, figure.sigma_mm2,
                    figure.low_mm2, figure.high_mm2, measure.area_mm2, len({d.mark.photo for d in sources}),
                    min((len(r.datum_ids) for r in through), default=0),
                    bool(through) and all("estimated" in r.lens.source for r in through),
                    max((outside.get((d.mark.id, d.panel), 1.0) for d in sources), default=0.0), figure.area_mm2,
                )
            )  # fmt: skip
    return errors


def _reaches(drawn: Drawn, zones: tuple[ZoneId, ...], of_zone: Mapping[ZoneId, Zone]) -> bool:
    return any(of_zone[z].panel == drawn.panel and drawn.piece.intersects(of_zone[z].outline.polygon) for z in zones)
