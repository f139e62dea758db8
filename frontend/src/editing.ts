// Changing the outlines that are selected: points moved, added and taken away, by
// mouse, by finger and by keyboard. OpenLayers' Modify does the first two.

import Collection from "ol/Collection";
import Feature from "ol/Feature";
import type { Polygon } from "ol/geom";
import Modify from "ol/interaction/Modify";
import VectorLayer from "ol/layer/Vector";
import VectorSource from "ol/source/Vector";

import { markStyles, styleOf } from "./paint";
import { HANDLE, rounded } from "./pen";
import { markPolygon, ringOf, vertexStyle } from "./photo_layers";
import { fromOl, toOl, type PhotoPane } from "./photo_pane";
import { HELP } from "./texts";
import type { MarkEntry, StyleEntry, XY } from "./types";

export interface EditHost {
  pane: PhotoPane;
  styles(): Record<string, StyleEntry>;
  isOn(): boolean; // outlines may be changed now
  shown(mark: MarkEntry | null): void; // the outline as it is while it is being changed
  done(mark: MarkEntry): void;
  pinched(): void; // a second finger came down
  say(text: string): void;
}

export class Editing {
  readonly modify: Modify;
  private moving = false;
  private carried: { ring: number; index: number } | null = null;
  private press: ReturnType<typeof setTimeout> | undefined;
  private readonly features = new Collection<Feature<Polygon>>();

  constructor(private readonly host: EditHost) {
    const layer = new VectorLayer({
      source: new VectorSource<Feature<Polygon>>({ features: this.features }),
      style: (feature) => {
        const mark = feature.get("mark") as MarkEntry;
        return [...markStyles(styleOf(host.styles(), mark.kind, mark.stage), { casing: true, selected: true }), vertexStyle()];
      },
      zIndex: 5,
      updateWhileInteracting: true,
    });
    this.modify = new Modify({
      features: this.features,
      pixelTolerance: window.matchMedia("(pointer: coarse)").matches ? 20 : 10,
      style: HANDLE,
    });
    this.modify.on("modifystart", () => (this.moving = true));
    this.modify.on("modifyend", () => this.store());
    host.pane.map.addLayer(layer);
    this.watchLongPress();
  }

  show(marks: MarkEntry[]): void {
    this.features.clear();
    for (const mark of marks) this.features.push(new Feature({ geometry: markPolygon(mark), mark }) as Feature<Polygon>);
    for (const feature of this.features.getArray()) {
      feature.getGeometry()!.on("change", () => {
        if (this.isBusy) this.host.shown(this.shapeOf(feature));
      });
    }
  }

  private shapeOf(feature: Feature<Polygon>): MarkEntry {
    const rings = feature.getGeometry()!.getCoordinates().map(ringOf);
    return { ...(feature.get("mark") as MarkEntry), exterior: rings[0]!, holes: rings.slice(1) };
  }

  /** Send a changed outline, and only when it did change. */
  private store(): void {
    this.moving = false;
    for (const feature of this.features.getArray()) {
      const was = feature.get("mark") as MarkEntry;
      const now = this.shapeOf(feature);
      const mark = { ...now, exterior: now.exterior.map(rounded), holes: now.holes.map((hole) => hole.map(rounded)) };
      if (JSON.stringify([was.exterior, was.holes]) === JSON.stringify([mark.exterior, mark.holes])) continue;
      feature.set("mark", mark);
      this.host.done(mark);
    }
    this.host.shown(null);
  }

  /** A point is under way: what Python sends must not replace the outline now. */
  get isBusy(): boolean {
    return this.moving || this.carried !== null;
  }

  // ---- by keyboard: a point is picked up, carried and put down

  get isCarrying(): boolean {
    return this.carried !== null;
  }

  /** Pick up the point near a place; false when there is none. */
  pickUp(at: XY): boolean {
    this.carried = this.vertexNear(at, 14);
    if (this.carried) this.carry(at);
    return this.carried !== null;
  }

  putDown(): void {
    this.carried = null;
    this.store();
  }

  letGo(): void {
    this.carried = null;
  }

  carry(to: XY): void {
    const feature = this.features.item(0);
    if (!this.carried || !feature) return;
    const rings = feature.getGeometry()!.getCoordinates();
    const ring = rings[this.carried.ring]!;
    ring[this.carried.index] = toOl(to);
    if (this.carried.index === 0) ring[ring.length - 1] = toOl(to);
    feature.getGeometry()!.setCoordinates(rings);
  }

  private vertexNear(at: XY, screenPx: number): { ring: number; index: number } | null {
    const feature = this.features.item(0);
    if (!feature) return null;
    let best: { ring: number; index: number } | null = null;
    let least = screenPx * this.host.pane.resolution;
    feature.getGeometry()!.getCoordinates().forEach((coordinates, ring) =>
      coordinates.slice(0, -1).forEach((coordinate, index) => {
        const [x, y] = fromOl(coordinate);
        const gap = Math.hypot(x - at[0], y - at[1]);
        if (gap <= least) {
          least = gap;
          best = { ring, index };
        }
      }),
    );
    return best;
  }

  /** Take away the point near a place; a hole with fewer than three points goes with it. */
  removePointNear(at: XY, screenPx: number): boolean {
    const near = this.vertexNear(at, screenPx);
    const feature = this.features.item(0);
    if (!near || !feature) return false;
    const mark = this.shapeOf(feature);
    const rings = [mark.exterior, ...mark.holes];
    rings[near.ring] = rings[near.ring]!.filter((_, index) => index !== near.index);
    if (rings[0]!.length < 3) {
      this.host.say(HELP.outlineNeedsThree);
      return true;
    }
    this.carried = null;
    this.host.done({ ...mark, exterior: rings[0]!, holes: rings.slice(1).filter((ring) => ring.length > 2) });
    return true;
  }

  private watchLongPress(): void {
    const { map } = this.host.pane;
    const element: HTMLElement = map.getViewport()!;
    let from: [number, number] | null = null;
    const cancel = () => clearTimeout(this.press);
    element.addEventListener("pointerdown", (event) => {
      cancel();
      if (!event.isPrimary) this.host.pinched();
      if (event.pointerType !== "touch" || !event.isPrimary || !this.host.isOn()) return;
      from = [event.clientX, event.clientY];
      const at = fromOl(map.getCoordinateFromPixel(map.getEventPixel(event)) ?? [0, 0]);
      this.press = setTimeout(() => {
        // the finger still holds the point: OpenLayers must let go before it is taken away
        this.modify.setActive(false);
        this.moving = false;
        this.removePointNear(at, 26);
        this.modify.setActive(true);
      }, 600);
    });
    element.addEventListener("pointermove", (event) => {
      if (from && Math.hypot(event.clientX - from[0], event.clientY - from[1]) > 9) cancel();
    });
    for (const name of ["pointerup", "pointercancel"] as const) element.addEventListener(name, cancel);
  }

  destroy(): void {
    clearTimeout(this.press);
  }
}
