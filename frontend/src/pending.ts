// Marks, sightings and scales as they will be once Python has applied what is on its way.

import type { Store } from "./store";
import type { MarkEntry, Numbered, ScaleEntry, SightingEntry } from "./types";

export interface Expected {
  marks: MarkEntry[];
  sightings: SightingEntry[];
  scales: ScaleEntry[];
  touched: Set<string>; // marks whose ground on the map is not yet Python's
}

export function expected(store: Store, pending: readonly Numbered[], photo: string): Expected {
  const marks = new Map(store.under<MarkEntry>("mark/").filter((m) => m.photo === photo).map((m) => [m.id, m]));
  const sightings = new Map(store.under<SightingEntry>(`sighting/${photo}/`).map((s) => [s.datum, s]));
  const scales = new Map(store.under<ScaleEntry>(`scale/${photo}/`).map((one) => [one.id, one]));
  const touched = new Set<string>();
  for (const event of pending) {
    if ((event.type === "mark_added" || event.type === "mark_changed") && event.mark.photo === photo) {
      marks.set(event.mark.id, event.mark);
      touched.add(event.mark.id);
    } else if (event.type === "mark_removed") {
      marks.delete(event.mark);
      touched.add(event.mark);
    } else if (event.type === "sighting_set" && event.photo === photo) {
      sightings.set(event.datum, { photo, datum: event.datum, at: event.at });
    } else if (event.type === "sighting_removed" && event.photo === photo) {
      sightings.delete(event.datum);
    } else if (event.type === "scale_set" && event.scale.photo === photo) {
      const { scale } = event;
      scales.set(scale.id, { ...scale, label: `${scale.lengthMm} mm`, sentence: "", agrees: true });
    } else if (event.type === "scale_removed") {
      scales.delete(event.scale);
    }
  }
  return { marks: [...marks.values()], sightings: [...sightings.values()], scales: [...scales.values()], touched };
}
