// Buttons above the photo. Large enough for a thumb, named in words, with their key.

import { setText } from "./features";
import { icon } from "./icons";
import { patternFill, styleOf } from "./paint";
import { BAR_LENGTHS, FIXINGS, KINDS, STAGES, TOOLS } from "./texts";
import type { Tool } from "./marking";
import type { MarkKind, Mode, Stage, StyleEntry } from "./types";

export interface BarState {
  mode: Mode;
  tool: Tool;
  kind: MarkKind;
  stage: Stage | null;
  fixing: string | null;
  drawing: boolean;
  chosen: number;
  canUndo: boolean;
  canRedo: boolean;
  snapping: boolean;
  loupe: boolean;
  position: string;
  datumSet: boolean;
  bars: boolean; // ends of bars are clicked, not datum points
  barRemovable: boolean;
  barNeedsLength: boolean;
  barLengthMm: number | null;
}

export type Action = (name: string, value?: string) => void;

interface Button {
  element: HTMLButtonElement;
  on: (state: BarState) => boolean | undefined; // pressed
  live: (state: BarState) => boolean;
  shown: (state: BarState) => boolean;
}

const marking = (state: BarState) => state.mode === "mark";
const placing = (state: BarState) => state.mode === "place";
const always = () => true;

export class Toolbar {
  private readonly buttons: Button[] = [];
  private readonly groups: { element: HTMLElement; shown: (state: BarState) => boolean }[] = [];
  private readonly position: HTMLElement;
  private readonly fixing: HTMLSelectElement;
  private readonly lift: HTMLInputElement;
  private readonly length: HTMLInputElement;
  private swatchKey = "";
  private shownLength = "";

  constructor(
    readonly host: HTMLElement,
    viewHost: HTMLElement,
    lengthHost: HTMLElement,
    private readonly act: Action,
  ) {
    const tools = this.group("Drawing tools", marking);
    for (const tool of TOOLS) {
      this.button(tools, tool.id, tool.label, tool.key, () => act("tool", tool.id), { on: (s) => s.tool === tool.id });
    }
    const kinds = this.group("Kind of mark", marking);
    for (const kind of KINDS) {
      this.button(kinds, "", kind.label, kind.key, () => act("kind", kind.id), { on: (s) => s.kind === kind.id, swatch: kind.id });
    }
    const stages = this.group("Rust stage", (s) => marking(s) && s.kind === "rust");
    for (const stage of STAGES) {
      this.button(stages, "", stage.label, stage.key, () => act("stage", stage.id), { on: (s) => s.stage === stage.id, swatch: `rust ${stage.id}` });
    }
    const fixings = this.group("Patch fixing", (s) => marking(s) && s.kind === "patch");
    this.fixing = this.select(fixings);
    const clicks = this.group("What is clicked", placing);
    this.button(clicks, "point", "Points", "p", () => act("bars", "off"), { on: (s) => !s.bars });
    this.button(clicks, "bar", "Scale bar", "b", () => act("bars", "on"), { on: (s) => s.bars });
    const needsLength = (s: BarState) => placing(s) && s.barNeedsLength;
    const lengths = this.group("Length of the bar", needsLength, lengthHost);
    this.groups.push({ element: lengthHost, shown: needsLength });
    this.length = this.lengthField(lengths);
    for (const mm of BAR_LENGTHS) this.button(lengths, "", `${mm} mm`, "", () => act("bar length", `${mm}`), { on: (s) => s.barLengthMm === mm });
    const steps = this.group("Steps", (s) => s.mode !== "look");
    this.button(steps, "finish", "Finish", "Enter", () => act("finish"), { shown: (s) => marking(s) && s.drawing });
    this.button(steps, "cancel", "Discard", "Esc", () => act("discard"), { shown: (s) => marking(s) && s.drawing });
    this.button(steps, "remove", "Delete", "Del", () => act("remove"), {
      shown: (s) => (marking(s) && s.chosen > 0 && !s.drawing) || (placing(s) && (s.datumSet || s.barRemovable)),
    });
    this.button(steps, "undo", "Undo", "Ctrl Z", () => act("undo"), { live: (s) => s.canUndo || s.drawing });
    this.button(steps, "redo", "Redo", "Ctrl Y", () => act("redo"), { live: (s) => s.canRedo });
    const views = this.group("View", always, viewHost);
    this.button(views, "closer", "Closer", "+", () => act("closer"));
    this.button(views, "farther", "Farther", "−", () => act("farther"));
    this.button(views, "fit", "Whole", "0", () => act("fit"));
    this.button(views, "turn", "Turn", "]", () => act("turn"));
    this.button(views, "loupe", "Magnify", "m", () => act("loupe"), { on: (s) => s.loupe });
    this.button(views, "snap", "Snap", "n", () => act("snap"), { on: (s) => s.snapping, shown: marking });
    this.lift = this.slider(views);
    const photos = this.group("Photos", (s) => s.position !== "", viewHost);
    this.button(photos, "before", "Before", "Page up", () => act("step", "-1"));
    this.position = document.createElement("span");
    this.position.className = "cm-position";
    photos.append(this.position);
    this.button(photos, "after", "Next", "Page down", () => act("step", "1"));
  }

  private group(name: string, shown: (state: BarState) => boolean, host = this.host): HTMLElement {
    const element = document.createElement("div");
    element.className = "cm-group";
    element.setAttribute("role", "group");
    element.setAttribute("aria-label", name);
    host.append(element);
    this.groups.push({ element, shown });
    return element;
  }

  private button(
    host: HTMLElement,
    image: string,
    label: string,
    key: string,
    run: () => void,
    options: Partial<Pick<Button, "on" | "live" | "shown">> & { swatch?: string } = {},
  ): void {
    const element = document.createElement("button");
    element.type = "button";
    element.className = "cm-button";
    element.title = key ? `${label} (${key})` : label;
    element.dataset["name"] = label.toLowerCase();
    element.innerHTML = options.swatch ? `<canvas class="cm-swatch" width="44" height="28" data-swatch="${options.swatch}"></canvas>` : image && icon(image);
    const words = document.createElement("span");
    words.textContent = label;
    element.append(words);
    if (key.length === 1) element.setAttribute("aria-keyshortcuts", key);
    element.addEventListener("click", run);
    host.append(element);
    this.buttons.push({
      element,
      on: options.on ?? (() => undefined),
      live: options.live ?? always,
      shown: options.shown ?? always,
    });
  }

  private select(host: HTMLElement): HTMLSelectElement {
    const label = document.createElement("label");
    label.className = "cm-field";
    label.textContent = "Held by ";
    const select = document.createElement("select");
    select.append(new Option("not stated", ""));
    for (const name of FIXINGS) select.append(new Option(name, name));
    select.addEventListener("change", () => this.act("fixing", select.value));
    label.append(select);
    host.append(label);
    return select;
  }

  private lengthField(host: HTMLElement): HTMLInputElement {
    const label = document.createElement("label");
    label.className = "cm-field cm-length";
    label.innerHTML = "<span>True length, mm</span>";
    const input = document.createElement("input");
    Object.assign(input, { type: "number", min: "1", max: "10000", step: "any", inputMode: "decimal" });
    input.addEventListener("change", () => this.act("bar length", input.value));
    label.append(input);
    host.append(label);
    return input;
  }

  private slider(host: HTMLElement): HTMLInputElement {
    const label = document.createElement("label");
    label.className = "cm-field cm-lift";
    label.innerHTML = `${icon("lift")}<span>Lift dark areas</span>`;
    const input = document.createElement("input");
    Object.assign(input, { type: "range", min: "0", max: "100", step: "5", value: "0" });
    input.setAttribute("aria-label", "Lift dark areas of the photo");
    input.addEventListener("input", () => this.act("lift", input.value));
    label.append(input);
    host.append(label);
    return input;
  }

  setLift(value: number): void {
    this.lift.value = `${value}`;
  }

  update(state: BarState): void {
    for (const { element, shown } of this.groups) element.hidden = !shown(state);
    for (const button of this.buttons) {
      const on = button.on(state);
      if (on !== undefined) button.element.setAttribute("aria-pressed", on ? "true" : "false");
      button.element.disabled = !button.live(state);
      button.element.hidden = !button.shown(state);
    }
    setText(this.position, state.position);
    this.fixing.value = state.fixing ?? "";
    const length = state.barLengthMm === null ? "" : `${state.barLengthMm}`;
    if (this.shownLength !== length) this.length.value = this.shownLength = length; // what is being typed stays
  }

  /** Paint the kinds' own patterns on their buttons. */
  paintSwatches(styles: Record<string, StyleEntry>): void {
    const key = JSON.stringify(styles);
    if (key === this.swatchKey) return;
    this.swatchKey = key;
    for (const canvas of this.host.querySelectorAll<HTMLCanvasElement>("canvas[data-swatch]")) {
      const [kind, stage] = (canvas.dataset["swatch"] ?? "").split(" ");
      const style = styleOf(styles, kind ?? "", stage ?? null);
      const ctx = canvas.getContext("2d");
      if (!ctx) continue;
      ctx.fillStyle = "#F1EEE6";
      ctx.fillRect(0, 0, 44, 28);
      ctx.fillStyle = patternFill(style, 0.2);
      ctx.fillRect(0, 0, 44, 28);
      ctx.strokeStyle = style.colour;
      ctx.lineWidth = 4;
      ctx.strokeRect(0, 0, 44, 28);
    }
  }
}
