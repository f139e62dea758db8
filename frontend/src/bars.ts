// Bars of known length on the photo: their two ends clicked, dragged, their length given.

import type MapBrowserEvent from "ol/MapBrowserEvent";
import Modify from "ol/interaction/Modify";
import type { LineString } from "ol/geom";

import { AimInteraction, GRIP, HOLD_MS } from "./aiming";
import type { Ground } from "./ground";
import { freshId, readStored, writeStored } from "./outbox";
import { rounded } from "./pen";
import type { PhotoLayers } from "./photo_layers";
import { fromOl, type PhotoPane } from "./photo_pane";
import { toSegment } from "./placing";
import { barHelp, HELP } from "./texts";
import type { CanvasEntry, OutEvent, Ring, ScaleEntry, XY } from "./types";

export interface BarHost {
  pane: PhotoPane;
  layers: PhotoLayers;
  storage: string;
  state(): CanvasEntry | null;
  ground(): Ground | null;
  scales(): ScaleEntry[];
  emit(event: OutEvent): void;
  aim(at: XY | null): void;
  changed(): void;
  say(text: string): void;
}

const REACH_PX = 14; // screen px

export class Bars {
  on = false; // clicks set ends of a bar, not datum points
  chosen: string | null = null;
  private draft: Ring = []; // ends of a bar whose length is not known yet
  private active = false;
  private readonly modify: Modify;
  private readonly aim: AimInteraction;

  constructor(private readonly host: BarHost) {
    this.modify = new Modify({
      source: host.layers.bars.getSource()!,
      filter: (feature) => Boolean(feature.get("movable")),
      pixelTolerance: window.matchMedia("(pointer: coarse)").matches ? 22 : 12,
      deleteCondition: () => false,
      insertVertexCondition: () => false,
      style: GRIP,
    });
    this.modify.on("modifyend", (event) => {
      for (const feature of event.features.getArray()) {
        const ends = (feature.getGeometry() as LineString).getCoordinates().map(fromOl);
        this.dragged(feature.get("scale") as string | null, ends.map(rounded));
      }
      host.aim(null);
    });
    this.aim = new AimInteraction(HOLD_MS, host.aim, (at) => this.set(at));
    host.pane.map.on("click", (event) => {
      if (!this.active || this.aim.justPlaced) return;
      this.clicked(fromOl((event as MapBrowserEvent).coordinate));
    });
  }

  /** Called with every update: whether the photo is being placed. */
  setPlacing(placing: boolean): void {
    const active = placing && this.on;
    if (active === this.active) return;
    this.active = active;
    const { map } = this.host.pane;
    map.removeInteraction(this.modify);
    map.removeInteraction(this.aim);
    if (!active) return;
    map.addInteraction(this.aim);
    map.addInteraction(this.modify);
  }

  photoChanged(): void {
    this.chosen = null;
    this.draft = readStored<Ring>(this.place) ?? [];
    this.on ||= this.draft.length > 0;
  }

  refresh(): void {
    const scales = this.host.scales();
    if (this.chosen && !scales.some((one) => one.id === this.chosen)) this.chosen = null;
    this.host.layers.setBars(this.host.state()?.mode === "place" ? scales : [], this.draft, this.chosen, this.on);
  }

  private get place(): string {
    return `${this.host.storage}/bar/${this.host.pane.photo?.id}`;
  }

  private get entry(): ScaleEntry | undefined {
    return this.host.scales().find((one) => one.id === this.chosen);
  }

  /** Whether a length can be given now. */
  get needsLength(): boolean {
    return this.on && (this.draft.length === 2 || (this.entry?.lengthMm ?? null) !== null);
  }

  get lengthMm(): number | null {
    return this.draft.length ? null : (this.entry?.lengthMm ?? null);
  }

  get canRemove(): boolean {
    return this.on && (this.draft.length > 0 || this.chosen !== null);
  }

  private clicked(at: XY): void {
    const near = this.draft.length === 1 ? undefined : this.nearest(at);
    if (near) {
      this.keepDraft([]);
      this.chosen = near.id;
      this.changed();
    } else this.set(at);
  }

  private nearest(at: XY): ScaleEntry | undefined {
    const reach = REACH_PX * this.host.pane.resolution;
    return this.host.scales().find((one) => toSegment(at, one.at[0]!, one.at[1]!) <= reach);
  }

  /** Set the next end here; a third one moves the nearer of two. */
  set(at: XY): void {
    const { photo } = this.host.pane;
    if (!photo || at[0] < -0.5 || at[1] < -0.5 || at[0] > photo.width || at[1] > photo.height) return;
    this.chosen = null;
    const [first, second] = this.draft;
    const end = rounded(at);
    if (first && second) {
      const isFirst = Math.hypot(first[0] - at[0], first[1] - at[1]) < Math.hypot(second[0] - at[0], second[1] - at[1]);
      this.keepDraft(isFirst ? [end, second] : [first, end]);
    } else if (first && Math.hypot(first[0] - at[0], first[1] - at[1]) < 4) this.host.say(HELP.barNeedsTwo);
    else this.keepDraft([...this.draft, end]);
    this.changed();
  }

  private dragged(id: string | null, ends: Ring): void {
    if (id === null) this.keepDraft(ends);
    else {
      const entry = this.host.scales().find((one) => one.id === id);
      const moved = entry?.at.some((at, i) => Math.hypot(at[0] - ends[i]![0], at[1] - ends[i]![1]) > 0.005);
      this.chosen = id;
      if (entry && moved) this.host.emit({ type: "scale_set", scale: { ...entry, at: ends, panel: this.panelOf(ends) ?? entry.panel } });
    }
    this.changed();
  }

  setLength(lengthMm: number): void {
    if (!(lengthMm > 0)) return;
    const entry = this.entry;
    if (this.draft.length === 2) {
      const photo = this.host.pane.photo?.id;
      const panel = this.panelOf(this.draft) ?? this.host.state()?.activePanel;
      if (!photo || !panel) return;
      const id = freshId("s");
      const at = this.draft;
      this.keepDraft([]);
      this.chosen = id;
      this.host.emit({ type: "scale_set", scale: { id, photo, panel, at, lengthMm } });
    } else if (entry && entry.lengthMm !== null && entry.lengthMm !== lengthMm) {
      this.host.emit({ type: "scale_set", scale: { ...entry, lengthMm } });
    }
    this.changed();
  }

  /** The panel a bar lies on: the active one if an end does, else the first end's. */
  private panelOf(ends: Ring): string | null {
    const found = ends.map((at) => this.host.ground()?.landing(at)?.placing.panel.id).filter((id) => id !== undefined);
    const active = this.host.state()?.activePanel;
    return found.find((id) => id === active) ?? found[0] ?? null;
  }

  remove(): void {
    if (!this.takeBackEnd() && this.chosen) this.host.emit({ type: "scale_removed", scale: this.chosen });
    this.changed();
  }

  takeBackEnd(): boolean {
    if (!this.on || !this.draft.length) return false;
    this.keepDraft(this.draft.slice(0, -1));
    this.changed();
    return true;
  }

  drop(): boolean {
    if (!this.on || (!this.draft.length && !this.chosen)) return false;
    this.keepDraft([]);
    this.chosen = null;
    this.changed();
    return true;
  }

  private keepDraft(ends: Ring): void {
    this.draft = ends;
    writeStored(this.place, ends.length ? ends : null);
  }

  /** What the chosen scale says of the template, or else the first that disagrees with it. */
  get said(): string {
    return (this.on && this.entry?.sentence) || (this.host.scales().find((one) => !one.agrees)?.sentence ?? "");
  }

  get agrees(): boolean {
    return !this.host.scales().some((one) => !one.agrees && one.sentence === this.said);
  }

  help(touch: boolean): string {
    const entry = this.entry;
    if (!this.draft.length && entry) return barHelp(0, null, touch, entry.lengthMm !== null);
    return barHelp(this.draft.length, this.draftMm(), touch, null);
  }

  /** The draft's length as the photo is placed now: a preview, Python's word comes with the stored bar. */
  private draftMm(): number | null {
    const [first, second] = this.draft;
    const panel = this.panelOf(this.draft);
    const placing = panel ? this.host.ground()?.on(panel) : undefined;
    const a = first && placing?.toMm(first);
    const b = second && placing?.toMm(second);
    return a && b ? Math.hypot(a[0] - b[0], a[1] - b[1]) : null;
  }

  private changed(): void {
    this.refresh();
    this.host.changed();
  }
}
