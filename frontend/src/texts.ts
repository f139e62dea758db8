// Every word on the canvas.

import type { Tool } from "./marking";
import type { MarkKind, Stage } from "./types";

export const TOOLS: { id: Tool; label: string; key: string }[] = [
  { id: "outline", label: "Outline", key: "o" },
  { id: "freehand", label: "Freehand", key: "d" },
  { id: "change", label: "Change", key: "c" },
  { id: "hole", label: "Hole", key: "x" },
  { id: "split", label: "Split", key: "t" },
  { id: "join", label: "Join", key: "j" },
];

export const KINDS: { id: MarkKind; label: string; key: string }[] = [
  { id: "rust", label: "Rust", key: "r" },
  { id: "filler", label: "Filler", key: "f" },
  { id: "patch", label: "Patch", key: "p" },
  { id: "hidden", label: "Hidden", key: "h" },
  { id: "sound", label: "Sound", key: "s" },
  { id: "blur", label: "Blur", key: "b" }, // a face or a number plate
];

export const STAGES: { id: Stage; label: string; key: string }[] = [
  { id: "surface", label: "Surface", key: "1" },
  { id: "scaled", label: "Scaled", key: "2" },
  { id: "holed", label: "Holed", key: "3" },
];

export const FIXINGS = ["seam", "spot", "plug", "brazed", "bonded", "riveted", "unknown"];

export const HELP = {
  outlineNeedsThree: "An outline needs at least three points.",
  lineNeedsTwo: "A line needs two points.",
  tooSmall: "That was too small to be an outline. Draw it again, zoomed in if need be.",
  holeNeedsMark: "A hole is drawn inside a mark: start inside one, or choose one first.",
  splitNeedsMark: "The line crossed no mark. Draw it right across the mark to split.",
  barNeedsTwo: "A bar has two ends in different places: click the other end too.",
};

export function toolHelp(tool: Tool, points: number, chosen: number, touch: boolean, carrying: boolean): string {
  const tap = touch ? "Tap" : "Click";
  switch (tool) {
    case "outline":
      if (points === 0) return `${tap} round the edge of the place to mark. ${touch ? "Hold to aim with the magnifier." : "Drag moves the photo."}`;
      if (points < 3) return `${tap} the next point. Three at least.`;
      return `${tap} the next point, or close the outline: ${touch ? "tap Finish" : "double-click, Enter or click the first point"}.`;
    case "freehand":
      return touch ? "Draw round the place with one finger. Two fingers move the photo." : "Hold the button and draw round the place.";
    case "change":
      if (carrying) return "Arrow keys move the point. Enter puts it down, Escape lets it go back.";
      if (chosen === 0) return `${tap} a mark to change it.`;
      return touch
        ? "Drag a point to move it, drag a line to add one, hold a point to take it away."
        : "Drag a point to move it, drag a line to add one, Alt-click a point to take it away. Delete removes the point under the cross, or else the mark.";
    case "hole":
      return points < 3 ? `${tap} round sound metal inside a mark: it is taken out of the mark.` : `${tap} the next point, or close: ${touch ? "tap Finish" : "double-click or Enter"}.`;
    case "split":
      return points === 0 ? `${tap} on one side of a mark to start the dividing line.` : `${tap} beyond the other side, then ${touch ? "tap Finish" : "double-click or press Enter"}.`;
    case "join":
      return chosen === 0 ? `${tap} the first of two touching marks.` : `${tap} the mark to join it with.`;
  }
}

export function placeHelp(name: string | null, description: string, isSet: boolean, touch: boolean): string {
  const tap = touch ? "Tap" : "Click";
  if (name === null) return `Choose a datum point on the map, then ${tap.toLowerCase()} the same point on the photo.`;
  if (isSet) return `${name}: drag it, or nudge it with the arrow keys. Delete takes it away. Or choose another point on the map. Yellow lines: residuals, ten times longer.`;
  return `${tap} this on the photo: ${name}. ${description}`;
}

/** Usual lengths of rules and bars, mm. */
export const BAR_LENGTHS = [100, 150, 300, 500, 1000];

export function barHelp(ends: number, previewMm: number | null, touch: boolean, isBar: boolean | null): string {
  const tap = touch ? "Tap" : "Click";
  if (isBar === false) return "Printed board, found by itself. Delete takes it off.";
  if (isBar) return `Drag an end to correct it, or give another length. ${tap} elsewhere to start another bar.`;
  if (ends === 0) return `${tap} one end of a rule or bar of known length that lies flat on the panel.${touch ? " Hold to aim with the magnifier." : ""}`;
  if (ends === 1) return `${tap} its other end.`;
  const now = previewMm === null ? "" : ` As the photo is placed it is ${previewMm.toFixed(0)} mm long.`;
  return `How long is it?${now} Choose or type its true length below the photo; the ends can still be dragged.`;
}
