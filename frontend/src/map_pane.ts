// The body template as a flat map, seen from below, front at the top.

import Feature, { type FeatureLike } from "ol/Feature";
import OlMap from "ol/Map";
import View from "ol/View";
import { boundingExtent } from "ol/extent";
import { LineString, MultiPolygon, Point, Polygon } from "ol/geom";
import { defaults as defaultInteractions } from "ol/interaction/defaults";
import VectorLayer from "ol/layer/Vector";
import Projection from "ol/proj/Projection";
import VectorSource from "ol/source/Vector";
import { Circle, Fill, RegularShape, Stroke, Style, Text } from "ol/style";

import { Keeper, refill, same } from "./features";
import { Footprint } from "./footprint";
import { markStyles, styleOf } from "./paint";
import { inside, layOnMap } from "./placing";
import { toOl } from "./photo_pane";
import type { DatumEntry, PanelEntry, ProjectedEntry, Ring, StyleEntry, TemplateEntry, XY } from "./types";

export interface Preview {
  panel: PanelEntry;
  ring: Ring; // map mm, not yet cut at the panel's edge
  holes: Ring[];
  kind: string;
  stage: string | null;
  behind: Ring[]; // map mm: what stands in front of the panel
}

const PANEL_FILL = "#F1EEE6"; // the palette's contrast is checked on it, so it stays in the dark theme

export function polygon(rings: Ring[]): Polygon {
  return new Polygon(rings.map((ring) => [...ring, ring[0]!].map(toOl)));
}

function layer(style: (feature: FeatureLike, resolution: number) => Style | Style[] | undefined, z: number, declutter = false) {
  return new VectorLayer({ source: new VectorSource(), style, zIndex: z, declutter, updateWhileInteracting: true });
}

export class MapPane {
  readonly map: OlMap;
  template: TemplateEntry | null = null;
  activePanel: string | null = null;
  datum: string | null = null;
  sighted = new Set<string>();
  showDatums = false;
  private styles: Record<string, StyleEntry> = {};
  // panels and marks share a layer: a crossmember must hide what lies on the floor behind it
  private readonly body = layer((f) => (f.get("entry") ? this.projectedStyle(f) : this.groundStyle(f)), 0);
  private readonly projected = new Keeper(this.body.getSource()!);
  private readonly depths = new Map<string, number>();
  readonly footprint = new Footprint(this.body.getSource()!);
  private readonly preview = layer((f) => this.previewStyle(f), 3);
  private readonly names = layer((f, r) => this.nameStyle(f, r), 5, true);
  private readonly points = layer((f, r) => this.pointStyle(f, r), 6);
  private readonly cross = layer(() => CROSS, 9);
  private pulse: ReturnType<typeof setInterval> | undefined;
  private phase = 0;

  constructor(readonly host: HTMLElement) {
    this.map = new OlMap({
      target: host,
      layers: [this.body, ...this.footprint.layers, this.preview, this.names, this.points, this.cross],
      controls: [],
      interactions: defaultInteractions({
        doubleClickZoom: false,
        keyboard: false,
        altShiftDragRotate: false,
        pinchRotate: false,
        shiftDragZoom: false,
      }),
      moveTolerance: 4,
    });
  }

  setStyles(styles: Record<string, StyleEntry>): void {
    if (styles === this.styles) return;
    this.styles = styles;
    this.body.changed();
  }

  setTemplate(template: TemplateEntry): void {
    if (this.template === template) return;
    this.template = template;
    layOnMap(template);
    const ground: Feature[] = [];
    const names: Feature[] = [];
    const points: Feature[] = [];
    for (const [depth, panel] of template.panels.entries()) {
      this.depths.set(panel.id, depth);
      ground.push(new Feature({ geometry: polygon([panel.outline]), what: "panel", panel: panel.id, depth }));
      for (const { kind, line } of panel.lines) {
        ground.push(new Feature({ geometry: new LineString(line.map(toOl)), what: "line", kind, depth }));
      }
      for (const zone of panel.zones) {
        ground.push(new Feature({ geometry: polygon([zone.outline]), what: "zone", role: zone.role, depth }));
        names.push(new Feature({ geometry: new Point(polygon([zone.outline]).getInteriorPoint().getCoordinates()), text: zone.name }));
      }
      for (const mounting of panel.mountings) {
        points.push(new Feature({ geometry: new Point(toOl(mounting.at)), what: "mounting", text: mounting.name }));
      }
      for (const datum of panel.datums) {
        points.push(new Feature({ geometry: new Point(toOl(datum.at)), what: "datum", id: datum.id, panel: panel.id }));
      }
    }
    this.projected.forget();
    refill(this.body, ground);
    refill(this.names, names);
    refill(this.points, points);
    this.resetView();
  }

  private resetView(): void {
    const extent = this.extent(null);
    const wide = [extent[0]! - 400, extent[1]! - 400, extent[2]! + 400, extent[3]! + 400];
    this.map.setView(
      new View({
        projection: new Projection({ code: "body-map", units: "pixels", extent: wide }),
        center: [(extent[0]! + extent[2]!) / 2, (extent[1]! + extent[3]!) / 2],
        resolution: 8,
        minResolution: 0.2,
        maxResolution: 40,
        extent: wide,
        constrainOnlyCenter: true,
        smoothResolutionConstraint: false,
      }),
    );
    this.fitWhenSized();
  }

  private fitWhenSized(): void {
    const size = this.map.getSize();
    if (size && size[0]! > 0 && size[1]! > 0) this.fit(this.activePanel, 0);
    else this.map.once("change:size", () => this.fitWhenSized());
  }

  private extent(panel: string | null) {
    const rings = (this.template?.panels ?? []).filter((p) => panel === null || p.id === panel).map((p) => p.outline);
    return boundingExtent(rings.flat().map(toOl));
  }

  fit(panel: string | null = null, duration = 150): void {
    if (!this.template?.panels.length) return;
    const known = panel !== null && this.template.panels.some((p) => p.id === panel);
    this.map.getView().fit(this.extent(known ? panel : null), { padding: [26, 26, 26, 26], duration });
  }

  zoomBy(steps: number): void {
    const zoom = this.map.getView().getZoom();
    if (zoom !== undefined) this.map.getView().animate({ zoom: zoom + steps, duration: 120 });
  }

  setActivePanel(panel: string | null): void {
    if (panel === this.activePanel) return;
    this.activePanel = panel;
    this.body.changed();
    this.points.changed();
    this.fitWhenSized();
  }

  setDatum(datum: string | null, sighted: Set<string>, show: boolean): void {
    if (datum === this.datum && show === this.showDatums && same([...sighted], [...this.sighted])) return;
    this.datum = datum;
    this.sighted = sighted;
    this.showDatums = show;
    this.points.changed();
    clearInterval(this.pulse);
    const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.phase = 0.5;
    if (datum && show && !still) {
      this.pulse = setInterval(() => {
        this.phase = (this.phase + 0.08) % 1;
        this.points.changed();
      }, 80);
    }
  }

  setProjected(entries: ProjectedEntry[], selected: ReadonlySet<string>, muted: ReadonlySet<string>): void {
    this.projected.show(
      entries
        .filter((entry) => !muted.has(entry.mark))
        .map((entry) => ({
          name: `${entry.mark}/${entry.panel}`,
          stamp: [entry, selected.has(entry.mark)],
          make: () =>
            new Feature({
              geometry: new MultiPolygon(entry.area.map((rings) => rings.map((ring) => [...ring, ring[0]!].map(toOl)))),
              entry,
              selected: selected.has(entry.mark),
            }),
        })),
    );
  }

  setPreview(previews: Preview[]): void {
    const features = previews
      .filter((preview) => preview.ring.length > 2)
      .map(
        (preview) =>
          new Feature({
            geometry: new MultiPolygon([
              polygon([preview.ring, ...preview.holes.filter((hole) => hole.length > 2)]),
              polygon([preview.panel.outline]),
              ...preview.behind.filter((ring) => ring.length > 2).map((ring) => polygon([ring])),
            ]),
            preview,
          }),
      );
    refill(this.preview, features);
  }

  setCross(at: XY | null): void {
    refill(this.cross, at ? [new Feature(new Point(toOl(at)))] : []);
    if (!at) return;
    const pixel = this.map.getPixelFromCoordinate(toOl(at));
    const size = this.map.getSize();
    if (pixel && size && (pixel[0]! < 0 || pixel[1]! < 0 || pixel[0]! > size[0]! || pixel[1]! > size[1]!)) {
      this.map.getView().setCenter(toOl(at));
    }
  }

  /** The frontmost panel under a place on the map. */
  panelAt(at: XY): PanelEntry | null {
    const found = (this.template?.panels ?? []).filter((panel) => inside(panel.outline, at));
    return found.find((panel) => !found.some((other) => other.covers.includes(panel.id))) ?? found[0] ?? null;
  }

  datumAt(pixel: number[], reach: number): { datum: DatumEntry; panel: PanelEntry } | null {
    let best: { datum: DatumEntry; panel: PanelEntry; gap: number } | null = null;
    for (const panel of this.template?.panels ?? []) {
      for (const datum of panel.datums) {
        const at = this.map.getPixelFromCoordinate(toOl(datum.at));
        if (!at) continue;
        const prefer = panel.id === this.activePanel ? 0.6 : 1;
        const gap = Math.hypot(at[0]! - pixel[0]!, at[1]! - pixel[1]!) * prefer;
        if (gap <= reach && (!best || gap < best.gap)) best = { datum, panel, gap };
      }
    }
    return best;
  }

  private groundStyle(feature: FeatureLike): Style | Style[] {
    const depth = (feature.get("depth") as number) * 4;
    switch (feature.get("what")) {
      case "panel": {
        const base = new Style({ fill: new Fill({ color: PANEL_FILL }), stroke: new Stroke({ color: "#3B3A36", width: 1.6 }), zIndex: depth });
        if (feature.get("panel") !== this.activePanel) return base;
        return [base, new Style({ stroke: new Stroke({ color: "#1F4E79", width: 4 }), zIndex: 1e4 })];
      }
      case "line":
        return new Style({ stroke: new Stroke({ color: "#C3BCAB", width: 1, lineDash: feature.get("kind") === "seam" ? [3, 3] : undefined }), zIndex: depth + 1 });
      default: {
        const primary = feature.get("role") === "primary";
        return new Style({ stroke: new Stroke({ color: primary ? "#5B5850" : "#9A968A", width: primary ? 1.3 : 0.9 }), zIndex: depth + 2 });
      }
    }
  }

  private projectedStyle(feature: FeatureLike): Style[] {
    const entry = feature.get("entry") as ProjectedEntry;
    const zIndex = (this.depths.get(entry.panel) ?? 0) * 4 + 3;
    return markStyles(styleOf(this.styles, entry.kind, entry.stage), { casing: false, selected: Boolean(feature.get("selected")), zIndex });
  }

  /** Fill and line cut at the panel's edge, and not drawn where another panel stands in front. */
  private previewStyle(feature: FeatureLike): Style[] {
    const preview = feature.get("preview") as Preview;
    const looks = markStyles(styleOf(this.styles, preview.kind, preview.stage), { casing: false, selected: true });
    return [
      new Style({
        renderer: (pixels, state) => {
          const [mark, panel, ...behind] = pixels as unknown as number[][][][];
          const ctx = state.context;
          ctx.save();
          trace(ctx, panel!);
          ctx.clip();
          for (const ring of behind) {
            ctx.beginPath();
            ctx.rect(-1e5, -1e5, 2e5, 2e5);
            path(ctx, ring);
            ctx.clip("evenodd");
          }
          trace(ctx, mark!);
          for (const look of looks) {
            const fill = look.getFill();
            const stroke = look.getStroke();
            if (fill) {
              ctx.fillStyle = fill.getColor() as string;
              ctx.fill("evenodd");
            }
            if (stroke) {
              ctx.lineWidth = (stroke.getWidth() ?? 1) * state.pixelRatio;
              ctx.strokeStyle = stroke.getColor() as string;
              ctx.stroke();
            }
          }
          ctx.restore();
        },
      }),
    ];
  }

  private nameStyle(feature: FeatureLike, resolution: number): Style | undefined {
    if (resolution > 2.6) return undefined;
    return new Style({
      text: new Text({
        text: wrapped(String(feature.get("text"))),
        font: "500 12px sans-serif",
        fill: new Fill({ color: "#2A2926" }),
        stroke: new Stroke({ color: "rgba(241,238,230,0.9)", width: 3 }),
      }),
    });
  }

  private pointStyle(feature: FeatureLike, resolution: number): Style | Style[] | undefined {
    if (feature.get("what") === "mounting") return resolution > 9 ? undefined : MOUNTING;
    if (!this.showDatums) return undefined;
    const id = feature.get("id") as string;
    const own = feature.get("panel") === this.activePanel;
    const done = this.sighted.has(id);
    if (id === this.datum) {
      const swell = 10 + 7 * Math.sin(this.phase * 2 * Math.PI);
      return [
        new Style({ image: new Circle({ radius: Math.max(4, swell), stroke: new Stroke({ color: "rgba(31,78,121,0.55)", width: 3 }) }), zIndex: 3 }),
        new Style({ image: new Circle({ radius: 6.5, fill: new Fill({ color: "#1F4E79" }), stroke: new Stroke({ color: "#fff", width: 2 }) }), zIndex: 4 }),
      ];
    }
    if (!own && !done) {
      return resolution > 6 ? undefined : new Style({ image: new Circle({ radius: 3, stroke: new Stroke({ color: "#6B7A88", width: 1.2 }), fill: new Fill({ color: "#fff" }) }) });
    }
    return new Style({
      image: new Circle({
        radius: 5.5,
        fill: new Fill({ color: done ? "#1F4E79" : "#FFFFFF" }),
        stroke: new Stroke({ color: done ? "#fff" : "#1F4E79", width: 2 }),
      }),
      zIndex: 2,
    });
  }

  destroy(): void {
    clearInterval(this.pulse);
    this.map.setTarget(undefined);
    this.map.dispose();
  }
}

const CROSS = [
  new Style({ image: new RegularShape({ points: 4, radius: 13, radius2: 0, angle: 0, stroke: new Stroke({ color: "#fff", width: 5 }) }) }),
  new Style({ image: new RegularShape({ points: 4, radius: 13, radius2: 0, angle: 0, stroke: new Stroke({ color: "#B00020", width: 2 }) }) }),
];

const MOUNTING = new Style({
  image: new RegularShape({ points: 4, radius: 6, angle: 0, fill: new Fill({ color: "#fff" }), stroke: new Stroke({ color: "#2A2926", width: 1.6 }) }),
});

function path(ctx: CanvasRenderingContext2D, rings: number[][][]): void {
  for (const ring of rings) {
    ring.forEach((at, i) => (i ? ctx.lineTo(at[0]!, at[1]!) : ctx.moveTo(at[0]!, at[1]!)));
    ctx.closePath();
  }
}

function trace(ctx: CanvasRenderingContext2D, rings: number[][][]): void {
  ctx.beginPath();
  path(ctx, rings);
}

function wrapped(text: string): string {
  const lines = [""];
  for (const word of text.split(" ")) {
    const last = lines[lines.length - 1]!;
    if (last && last.length + word.length > 14) lines.push(word);
    else lines[lines.length - 1] = last ? `${last} ${word}` : word;
  }
  return lines.join("\n");
}

