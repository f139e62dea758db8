// One canvas on a page: keeps its state over Streamlit's reruns, takes in what
// Python sends, and reports what the person does.

import type MapBrowserEvent from "ol/MapBrowserEvent";

import { Bars } from "./bars";
import { Commands } from "./commands";
import { Crosses } from "./crosses";
import { Datums } from "./datums";
import { addMapButtons, buildFrame, type Frame } from "./frame";
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
import { noteAnswer, noteDrawn, noteState } from "./notes";
import { PhotoPane, fromOl } from "./photo_pane";
import { Store } from "./store";
import { showHelp } from "./help";
import { Toolbar } from "./toolbar";
import type {
  CanvasData,
  CanvasEntry,
  DrapedEntry,
  FootprintEntry,
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
  private readonly bars: Bars;
  private readonly loupe: Loupe;
  private readonly bar: Toolbar;
  private readonly crosses: Crosses;
  private readonly live: LiveMap;
  private readonly datums: Datums;
  private readonly commands: Commands;
  private readonly place: string;
  private state: CanvasEntry | null = null;
  private ground: Ground | null = null;
  private now: Expected = { marks: [], sightings: [], scales: [], touched: new Set() };
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
    this.bar = new Toolbar(this.frame.bar, this.frame.viewBar, this.frame.lengthBar, (name, value) => this.commands.run(name, value));
    this.loupe = new Loupe(this.pane, this.frame.photo, [this.layers.marks, this.layers.bars, this.layers.sightings]);
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
    const state = () => this.state;
    const ground = () => this.ground;
    this.bars = new Bars({
      pane: this.pane,
      layers: this.layers,
      storage: this.place,
      state,
      ground,
      scales: () => this.now.scales,
      emit: (event) => this.emit(event),
      aim: (at) => this.aim(at),
      changed: () => this.refreshBar(),
      say: (text) => this.alert(text),
    });
    const { frame, pane, layers, map, store, loupe, marking, placer, bars } = this;
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
      bars,
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
    this.arrangePlacing();
    this.showFootprint(this.state.footprint);
    this.showAll();
    if (this.state.mode === "mark") this.marking.leadTo(this.state.chosen);
    if (data.refused.length) this.alert(data.refused.map((one) => one.text).join(" "));
    noteAnswer(this.frame.root, this.outbox, this.map.map, data, this.now.marks.length);
  }

  private showFootprint(told: CanvasEntry["footprint"]): void {
    const { map, store, frame } = this;
    map.footprint.show(map.map, store.under<FootprintEntry>("footprint/"), store.get<DrapedEntry>("draped") ?? null, told);
    setText(frame.shown, told?.label ?? "");
    frame.shown.hidden = !told;
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
    this.bars.photoChanged();
  }

  /** What a click on a photo that is being placed sets: datum points or ends of a bar. */
  private arrangePlacing(): void {
    const placing = this.state?.mode === "place";
    this.placer.setActive(placing && !this.bars.on);
    this.bars.setPlacing(placing);
    this.layers.labels.setVisible(!this.bars.on);
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

  // ---- to Python

  private emit(event: OutEvent): void {
    this.alert("");
    this.outbox.emit(event);
    this.derive();
    if (event.type.startsWith("mark")) {
      this.marking.refresh();
      this.live.refresh();
    } else if (event.type.startsWith("sighting")) this.refreshPlacing();
    else if (event.type.startsWith("scale")) this.bars.refresh();
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
    this.bars.refresh();
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
    noteDrawn(root, this.pane, this.map.map);
    this.map.map.on("pointermove", (event) => this.crosses.pointedOnMap(fromOl((event as MapBrowserEvent).coordinate)));
    this.map.map.on("click", (event) => this.mapClicked(event as MapBrowserEvent<PointerEvent>));
    map.addEventListener("pointerleave", () => this.crosses.pointedOnMap(null));
    addMapButtons(this.frame.mapButtons, this.map);
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
        this.commands.run("bars", "off");
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
    const { state, marking, placer, bars } = this;
    if (!state) return;
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
      datumSet: !bars.on && placer.sighting(placer.datum) !== undefined,
      bars: bars.on,
      barRemovable: bars.canRemove,
      barNeedsLength: bars.needsLength,
      barLengthMm: bars.lengthMm,
    });
    noteState(this.frame.root, { mode: state.mode, datum: placer.datum, points: marking.points().length, chosen: marking.selected, bars: bars.on });
    showHelp(this.frame, state, { marking, placer, bars, datums: this.datums, touch: this.touch });
  }

  private alert(text: string): void {
    setText(this.frame.alert, text);
    this.frame.alert.hidden = !text;
  }

  private commandDone(): void {
    this.arrangePlacing();
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
