"""Zone measures of a large survey against a naive double loop; prints ratios of one run.

Run from the checkout: ``python -m benchmarks.bench_measures``. The survey is
synthetic: 40 photos of a packaged body, 30 marks each, many on ground that
another photo shows too. The naive way takes every zone and every mark, cuts
one by the other and joins the pieces one after another, for each kind, each
rust stage and the affected ground. It yields areas only; `measure` also yields
pieces, perimeters, intervals with correlations, coverage and distances. Outlines
have 80 points, as a thinned freehand stroke has. Time on the clock, for a person
waits by the clock; the processor time of the zone areas is printed beside it.
"""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely

from corromap.frames import DatumId, MarkId, PhotoId, PhotoOutline
from corromap.io.templates import load_template
from corromap.measures import Measures, measure
from corromap.measures.ground import cells_of, ground_of
from corromap.measures.layers import AFFECTED, PRECEDENCE, STAGES, kind_layer, resolved_layer, stage_layer
from corromap.measures.panels import panel_by_panel
from corromap.projection import Projection, join_projections, project, project_photo
from corromap.registration import place_photos
from corromap.survey import MEASURED_KINDS, Mark, MarkKind, Photo, RustStage, Sighting, Survey
from corromap.template import BodyTemplate, Panel

WIDTH, HEIGHT = 4000, 3000
PANELS = ("floor-left", "floor-right", "boot-floor", "heel-board", "sill-left-outer", "sill-right-outer")


def panel_to_px(panel: Panel, rng: np.random.Generator) -> np.ndarray:
    """A tilted view of the whole panel, mirrored where the panel is drawn that way."""
    x0, y0, x1, y1 = panel.outline.polygon.bounds
    scale = 0.8 * min(WIDTH / (x1 - x0), HEIGHT / (y1 - y0))
    turn = rng.normal(0, 0.15)
    c, s = scale * np.cos(turn), scale * np.sin(turn)
    centre, flip = np.array([(x0 + x1) / 2, (y0 + y1) / 2]), -panel.facing
    matrix = np.array([[c, -s * flip, 0], [s, c * flip, 0], [rng.normal(0, 1e-4), rng.normal(0, 1e-4), 1]])
    move = np.eye(3)
    move[:2, 2] = -centre
    back = np.eye(3)
    back[:2, 2] = [WIDTH / 2, HEIGHT / 2]
    return back @ matrix @ move


def carry(matrix: np.ndarray, xy: np.ndarray) -> np.ndarray:
    image = np.c_[xy, np.ones(len(xy))] @ matrix.T
    return image[:, :2] / image[:, 2:]


def blob(centre: np.ndarray, radius: float, rng: np.random.Generator, count: int = 80) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    reach = radius * (1 + 0.25 * np.sin(3 * angle + rng.uniform(0, 6)) + rng.normal(0, 0.04, count))
    return centre + np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=1)


def made_up_survey(template: BodyTemplate, photos: int, marks_each: int, seed: int = 1) -> Survey:
    rng = np.random.default_rng(seed)
    kinds = [(MarkKind.RUST, s) for s in (None, *RustStage)] + [
        (k, None) for k in MEASURED_KINDS if k is not MarkKind.RUST
    ]
    chance = np.array([3, 4, 3, 2, 3, 4, 1, 1], dtype=float)
    found = Survey("bench")
    for n in range(photos):
        panel = template.panel(PANELS[n % len(PANELS)])  # type: ignore[arg-type]
        matrix, photo = panel_to_px(panel, rng), PhotoId(f"photo-{n}")
        datums = template.datum_positions(panel.id)
        px = carry(matrix, np.array(list(datums.values())))
        sightings = [Sighting(photo, DatumId(d), xy + rng.normal(0, 1, 2)) for d, xy in zip(datums, px, strict=True)]
        x0, y0, x1, y1 = panel.outline.polygon.bounds
        marks = []
        for i in range(marks_each):
            kind, stage = kinds[rng.choice(len(kinds), p=chance / chance.sum())]
            centre = rng.uniform((x0, y0), (x1, y1))
            ring = carry(matrix, blob(centre, rng.uniform(8, 45), rng))
            marks.append(Mark(MarkId(f"{photo}-{i}"), photo, kind, PhotoOutline(ring), stage))
        found = replace(
            found,
            photos=(*found.photos, Photo(photo, str(photo), "0" * 64, WIDTH, HEIGHT, focal_px=3000.0, order=n)),
            marks=(*found.marks, *marks),
            sightings=(*found.sightings, *sightings),
        )
    return found


def naive(projection: Projection, template: BodyTemplate) -> dict[tuple[str, str], float]:
    """Every zone times every mark, with pairwise unions."""
    areas = {}
    for zone in template.zones:
        ground: dict[str, shapely.Geometry] = {}
        for m in projection.marks:
            if m.panel != zone.panel:
                continue
            cut = m.area.intersection(zone.outline.polygon)
            layers = [kind_layer(m.mark.kind)]
            layers += [stage_layer(m.mark.stage)] if m.mark.stage else []
            layers += [AFFECTED] if m.mark.kind.is_affected else []
            for layer in layers:
                ground[layer] = ground[layer].union(cut) if layer in ground else cut
        for better, worse in ((0, 1), (0, 2), (1, 2)):
            one, other = stage_layer(STAGES[better]), stage_layer(STAGES[worse])
            if one in ground and other in ground:
                ground[other] = ground[other].difference(ground[one])
        for kind, better_kinds in ((MarkKind.FILLER, PRECEDENCE[:1]), (MarkKind.PATCH, PRECEDENCE[:2])):
            left = ground.get(kind_layer(kind), shapely.Polygon())
            for better_kind in better_kinds:
                left = left.difference(ground.get(kind_layer(better_kind), shapely.Polygon()))
            ground[resolved_layer(kind)] = left
        areas |= {(zone.id, layer): shape.area for layer, shape in ground.items()}
    return areas


def zone_areas(projection: Projection, template: BodyTemplate) -> None:
    """The part of `measure` that does what `naive` does, as `measure` does it: two panels at a time."""
    on = [[m for m in projection.marks if m.panel == panel.id] for panel in template.panels]
    marked = [(panel, marks) for panel, marks in zip(template.panels, on, strict=True) if marks]
    panel_by_panel(lambda one: cells_of(ground_of(*one)), marked, len(projection.marks))


def seconds(run: Callable[[], object], times: int, clock: Callable[[], float] = time.perf_counter) -> float:
    """Median time of some runs; the collector waits meanwhile, as in Python's own `timeit`."""
    spent = []
    for _ in range(times):
        gc.collect()
        gc.disable()
        start = clock()
        run()
        spent.append(clock() - start)
        gc.enable()
    return statistics.median(spent)


def ratio(slow: Callable[[], object], fast: Callable[[], object], rounds: int) -> tuple[float, float, float]:
    """Median seconds of both and median ratio of rounds run side by side, so that a slow spell meets both."""
    pairs = [(seconds(slow, 1), seconds(fast, 3)) for _ in range(rounds)]
    ones, others = zip(*pairs, strict=True)
    return statistics.median(ones), statistics.median(others), statistics.median(one / other for one, other in pairs)


def largest_difference(slow: dict[tuple[str, str], float], fast: Measures) -> float:
    worst = 0.0
    for zone in fast.zones:
        found = {kind_layer(k): f for k, f in zone.kinds.items()} | {AFFECTED: zone.affected}
        found |= {stage_layer(s): f for s, f in zone.stages.items()}
        found |= {resolved_layer(k): f for k, f in zone.resolved.items()}
        for layer, figure in found.items():
            worst = max(worst, abs(figure.area_mm2 - slow.get((zone.zone, layer), 0.0)))
    return worst


def main() -> None:
    template = load_template("four-door-saloon")
    survey = made_up_survey(template, 40, 30)
    found = place_photos(survey, template)
    projection = project(survey, template, found)
    measures = measure(projection, found, survey, template)
    slow, areas, times = ratio(lambda: naive(projection, template), lambda: zone_areas(projection, template), 7)
    busy = seconds(lambda: zone_areas(projection, template), 5, time.process_time)
    fast = seconds(lambda: measure(projection, found, survey, template), 5)
    print(f"40 photos, {len(survey.marks)} marks, {len(projection.marks)} projected, {len(template.zones)} zones")
    print(f"zone areas of all layers: naive double loop {slow:.3f} s, ours {areas:.3f} s: {times:.1f} x")
    print(f"processor time of ours, both threads: {busy:.3f} s")
    print(f"everything (intervals, pieces, coverage, distances): {fast:.3f} s: {slow / fast:.1f} x the naive areas")
    print(f"largest difference in area: {largest_difference(naive(projection, template), measures):.2e} mm2")
    print(f"projection of all of it: {seconds(lambda: project(survey, template, found), 3):.3f} s")

    small = made_up_survey(template, 6, 5, seed=2)
    placed = place_photos(small, template)
    parts = [
        project_photo(p, [m for m in small.marks if m.photo == p.id], placed, template, small.settings)
        for p in small.photos
    ]

    def live() -> Measures:
        photo = small.photos[0]
        marks = [m for m in small.marks if m.photo == photo.id]
        changed = project_photo(photo, marks, placed, template, small.settings)
        return measure(join_projections([changed, *parts[1:]]), placed, small, template)

    whole = seconds(lambda: measure(project(small, template, placed), placed, small, template), 9)
    print(f"6 photos, 30 marks: everything {1e3 * whole:.1f} ms; one photo changed {1e3 * seconds(live, 9):.1f} ms")


if __name__ == "__main__":
    main()
