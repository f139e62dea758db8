// The outline being drawn. OpenLayers' Draw sets the points; what is drawn so far is
// kept for each photo, so that a reload does not lose it.

import Feature from "ol/Feature";
import { unByKey } from "ol/Observable";
import type { EventsKey } from "ol/events";
import type { LineString, Polygon } from "ol/geom";
import Draw, { type DrawEvent } from "ol/interaction/Draw";

import type { Tool } from "./marking";
import { readStored, writeStored } from "./outbox";
import { PEN, rounded, single, thinned, withoutRepeats } from "./pen";
import { ringOf } from "./photo_layers";
import { fromOl, toOl, type PhotoPane } from "./photo_pane";
import { HELP } from "./texts";
import type { Ring, XY } from "./types";

const FREEHAND_TOLERANCE_PX = 1.3; // screen px; thinner than the line that is drawn

export interface SketchHost {
  pane: PhotoPane;
  storage: string;
  tool(): Tool;
  preview(ring: Ring | null): void; // the outline as it is now, with the point under the pointer
  drawn(ring: Ring): void; // finished
  changed(): void;
  say(text: string): void;
}

interface Half {
  tool: Tool;
  points: Ring;
}

export class Sketching {
  private draw: Draw | null = null;
  private drawing: Feature<Polygon> | null = null;
  private listener: EventsKey | null = null;

  constructor(private readonly host: SketchHost) {}

  start(): void {
    const tool = this.host.tool();
    const freehand = tool === "freehand";
    this.draw = new Draw({
      type: tool === "split" ? "LineString" : "Polygon",
      freehandCondition: (event) => freehand && single(event),
      condition: single,
      clickTolerance: 8,
      dragVertexDelay: 280,
      stopClick: true,
      style: PEN,
    });
    this.draw.on("drawstart", (event: DrawEvent) => {
      this.drawing = event.feature as Feature<Polygon>;
      this.listener = event.feature.getGeometry()!.on("change", () => this.sketched());
    });
    this.draw.on("drawend", (event: DrawEvent) => this.drawn(event.feature as Feature<Polygon>));
    this.draw.on("drawabort", () => this.forget());
    this.host.pane.map.addInteraction(this.draw);
  }

  end(): void {
    if (!this.draw) return;
    if (this.listener) unByKey(this.listener);
    this.listener = this.drawing = null;
    const old = this.draw;
    this.draw = null;
    this.host.pane.map.removeInteraction(old);
  }

  /** Points set so far, without the one that follows the pointer. */
  points(): Ring {
    const geometry = this.drawing?.getGeometry();
    if (!geometry) return [];
    const line = (geometry as unknown as LineString).getType() === "LineString";
    const all = line ? (geometry as unknown as LineString).getCoordinates() : geometry.getCoordinates()[0]!.slice(0, -1);
    return all.slice(0, -1).map(fromOl);
  }

  get isDrawing(): boolean {
    return this.drawing !== null;
  }

  /** Show the outline again: its kind changed, or a point of it. */
  sketched(): void {
    const geometry = this.drawing?.getGeometry();
    if (!geometry) return;
    const tool = this.host.tool();
    const points = this.points();
    const kept = readStored<Half>(this.place);
    if (points.length && kept?.points.length !== points.length && tool !== "freehand") {
      writeStored(this.place, { tool, points } satisfies Half);
      this.host.changed();
    }
    if (tool === "split") return;
    this.host.preview(ringOf(geometry.getCoordinates()[0] ?? []));
  }

  private get place(): string {
    return `${this.host.storage}/half/${this.host.pane.photo?.id ?? ""}`;
  }

  /** Tool of this photo's half-drawn outline, if there is one. */
  get halfTool(): Tool | null {
    const half = readStored<Half>(this.place);
    return half?.points.length ? half.tool : null;
  }

  restoreHalf(): void {
    const half = readStored<Half>(this.place);
    if (!half?.points.length || !this.draw) return;
    if (half.tool !== this.host.tool() || this.isDrawing) return;
    if (!this.host.pane.map.getPixelFromCoordinate([0, 0])) {
      // OpenLayers draws only on a map that has been on the screen once
      this.host.pane.map.once("postrender", () => setTimeout(() => this.restoreHalf(), 0));
      return;
    }
    this.draw.appendCoordinates(half.points.map(toOl));
    this.host.changed();
  }

  addPoint(at: XY): void {
    this.draw?.appendCoordinates([toOl(rounded(at))]);
    this.host.changed();
  }

  get needs(): number {
    return this.host.tool() === "split" ? 2 : 3;
  }

  get isOn(): boolean {
    return this.draw !== null;
  }

  finish(): void {
    if (!this.draw || !this.drawing) return;
    if (this.points().length < this.needs) {
      this.host.say(this.needs === 2 ? HELP.lineNeedsTwo : HELP.outlineNeedsThree);
      return;
    }
    this.draw.finishDrawing();
  }

  takeBackPoint(): boolean {
    if (!this.draw || !this.drawing) return false;
    if (this.points().length <= 1) this.drop();
    else this.draw.removeLastPoint();
    this.host.changed();
    return true;
  }

  drop(): boolean {
    if (!this.draw || !this.drawing) return false;
    this.draw.abortDrawing();
    return true;
  }

  private forget(): void {
    if (this.listener) unByKey(this.listener);
    this.listener = this.drawing = null;
    writeStored(this.place, null);
    this.host.preview(null);
    this.host.changed();
  }

  private drawn(feature: Feature<Polygon>): void {
    const tool = this.host.tool();
    const needs = this.needs;
    const geometry = feature.getGeometry()!;
    let ring: Ring =
      tool === "split" ? (geometry as unknown as LineString).getCoordinates().map(fromOl) : ringOf(geometry.getCoordinates()[0]!);
    if (tool === "freehand") ring = thinned(ring, FREEHAND_TOLERANCE_PX * this.host.pane.resolution);
    ring = withoutRepeats(ring.map(rounded));
    this.forget();
    if (ring.length < needs) this.host.say(HELP.tooSmall);
    else this.host.drawn(ring);
  }
}
