// One canvas on a page: keeps its state over Streamlit's reruns, takes in what
// Python sends, and reports what the person does.

import type MapBrowserEvent from "ol/MapBrowserEvent";

import { Commands } from "./commands";
import { Crosses } from "./crosses";
import { Datums } from "./datums";
import { buildFrame, mapButton, type Frame } from "./frame";
import { setText } from "./features";
import { Loupe } from "./loupe";
import { MapPane } from "./map_pane";
import { LiveMap } from "./live";
import { Marking, type Tool } from "./marking";
import { Outbox, readStored, writeStored } from "./outbox";
import { Ground } from "./ground";
import { expected, type Expected } from "./pending";
import { fromMap } from "./placing";
import { PlacingTool } from "./placing_tool";
import { PhotoLayers } from "./photo_layers";
import { PhotoPane, fromOl, noteView } from "./photo_pane";
import { Store } from "./store";
import { placeHelp, toolHelp } from "./texts";
import { Toolbar } from "./toolbar";
import type {
  CanvasData,
  CanvasEntry,
  MarkKind,
  Mode,
  OutEvent,
  PhotoEntry,
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
  private readonly crosses: Crosses;
  private readonly live: LiveMap;
  private readonly datums: Datums;
  private readonly commands: Commands;
  private readonly place: string;
  private state: CanvasEntry | null = null;
  private ground: Ground | null = null;
  private now: Expected = { marks: [], sightings: [], touched: new Set() };
  private touch = window.matchMedia("(pointer: coarse)").matches;
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
    this.bar = new Toolbar(this.frame.bar, this.frame.viewBar, (name, value) => this.commands.run(name, value));
    this.loupe = new Loupe(this.pane, this.frame.photo, [this.layers.marks, this.layers.sightings]);
    this.marking = new Marking({
      pane: this.pane,
      layers: this.layers,
      storage: this.place,
      marks: () => this.now.marks,
      styles: () => this.styles,
      emit: (event) => this.emit(event),
      sketch: (sketch) => this.live.preview(sketch),
      changed: () => this.refreshBar(),
      say: (text) => this.alert(text),
    });
    this.placer = new PlacingTool({
      pane: this.pane,
      layers: this.layers,
      sightings: () => this.now.sightings,
      emit: (event) => this.emit(event),
      aim: (at) => this.aim(at),
      changed: () => this.refreshPlacing(),
    });
    const { frame, pane, layers, map, store, loupe, marking, placer } = this;
    const state = () => this.state;
    const ground = () => this.ground;
    this.crosses = new Crosses({ frame, pane, layers, map, store, state, ground });
    this.live = new LiveMap({ root: frame.root, map, store, ground, now: () => this.now, selected: () => marking.selected });
    this.datums = new Datums({
      pane,
      layers,
      map,
      store,
      placer,
      state,
      ground,
      sightings: () => this.now.sightings,
      chosen: (id) => this.datumChosen(id),
    });
    this.commands = new Commands({
      pane,
      layers,
      loupe,
      marking,
      placer,
      state,
      pointed: (at) => this.crosses.pointed(at),
      emit: (event) => this.emit(event),
      setLift: (value) => this.setLift(value),
      stepDatum: (step) => this.datums.step(step),
      done: () => this.commandDone(),
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
    if (this.state.mode === "mark") this.marking.leadTo(this.state.chosen);
    if (data.refused.length) this.alert(data.refused.map((one) => one.text).join(" "));
    this.reportLatency(data);
  }

  private get styles(): Record<string, StyleEntry> {
    return this.store.get<Record<string, StyleEntry>>("styles") ?? {};
  }

  private derive(): void {
    this.now = expected(this.store, this.outbox.pending, this.state?.photo ?? "");
  }

  private photoChanged(): void {
    this.commands.cursor = null;
    this.layers.setCursor(null, null);
    this.map.setCross(null);
    this.datums.photoChanged();
    this.marking.photoChanged();
  }

  private showAll(): void {
    this.marking.refresh();
    this.layers.setTemplate(this.ground?.all ?? [], this.state?.activePanel ?? null);
    this.crosses.refreshCompare(this.styles);
    this.live.refresh();
    this.refreshPlacing();
    this.bar.paintSwatches(this.styles);
    setText(this.frame.photoName, this.pane.photo?.name ?? "");
  }

  private reportLatency(data: CanvasData): void {
    const { dataset } = this.frame.root;
    const seq = data.applied?.client === this.outbox.client ? data.applied.seq : 0;
    const since = this.outbox.emittedAt.get(seq);
    dataset["applied"] = `${seq}`;
    dataset["revision"] = `${data.sync.revision}`;
    dataset["marks"] = `${this.now.marks.length}`;
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
      this.live.refresh();
    } else if (event.type.startsWith("sighting")) this.refreshPlacing();
    this.refreshBar();
  }

  private report(event: OutEvent): void {
    if (this.state?.reportSelection) this.outbox.emit(event);
  }

  // ---- placing

  private datumChosen(id: string): void {
    this.report({ type: "datum_selected", datum: id });
    this.refreshPlacing();
  }

  private refreshPlacing(): void {
    this.datums.refresh();
    this.refreshBar();
  }

  private aim(at: XY | null): void {
    if (at) {
      this.loupe.show(at, true);
      this.crosses.pointed(at);
    } else if (!this.commands.loupeOn) this.loupe.hide();
  }

  // ---- buttons, keys, pointers

  private listen(): void {
    const { root, photo, map } = this.frame;
    root.addEventListener("keydown", (event) => this.commands.keyed(event));
    root.addEventListener("pointerdown", (event) => this.usedTouch(event.pointerType === "touch"), true);
    this.pane.map.on("pointermove", (event) => this.moved(event as MapBrowserEvent<PointerEvent>));
    // "pointerdrag" is fired with the pointer held: freehand, or a point on its way
    this.pane.map.on("pointerdrag" as "pointermove", (event) => this.moved(event as MapBrowserEvent<PointerEvent>));
    photo.addEventListener("pointerleave", () => this.left());
    photo.addEventListener("pointerup", (event) => event.pointerType === "touch" && !this.commands.loupeOn && this.loupe.hide());
    photo.addEventListener("contextmenu", (event) => event.preventDefault());
    this.pane.map.on("moveend", () => this.crosses.followCompare());
    this.pane.map.on("rendercomplete", () => {
      root.dataset["drawn"] = this.pane.photo?.id ?? "";
    });
    // where the panes look, for whoever drives the canvas from outside
    this.pane.map.on("postrender", () => noteView(root, "view", this.pane.map));
    this.map.map.on("postrender", () => noteView(root, "mapView", this.map.map));
    this.map.map.on("pointermove", (event) => this.crosses.pointedOnMap(fromOl((event as MapBrowserEvent).coordinate)));
    this.map.map.on("click", (event) => this.mapClicked(event as MapBrowserEvent<PointerEvent>));
    map.addEventListener("pointerleave", () => this.crosses.pointedOnMap(null));
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
    this.commands.dropCursor();
    this.crosses.pointed(at);
    const touch = event.originalEvent.pointerType === "touch";
    const placing = this.state?.mode === "place";
    if (this.commands.loupeOn || (placing && !touch)) this.loupe.show(at, touch);
  }

  private left(): void {
    if (!this.commands.cursor) this.crosses.pointed(null);
    this.loupe.hide();
  }

  private mapClicked(event: MapBrowserEvent<PointerEvent>): void {
    const at = fromOl(event.coordinate);
    if (this.state?.mode === "place") {
      const found = this.map.datumAt(event.pixel, this.touch ? 26 : 16);
      if (found) {
        this.datums.choose(found.datum.id);
        return;
      }
    }
    const panel = this.map.panelAt(at);
    const px = panel ? this.ground?.on(panel.id)?.toPx(fromMap(panel, at)) : null;
    if (px) this.pane.reveal(px);
    if (panel) this.report({ type: "panel_selected", panel: panel.id });
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
      loupe: this.commands.loupeOn,
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
      const datum = this.datums.entry(this.placer.datum);
      words.push(placeHelp(datum?.name ?? null, datum?.description ?? "", this.placer.sighting(this.placer.datum) !== undefined, this.touch));
    }
    if (state.message) words.push(state.message);
    return words.join(" ");
  }

  private alert(text: string): void {
    setText(this.frame.alert, text);
    this.frame.alert.hidden = !text;
  }

  private commandDone(): void {
    this.keep();
    this.refreshBar();
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
    this.crosses.destroy();
    this.pane.destroy();
    this.map.destroy();
    this.frame.root.remove();
  }

  get isAttached(): boolean {
    return this.frame.root.isConnected;
  }
}
