// Clicking datum points: set, drag, nudge, delete.

import type MapBrowserEvent from "ol/MapBrowserEvent";
import Modify from "ol/interaction/Modify";
import type { Point } from "ol/geom";

import { AimInteraction, GRIP, HOLD_MS } from "./aiming";
import { rounded } from "./pen";
import type { PhotoLayers } from "./photo_layers";
import { fromOl, type PhotoPane } from "./photo_pane";
import type { OutEvent, SightingEntry, XY } from "./types";

export interface PlacingHost {
  pane: PhotoPane;
  layers: PhotoLayers;
  sightings(): SightingEntry[];
  emit(event: OutEvent): void;
  aim(at: XY | null): void; // where the finger or the pointer is, for the magnifier
  changed(): void;
}

const NUDGE_PAUSE_MS = 350;

export class PlacingTool {
  datum: string | null = null;
  private active = false;
  private readonly modify: Modify;
  private readonly aim: AimInteraction;
  private nudged: { datum: string; at: XY; timer: ReturnType<typeof setTimeout> } | null = null;

  constructor(private readonly host: PlacingHost) {
    this.modify = new Modify({
      source: host.layers.sightings.getSource()!,
      filter: (feature) => feature.get("what") === "sighting",
      pixelTolerance: window.matchMedia("(pointer: coarse)").matches ? 22 : 12,
      deleteCondition: () => false,
      insertVertexCondition: () => false,
      style: GRIP,
    });
    this.modify.on("modifyend", (event) => {
      for (const feature of event.features.getArray()) {
        const at = fromOl((feature.getGeometry() as Point).getCoordinates());
        const datum = String(feature.get("datum"));
        this.datum = datum;
        const was = this.sighting(datum);
        if (was && Math.hypot(was.at[0] - at[0], was.at[1] - at[1]) > 0.005) this.set(at);
      }
      host.aim(null);
      host.changed();
    });
    this.aim = new AimInteraction(HOLD_MS, host.aim, (at) => this.clickedAt(at, 0));
    host.pane.map.on("click", (event) => {
      if (!this.active || this.aim.justPlaced) return;
      this.clickedAt(fromOl((event as MapBrowserEvent).coordinate), 12 * host.pane.resolution);
    });
  }

  setActive(on: boolean): void {
    if (on === this.active) return;
    this.active = on;
    const { map } = this.host.pane;
    map.removeInteraction(this.modify);
    map.removeInteraction(this.aim);
    if (on) {
      map.addInteraction(this.aim);
      map.addInteraction(this.modify);
    } else this.flushNudge();
  }

  sighting(datum: string | null): SightingEntry | undefined {
    return this.host.sightings().find((sighting) => sighting.datum === datum);
  }

  private clickedAt(at: XY, reach: number): void {
    const near = this.host.sightings().find((s) => Math.hypot(s.at[0] - at[0], s.at[1] - at[1]) <= reach);
    if (near && near.datum !== this.datum) {
      this.datum = near.datum;
      this.host.changed();
    } else this.set(at);
  }

  /** Set the current datum point here. */
  set(at: XY): void {
    const photo = this.host.pane.photo?.id;
    if (!photo || this.datum === null) return;
    this.host.emit({ type: "sighting_set", photo, datum: this.datum, at: rounded(at) });
  }

  remove(): void {
    const sighting = this.sighting(this.datum);
    if (sighting) this.host.emit({ type: "sighting_removed", photo: sighting.photo, datum: sighting.datum });
  }

  /** Move the current sighting; several quick steps travel as one. */
  nudge(dx: number, dy: number): XY | null {
    const sighting = this.sighting(this.datum);
    if (!sighting) return null;
    if (this.nudged && this.nudged.datum !== sighting.datum) this.flushNudge();
    const from = this.nudged?.at ?? sighting.at;
    const at = rounded([from[0] + dx, from[1] + dy]);
    clearTimeout(this.nudged?.timer);
    this.nudged = { datum: sighting.datum, at, timer: setTimeout(() => this.flushNudge(), NUDGE_PAUSE_MS) };
    const feature = this.host.layers.sightings.getSource()!.getFeatures().find((f) => f.get("what") === "sighting" && f.get("datum") === sighting.datum);
    (feature?.getGeometry() as Point | undefined)?.setCoordinates([at[0], -at[1]]);
    return at;
  }

  private flushNudge(): void {
    const nudged = this.nudged;
    if (!nudged) return;
    clearTimeout(nudged.timer);
    this.nudged = null;
    const photo = this.host.pane.photo?.id;
    if (photo) this.host.emit({ type: "sighting_set", photo, datum: nudged.datum, at: nudged.at });
  }

  get isNudging(): boolean {
    return this.nudged !== null;
  }

  destroy(): void {
    this.flushNudge();
  }
}
