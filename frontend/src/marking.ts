// Drawing and changing marks. OpenLayers draws, moves points and snaps; holes,
// splitting, joining and drawing by keyboard are ours.

import type MapBrowserEvent from "ol/MapBrowserEvent";
import Snap from "ol/interaction/Snap";

import { Editing } from "./editing";
import { freshId } from "./outbox";
import { mostCrossed } from "./pen";
import { markPolygon, type PhotoLayers } from "./photo_layers";
import { fromOl, type PhotoPane } from "./photo_pane";
import { inside } from "./placing";
import { Sketching } from "./sketching";
import { HELP } from "./texts";
import type { MarkEntry, MarkKind, OutEvent, Ring, Stage, StyleEntry, XY } from "./types";

export type Tool = "outline" | "freehand" | "change" | "hole" | "split" | "join";

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

export class Marking {
  tool: Tool = "outline";
  kind: MarkKind = "rust";
  stage: Stage | null = null;
  fixing: string | null = null;
  selected: string[] = [];
  private ledTo: string | null = null;
  snapping = false;
  private active = false;
  private readonly sketching: Sketching;
  private readonly editing: Editing;
  private readonly snap: Snap;

  constructor(private readonly host: MarkingHost) {
    this.sketching = new Sketching({
      pane: host.pane,
      storage: host.storage,
      tool: () => this.tool,
      preview: (ring) => (ring ? this.previewRing(ring) : host.sketch(null)),
      drawn: (ring) => this.drawn(ring),
      changed: () => host.changed(),
      say: (text) => host.say(text),
    });
    this.editing = new Editing({
      pane: host.pane,
      styles: () => host.styles(),
      isOn: () => this.active && this.tool === "change",
      shown: (mark) => host.sketch(mark && { ...mark, mark: mark.id }),
      done: (mark) => host.emit({ type: "mark_changed", mark }),
      pinched: () => this.tool === "freehand" && this.dropSketch(),
      say: (text) => host.say(text),
    });
    this.snap = new Snap({ source: host.layers.marks.getSource()!, pixelTolerance: 9 });
    host.pane.map.on("click", (event) => this.clicked(event as MapBrowserEvent<PointerEvent>));
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
    this.sketching.end();
    map.removeInteraction(this.editing.modify);
    map.removeInteraction(this.snap);
    if (!this.active) {
      this.showSelection();
      return;
    }
    if (this.tool === "change") map.addInteraction(this.editing.modify);
    else if (this.tool !== "join") this.sketching.start();
    if (this.snapping && this.tool !== "split") map.addInteraction(this.snap);
    this.showSelection();
    this.sketching.restoreHalf();
  }

  // ---- the outline being drawn

  points(): Ring {
    return this.sketching.points();
  }

  get isDrawing(): boolean {
    return this.sketching.isDrawing;
  }

  previewRing(ring: Ring): void {
    const target = this.tool === "hole" ? this.target(ring[0]) : null;
    if (this.tool === "hole") {
      this.host.sketch(target ? { ...target, holes: [...target.holes, ring], mark: target.id } : null);
    } else {
      this.host.sketch({ exterior: ring, holes: [], kind: this.kind, stage: this.penStage, mark: null });
    }
  }

  /** Another photo is shown: its own half-drawn outline, if any, comes back. */
  photoChanged(): void {
    this.selected = [];
    this.editing.letGo();
    this.tool = this.sketching.halfTool ?? this.tool;
    this.arrange();
    this.host.sketch(null);
    this.host.changed();
  }

  addPoint(at: XY): void {
    if (!this.sketching.isOn) return;
    if (this.tool === "freehand") this.setTool("outline");
    this.sketching.addPoint(at);
  }

  finish(): void {
    this.sketching.finish();
  }

  takeBackPoint(): boolean {
    return this.sketching.takeBackPoint();
  }

  dropSketch(): boolean {
    return this.sketching.drop();
  }

  private drawn(ring: Ring): void {
    if (this.tool === "split") this.split(ring);
    else if (this.tool === "hole") this.cut(ring);
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
    this.editing.letGo();
    this.showSelection();
    const chosen = this.selection[0];
    if (chosen && ids.length === 1) {
      this.kind = chosen.kind;
      this.stage = chosen.stage ?? (chosen.kind === "rust" ? null : this.stage);
      this.fixing = chosen.fixing ?? this.fixing;
    }
    this.host.changed();
  }

  /** A link led to a mark: select it and bring it into view, once; what is selected afterwards stays. */
  leadTo(id: string | null): void {
    if (id === this.ledTo) return;
    const first = id ? this.mark(id)?.exterior[0] : undefined;
    if (id && !first) return; // it may come with a later update
    this.ledTo = id;
    if (!id || !first) return;
    if (this.tool !== "change") this.setTool("change");
    this.select([id]);
    this.host.pane.reveal(first);
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
    if (!this.editing.isBusy) this.showSelection();
  }

  private showSelection(): void {
    const edit = this.active && this.tool === "change" ? this.selection : [];
    this.editing.show(edit);
    this.host.layers.selected = new Set(this.active ? this.selected : []);
    this.host.layers.setMarks(this.host.marks(), new Set(edit.map((mark) => mark.id)));
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
    } else this.sketching.sketched();
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
    else if (finish && this.points().length >= this.sketching.needs) this.finish();
    else this.addPoint(at);
  }

  private pickUpOrDrop(at: XY): void {
    if (this.editing.isCarrying) this.editing.putDown();
    else if (!this.editing.pickUp(at)) {
      this.choose(this.markAt(at));
      return;
    }
    this.host.changed();
  }

  get isCarrying(): boolean {
    return this.editing.isCarrying;
  }

  carry(to: XY): void {
    this.editing.carry(to);
  }

  dropCarried(): boolean {
    if (!this.editing.isCarrying) return false;
    this.editing.letGo();
    this.showSelection();
    this.host.sketch(null);
    return true;
  }

  /** Take away the point near a place; a hole with fewer than three points goes with it. */
  removePointNear(at: XY, screenPx: number): boolean {
    return this.editing.removePointNear(at, screenPx);
  }

  destroy(): void {
    this.editing.destroy();
    this.sketching.end();
  }
}
