// What the pen draws with, and small reckonings on rings of points.

import type MapBrowserEvent from "ol/MapBrowserEvent";
import { LineString, MultiPoint } from "ol/geom";
import { Circle, Fill, Stroke, Style } from "ol/style";

import { inside } from "./placing";
import type { MarkEntry, Ring, XY } from "./types";

const MOST_POINTS = 4000;

export function single(event: MapBrowserEvent): boolean {
  const original = event.originalEvent as PointerEvent;
  const pointers = event.activePointers?.length ?? 1;
  // a held button reads as -1 while the mouse moves
  const otherButton = original.pointerType === "mouse" && original.type === "pointerdown" && original.button !== 0;
  return pointers < 2 && !otherButton;
}

/** Hundredths of a pixel: finer than any hand, and short to send. */
export function rounded([x, y]: XY): XY {
  return [Math.round(x * 100) / 100, Math.round(y * 100) / 100];
}

export function thinned(ring: Ring, tolerance: number): Ring {
  let limit = tolerance;
  let kept = ring;
  do {
    kept = (new LineString(ring).simplify(limit) as LineString).getCoordinates() as Ring;
    limit *= 2;
  } while (kept.length > MOST_POINTS);
  return kept;
}

export function withoutRepeats(ring: Ring): Ring {
  return ring.filter((at, i) => i === 0 || at[0] !== ring[i - 1]![0] || at[1] !== ring[i - 1]![1]);
}

export function mostCrossed(marks: MarkEntry[], line: Ring): MarkEntry | null {
  const path = new LineString(line);
  const samples = Array.from({ length: 65 }, (_, i) => path.getCoordinateAt(i / 64) as XY);
  let best: MarkEntry | null = null;
  let most = 0;
  for (const mark of marks) {
    const count = samples.filter((at) => inside(mark.exterior, at)).length;
    if (count > most) [best, most] = [mark, count];
  }
  return best;
}

const SET_POINT = new Style({
  image: new Circle({ radius: 4, fill: new Fill({ color: "#fff" }), stroke: new Stroke({ color: "#111", width: 1.6 }) }),
  geometry: (feature) => {
    const geometry = feature.getGeometry();
    return geometry instanceof LineString ? new MultiPoint(geometry.getCoordinates()) : undefined;
  },
});

export const PEN = [
  new Style({ stroke: new Stroke({ color: "rgba(255,255,255,0.95)", width: 5 }), fill: new Fill({ color: "rgba(255,255,255,0.14)" }) }),
  new Style({
    stroke: new Stroke({ color: "#111", width: 2 }),
    image: new Circle({ radius: 5, fill: new Fill({ color: "#fff" }), stroke: new Stroke({ color: "#111", width: 2 }) }),
  }),
  SET_POINT,
];

export const HANDLE = new Style({
  image: new Circle({ radius: 8, fill: new Fill({ color: "rgba(255,255,255,0.9)" }), stroke: new Stroke({ color: "#B00020", width: 3 }) }),
});
