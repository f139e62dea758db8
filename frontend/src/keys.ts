// The keyboard. Everything can be done without a mouse; keys act while the
// photo or one of the canvas' buttons has the focus.

import { KINDS, STAGES, TOOLS } from "./texts";

export interface KeyTarget {
  mode(): string;
  arrow(dx: number, dy: number, size: "fine" | "step" | "leap"): void;
  act(finish: boolean): void;
  run(name: string, value?: string): void;
}

const ARROWS: Record<string, [number, number]> = {
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowUp: [0, -1],
  ArrowDown: [0, 1],
};

const PLAIN: Record<string, [string, string?]> = {
  "+": ["closer"],
  "=": ["closer"],
  "-": ["farther"],
  "0": ["fit"],
  "]": ["turn"],
  "[": ["turn back"],
  m: ["loupe"],
  n: ["snap"],
  Escape: ["escape"],
  Delete: ["remove"],
  Backspace: ["backspace"],
  PageDown: ["step", "1"],
  PageUp: ["step", "-1"],
};

const LETTERS = new Map<string, [string, string]>([
  ...TOOLS.map((tool) => [tool.key, ["tool", tool.id]] as [string, [string, string]]),
  ...KINDS.map((kind) => [kind.key, ["kind", kind.id]] as [string, [string, string]]),
  ...STAGES.map((stage) => [stage.key, ["stage", stage.id]] as [string, [string, string]]),
]);

export function handleKey(event: KeyboardEvent, target: KeyTarget): boolean {
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (event.ctrlKey || event.metaKey) {
    if (key === "z") target.run(event.shiftKey ? "redo" : "undo");
    else if (key === "y") target.run("redo");
    else if (event.key in ARROWS) target.arrow(...ARROWS[event.key]!, "fine");
    else return false;
    return true;
  }
  if (event.altKey) return false;
  const arrow = ARROWS[event.key];
  if (arrow) {
    target.arrow(...arrow, event.shiftKey ? "leap" : "step");
    return true;
  }
  if (key === "Enter" || key === " ") {
    target.act(key === "Enter");
    return true;
  }
  if (target.mode() === "mark" && key === ".") target.run("choose next", event.shiftKey ? "-1" : "1");
  else if (target.mode() === "place" && (key === "." || key === ",")) target.run("datum next", key === "." ? "1" : "-1");
  else if (target.mode() === "place" && (key === "b" || key === "p")) target.run("bars", key === "b" ? "on" : "off");
  else if (target.mode() === "mark" && key === ",") target.run("choose next", "-1");
  else if (target.mode() === "mark" && LETTERS.has(key)) target.run(...LETTERS.get(key)!);
  else if (key in PLAIN) target.run(...PLAIN[key]!);
  else return false;
  return true;
}
