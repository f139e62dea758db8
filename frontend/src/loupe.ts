// A magnifier beside the pointer, above the finger on a touch screen. It is a
// small map of its own on the same tiles, so it shows the full detail.

import OlMap from "ol/Map";
import View from "ol/View";
import TileLayer from "ol/layer/Tile";
import type VectorLayer from "ol/layer/Vector";
import VectorLayerMake from "ol/layer/Vector";
import type VectorSource from "ol/source/Vector";
import type { StyleLike } from "ol/style/Style";

import type { PhotoPane } from "./photo_pane";
import { toOl } from "./photo_pane";
import type { XY } from "./types";

const SIZE = 132;
const ENLARGED = 4;
const CLEAR_PX = { mouse: 28, touch: 64 };

export class Loupe {
  readonly element: HTMLElement;
  private readonly map: OlMap;
  private readonly tiles = new TileLayer({ className: "cm-tiles" });

  constructor(
    private readonly pane: PhotoPane,
    host: HTMLElement,
    overlays: VectorLayer<VectorSource>[],
  ) {
    this.element = document.createElement("div");
    this.element.className = "cm-loupe";
    this.element.hidden = true;
    this.element.setAttribute("aria-hidden", "true");
    host.append(this.element);
    this.map = new OlMap({
      target: this.element,
      controls: [],
      interactions: [],
      layers: [
        this.tiles,
        ...overlays.map(
          (layer) => new VectorLayerMake({ source: layer.getSource() ?? undefined, style: layer.getStyle() as StyleLike, updateWhileAnimating: true }),
        ),
      ],
    });
  }

  show(at: XY, touch: boolean): void {
    const source = this.pane.tiles.getSource();
    const pixel = this.pane.map.getPixelFromCoordinate(toOl(at));
    const size = this.pane.map.getSize();
    if (!source || !pixel || !size) return;
    if (this.tiles.getSource() !== source) this.tiles.setSource(source);
    const wasHidden = this.element.hidden;
    this.element.hidden = false;
    if (wasHidden) this.map.updateSize();
    this.map.setView(
      new View({
        projection: this.pane.view.getProjection(),
        center: toOl(at),
        resolution: Math.max(1 / 24, this.pane.resolution / ENLARGED),
        rotation: this.pane.view.getRotation(),
        constrainResolution: false,
      }),
    );
    const clear = touch ? CLEAR_PX.touch : CLEAR_PX.mouse;
    const [x, y] = place(pixel, size, clear, touch);
    this.element.style.transform = `translate(${x}px, ${y}px)`;
  }

  hide(): void {
    this.element.hidden = true;
  }

  destroy(): void {
    this.map.setTarget(undefined);
    this.map.dispose();
  }
}

/** Above the finger; beside the mouse; turned over where there is no room. */
function place(pixel: number[], size: number[], clear: number, touch: boolean): [number, number] {
  const [px, py] = pixel as [number, number];
  const [w, h] = size as [number, number];
  let x = touch ? px - SIZE / 2 : px + clear;
  let y = touch ? py - SIZE - clear : py - SIZE - clear / 2;
  if (!touch && x + SIZE > w) x = px - SIZE - clear;
  if (y < 0) {
    y = touch ? Math.max(0, py - SIZE / 2) : py + clear;
    if (touch) x = px > w / 2 ? px - SIZE - clear : px + clear;
  }
  return [Math.min(Math.max(0, x), w - SIZE), Math.min(Math.max(0, y), h - SIZE)];
}
