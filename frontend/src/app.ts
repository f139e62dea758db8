// One canvas on a page: keeps its state over Streamlit's reruns, takes in what
// Python sends, and reports what the person does.

import type MapBrowserEvent from "ol/MapBrowserEvent";

import { ComparePane } from "./compare";
import { buildFrame, mapButton, type Frame } from "./frame";
import { setText } from "./features";
import { handleKey } from "./keys";
import { Loupe } from "./loupe";
import { MapPane } from "./map_pane";
import { Marking, type Sketch, type Tool } from "./marking";
import { Outbox, readStored, writeStored } from "./outbox";
import { Ground, type Landing } from "./ground";
import { fromMap, inside, ringArea, toMap } from "./placing";
import { PlacingTool } from "./placing_tool";
import { PhotoLayers } from "./photo_layers";
import { PhotoPane, fromOl, noteView } from "./photo_pane";
import { Store } from "./store";
import { placeHelp, toolHelp } from "./texts";
import { Toolbar } from "./toolbar";
import type {
  CanvasData,
  CanvasEntry,
  DatumEntry,
  MarkEntry,
  MarkKind,
  Mode,
  NoPlacingEntry,
  OutEvent,
  PanelEntry,
  PhotoEntry,
  PlacingEntry,
  ProjectedEntry,
  SightingEntry,
  Stage,
  StyleEntry,
  TemplateEntry,
  XY,
} from "./types";

export interface Bridge {
  setStateValue: (name: string, value: unknown) => void;
}

interface Kept {
  tool: Tool;
  kind: MarkKind;
  stage: Stage | null;
  lift: number;
  snapping: boolean;
}

export class Canvas {
  bridge: Bridge;
  private readonly frame: Frame;
  private readonly store = new Store();
  private readonly outbox: Outbox;
  private readonly pane: PhotoPane;
  private readonly layers = new PhotoLayers();
  private readonly map: MapPane;
  private readonly marking: Marking;
  private readonly placer: PlacingTool;
  private readonly loupe: Loupe;
  private readonly bar: Toolbar;
  private readonly compares: ComparePane[] = [];
  private readonly place: string;
  private state: CanvasEntry | null = null;
  private ground: Ground | null = null;
  private marksNow: MarkEntry[] = [];
  private sightingsNow: SightingEntry[] = [];
  private previewMarks = new Set<string>();
  private loupeOn = false;
  private touch = window.matchMedia("(pointer: coarse)").matches;
  private cursor: XY | null = null;
  private suggestion: string | null = null;
  private follows = 0;
  private disposed = false;

  constructor(parent: HTMLElement | ShadowRoot, key: string, bridge: Bridge) {
    this.bridge = bridge;
    this.place = `corromap-canvas/${key}`;
    this.frame = buildFrame(parent);
    this.outbox = new Outbox(key, (value) => this.bridge.setStateValue("outbox", value), () => this.store.revision);
    this.pane = new PhotoPane(this.frame.photo);
    this.pane.onFailure = (text) => this.alert(`The photo could not be loaded (${text}). Open the survey again if this stays.`);
    for (const layer of this.layers.all) this.pane.map.addLayer(layer);
    this.map = new MapPane(this.frame.map);
    this.bar = new Toolbar(this.frame.bar, this.frame.viewBar, (name, value) => this.run(name, value));
    this.loupe = new Loupe(this.pane, this.frame.photo, [this.layers.marks, this.layers.sightings]);
    this.marking = new Marking({
      pane: this.pane,
      layers: this.layers,
      storage: this.place,
      marks: () => this.marksNow,
      styles: () => this.styles,
      emit: (event) => this.emit(event),
      sketch: (sketch) => this.preview(sketch),
      changed: () => this.refreshBar(),
      say: (text) => this.alert(text),
    });
    this.placer = new PlacingTool({
      pane: this.pane,
      layers: this.layers,
      sightings: () => this.sightingsNow,
      emit: (event) => this.emit(event),
      aim: (at) => this.aim(at),
      changed: () => this.refreshPlacing(),
    });
    this.restoreKept();
    this.listen();
  }

  // ---- from Python

  update(data: CanvasData): void {
    if (data.applied) this.outbox.applied(data.applied.client, data.applied.seq);
    if (!this.store.apply(data.sync)) {
      this.outbox.emit({ type: "resend" });
      return;
    }
    this.state = this.store.get<CanvasEntry>("canvas") ?? null;
    const template = this.store.get<TemplateEntry>("template");
    const photo = this.store.get<PhotoEntry>(`photo/${this.state?.photo}`);
    if (!this.state || !template || !photo) return;
    this.frame.root.style.setProperty("--cm-height", `${this.state.height}px`);
    this.layers.setStyles(this.styles);
    this.map.setStyles(this.styles);
    this.map.setTemplate(template);
    this.map.setActivePanel(this.state.activePanel);
    const otherPhoto = this.pane.photo?.id !== photo.id;
    this.pane.show(photo);
    this.ground = new Ground(this.store, photo.id, template);
    this.derive();
    if (otherPhoto) this.photoChanged();
    this.marking.setActive(this.state.mode === "mark");
    this.placer.setActive(this.state.mode === "place");
    this.showAll();
    if (data.refused.length) this.alert(data.refused.map((one) => one.text).join(" "));
    this.reportLatency(data);
  }

  private get styles(): Record<string, StyleEntry> {
    return this.store.get<Record<string, StyleEntry>>("styles") ?? {};
  }

  private groundOf(photo: string | undefined): Ground | null {
    const template = this.store.get<TemplateEntry>("template");
    return photo && template ? new Ground(this.store, photo, template) : null;
  }

  /** Marks and sightings as they will be once Python has applied what is on its way. */
  private derive(): void {
    const photo = this.state?.photo ?? "";
    const marks = new Map(this.store.under<MarkEntry>("mark/").filter((m) => m.photo === photo).map((m) => [m.id, m]));
    const sightings = new Map(this.store.under<SightingEntry>(`sighting/${photo}/`).map((s) => [s.datum, s]));
    this.previewMarks = new Set();
    for (const event of this.outbox.pending) {
      if ((event.type === "mark_added" || event.type === "mark_changed") && event.mark.photo === photo) {
        marks.set(event.mark.id, event.mark);
        this.previewMarks.add(event.mark.id);
      } else if (event.type === "mark_removed") {
        marks.delete(event.mark);
        this.previewMarks.add(event.mark);
      } else if (event.type === "sighting_set" && event.photo === photo) {
        sightings.set(event.datum, { photo, datum: event.datum, at: event.at });
      } else if (event.type === "sighting_removed" && event.photo === photo) {
        sightings.delete(event.datum);
      }
    }
    this.marksNow = [...marks.values()];
    this.sightingsNow = [...sightings.values()];
  }

  private photoChanged(): void {
    this.cursor = null;
    this.layers.setCursor(null, null);
    this.map.setCross(null);
    this.suggestion = null;
    this.placer.datum = null;
    this.marking.photoChanged();
  }

  private showAll(): void {
    this.marking.refresh();
    this.layers.setTemplate(this.ground?.all ?? [], this.state?.activePanel ?? null);
    this.refreshCompare();
    this.refreshMap();
    this.refreshPlacing();
    this.bar.paintSwatches(this.styles);
    setText(this.frame.photoName, this.pane.photo?.name ?? "");
  }

  private refreshCompare(): void {
    const wanted = this.state?.compare ?? [];
    while (this.compares.length > wanted.length) this.compares.pop()?.destroy();
    while (this.compares.length < wanted.length) this.compares.push(new ComparePane(this.frame.photos));
    this.frame.photos.dataset["count"] = `${wanted.length + 1}`;
    const template = this.store.get<TemplateEntry>("template");
    wanted.forEach((id, i) => {
      const photo = this.store.get<PhotoEntry>(`photo/${id}`);
      if (!photo || !template) return;
      const marks = this.store.under<MarkEntry>("mark/").filter((mark) => mark.photo === id);
      this.compares[i]!.update(photo, marks, this.groundOf(id)?.all ?? [], this.styles, this.state?.activePanel ?? null);
    });
    this.followCompare();
  }

  private refreshMap(): void {
    const projected = this.store.under<ProjectedEntry>("projected/");
    this.map.setProjected(projected, new Set(this.marking.selected), this.previewMarks);
    this.preview(null);
  }

  private reportLatency(data: CanvasData): void {
    const { dataset } = this.frame.root;
    const seq = data.applied?.client === this.outbox.client ? data.applied.seq : 0;
    const since = this.outbox.emittedAt.get(seq);
    dataset["applied"] = `${seq}`;
    dataset["revision"] = `${data.sync.revision}`;
    dataset["marks"] = `${this.marksNow.length}`;
    if (since === undefined) return;
    this.outbox.emittedAt.delete(seq);
    this.map.map.once("postrender", () => {
      dataset["latencyMs"] = (performance.now() - since).toFixed(1);
      dataset["latencySeq"] = `${seq}`;
    });
    this.map.map.render();
  }

  // ---- to Python

  private emit(event: OutEvent): void {
    this.alert("");
    this.outbox.emit(event);
    this.derive();
    if (event.type.startsWith("mark")) {
      this.marking.refresh();
      this.refreshMap();
    } else if (event.type.startsWith("sighting")) this.refreshPlacing();
    this.refreshBar();
  }

  private report(event: OutEvent): void {
    if (this.state?.reportSelection) this.outbox.emit(event);
  }

  // ---- live preview and the two crosses

  private preview(sketch: Sketch | null): void {
    const started = performance.now();
    const shapes: Sketch[] = sketch ? [sketch] : [];
    for (const mark of this.marksNow) {
      if (this.previewMarks.has(mark.id) && mark.id !== sketch?.mark) shapes.push({ ...mark, mark: mark.id });
    }
    const muted = new Set(this.previewMarks);
    if (sketch?.mark) muted.add(sketch.mark);
    const previews = shapes.flatMap((shape) => this.ground?.previewsOf(shape) ?? []);
    this.map.setPreview(previews);
    this.frame.root.dataset["previewMm2"] = `${previews.reduce((sum, one) => sum + Math.abs(ringArea(one.ring)), 0)}`;
    this.muteProjected(muted);
    this.frame.root.dataset["previewMs"] = (performance.now() - started).toFixed(2);
    if (sketch) this.map.map.once("postrender", () => (this.frame.root.dataset["previewShownMs"] = (performance.now() - started).toFixed(2)));
  }

  private mutedNow = "";

  private muteProjected(muted: Set<string>): void {
    const key = [...muted].sort().join();
    if (key === this.mutedNow) return;
    this.mutedNow = key;
    this.map.setProjected(this.store.under<ProjectedEntry>("projected/"), new Set(this.marking.selected), muted);
  }

  private pointed(px: XY | null): void {
    const { dataset } = this.frame.root;
    const landing = px ? (this.ground?.landing(px) ?? null) : null;
    const at = landing ? toMap(landing.placing.panel, landing.mm) : null;
    this.map.setCross(at);
    dataset["photoX"] = px ? `${px[0]}` : "";
    dataset["photoY"] = px ? `${px[1]}` : "";
    dataset["mapX"] = at ? `${at[0]}` : "";
    dataset["mapY"] = at ? `${at[1]}` : "";
    dataset["panel"] = landing?.placing.panel.id ?? "";
    setText(this.frame.read, landing ? this.readOut(landing.placing.panel, landing.mm) : this.restingText());
    this.followPointer(landing);
  }

  private readOut(panel: PanelEntry, mm: XY): string {
    const zone = panel.zones.find((one) => inside(one.outlineMm, mm));
    return `${zone?.name ?? panel.name}, ${mm[0].toFixed(0)} | ${mm[1].toFixed(0)} mm`;
  }

  private restingText(): string {
    if (this.ground?.all.length) return "";
    const failure = this.failures()[0];
    return failure ? "" : "This photo has no place on the body yet.";
  }

  private failures(): NoPlacingEntry[] {
    const entries = this.store.under<PlacingEntry | NoPlacingEntry>(`placing/${this.state?.photo}/`);
    return entries.filter((entry): entry is NoPlacingEntry => !entry.ok);
  }

  private pointedOnMap(at: XY | null): void {
    const panel = at ? this.map.panelAt(at) : null;
    const mm = at && panel ? fromMap(panel, at) : null;
    const px = panel && mm ? this.ground?.on(panel.id)?.toPx(mm) : null;
    this.layers.setCursor(px ?? null, null);
    this.frame.root.dataset["backX"] = px ? `${px[0]}` : "";
    this.frame.root.dataset["backY"] = px ? `${px[1]}` : "";
    setText(this.frame.read, panel && mm ? this.readOut(panel, mm) : this.restingText());
    for (const [i, compare] of this.compares.entries()) {
      const other = this.groundOf(this.state?.compare[i])?.on(panel?.id);
      compare.layers.setCursor(mm && other ? other.toPx(mm) : null, null);
    }
  }

  private followPointer(landing: Landing | null): void {
    for (const [i, compare] of this.compares.entries()) {
      const other = landing ? this.groundOf(this.state?.compare[i])?.on(landing.placing.panel.id) : undefined;
      compare.layers.setCursor(other && landing ? other.toPx(landing.mm) : null, null);
    }
  }

  private followCompare(): void {
    if (!this.compares.length) return;
    cancelAnimationFrame(this.follows);
    this.follows = requestAnimationFrame(() => {
      const center = this.pane.center();
      const landing = this.ground?.landing(center);
      if (!landing) return;
      const step = landing.placing.toMm([center[0] + 1, center[1]]);
      const mmPerPx = step ? Math.hypot(step[0] - landing.mm[0], step[1] - landing.mm[1]) : 1;
      this.compares.forEach((compare, i) => {
        const other = this.groundOf(this.state?.compare[i])?.on(landing.placing.panel.id);
        compare.follow(other, landing.mm, mmPerPx * this.pane.resolution);
      });
    });
  }

  // ---- placing

  private datumOf(id: string | null): DatumEntry | null {
    for (const panel of this.store.get<TemplateEntry>("template")?.panels ?? []) {
      const found = panel.datums.find((datum) => datum.id === id);
      if (found) return found;
    }
    return null;
  }

  private refreshPlacing(): void {
    const state = this.state;
    if (!state) return;
    if (state.suggestion !== this.suggestion) {
      this.suggestion = state.suggestion;
      this.placer.datum = state.suggestion;
    }
    this.placer.datum ??= state.suggestion;
    const placeMode = state.mode === "place";
    const sighted = new Set(this.sightingsNow.map((sighting) => sighting.datum));
    this.map.setDatum(placeMode ? this.placer.datum : null, sighted, placeMode);
    if (!this.placer.isNudging) {
      const placing = this.ground?.on(state.activePanel) ?? this.ground?.all[0] ?? null;
      this.layers.setSightings(
        placeMode ? this.sightingsNow : [],
        (id) => shortName(this.datumOf(id)?.name ?? id),
        this.placer.datum,
        placing,
      );
    }
    this.refreshBar();
  }

  private stepDatum(step: number): void {
    const panel = this.store.get<TemplateEntry>("template")?.panels.find((one) => one.id === this.state?.activePanel);
    const ids = panel?.datums.map((datum) => datum.id) ?? [];
    if (!ids.length) return;
    const now = ids.indexOf(this.placer.datum ?? "");
    this.chooseDatum(ids[(now + step + ids.length) % ids.length]!);
  }

  private chooseDatum(id: string): void {
    this.placer.datum = id;
    const sighting = this.placer.sighting(id);
    if (sighting) this.pane.reveal(sighting.at);
    this.report({ type: "datum_selected", datum: id });
    this.refreshPlacing();
  }

  private aim(at: XY | null): void {
    if (at) {
      this.loupe.show(at, true);
      this.pointed(at);
    } else if (!this.loupeOn) this.loupe.hide();
  }

  // ---- buttons, keys, pointers

  private listen(): void {
    const { root, photo, map } = this.frame;
    root.addEventListener("keydown", (event) => this.keyed(event));
    root.addEventListener("pointerdown", (event) => this.usedTouch(event.pointerType === "touch"), true);
    this.pane.map.on("pointermove", (event) => this.moved(event as MapBrowserEvent<PointerEvent>));
    // "pointerdrag" is fired with the pointer held: freehand, or a point on its way
    this.pane.map.on("pointerdrag" as "pointermove", (event) => this.moved(event as MapBrowserEvent<PointerEvent>));
    photo.addEventListener("pointerleave", () => this.left());
    photo.addEventListener("pointerup", (event) => event.pointerType === "touch" && !this.loupeOn && this.loupe.hide());
    photo.addEventListener("contextmenu", (event) => event.preventDefault());
    this.pane.map.on("moveend", () => this.followCompare());
    this.pane.map.on("rendercomplete", () => {
      root.dataset["drawn"] = this.pane.photo?.id ?? "";
    });
    // where the panes look, for whoever drives the canvas from outside
    this.pane.map.on("postrender", () => noteView(root, "view", this.pane.map));
    this.map.map.on("postrender", () => noteView(root, "mapView", this.map.map));
    this.map.map.on("pointermove", (event) => this.pointedOnMap(fromOl((event as MapBrowserEvent).coordinate)));
    this.map.map.on("click", (event) => this.mapClicked(event as MapBrowserEvent<PointerEvent>));
    map.addEventListener("pointerleave", () => this.pointedOnMap(null));
    mapButton(this.frame.mapButtons, "closer", "Map closer", () => this.map.zoomBy(1));
    mapButton(this.frame.mapButtons, "farther", "Map farther", () => this.map.zoomBy(-1));
    mapButton(this.frame.mapButtons, "fit", "Whole map", () => this.map.fit(null));
  }

  private usedTouch(touch: boolean): void {
    if (touch === this.touch) return;
    this.touch = touch;
    this.refreshBar();
  }

  private moved(event: MapBrowserEvent<PointerEvent>): void {
    const at = fromOl(event.coordinate);
    if (this.cursor) {
      this.cursor = null;
      this.layers.setCursor(null, null);
    }
    this.pointed(at);
    const touch = event.originalEvent.pointerType === "touch";
    const placing = this.state?.mode === "place";
    if (this.loupeOn || (placing && !touch)) this.loupe.show(at, touch);
  }

  private left(): void {
    if (!this.cursor) this.pointed(null);
    this.loupe.hide();
  }

  private mapClicked(event: MapBrowserEvent<PointerEvent>): void {
    const at = fromOl(event.coordinate);
    if (this.state?.mode === "place") {
      const found = this.map.datumAt(event.pixel, this.touch ? 26 : 16);
      if (found) {
        this.chooseDatum(found.datum.id);
        return;
      }
    }
    const panel = this.map.panelAt(at);
    const px = panel ? this.ground?.on(panel.id)?.toPx(fromMap(panel, at)) : null;
    if (px) this.pane.reveal(px);
    if (panel) this.report({ type: "panel_selected", panel: panel.id });
  }

  private keyed(event: KeyboardEvent): void {
    const target = event.target as HTMLElement;
    if (target.matches("input, select, textarea")) return;
    if (target.matches("button") && (event.key === "Enter" || event.key === " " || event.key.startsWith("Arrow"))) return;
    const handled = handleKey(event, {
      mode: () => this.state?.mode ?? "look",
      arrow: (dx, dy, size) => this.arrow(dx, dy, size),
      act: (finish) => this.act(finish),
      run: (name, value) => this.run(name, value),
    });
    if (handled) {
      event.preventDefault();
      event.stopPropagation();
    }
  }

  private arrow(dx: number, dy: number, size: "fine" | "step" | "leap"): void {
    if (this.state?.mode === "place" && this.placer.sighting(this.placer.datum)) {
      const nudge = size === "leap" ? 10 : 1;
      const at = this.placer.nudge(dx * nudge, dy * nudge);
      if (at) this.showAt(at);
      return;
    }
    const step = { fine: 1, step: 8 * this.pane.resolution, leap: 64 * this.pane.resolution }[size];
    // along the screen, also when the photo is turned
    const turn = this.pane.view.getRotation();
    const along: XY = [dx * Math.cos(turn) + dy * Math.sin(turn), -dx * Math.sin(turn) + dy * Math.cos(turn)];
    const from = this.cursor ?? this.pane.center();
    const photo = this.pane.photo;
    if (!photo) return;
    const at: XY = [
      Math.min(photo.width - 0.5, Math.max(-0.5, from[0] + along[0] * step)),
      Math.min(photo.height - 0.5, Math.max(-0.5, from[1] + along[1] * step)),
    ];
    this.moveCursor(at);
  }

  private moveCursor(at: XY): void {
    this.cursor = at;
    const points = this.marking.points();
    this.layers.setCursor(at, this.state?.mode === "mark" ? (points.at(-1) ?? null) : null);
    this.showAt(at);
    if (this.marking.isCarrying) this.marking.carry(at);
    else if (this.marking.isDrawing && this.marking.tool !== "split") this.marking.previewRing([...points, at]);
  }

  private showAt(at: XY): void {
    this.pane.reveal(at);
    this.pointed(at);
    if (this.loupeOn || this.state?.mode === "place") this.loupe.show(at, false);
  }

  private act(finish: boolean): void {
    if (!this.cursor) {
      if (finish && this.marking.isDrawing) this.marking.finish();
      else this.moveCursor(this.pane.center());
      return;
    }
    if (this.state?.mode === "mark") {
      const points = this.marking.points();
      const last = points.at(-1);
      // Enter twice on one spot closes, as a double click does
      const again = last !== undefined && Math.hypot(last[0] - this.cursor[0], last[1] - this.cursor[1]) < 0.5;
      this.marking.act(this.cursor, finish && again);
    } else if (this.state?.mode === "place") this.placer.set(this.cursor);
  }

  private run(name: string, value = ""): void {
    const { marking } = this;
    const photoMode = this.state?.mode ?? "look";
    switch (name) {
      case "tool": marking.setTool(value as Tool); break;
      case "kind": marking.setKind(value as MarkKind); break;
      case "stage": marking.setStage(marking.stage === value && marking.kind === "rust" ? null : (value as Stage)); break;
      case "fixing": marking.setFixing(value || null); break;
      case "finish": marking.finish(); break;
      case "discard": marking.dropSketch(); break;
      case "escape": this.escape(); break;
      case "remove": this.remove(); break;
      case "backspace": if (!marking.takeBackPoint()) this.remove(); break;
      case "undo": if (photoMode === "look" || marking.takeBackPoint()) break; this.emit({ type: "undo" }); break;
      case "redo": if (photoMode !== "look") this.emit({ type: "redo" }); break;
      case "closer": this.pane.zoomBy(1); break;
      case "farther": this.pane.zoomBy(-1); break;
      case "fit": this.pane.fit(); break;
      case "turn": this.pane.turn(1); break;
      case "turn back": this.pane.turn(-1); break;
      case "snap": marking.setSnapping(!marking.snapping); break;
      case "loupe": this.loupeOn = !this.loupeOn; if (!this.loupeOn) this.loupe.hide(); break;
      case "lift": this.setLift(Number(value)); break;
      case "step": if (this.state?.position) this.emit({ type: "photo_step", step: value === "-1" ? -1 : 1 }); break;
      case "choose next": marking.selectNext(value === "-1" ? -1 : 1); break;
      case "datum next": this.stepDatum(Number(value)); break;
    }
    this.keep();
    this.refreshBar();
  }

  private remove(): void {
    if (this.state?.mode === "place") this.placer.remove();
    else if (this.state?.mode === "mark") {
      if (this.cursor && this.marking.tool === "change" && this.marking.removePointNear(this.cursor, 14)) return;
      this.marking.removeSelected();
    }
  }

  private escape(): void {
    if (this.marking.dropCarried() || this.marking.dropSketch()) return;
    if (this.marking.selected.length) this.marking.select([]);
    this.cursor = null;
    this.layers.setCursor(null, null);
    this.loupe.hide();
  }

  private setLift(value: number): void {
    const exponent = 1 / (1 + (value / 100) * 2.2);
    for (const part of this.frame.liftFunctions) part.setAttribute("exponent", exponent.toFixed(3));
    this.frame.root.classList.toggle("cm-lifted", value > 0);
    this.lifted = value;
    this.bar.setLift(value);
  }

  private lifted = 0;

  // ---- words and memory

  private refreshBar(): void {
    const state = this.state;
    if (!state) return;
    const { marking } = this;
    this.bar.update({
      mode: state.mode as Mode,
      tool: marking.tool,
      kind: marking.kind,
      stage: marking.stage,
      fixing: marking.fixing,
      drawing: marking.isDrawing,
      chosen: marking.selected.length,
      canUndo: state.canUndo,
      canRedo: state.canRedo,
      snapping: marking.snapping,
      loupe: this.loupeOn,
      position: state.position,
      datumSet: this.placer.sighting(this.placer.datum) !== undefined,
    });
    this.frame.root.dataset["mode"] = state.mode;
    this.frame.root.dataset["datum"] = this.placer.datum ?? "";
    this.frame.root.dataset["points"] = `${marking.points().length}`;
    this.frame.root.dataset["chosen"] = marking.selected.join(" ");
    const help = this.helpText(state);
    setText(this.frame.help, help);
    this.frame.help.hidden = !help;
  }

  private helpText(state: CanvasEntry): string {
    const words: string[] = [];
    if (state.mode === "mark") {
      const { marking } = this;
      words.push(toolHelp(marking.tool, marking.points().length, marking.selected.length, this.touch, marking.isCarrying));
    } else if (state.mode === "place") {
      const datum = this.datumOf(this.placer.datum);
      words.push(placeHelp(datum?.name ?? null, datum?.description ?? "", this.placer.sighting(this.placer.datum) !== undefined, this.touch));
    }
    if (state.message) words.push(state.message);
    return words.join(" ");
  }

  private alert(text: string): void {
    setText(this.frame.alert, text);
    this.frame.alert.hidden = !text;
  }

  private keep(): void {
    const { tool, kind, stage, snapping } = this.marking;
    writeStored(`${this.place}/pen`, { tool, kind, stage, snapping, lift: this.lifted } satisfies Kept);
  }

  private restoreKept(): void {
    const kept = readStored<Kept>(`${this.place}/pen`);
    if (kept) {
      Object.assign(this.marking, { tool: kept.tool, kind: kept.kind, stage: kept.stage, snapping: kept.snapping });
      this.setLift(kept.lift);
    }
  }

  /** Streamlit took the canvas off the page. */
  destroy(): void {
    if (this.disposed) return;
    this.disposed = true;
    this.placer.destroy();
    this.outbox.end();
    this.marking.destroy();
    this.loupe.destroy();
    for (const compare of this.compares) compare.destroy();
    this.pane.destroy();
    this.map.destroy();
    this.frame.root.remove();
  }

  get isAttached(): boolean {
    return this.frame.root.isConnected;
  }

}

/** "Left floor: rear rib" -> "rear rib": the panel is on the map. */
function shortName(name: string): string {
  return name.slice(name.indexOf(": ") + 1).trim();
}
