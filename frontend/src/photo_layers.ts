// What is drawn over a photo: template lines, marks, sightings, bars, the keyboard's cursor.

import Feature, { type FeatureLike } from "ol/Feature";
import { LineString, MultiPoint, Point, Polygon } from "ol/geom";
import VectorLayer from "ol/layer/Vector";
import VectorSource from "ol/source/Vector";
import { Circle, Fill, RegularShape, Stroke, Style, Text } from "ol/style";

import { Keeper, refill, same, type Wanted } from "./features";
import { markStyles, styleOf } from "./paint";
import type { Placing } from "./placing";
import { toOl } from "./photo_pane";
import type { MarkEntry, Ring, ScaleEntry, SightingEntry, StyleEntry, XY } from "./types";

export const RESIDUAL_SCALE = 10; // residual arrows are drawn this much longer than they are

export function markPolygon(mark: MarkEntry): Polygon {
  return new Polygon([mark.exterior, ...mark.holes].map((ring) => [...ring, ring[0]!].map(toOl)));
}

export function ringOf(coordinates: number[][]): Ring {
  return coordinates.slice(0, -1).map((at) => [at[0]!, 0 - at[1]!] as XY);
}

function layer(style: (feature: FeatureLike) => Style | Style[] | undefined, z: number, declutter = false) {
  return new VectorLayer({ source: new VectorSource({ wrapX: false }), style, zIndex: z, declutter, updateWhileInteracting: true });
}

export class PhotoLayers {
  selected = new Set<string>();
  private styles: Record<string, StyleEntry> = {};
  private lines: readonly unknown[] = [];
  readonly template = layer((f) => templateStyle(f), 2);
  readonly marks = layer((f) => this.markStyle(f), 3);
  readonly sightings = layer((f) => sightingStyle(f), 8);
  readonly labels = layer((f) => labelStyle(f), 7, true);
  readonly bars = layer((f) => barStyle(f), 6);
  readonly cursor = layer((f) => cursorStyle(f), 9);

  private readonly kept = new Keeper(this.marks.getSource()!);
  // kept, not refilled: what can be dragged must be told of every feature that goes
  private readonly keptPoints = new Keeper(this.sightings.getSource()!);
  private readonly keptBars = new Keeper(this.bars.getSource()!);

  get all() {
    return [this.template, this.marks, this.bars, this.labels, this.sightings, this.cursor];
  }

  private markStyle(feature: FeatureLike): Style[] {
    const mark = feature.get("mark") as MarkEntry;
    return markStyles(styleOf(this.styles, mark.kind, mark.stage), { casing: true, selected: this.selected.has(mark.id) });
  }

  setStyles(styles: Record<string, StyleEntry>): void {
    if (styles === this.styles) return;
    this.styles = styles;
    this.marks.changed();
  }

  setMarks(marks: MarkEntry[], hidden: ReadonlySet<string>): void {
    const shown = marks.filter((mark) => !hidden.has(mark.id));
    const features = this.kept.show(
      shown.map((mark) => ({
        name: mark.id,
        // a mark that comes back from Python as it was sent is not drawn again
        stamp: [JSON.stringify([mark.kind, mark.stage, mark.exterior, mark.holes]), this.selected.has(mark.id)],
        make: () => new Feature({ geometry: markPolygon(mark), mark }),
      })),
    );
    features.forEach((feature, i) => feature.set("mark", shown[i], true));
  }

  setTemplate(placings: Placing[], active: string | null): void {
    const lines = [active, ...placings.flatMap((placing) => [placing.panel, placing.entry])];
    if (same(lines, this.lines)) return;
    this.lines = lines;
    const features: Feature[] = [];
    for (const placing of placings) {
      const own = placing.panel.id === active || active === null;
      for (const line of placing.lineToPx(placing.panel.outlineMm, true)) {
        features.push(new Feature({ geometry: new LineString(line.map(toOl)), what: "panel", own }));
      }
      for (const zone of placing.panel.zones) {
        for (const line of placing.lineToPx(zone.outlineMm, true)) {
          features.push(new Feature({ geometry: new LineString(line.map(toOl)), what: "zone", own }));
        }
      }
    }
    refill(this.template, features);
  }

  setSightings(sightings: SightingEntry[], names: (datum: string) => string, current: string | null, placing: Placing | null): void {
    const points: Wanted[] = [];
    const labels: Feature[] = [];
    const at = new Map(placing?.panel.datums.map((datum) => [datum.id, datum.atMm]) ?? []);
    for (const sighting of sightings) {
      const rank = placing ? placing.entry.datums.indexOf(sighting.datum) : -1;
      const mm = at.get(sighting.datum);
      const fitted = rank >= 0 && mm && placing ? placing.toPx(mm) : null;
      if (fitted) points.push({ name: `residual/${sighting.datum}`, stamp: [...sighting.at, ...fitted], make: () => residual(sighting.at, fitted) });
      const isCurrent = current === sighting.datum;
      const figures = fitted ? `${placing!.entry.residualPx[rank]!.toFixed(1)} px, ${placing!.entry.residualMm[rank]!.toFixed(1)} mm` : "";
      const { datum } = sighting;
      points.push({
        name: datum,
        stamp: [...sighting.at, isCurrent],
        make: () => new Feature({ geometry: new Point(toOl(sighting.at)), what: "sighting", datum, current: isCurrent }),
      });
      labels.push(new Feature({ geometry: new Point(toOl(sighting.at)), text: [names(sighting.datum), figures].filter(Boolean).join("\n"), current: isCurrent }));
    }
    this.keptPoints.show(points);
    refill(this.labels, labels);
  }

  /** Bars of known length; the draft has no length yet. Only while bars are worked on can their ends be dragged. */
  setBars(scales: ScaleEntry[], draft: Ring, chosen: string | null, movable: boolean): void {
    const wanted: Wanted[] = scales.map((one) => {
      const board = one.lengthMm === null;
      const text = one.agrees ? one.label : `${one.label}\nthey disagree`;
      const look = { text, agrees: one.agrees, chosen: one.id === chosen, movable: movable && !board };
      return {
        name: one.id,
        stamp: [...one.at.flat(), ...Object.values(look)],
        make: () =>
          board
            ? new Feature({ geometry: new MultiPoint(one.at.map(toOl)), what: "board", scale: one.id, ...look })
            : new Feature({ geometry: new LineString(one.at.map(toOl)), what: "bar", scale: one.id, ...look }),
      };
    });
    if (draft.length) wanted.push({ name: "draft", stamp: [...draft.flat(), movable], make: () => draftBar(draft, movable) });
    this.keptBars.show(wanted);
  }

  setCursor(at: XY | null, from: XY | null): void {
    const features: Feature[] = [];
    if (at && from) features.push(new Feature({ geometry: new LineString([toOl(from), toOl(at)]), what: "reach" }));
    if (at) features.push(new Feature({ geometry: new Point(toOl(at)), what: "cursor" }));
    refill(this.cursor, features);
  }
}

function draftBar(ends: Ring, movable: boolean): Feature {
  if (ends.length === 1) return new Feature({ geometry: new Point(toOl(ends[0]!)), what: "end" });
  const geometry = new LineString(ends.map(toOl));
  return new Feature({ geometry, what: "bar", scale: null, text: "? mm", agrees: true, chosen: true, movable });
}

function residual(sighted: XY, fitted: XY): Feature {
  const tip: XY = [
    sighted[0] + (fitted[0] - sighted[0]) * RESIDUAL_SCALE,
    sighted[1] + (fitted[1] - sighted[1]) * RESIDUAL_SCALE,
  ];
  return new Feature({ geometry: new LineString([toOl(sighted), toOl(tip)]), what: "residual" });
}

function templateStyle(feature: FeatureLike): Style[] {
  const panel = feature.get("what") === "panel";
  const own = Boolean(feature.get("own"));
  const width = panel ? 2.2 : 1.2;
  const dash = panel ? undefined : [7, 5];
  const alpha = own ? 0.95 : 0.45;
  return [
    new Style({ stroke: new Stroke({ color: `rgba(10,20,30,${alpha * 0.7})`, width: width + 2, lineDash: dash }) }),
    new Style({ stroke: new Stroke({ color: `rgba(108,208,255,${alpha})`, width, lineDash: dash }) }),
  ];
}

function sightingStyle(feature: FeatureLike): Style[] {
  const current = Boolean(feature.get("current"));
  if (feature.get("what") === "residual") {
    return [
      new Style({ stroke: new Stroke({ color: "rgba(0,0,0,0.75)", width: 4.5 }) }),
      new Style({ stroke: new Stroke({ color: "#FFD54A", width: 2.2 }) }),
    ];
  }
  const colour = current ? "#FFD54A" : "#FFFFFF";
  return [
    new Style({ image: new RegularShape({ points: 4, radius: 12, radius2: 0, angle: Math.PI / 4, stroke: new Stroke({ color: "rgba(0,0,0,0.8)", width: 5 }) }) }),
    new Style({ image: new RegularShape({ points: 4, radius: 12, radius2: 0, angle: Math.PI / 4, stroke: new Stroke({ color: colour, width: 2 }) }) }),
    new Style({ image: new Circle({ radius: current ? 9 : 6, stroke: new Stroke({ color: colour, width: 1.6 }) }) }),
  ];
}

const BAR_LINE = { bar: "#FFFFFF", chosen: "#FFD54A", disagrees: "#FF8A70" };

/** A line with a cross at each end, and what it says in the middle; a board's corners as dots. */
function barStyle(feature: FeatureLike): Style[] {
  const colour = feature.get("agrees") === false ? BAR_LINE.disagrees : feature.get("chosen") ? BAR_LINE.chosen : BAR_LINE.bar;
  if (feature.get("what") === "board") {
    const dot = new Circle({ radius: 3, fill: new Fill({ color: colour }), stroke: new Stroke({ color: "rgba(0,0,0,0.8)", width: 1.5 }) });
    return [new Style({ image: dot }), barLabel(feature, colour)];
  }
  const isBar = feature.get("what") === "bar";
  const ends = new MultiPoint(isBar ? (feature.getGeometry() as LineString).getCoordinates() : [(feature.getGeometry() as Point).getCoordinates()]);
  const cross = (color: string, width: number) =>
    new Style({ geometry: ends, image: new RegularShape({ points: 4, radius: 11, radius2: 0, stroke: new Stroke({ color, width }) }) });
  return [
    new Style({ stroke: new Stroke({ color: "rgba(0,0,0,0.8)", width: 5.5 }) }),
    new Style({ stroke: new Stroke({ color: colour, width: 2.4 }) }),
    cross("rgba(0,0,0,0.8)", 5),
    cross(isBar ? colour : BAR_LINE.chosen, 2),
    ...(isBar ? [barLabel(feature, colour)] : []),
  ];
}

function barLabel(feature: FeatureLike, colour: string): Style {
  const [left, bottom, right, top] = feature.getGeometry()!.getExtent() as [number, number, number, number];
  return new Style({
    geometry: new Point([(left + right) / 2, (bottom + top) / 2]),
    text: new Text({
      text: String(feature.get("text")),
      offsetY: 22,
      font: "600 13px sans-serif",
      fill: new Fill({ color: colour }),
      stroke: new Stroke({ color: "rgba(0,0,0,0.85)", width: 4 }),
      overflow: true,
    }),
  });
}

/** Names and residuals; where they would cover each other, the current point's wins. */
function labelStyle(feature: FeatureLike): Style {
  const current = Boolean(feature.get("current"));
  return new Style({
    zIndex: current ? 2 : 1,
    text: new Text({
      text: String(feature.get("text")),
      offsetY: 26,
      font: "600 12px sans-serif",
      fill: new Fill({ color: current ? "#FFD54A" : "#FFFFFF" }),
      stroke: new Stroke({ color: "rgba(0,0,0,0.85)", width: 4 }),
      declutterMode: current ? "obstacle" : "declutter",
    }),
  });
}

function cursorStyle(feature: FeatureLike): Style[] {
  if (feature.get("what") === "reach") {
    return [new Style({ stroke: new Stroke({ color: "#fff", width: 4 }) }), new Style({ stroke: new Stroke({ color: "#B00020", width: 2, lineDash: [6, 4] }) })];
  }
  return [
    new Style({ image: new RegularShape({ points: 4, radius: 20, radius2: 0, stroke: new Stroke({ color: "#fff", width: 5 }) }) }),
    new Style({ image: new RegularShape({ points: 4, radius: 20, radius2: 0, stroke: new Stroke({ color: "#B00020", width: 2 }) }) }),
  ];
}

const VERTEX = new Circle({ radius: 5, fill: new Fill({ color: "#fff" }), stroke: new Stroke({ color: "#111", width: 1.8 }) });

/** Small rings at every point of an outline that can be moved. */
export function vertexStyle(): Style {
  return new Style({
    image: VERTEX,
    geometry: (feature) => new MultiPoint((feature.getGeometry() as Polygon).getCoordinates().flatMap((ring) => ring.slice(0, -1))),
  });
}
