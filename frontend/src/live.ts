// Marks on the map: Python's, and beside them what is being drawn or is on its way to Python.

import type { Ground } from "./ground";
import type { MapPane } from "./map_pane";
import type { Sketch } from "./marking";
import type { Expected } from "./pending";
import { ringArea } from "./placing";
import type { Store } from "./store";
import type { ProjectedEntry } from "./types";

export interface LiveHost {
  root: HTMLElement;
  map: MapPane;
  store: Store;
  ground(): Ground | null;
  now(): Expected;
  selected(): string[];
}

export class LiveMap {
  private mutedNow = "";

  constructor(private readonly host: LiveHost) {}

  refresh(): void {
    this.project(this.host.now().touched);
    this.preview(null);
  }

  preview(sketch: Sketch | null): void {
    const started = performance.now();
    const { map, root } = this.host;
    const { marks, touched } = this.host.now();
    const shapes: Sketch[] = sketch ? [sketch] : [];
    for (const mark of marks) {
      if (touched.has(mark.id) && mark.id !== sketch?.mark) shapes.push({ ...mark, mark: mark.id });
    }
    const muted = new Set(touched);
    if (sketch?.mark) muted.add(sketch.mark);
    const previews = shapes.flatMap((shape) => this.host.ground()?.previewsOf(shape) ?? []);
    map.setPreview(previews);
    root.dataset["previewMm2"] = `${previews.reduce((sum, one) => sum + Math.abs(ringArea(one.ring)), 0)}`;
    this.mute(muted);
    root.dataset["previewMs"] = (performance.now() - started).toFixed(2);
    if (sketch) map.map.once("postrender", () => (root.dataset["previewShownMs"] = (performance.now() - started).toFixed(2)));
  }

  private mute(muted: Set<string>): void {
    const key = [...muted].sort().join();
    if (key === this.mutedNow) return;
    this.mutedNow = key;
    this.project(muted);
  }

  private project(muted: ReadonlySet<string>): void {
    this.host.map.setProjected(this.host.store.under<ProjectedEntry>("projected/"), new Set(this.host.selected()), muted);
  }
}
