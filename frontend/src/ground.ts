// The panels one photo is placed on: where its pixels land on the body.

import type { Preview } from "./map_pane";
import type { Sketch } from "./marking";
import { Placing, inside } from "./placing";
import type { Store } from "./store";
import type { NoPlacingEntry, PlacingEntry, Ring, TemplateEntry, XY } from "./types";

export interface Landing {
  placing: Placing;
  mm: XY;
}

export class Ground {
  private readonly placings = new Map<string, Placing>();

  constructor(store: Store, photo: string, template: TemplateEntry) {
    for (const panel of template.panels) {
      const entry = store.get<PlacingEntry | NoPlacingEntry>(`placing/${photo}/${panel.id}`);
      if (entry?.ok) this.placings.set(panel.id, new Placing(panel, entry));
    }
  }

  get all(): Placing[] {
    return [...this.placings.values()];
  }

  on(panel: string | null | undefined): Placing | undefined {
    return this.placings.get(panel ?? "");
  }

  /** A shape drawn on the photo as it falls on every panel the photo is placed on. */
  previewsOf(shape: Sketch): Preview[] {
    const previews: Preview[] = [];
    for (const placing of this.all) {
      const ring = placing.ringToMap(shape.exterior);
      if (ring.length < 3) continue;
      const holes = shape.holes.map((hole) => placing.ringToMap(hole));
      previews.push({ panel: placing.panel, ring, holes, kind: shape.kind, stage: shape.stage, behind: this.inFrontOf(placing) });
    }
    return previews;
  }

  /** Outlines of the panels that hide this one in the photo, as they fall on its own plane. */
  private inFrontOf(placing: Placing): Ring[] {
    return this.all
      .filter((other) => other.panel.covers.includes(placing.panel.id))
      .map((other) => placing.ringToMap(other.lineToPx(other.panel.outlineMm, true).flat()));
  }

  /** The panel a place on the photo lies on, the frontmost first. */
  landing(px: XY): Landing | null {
    const found: Landing[] = [];
    for (const placing of this.all) {
      const mm = placing.toMm(px);
      if (mm && inside(placing.panel.outlineMm, mm)) found.push({ placing, mm });
    }
    const covered = new Set(found.flatMap((one) => one.placing.panel.covers));
    return found.find((one) => !covered.has(one.placing.panel.id)) ?? found[0] ?? null;
  }
}
