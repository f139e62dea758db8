// What buttons, keys and the keyboard's cross do.

import type { Bars } from "./bars";
import { handleKey } from "./keys";
import type { Loupe } from "./loupe";
import type { Marking, Tool } from "./marking";
import type { PhotoLayers } from "./photo_layers";
import type { PhotoPane } from "./photo_pane";
import type { PlacingTool } from "./placing_tool";
import type { CanvasEntry, MarkKind, OutEvent, Stage, XY } from "./types";

export interface CommandHost {
  pane: PhotoPane;
  layers: PhotoLayers;
  loupe: Loupe;
  marking: Marking;
  placer: PlacingTool;
  bars: Bars;
  state(): CanvasEntry | null;
  pointed(at: XY): void; // the keyboard's cross is there
  emit(event: OutEvent): void;
  setLift(value: number): void;
  stepDatum(step: number): void;
  done(): void; // a command was carried out
}

export class Commands {
  loupeOn = false;
  cursor: XY | null = null;

  constructor(private readonly host: CommandHost) {}

  dropCursor(): void {
    if (!this.cursor) return;
    this.cursor = null;
    this.host.layers.setCursor(null, null);
  }

  keyed(event: KeyboardEvent): void {
    const target = event.target as HTMLElement;
    if (target.matches("input, select, textarea")) return;
    if (target.matches("button") && (event.key === "Enter" || event.key === " " || event.key.startsWith("Arrow"))) return;
    const handled = handleKey(event, {
      mode: () => this.host.state()?.mode ?? "look",
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
    const { pane, placer, bars } = this.host;
    if (this.host.state()?.mode === "place" && !bars.on && placer.sighting(placer.datum)) {
      const nudge = size === "leap" ? 10 : 1;
      const at = placer.nudge(dx * nudge, dy * nudge);
      if (at) this.showAt(at);
      return;
    }
    const step = { fine: 1, step: 8 * pane.resolution, leap: 64 * pane.resolution }[size];
    // along the screen, also when the photo is turned
    const turn = pane.view.getRotation();
    const along: XY = [dx * Math.cos(turn) + dy * Math.sin(turn), -dx * Math.sin(turn) + dy * Math.cos(turn)];
    const from = this.cursor ?? pane.center();
    const photo = pane.photo;
    if (!photo) return;
    const at: XY = [
      Math.min(photo.width - 0.5, Math.max(-0.5, from[0] + along[0] * step)),
      Math.min(photo.height - 0.5, Math.max(-0.5, from[1] + along[1] * step)),
    ];
    this.moveCursor(at);
  }

  private moveCursor(at: XY): void {
    const { marking } = this.host;
    this.cursor = at;
    const points = marking.points();
    this.host.layers.setCursor(at, this.host.state()?.mode === "mark" ? (points.at(-1) ?? null) : null);
    this.showAt(at);
    if (marking.isCarrying) marking.carry(at);
    else if (marking.isDrawing && marking.tool !== "split") marking.previewRing([...points, at]);
  }

  private showAt(at: XY): void {
    this.host.pane.reveal(at);
    this.host.pointed(at);
    if (this.loupeOn || this.host.state()?.mode === "place") this.host.loupe.show(at, false);
  }

  private act(finish: boolean): void {
    const { marking, placer, bars } = this.host;
    if (!this.cursor) {
      if (finish && marking.isDrawing) marking.finish();
      else this.moveCursor(this.host.pane.center());
      return;
    }
    if (this.host.state()?.mode === "mark") {
      const last = marking.points().at(-1);
      // Enter twice on one spot closes, as a double click does
      const again = last !== undefined && Math.hypot(last[0] - this.cursor[0], last[1] - this.cursor[1]) < 0.5;
      marking.act(this.cursor, finish && again);
    } else if (this.host.state()?.mode === "place") (bars.on ? bars : placer).set(this.cursor);
  }

  run(name: string, value = ""): void {
    const { marking, pane, bars } = this.host;
    const state = this.host.state();
    const mode = state?.mode ?? "look";
    switch (name) {
      case "tool": marking.setTool(value as Tool); break;
      case "kind": marking.setKind(value as MarkKind); break;
      case "stage": marking.setStage(marking.stage === value && marking.kind === "rust" ? null : (value as Stage)); break;
      case "fixing": marking.setFixing(value || null); break;
      case "bars": bars.on = value === "on"; bars.refresh(); break;
      case "bar length": bars.setLength(Number(value)); break;
      case "finish": marking.finish(); break;
      case "discard": marking.dropSketch(); break;
      case "escape": this.escape(); break;
      case "remove": this.remove(); break;
      case "backspace": if (!marking.takeBackPoint()) this.remove(); break;
      case "undo": if (mode === "look" || marking.takeBackPoint() || (mode === "place" && bars.takeBackEnd())) break; this.host.emit({ type: "undo" }); break;
      case "redo": if (mode !== "look") this.host.emit({ type: "redo" }); break;
      case "closer": pane.zoomBy(1); break;
      case "farther": pane.zoomBy(-1); break;
      case "fit": pane.fit(); break;
      case "turn": pane.turn(1); break;
      case "turn back": pane.turn(-1); break;
      case "snap": marking.setSnapping(!marking.snapping); break;
      case "loupe": this.loupeOn = !this.loupeOn; if (!this.loupeOn) this.host.loupe.hide(); break;
      case "lift": this.host.setLift(Number(value)); break;
      case "step": if (state?.position) this.host.emit({ type: "photo_step", step: value === "-1" ? -1 : 1 }); break;
      case "choose next": marking.selectNext(value === "-1" ? -1 : 1); break;
      case "datum next": this.host.stepDatum(Number(value)); break;
    }
    this.host.done();
  }

  private remove(): void {
    const { marking, placer, bars } = this.host;
    const mode = this.host.state()?.mode;
    if (mode === "place") (bars.on ? bars : placer).remove();
    else if (mode === "mark") {
      if (this.cursor && marking.tool === "change" && marking.removePointNear(this.cursor, 14)) return;
      marking.removeSelected();
    }
  }

  private escape(): void {
    const { marking, bars } = this.host;
    if (marking.dropCarried() || marking.dropSketch() || bars.drop()) return;
    if (marking.selected.length) marking.select([]);
    this.cursor = null;
    this.host.layers.setCursor(null, null);
    this.host.loupe.hide();
  }
}
