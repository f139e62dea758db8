// Where a photo lies on a panel: the browser's copy of Registration.to_mm and
// to_px, for previews only. Python stays the truth.

import type { PanelEntry, PlacingEntry, Ring, TemplateEntry, XY } from "./types";

const DENSIFY_PX = 50;

export class Placing {
  private readonly inverse: number[];

  constructor(
    readonly panel: PanelEntry,
    readonly entry: PlacingEntry,
  ) {
    this.inverse = inverted(entry.matrix);
  }

  /** Distorted px -> undistorted px; null where the lens model folds over. */
  undistort([x, y]: XY): XY | null {
    const { centre, focal, k1 } = this.entry;
    if (k1 === 0) return [x, y];
    const dx = (x - centre[0]) / focal;
    const dy = (y - centre[1]) / focal;
    const distorted = Math.hypot(dx, dy);
    if (distorted === 0) return [x, y];
    let r = distorted;
    for (let i = 0; i < 30; i++) {
      const slope = 1 + 3 * k1 * r * r;
      if (slope <= 1e-6) return null;
      const step = (r * (1 + k1 * r * r) - distorted) / slope;
      r -= step;
      if (Math.abs(step) < 1e-13 * distorted) break;
    }
    if (Math.abs(r * (1 + k1 * r * r) - distorted) > 1e-9) return null;
    const scale = r / distorted;
    return [centre[0] + dx * scale * focal, centre[1] + dy * scale * focal];
  }

  distort([x, y]: XY): XY {
    const { centre, focal, k1 } = this.entry;
    const dx = (x - centre[0]) / focal;
    const dy = (y - centre[1]) / focal;
    const scale = 1 + k1 * (dx * dx + dy * dy);
    return [centre[0] + dx * scale * focal, centre[1] + dy * scale * focal];
  }

  /** w of an undistorted px: positive on the near side of the horizon. */
  w([x, y]: XY): number {
    const m = this.entry.matrix;
    return m[6]! * x + m[7]! * y + m[8]!;
  }

  private flatToMm([x, y]: XY): XY {
    const m = this.entry.matrix;
    const w = m[6]! * x + m[7]! * y + m[8]!;
    return [(m[0]! * x + m[1]! * y + m[2]!) / w, (m[3]! * x + m[4]! * y + m[5]!) / w];
  }

  /** Full-photo px -> panel mm; null beyond the horizon. */
  toMm(px: XY): XY | null {
    const flat = this.undistort(px);
    if (!flat || this.w(flat) < this.entry.wMin) return null;
    return this.flatToMm(flat);
  }

  /** Panel mm -> full-photo px; null where the photo cannot show it. */
  toPx([u, v]: XY): XY | null {
    const n = this.inverse;
    const q = n[6]! * u + n[7]! * v + n[8]!;
    if (!(q > 0) || 1 / q < this.entry.wMin) return null;
    const flat: XY = [(n[0]! * u + n[1]! * v + n[2]!) / q, (n[3]! * u + n[4]! * v + n[5]!) / q];
    const px = this.distort(flat);
    // beyond the lens model's fold the way back leads elsewhere
    const back = this.undistort(px);
    return back && Math.hypot(back[0] - flat[0], back[1] - flat[1]) < 0.5 ? px : null;
  }

  /** A ring drawn on the photo -> map mm, cut at the horizon, not at the panel's edge. */
  ringToMap(ring: Ring): Ring {
    const flat: Ring = [];
    for (const point of densified(ring, DENSIFY_PX)) {
      const at = this.undistort(point);
      if (at) flat.push(at);
    }
    const near = this.cutAtHorizon(flat);
    return near.map((point) => toMap(this.panel, this.flatToMm(point)));
  }

  /** Sutherland and Hodgman's cut by one straight line. */
  private cutAtHorizon(ring: Ring): Ring {
    const kept: Ring = [];
    const least = this.entry.wMin;
    for (let i = 0; i < ring.length; i++) {
      const a = ring[i]!;
      const b = ring[(i + 1) % ring.length]!;
      const wa = this.w(a) - least;
      const wb = this.w(b) - least;
      if (wa >= 0) kept.push(a);
      if (wa >= 0 !== wb >= 0) {
        const t = wa / (wa - wb);
        kept.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
      }
    }
    return kept;
  }

  /** A line or ring in panel mm as pieces on the photo. */
  lineToPx(line: Ring, closed: boolean, stepMm = 40): Ring[] {
    const pieces: Ring[] = [];
    let piece: Ring = [];
    for (const point of densified(line, stepMm, closed)) {
      const px = this.toPx(point);
      if (px) piece.push(px);
      else if (piece.length) {
        pieces.push(piece);
        piece = [];
      }
    }
    if (piece.length) pieces.push(piece);
    return pieces.filter((part) => part.length > 1);
  }
}

export function toMap(panel: PanelEntry, [u, v]: XY): XY {
  return [
    panel.origin[0] + u * panel.u[0] + v * panel.v[0],
    panel.origin[1] + u * panel.u[1] + v * panel.v[1],
  ];
}

/** Carry everything of a template to the map, once. */
export function layOnMap(template: TemplateEntry): void {
  for (const panel of template.panels) {
    const ring = (points: Ring): Ring => points.map((at) => toMap(panel, at));
    panel.outline = ring(panel.outlineMm);
    for (const zone of panel.zones) zone.outline = ring(zone.outlineMm);
    for (const line of panel.lines) line.line = ring(line.lineMm);
    for (const one of [...panel.datums, ...panel.mountings]) one.at = toMap(panel, one.atMm);
  }
}

export function fromMap(panel: PanelEntry, [x, y]: XY): XY {
  const dx = x - panel.origin[0];
  const dy = y - panel.origin[1];
  return [dx * panel.u[0] + dy * panel.u[1], dx * panel.v[0] + dy * panel.v[1]];
}

export function inside(ring: Ring, [x, y]: XY): boolean {
  let odd = false;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
    const [xi, yi] = ring[i]!;
    const [xj, yj] = ring[j]!;
    if (yi > y !== yj > y && x < ((xj - xi) * (y - yi)) / (yj - yi) + xi) odd = !odd;
  }
  return odd;
}

export function densified(ring: Ring, step: number, closed = true): Ring {
  const dense: Ring = [];
  const count = closed ? ring.length : ring.length - 1;
  for (let i = 0; i < count; i++) {
    const a = ring[i]!;
    const b = ring[(i + 1) % ring.length]!;
    const parts = Math.min(400, Math.max(1, Math.ceil(Math.hypot(b[0] - a[0], b[1] - a[1]) / step)));
    for (let k = 0; k < parts; k++) {
      dense.push([a[0] + ((b[0] - a[0]) * k) / parts, a[1] + ((b[1] - a[1]) * k) / parts]);
    }
  }
  const last = closed ? ring[0] : ring[ring.length - 1];
  if (!closed || dense.length) if (last) dense.push(closed ? [...last] : last);
  return dense;
}

function inverted(m: number[]): number[] {
  const [a, b, c, d, e, f, g, h, i] = m as [number, number, number, number, number, number, number, number, number];
  const A = e * i - f * h;
  const B = f * g - d * i;
  const C = d * h - e * g;
  const det = a * A + b * B + c * C;
  return [A, c * h - b * i, b * f - c * e, B, a * i - c * g, c * d - a * f, C, b * g - a * h, a * e - b * d].map(
    (value) => value / det,
  );
}

/** Signed area of a ring by the shoelace formula. */
export function ringArea(ring: Ring): number {
  let twice = 0;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) twice += ring[j]![0] * ring[i]![1] - ring[i]![0] * ring[j]![1];
  return twice / 2;
}

/** Distance of a place from a straight piece between two others. */
export function toSegment(at: XY, a: XY, b: XY): number {
  const along: XY = [b[0] - a[0], b[1] - a[1]];
  const square = along[0] ** 2 + along[1] ** 2;
  const t = square ? Math.min(1, Math.max(0, ((at[0] - a[0]) * along[0] + (at[1] - a[1]) * along[1]) / square)) : 0;
  return Math.hypot(at[0] - a[0] - t * along[0], at[1] - a[1] - t * along[1]);
}
