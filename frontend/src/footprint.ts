// What the photo shows of the body, on the map: its outline, and the photo itself beneath the zones' lines.

import Feature, { type FeatureLike } from "ol/Feature";
import type OlMap from "ol/Map";
import { MultiPolygon } from "ol/geom";
import ImageLayer from "ol/layer/Image";
import VectorLayer from "ol/layer/Vector";
import ImageStatic from "ol/source/ImageStatic";
import VectorSource from "ol/source/Vector";
import { Fill, Stroke, Style } from "ol/style";

import { refill, same } from "./features";
import { toOl } from "./photo_pane";
import type { CanvasEntry, DrapedEntry, FootprintEntry } from "./types";

export class Footprint {
  private readonly draped = new ImageLayer<ImageStatic>({ zIndex: 1, opacity: 0.65, visible: false });
  private readonly over: VectorLayer<VectorSource>;
  private readonly outlines = new VectorLayer({ source: new VectorSource(), style: (f) => (f.get("proposed") ? PROPOSED : SHOWN), zIndex: 2 });
  private shown: readonly unknown[] = [];

  /** `body`: panels and zones, whose lines are drawn once more over the photo. */
  constructor(body: VectorSource) {
    this.over = new VectorLayer({ source: body, style: overStyle, zIndex: 2, visible: false });
  }

  get layers() {
    return [this.draped, this.over, this.outlines];
  }

  /** Show it; a proposal is brought into view whole. */
  show(map: OlMap, areas: FootprintEntry[], draped: DrapedEntry | null, told: CanvasEntry["footprint"]): void {
    const shown = [draped, Boolean(told?.proposed), ...areas];
    if (same(shown, this.shown)) return;
    this.shown = shown;
    refill(
      this.outlines,
      areas.map((area) => {
        const polygons = area.map((rings) => rings.map((ring) => [...ring, ring[0]!].map(toOl)));
        return new Feature({ geometry: new MultiPolygon(polygons), proposed: told?.proposed });
      }),
    );
    this.over.setVisible(draped !== null);
    this.draped.setVisible(draped !== null);
    if (draped) this.lay(map, draped);
    const extent = this.outlines.getSource()?.getExtent();
    if (told?.proposed && areas.length && extent && map.getSize()) map.getView().fit(extent, { padding: [40, 40, 40, 40] });
  }

  private lay(map: OlMap, { url, cornerMm: [x, y], sizeMm: [width, height] }: DrapedEntry): void {
    const imageExtent = [x, -y - height, x + width, -y];
    this.draped.setSource(new ImageStatic({ url, imageExtent, projection: map.getView().getProjection() }));
  }
}

function overStyle(feature: FeatureLike): Style | undefined {
  const what = feature.get("what");
  if (what === "panel") return OVER_PANEL;
  return what === "zone" ? OVER_ZONE : undefined;
}

const GREEN = "#0B6B62";
const OVER_PANEL = new Style({ stroke: new Stroke({ color: "#1B1A18", width: 2 }) });
const OVER_ZONE = new Style({ stroke: new Stroke({ color: "rgba(27,26,24,0.8)", width: 1.2 }) });
const SHOWN = [new Style({ stroke: new Stroke({ color: "#fff", width: 5 }) }), new Style({ stroke: new Stroke({ color: GREEN, width: 2.4 }) })];
const PROPOSED = [
  new Style({ stroke: new Stroke({ color: "#fff", width: 5.5 }), fill: new Fill({ color: "rgba(11,107,98,0.1)" }) }),
  new Style({ stroke: new Stroke({ color: GREEN, width: 2.8, lineDash: [10, 6] }) }),
];
