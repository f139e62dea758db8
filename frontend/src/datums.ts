// The datum point that is asked for: which it is, and how it and the clicked ones are shown.

import type { Ground } from "./ground";
import type { MapPane } from "./map_pane";
import type { PhotoLayers } from "./photo_layers";
import type { PhotoPane } from "./photo_pane";
import type { PlacingTool } from "./placing_tool";
import type { Store } from "./store";
import type { CanvasEntry, DatumEntry, SightingEntry, TemplateEntry } from "./types";

export interface DatumHost {
  pane: PhotoPane;
  layers: PhotoLayers;
  map: MapPane;
  store: Store;
  placer: PlacingTool;
  state(): CanvasEntry | null;
  ground(): Ground | null;
  sightings(): SightingEntry[];
  chosen(id: string): void;
}

export class Datums {
  private suggestion: string | null = null;

  constructor(private readonly host: DatumHost) {}

  photoChanged(): void {
    this.suggestion = null;
    this.host.placer.datum = null;
  }

  entry(id: string | null): DatumEntry | null {
    for (const panel of this.host.store.get<TemplateEntry>("template")?.panels ?? []) {
      const found = panel.datums.find((datum) => datum.id === id);
      if (found) return found;
    }
    return null;
  }

  refresh(): void {
    const { map, layers, placer } = this.host;
    const state = this.host.state();
    if (!state) return;
    if (state.suggestion !== this.suggestion) {
      this.suggestion = state.suggestion;
      placer.datum = state.suggestion;
    }
    placer.datum ??= state.suggestion;
    const placeMode = state.mode === "place";
    const sightings = this.host.sightings();
    map.setDatum(placeMode ? placer.datum : null, new Set(sightings.map((one) => one.datum)), placeMode);
    if (placer.isNudging) return;
    const ground = this.host.ground();
    const placing = ground?.on(state.activePanel) ?? ground?.all[0] ?? null;
    layers.setSightings(placeMode ? sightings : [], (id) => shortName(this.entry(id)?.name ?? id), placer.datum, placing);
  }

  step(step: number): void {
    const panel = this.host.store.get<TemplateEntry>("template")?.panels.find((one) => one.id === this.host.state()?.activePanel);
    const ids = panel?.datums.map((datum) => datum.id) ?? [];
    if (!ids.length) return;
    const now = ids.indexOf(this.host.placer.datum ?? "");
    this.choose(ids[(now + step + ids.length) % ids.length]!);
  }

  choose(id: string): void {
    const { placer, pane } = this.host;
    placer.datum = id;
    const sighting = placer.sighting(id);
    if (sighting) pane.reveal(sighting.at);
    this.host.chosen(id);
  }
}

/** "Left floor: rear rib" -> "rear rib": the panel is on the map. */
function shortName(name: string): string {
  return name.slice(name.indexOf(": ") + 1).trim();
}
