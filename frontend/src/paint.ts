// Patterns and styles. Kinds differ by pattern as well as by colour.

import { Fill, Stroke, Style } from "ol/style";
import type { StyleEntry } from "./types";

type Painter = (ctx: CanvasRenderingContext2D, size: number) => void;

function lines(ctx: CanvasRenderingContext2D, pairs: [number, number, number, number][]): void {
  ctx.beginPath();
  for (const [x1, y1, x2, y2] of pairs) {
    ctx.moveTo(x1, y1);
    ctx.lineTo(x2, y2);
  }
  ctx.stroke();
}

const PAINTERS: Record<string, Painter> = {
  dots: (ctx, s) => {
    for (const [x, y] of [[0.25, 0.25], [0.75, 0.75]] as const) {
      ctx.beginPath();
      ctx.arc(x * s, y * s, s * 0.15, 0, 7);
      ctx.fill();
    }
  },
  grid: (ctx, s) => lines(ctx, [[s / 2, 0, s / 2, s], [0, s / 2, s, s / 2]]),
  solid: (ctx, s) => {
    ctx.globalAlpha = 0.72;
    ctx.fillRect(0, 0, s, s);
  },
  horizontal: (ctx, s) => lines(ctx, [[0, s / 2, s, s / 2]]),
  vertical: (ctx, s) => lines(ctx, [[s / 2, 0, s / 2, s]]),
  diagonal: (ctx, s) => lines(ctx, [[-s, s, s, -s], [0, s, s, 0], [0, 2 * s, 2 * s, 0]]),
  "back-diagonal": (ctx, s) => lines(ctx, [[0, -s, 2 * s, s], [0, 0, s, s], [-s, 0, s, 2 * s]]),
  dashes: (ctx, s) => lines(ctx, [[0, s * 0.3, s * 0.5, s * 0.3], [s * 0.5, s * 0.8, s, s * 0.8]]),
  waves: (ctx, s) => {
    ctx.beginPath();
    ctx.moveTo(0, s * 0.5);
    ctx.quadraticCurveTo(s * 0.25, s * 0.1, s * 0.5, s * 0.5);
    ctx.quadraticCurveTo(s * 0.75, s * 0.9, s, s * 0.5);
    ctx.stroke();
  },
  ticks: (ctx, s) => lines(ctx, [[s * 0.2, s * 0.55, s * 0.42, s * 0.8], [s * 0.42, s * 0.8, s * 0.85, s * 0.2]]),
  hatch: (ctx, s) => lines(ctx, [[-s, s, s, -s], [0, s, s, 0], [0, 2 * s, 2 * s, 0], [0, 0, s, s]]),
  ring: (ctx, s) => {
    ctx.beginPath();
    ctx.arc(s / 2, s / 2, s * 0.22, 0, 7);
    ctx.stroke();
  },
};

const made = new Map<string, CanvasPattern | string>();

/** A tile of the kind's pattern; `casing` puts white below the strokes, so that they are seen on dark metal. */
export function patternFill(style: StyleEntry, tint: number, casing = false): CanvasPattern | string {
  const ratio = Math.min(3, window.devicePixelRatio || 1);
  const name = `${style.colour}/${style.pattern}/${tint}/${casing}/${ratio}`;
  const known = made.get(name);
  if (known) return known;
  const size = Math.round((casing ? 13 : 10) * ratio);
  const tile = document.createElement("canvas");
  tile.width = tile.height = size;
  const ctx = tile.getContext("2d");
  if (!ctx) return style.colour;
  ctx.globalAlpha = tint;
  ctx.fillStyle = ctx.strokeStyle = style.colour;
  ctx.fillRect(0, 0, size, size);
  const paint = PAINTERS[style.pattern] ?? PAINTERS["dots"]!;
  if (casing && style.pattern !== "solid") {
    ctx.globalAlpha = 0.6;
    ctx.fillStyle = ctx.strokeStyle = "#fff";
    ctx.lineWidth = 3.6 * ratio;
    paint(ctx, size);
    ctx.fillStyle = ctx.strokeStyle = style.colour;
  }
  ctx.globalAlpha = 0.95;
  ctx.lineWidth = 1.8 * ratio;
  paint(ctx, size);
  const pattern = ctx.createPattern(tile, "repeat") ?? style.colour;
  made.set(name, pattern);
  return pattern;
}

const DASHED = new Set(["waves", "ticks"]); // evidence, not damage

export interface Look {
  casing: boolean;
  selected: boolean;
  faint?: boolean;
  zIndex?: number;
}

const styles = new Map<string, Style[]>();

/** Styles of one mark: white casing below, so that the line is seen on dark and on light metal. */
export function markStyles(style: StyleEntry, look: Look): Style[] {
  const name = `${style.colour}/${style.pattern}/${look.casing}/${look.selected}/${look.faint}/${look.zIndex}/${window.devicePixelRatio}`;
  const known = styles.get(name);
  if (known) return known;
  const dash = DASHED.has(style.pattern) ? [9, 6] : undefined;
  const width = look.selected ? 3.5 : look.casing ? 2.5 : 1.5;
  const list = [new Style({ fill: new Fill({ color: patternFill(style, look.faint ? 0.08 : 0.2, look.casing) }) })];
  if (look.casing || look.selected) {
    list.push(new Style({ stroke: new Stroke({ color: "rgba(255,255,255,0.95)", width: width + 3 }) }));
  }
  list.push(new Style({ stroke: new Stroke({ color: style.colour, width, lineDash: dash }) }));
  for (const one of list) one.setZIndex(look.zIndex);
  styles.set(name, list);
  return list;
}

export function styleKey(kind: string, stage: string | null): string {
  return kind === "rust" && stage ? `rust ${stage}` : kind;
}

const PLAIN: StyleEntry = { colour: "#555555", pattern: "dots", label: "" };

export function styleOf(styles: Record<string, StyleEntry>, kind: string, stage: string | null): StyleEntry {
  return styles[styleKey(kind, stage)] ?? styles[kind] ?? PLAIN;
}
