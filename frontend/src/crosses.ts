// Where a place lies on the other panes: photo to map, map to photo, and the photos
// that are compared.

import { ComparePane } from "./compare";
import { setText } from "./features";
import type { Frame } from "./frame";
import { Ground, type Landing } from "./ground";
import type { MapPane } from "./map_pane";
import type { PhotoLayers } from "./photo_layers";
import type { PhotoPane } from "./photo_pane";
import { fromMap, inside, toMap } from "./placing";
import type { Store } from "./store";
import type { CanvasEntry, MarkEntry, NoPlacingEntry, PanelEntry, PhotoEntry, PlacingEntry, StyleEntry, TemplateEntry, XY } from "./types";

export interface CrossHost {
  frame: Frame;
  pane: PhotoPane;
  layers: PhotoLayers;
  map: MapPane;
  store: Store;
  state(): CanvasEntry | null;
  ground(): Ground | null; // of the photo worked on
}

export class Crosses {
  private readonly compares: ComparePane[] = [];
  private follows = 0;

  constructor(private readonly host: CrossHost) {}

  private groundOf(photo: string | undefined): Ground | null {
    const template = this.host.store.get<TemplateEntry>("template");
    return photo && template ? new Ground(this.host.store, photo, template) : null;
  }

  refreshCompare(styles: Record<string, StyleEntry>): void {
    const { frame, store } = this.host;
    const state = this.host.state();
    const wanted = state?.compare ?? [];
    while (this.compares.length > wanted.length) this.compares.pop()?.destroy();
    while (this.compares.length < wanted.length) this.compares.push(new ComparePane(frame.photos));
    frame.photos.dataset["count"] = `${wanted.length + 1}`;
    const template = store.get<TemplateEntry>("template");
    wanted.forEach((id, i) => {
      const photo = store.get<PhotoEntry>(`photo/${id}`);
      if (!photo || !template) return;
      const marks = store.under<MarkEntry>("mark/").filter((mark) => mark.photo === id);
      this.compares[i]!.update(photo, marks, this.groundOf(id)?.all ?? [], styles, state?.activePanel ?? null);
    });
    this.followCompare();
  }

  /** The pointer is at a place of the photo, or has left it. */
  pointed(px: XY | null): void {
    const { frame, map } = this.host;
    const { dataset } = frame.root;
    const landing = px ? (this.host.ground()?.landing(px) ?? null) : null;
    const at = landing ? toMap(landing.placing.panel, landing.mm) : null;
    map.setCross(at);
    dataset["photoX"] = px ? `${px[0]}` : "";
    dataset["photoY"] = px ? `${px[1]}` : "";
    dataset["mapX"] = at ? `${at[0]}` : "";
    dataset["mapY"] = at ? `${at[1]}` : "";
    dataset["panel"] = landing?.placing.panel.id ?? "";
    setText(frame.read, landing ? readOut(landing.placing.panel, landing.mm) : this.restingText());
    this.followPointer(landing);
  }

  pointedOnMap(at: XY | null): void {
    const { frame, map, layers } = this.host;
    const panel = at ? map.panelAt(at) : null;
    const mm = at && panel ? fromMap(panel, at) : null;
    const px = panel && mm ? this.host.ground()?.on(panel.id)?.toPx(mm) : null;
    layers.setCursor(px ?? null, null);
    frame.root.dataset["backX"] = px ? `${px[0]}` : "";
    frame.root.dataset["backY"] = px ? `${px[1]}` : "";
    setText(frame.read, panel && mm ? readOut(panel, mm) : this.restingText());
    for (const [i, compare] of this.compares.entries()) {
      const other = this.groundOf(this.host.state()?.compare[i])?.on(panel?.id);
      compare.layers.setCursor(mm && other ? other.toPx(mm) : null, null);
    }
  }

  private restingText(): string {
    if (this.host.ground()?.all.length) return "";
    const entries = this.host.store.under<PlacingEntry | NoPlacingEntry>(`placing/${this.host.state()?.photo}/`);
    return entries.some((entry) => !entry.ok) ? "" : "This photo has no place on the body yet.";
  }

  private followPointer(landing: Landing | null): void {
    for (const [i, compare] of this.compares.entries()) {
      const other = landing ? this.groundOf(this.host.state()?.compare[i])?.on(landing.placing.panel.id) : undefined;
      compare.layers.setCursor(other && landing ? other.toPx(landing.mm) : null, null);
    }
  }

  /** Compared photos show the place in the middle of the main one, at its scale. */
  followCompare(): void {
    if (!this.compares.length) return;
    cancelAnimationFrame(this.follows);
    this.follows = requestAnimationFrame(() => {
      const { pane } = this.host;
      const center = pane.center();
      const landing = this.host.ground()?.landing(center);
      if (!landing) return;
      const step = landing.placing.toMm([center[0] + 1, center[1]]);
      const mmPerPx = step ? Math.hypot(step[0] - landing.mm[0], step[1] - landing.mm[1]) : 1;
      this.compares.forEach((compare, i) => {
        const other = this.groundOf(this.host.state()?.compare[i])?.on(landing.placing.panel.id);
        compare.follow(other, landing.mm, mmPerPx * pane.resolution);
      });
    });
  }

  destroy(): void {
    for (const compare of this.compares) compare.destroy();
  }
}

function readOut(panel: PanelEntry, mm: XY): string {
  const zone = panel.zones.find((one) => inside(one.outlineMm, mm));
  return `${zone?.name ?? panel.name}, ${mm[0].toFixed(0)} | ${mm[1].toFixed(0)} mm`;
}
