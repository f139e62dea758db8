// Clicking datum points: set, drag, nudge, delete.

import type MapBrowserEvent from "ol/MapBrowserEvent";
import Modify from "ol/interaction/Modify";
import PointerInteraction from "ol/interaction/Pointer";
import { Circle, Stroke, Style } from "ol/style";
import type { Point } from "ol/geom";

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

const HOLD_MS = 280;
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

/** On a touch screen: hold, then slide to aim under the magnifier; lifting the finger sets the point. */
class AimInteraction extends PointerInteraction {
  justPlaced = false;
  private timer: ReturnType<typeof setTimeout> | undefined;
  private held = false;
  private start: number[] = [0, 0];

  constructor(
    private readonly holdMs: number,
    private readonly aim: (at: XY | null) => void,
    private readonly place: (at: XY) => void,
  ) {
    super();
  }

  override handleEvent(event: MapBrowserEvent<PointerEvent>): boolean {
    const kind = event.type as string;
    const touch = event.originalEvent.pointerType === "touch";
    if (kind === "pointerdown") {
      clearTimeout(this.timer);
      this.justPlaced = this.held = false;
      this.start = event.pixel;
      if (touch && (event.activePointers?.length ?? 1) < 2) {
        const at = fromOl(event.coordinate);
        this.timer = setTimeout(() => {
          this.held = true;
          this.aim(at);
        }, this.holdMs);
      }
    } else if (kind === "pointerdrag") {
      if (this.held) {
        this.aim(fromOl(event.coordinate));
        return false; // the photo stays where it is
      }
      if (Math.hypot(event.pixel[0]! - this.start[0]!, event.pixel[1]! - this.start[1]!) > 8) clearTimeout(this.timer);
    } else if (kind === "pointerup") {
      clearTimeout(this.timer);
      if (this.held) {
        this.held = false;
        this.justPlaced = true;
        this.aim(null);
        this.place(fromOl(event.coordinate));
      }
    }
    return true;
  }
}

const GRIP = new Style({ image: new Circle({ radius: 11, stroke: new Stroke({ color: "#FFD54A", width: 2.5 }) }) });
