// Drawing and changing marks. OpenLayers draws, moves points and snaps; holes,
// splitting, joining and drawing by keyboard are ours.

import Collection from "ol/Collection";
import Feature from "ol/Feature";
import type MapBrowserEvent from "ol/MapBrowserEvent";
import type { LineString, Polygon } from "ol/geom";
import Draw, { type DrawEvent } from "ol/interaction/Draw";
import Modify from "ol/interaction/Modify";
import Snap from "ol/interaction/Snap";
import VectorLayer from "ol/layer/Vector";
import VectorSource from "ol/source/Vector";
import { unByKey } from "ol/Observable";
import type { EventsKey } from "ol/events";

import { freshId, readStored, writeStored } from "./outbox";
import { HANDLE, PEN, mostCrossed, rounded, single, thinned, withoutRepeats } from "./pen";
import { markStyles, styleOf } from "./paint";
import { markPolygon, ringOf, vertexStyle, type PhotoLayers } from "./photo_layers";
import { fromOl, toOl, type PhotoPane } from "./photo_pane";
import { inside } from "./placing";
import { HELP } from "./texts";
import type { MarkEntry, MarkKind, OutEvent, Ring, Stage, StyleEntry, XY } from "./types";

export type Tool = "outline" | "freehand" | "change" | "hole" | "split" | "join";

const FREEHAND_TOLERANCE_PX = 1.3; // screen px; thinner than the line that is drawn

export interface Sketch {
  exterior: Ring;
  holes: Ring[];
  kind: MarkKind;
  stage: Stage | null;
  mark: string | null; // the stored mark it stands for while it is changed
}

export interface MarkingHost {
  pane: PhotoPane;
  layers: PhotoLayers;
  storage: string;
  marks(): MarkEntry[];
  styles(): Record<string, StyleEntry>;
  emit(event: OutEvent): void;
  sketch(sketch: Sketch | null): void;
  changed(): void; // tool, selection or kind changed: redraw buttons and help
  say(text: string): void;
}

interface Half {
  tool: Tool;
  points: Ring;
}

export class Marking {
  tool: Tool = "outline";
  kind: MarkKind = "rust";
  stage: Stage | null = null;
  fixing: string | null = null;
  selected: string[] = [];
  snapping = false;
  private active = false;
  private draw: Draw | null = null;
  private drawing: Feature<Polygon> | null = null;
  private listener: EventsKey | null = null;
  private moving = false;
  private carried: { ring: number; index: number } | null = null;
  private readonly editing = new Collection<Feature<Polygon>>();
  private readonly editLayer: VectorLayer<VectorSource<Feature<Polygon>>>;
  private readonly modify: Modify;
  private readonly snap: Snap;
  private press: ReturnType<typeof setTimeout> | undefined;

  constructor(private readonly host: MarkingHost) {
    this.editLayer = new VectorLayer({
      source: new VectorSource<Feature<Polygon>>({ features: this.editing }),
      style: (feature) => {
        const mark = feature.get("mark") as MarkEntry;
        return [...markStyles(styleOf(host.styles(), mark.kind, mark.stage), { casing: true, selected: true }), vertexStyle()];
      },
      zIndex: 5,
      updateWhileInteracting: true,
    });
    this.modify = new Modify({
      features: this.editing,
      pixelTolerance: window.matchMedia("(pointer: coarse)").matches ? 20 : 10,
      style: HANDLE,
    });
    this.snap = new Snap({ source: host.layers.marks.getSource()!, pixelTolerance: 9 });
    this.modify.on("modifystart", () => (this.moving = true));
    this.modify.on("modifyend", () => this.store());
    this.host.pane.map.addLayer(this.editLayer);
    this.host.pane.map.on("click", (event) => this.clicked(event as MapBrowserEvent<PointerEvent>));
    this.watchLongPress();
  }

  // ---- switching

  setActive(on: boolean): void {
    if (on === this.active) return;
    this.active = on;
    if (!on) this.selected = [];
    this.arrange();
  }

  setTool(tool: Tool): void {
    if (tool === this.tool) return;
    this.dropSketch();
    this.tool = tool;
    if (tool === "join" || tool === "outline" || tool === "freehand") this.selected = [];
    this.arrange();
    this.host.changed();
  }

  setSnapping(on: boolean): void {
    this.snapping = on;
    this.arrange();
  }

  /** Put the interactions of the tool on the map; called again after every change. */
  private arrange(): void {
    const { map } = this.host.pane;
    this.endDraw();
    map.removeInteraction(this.modify);
    map.removeInteraction(this.snap);
    if (!this.active) {
      this.showSelection();
      return;
    }
    if (this.tool === "change") map.addInteraction(this.modify);
    else if (this.tool !== "join") this.startDraw();
    if (this.snapping && this.tool !== "split") map.addInteraction(this.snap);
    this.showSelection();
    this.restoreHalf();
  }

  private startDraw(): void {
    const freehand = this.tool === "freehand";
    const line = this.tool === "split";
    this.draw = new Draw({
      type: line ? "LineString" : "Polygon",
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

  private endDraw(): void {
    if (!this.draw) return;
    if (this.listener) unByKey(this.listener);
    this.listener = this.drawing = null;
    const old = this.draw;
    this.draw = null;
    this.host.pane.map.removeInteraction(old);
  }

  // ---- the outline being drawn

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

  private sketched(): void {
    const geometry = this.drawing?.getGeometry();
    if (!geometry) return;
    const points = this.points();
    const kept = readStored<Half>(this.place);
    if (points.length && kept?.points.length !== points.length && this.tool !== "freehand") {
      writeStored(this.place, { tool: this.tool, points } satisfies Half);
      this.host.changed();
    }
    if (this.tool === "split") return;
    const ring = ringOf(geometry.getCoordinates()[0] ?? []);
    this.previewRing(ring);
  }

  previewRing(ring: Ring): void {
    const target = this.tool === "hole" ? this.target(ring[0]) : null;
    if (this.tool === "hole") {
      this.host.sketch(target ? { ...target, holes: [...target.holes, ring], mark: target.id } : null);
    } else {
      this.host.sketch({ exterior: ring, holes: [], kind: this.kind, stage: this.penStage, mark: null });
    }
  }

  private get place(): string {
    return `${this.host.storage}/half/${this.host.pane.photo?.id ?? ""}`;
  }

  private restoreHalf(): void {
    const half = readStored<Half>(this.place);
    if (!half?.points.length || !this.draw) return;
    if (half.tool !== this.tool || this.isDrawing) return;
    if (!this.host.pane.map.getPixelFromCoordinate([0, 0])) {
      // OpenLayers draws only on a map that has been on the screen once
      this.host.pane.map.once("postrender", () => setTimeout(() => this.restoreHalf(), 0));
      return;
    }
    this.draw.appendCoordinates(half.points.map(toOl));
    this.host.changed();
  }

  /** Another photo is shown: its own half-drawn outline, if any, comes back. */
  photoChanged(): void {
    this.selected = [];
    this.carried = null;
    const half = readStored<Half>(this.place);
    if (half && half.tool !== this.tool) this.tool = half.tool;
    this.arrange();
    this.host.sketch(null);
    this.host.changed();
  }

  /** A half-drawn outline from before a reload decides the first tool. */
  resume(): void {
    const half = readStored<Half>(this.place);
    if (half?.points.length) this.tool = half.tool;
  }

  addPoint(at: XY): void {
    if (!this.draw) return;
    if (this.tool === "freehand") {
      this.setTool("outline");
    }
    this.draw?.appendCoordinates([toOl(rounded(at))]);
    this.host.changed();
  }

  finish(): void {
    const need = this.tool === "split" ? 2 : 3;
    if (!this.draw || !this.drawing) return;
    if (this.points().length < need) {
      this.host.say(need === 2 ? HELP.lineNeedsTwo : HELP.outlineNeedsThree);
      return;
    }
    this.draw.finishDrawing();
  }

  takeBackPoint(): boolean {
    if (!this.draw || !this.drawing) return false;
    if (this.points().length <= 1) this.dropSketch();
    else this.draw.removeLastPoint();
    this.host.changed();
    return true;
  }

  dropSketch(): boolean {
    if (!this.draw || !this.drawing) return false;
    this.draw.abortDrawing();
    return true;
  }

  private forget(): void {
    if (this.listener) unByKey(this.listener);
    this.listener = this.drawing = null;
    writeStored(this.place, null);
    this.host.sketch(null);
    this.host.changed();
  }

  private drawn(feature: Feature<Polygon>): void {
    const tool = this.tool;
    const geometry = feature.getGeometry()!;
    let ring: Ring =
      tool === "split" ? (geometry as unknown as LineString).getCoordinates().map(fromOl) : ringOf(geometry.getCoordinates()[0]!);
    if (tool === "freehand") ring = thinned(ring, FREEHAND_TOLERANCE_PX * this.host.pane.resolution);
    ring = withoutRepeats(ring.map(rounded));
    this.forget();
    if (ring.length < (tool === "split" ? 2 : 3)) {
      this.host.say(HELP.tooSmall);
      return;
    }
    if (tool === "split") this.split(ring);
    else if (tool === "hole") this.cut(ring);
    else this.add(ring);
  }

  private get penStage(): Stage | null {
    return this.kind === "rust" ? this.stage : null;
  }

  private add(exterior: Ring): void {
    const photo = this.host.pane.photo?.id;
    if (!photo) return;
    this.host.emit({
      type: "mark_added",
      mark: {
        id: freshId("m"),
        photo,
        kind: this.kind,
        stage: this.penStage,
        fixing: this.kind === "patch" ? this.fixing : null,
        exterior,
        holes: [],
      },
    });
  }

  // ---- stored marks

  private mark(id: string): MarkEntry | undefined {
    return this.host.marks().find((mark) => mark.id === id);
  }

  get selection(): MarkEntry[] {
    return this.selected.map((id) => this.mark(id)).filter((mark): mark is MarkEntry => mark !== undefined);
  }

  /** The selected mark, or the one a point lies in. */
  private target(at: XY | undefined): MarkEntry | null {
    const chosen = this.selection[0];
    if (chosen) return chosen;
    return at ? this.markAt(at) : null;
  }

  /** The smallest mark at a place, so that one inside another can be chosen. */
  markAt(at: XY): MarkEntry | null {
    const found = this.host.marks().filter((mark) => inside(mark.exterior, at) && !mark.holes.some((hole) => inside(hole, at)));
    return found.sort((a, b) => markPolygon(a).getArea() - markPolygon(b).getArea())[0] ?? null;
  }

  private cut(hole: Ring): void {
    const target = this.target(hole[0]);
    if (!target) {
      this.host.say(HELP.holeNeedsMark);
      return;
    }
    this.host.emit({ type: "mark_changed", mark: { ...target, holes: [...target.holes, hole] } });
  }

  private split(line: Ring): void {
    const crossed = this.selection[0] ?? mostCrossed(this.host.marks(), line);
    if (!crossed) {
      this.host.say(HELP.splitNeedsMark);
      return;
    }
    this.host.emit({ type: "mark_split", mark: crossed.id, line, id: freshId("m") });
    this.select([]);
  }

  select(ids: string[]): void {
    this.selected = ids;
    this.carried = null;
    this.showSelection();
    const chosen = this.selection[0];
    if (chosen && ids.length === 1) {
      this.kind = chosen.kind;
      this.stage = chosen.stage ?? (chosen.kind === "rust" ? null : this.stage);
      this.fixing = chosen.fixing ?? this.fixing;
    }
    this.host.changed();
  }

  selectNext(step: 1 | -1): void {
    const ids = this.host.marks().map((mark) => mark.id);
    if (!ids.length) return;
    const now = this.selected[0] ? ids.indexOf(this.selected[0]) : -1;
    const next = ids[(now + step + ids.length) % ids.length] ?? ids[0]!;
    if (this.tool !== "change") this.setTool("change");
    this.select([next]);
    const first = this.mark(next)?.exterior[0];
    if (first) this.host.pane.reveal(first);
  }

  /** Marks came anew from Python, or a pending one changed. */
  refresh(): void {
    const known = new Set(this.host.marks().map((mark) => mark.id));
    this.selected = this.selected.filter((id) => known.has(id));
    if (!this.moving && !this.carried) this.showSelection();
  }

  private showSelection(): void {
    const edit = this.active && this.tool === "change" ? this.selection : [];
    this.editing.clear();
    for (const mark of edit) this.editing.push(new Feature({ geometry: markPolygon(mark), mark }) as Feature<Polygon>);
    for (const feature of this.editing.getArray()) {
      feature.getGeometry()!.on("change", () => {
        if (this.moving || this.carried) this.host.sketch({ ...this.shapeOf(feature), mark: (feature.get("mark") as MarkEntry).id });
      });
    }
    this.host.layers.selected = new Set(this.active ? this.selected : []);
    this.host.layers.setMarks(this.host.marks(), new Set(edit.map((mark) => mark.id)));
  }

  private shapeOf(feature: Feature<Polygon>): MarkEntry {
    const rings = feature.getGeometry()!.getCoordinates().map(ringOf);
    return { ...(feature.get("mark") as MarkEntry), exterior: rings[0]!, holes: rings.slice(1) };
  }

  /** Send a changed outline, and only when it did change. */
  private store(): void {
    this.moving = false;
    for (const feature of this.editing.getArray()) {
      const was = feature.get("mark") as MarkEntry;
      const now = this.shapeOf(feature);
      const mark = { ...now, exterior: now.exterior.map(rounded), holes: now.holes.map((hole) => hole.map(rounded)) };
      if (JSON.stringify([was.exterior, was.holes]) === JSON.stringify([mark.exterior, mark.holes])) continue;
      feature.set("mark", mark);
      this.host.emit({ type: "mark_changed", mark });
    }
    this.host.sketch(null);
  }

  setKind(kind: MarkKind): void {
    this.kind = kind;
    this.restyle();
  }

  setStage(stage: Stage | null): void {
    this.kind = "rust";
    this.stage = stage;
    this.restyle();
  }

  setFixing(fixing: string | null): void {
    this.kind = "patch";
    this.fixing = fixing;
    this.restyle();
  }

  private restyle(): void {
    if (!this.isDrawing) {
      for (const mark of this.selection) {
        const next = { ...mark, kind: this.kind, stage: this.penStage, fixing: this.kind === "patch" ? this.fixing : null };
        if (next.kind !== mark.kind || next.stage !== mark.stage || next.fixing !== mark.fixing) {
          this.host.emit({ type: "mark_changed", mark: next });
        }
      }
    } else this.sketched();
    this.host.changed();
  }

  removeSelected(): void {
    for (const mark of this.selection) this.host.emit({ type: "mark_removed", mark: mark.id });
    this.select([]);
  }

  // ---- clicks, touch and keys

  private clicked(event: MapBrowserEvent<PointerEvent>): void {
    if (!this.active || (this.tool !== "change" && this.tool !== "join")) return;
    if (event.originalEvent.altKey) return; // a point was taken away
    this.choose(this.hit(event));
  }

  private hit(event: MapBrowserEvent<PointerEvent>): MarkEntry | null {
    const inner = this.markAt(fromOl(event.coordinate));
    if (inner) return inner;
    let near: MarkEntry | null = null;
    this.host.pane.map.forEachFeatureAtPixel(event.pixel, (feature) => void (near ??= (feature.get("mark") as MarkEntry | undefined) ?? null), {
      hitTolerance: 8,
    });
    return near;
  }

  choose(mark: MarkEntry | null): void {
    if (this.tool !== "join") {
      this.select(mark ? [mark.id] : []);
      return;
    }
    if (!mark) return;
    const chosen = this.selected.includes(mark.id) ? this.selected.filter((id) => id !== mark.id) : [...this.selected, mark.id];
    if (chosen.length < 2) {
      this.select(chosen);
      return;
    }
    this.host.emit({ type: "marks_joined", marks: chosen, id: freshId("m") });
    this.select([]);
  }

  /** Enter or space at the keyboard's cursor. */
  act(at: XY, finish: boolean): void {
    if (this.tool === "join") this.choose(this.markAt(at));
    else if (this.tool === "change") this.pickUpOrDrop(at);
    else if (finish && this.points().length >= (this.tool === "split" ? 2 : 3)) this.finish();
    else this.addPoint(at);
  }

  private pickUpOrDrop(at: XY): void {
    if (this.carried) {
      this.carried = null;
      this.store();
      this.host.changed();
      return;
    }
    const near = this.vertexNear(at, 14);
    if (near) {
      this.carried = near;
      this.carry(at);
      this.host.changed();
    } else this.choose(this.markAt(at));
  }

  get isCarrying(): boolean {
    return this.carried !== null;
  }

  carry(to: XY): void {
    const feature = this.editing.item(0);
    if (!this.carried || !feature) return;
    const rings = feature.getGeometry()!.getCoordinates();
    const ring = rings[this.carried.ring]!;
    ring[this.carried.index] = toOl(to);
    if (this.carried.index === 0) ring[ring.length - 1] = toOl(to);
    feature.getGeometry()!.setCoordinates(rings);
  }

  dropCarried(): boolean {
    if (!this.carried) return false;
    this.carried = null;
    this.showSelection();
    this.host.sketch(null);
    return true;
  }

  private vertexNear(at: XY, screenPx: number): { ring: number; index: number } | null {
    const feature = this.editing.item(0);
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
    const feature = this.editing.item(0);
    if (!near || !feature) return false;
    const mark = this.shapeOf(feature);
    const rings = [mark.exterior, ...mark.holes];
    rings[near.ring] = rings[near.ring]!.filter((_, index) => index !== near.index);
    if (rings[0]!.length < 3) {
      this.host.say(HELP.outlineNeedsThree);
      return true;
    }
    this.carried = null;
    this.host.emit({ type: "mark_changed", mark: { ...mark, exterior: rings[0]!, holes: rings.slice(1).filter((ring) => ring.length > 2) } });
    this.refresh();
    return true;
  }

  private watchLongPress(): void {
    const { map } = this.host.pane;
    const element: HTMLElement = this.host.pane.map.getViewport()!;
    let from: [number, number] | null = null;
    const cancel = () => clearTimeout(this.press);
    element.addEventListener("pointerdown", (event) => {
      cancel();
      if (!event.isPrimary && this.tool === "freehand") this.dropSketch(); // a second finger: it is a pinch
      if (event.pointerType !== "touch" || !event.isPrimary || !this.active || this.tool !== "change") return;
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
    this.endDraw();
  }
}
