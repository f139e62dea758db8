// One photo: tiles, pan, zoom, turn, lifted shadows. OpenLayers' y runs up,
// a photo's down: coordinates inside OpenLayers are (x, -y).

import OlMap from "ol/Map";
import View from "ol/View";
import type { Coordinate } from "ol/coordinate";
import { defaults as defaultInteractions } from "ol/interaction/defaults";
import type TileLayer from "ol/layer/Tile";
import Projection from "ol/proj/Projection";
import ImageTile from "ol/source/ImageTile";
import TileGrid from "ol/tilegrid/TileGrid";

import { StillTiles } from "./still";
import type { PhotoEntry, XY } from "./types";

export const TILE_PX = 512;

export function toOl([x, y]: XY): Coordinate {
  return [x, -y];
}

export function fromOl(at: Coordinate): XY {
  return [at[0]!, 0 - at[1]!];
}

export function topLevel(photo: PhotoEntry): number {
  return Math.max(0, Math.ceil(Math.log2(Math.max(photo.width, photo.height) / TILE_PX)));
}

async function fetchTile(url: string, signal: AbortSignal): Promise<HTMLCanvasElement> {
  const answer = await fetch(url, { signal });
  if (!answer.ok) throw new Error(`${answer.status}: ${(await answer.text()).slice(0, 200)}`);
  const bitmap = await createImageBitmap(await answer.blob());
  // tiles at the edge are smaller; OpenLayers would stretch them
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = TILE_PX;
  canvas.getContext("2d")?.drawImage(bitmap, 0, 0);
  bitmap.close();
  return canvas;
}

function makeSource(photo: PhotoEntry, failed: (text: string) => void): ImageTile {
  const top = topLevel(photo);
  const extent = photoExtent(photo);
  const grid = new TileGrid({
    extent,
    origin: [extent[0]!, extent[3]!],
    resolutions: Array.from({ length: top + 1 }, (_, z) => 2 ** (top - z)),
    tileSize: TILE_PX,
  });
  return new ImageTile({
    loader: async (z, x, y, options) => {
      const url = photo.tileUrl.replace("{z}", `${z}`).replace("{x}", `${x}`).replace("{y}", `${y}`);
      const signal = (options as { signal?: AbortSignal }).signal ?? new AbortController().signal;
      try {
        return await fetchTile(url, signal);
      } catch (error) {
        if (!signal.aborted) failed(error instanceof Error ? error.message : String(error));
        throw error;
      }
    },
    tileGrid: grid,
    projection: new Projection({ code: `photo-${photo.id}`, units: "pixels", extent }),
    wrapX: false,
    transition: 0,
  });
}

/** Pixel centres are whole numbers: the photo reaches from -0.5 to width - 0.5. */
export function photoExtent(photo: PhotoEntry): [number, number, number, number] {
  return [-0.5, 0.5 - photo.height, photo.width - 0.5, 0.5];
}

export class PhotoPane {
  readonly map: OlMap;
  readonly tiles: TileLayer<ImageTile>;
  photo: PhotoEntry | null = null;
  onFailure: (text: string) => void = () => undefined;
  private whole = true;
  private readonly views = new Map<string, View>();

  constructor(readonly host: HTMLElement) {
    this.tiles = new StillTiles({ className: "cm-tiles", preload: 1 });
    this.map = new OlMap({
      target: host,
      layers: [this.tiles],
      controls: [],
      interactions: defaultInteractions({
        doubleClickZoom: false,
        keyboard: false,
        altShiftDragRotate: false,
        shiftDragZoom: false,
        pinchRotate: false,
      }),
      moveTolerance: 4,
    });
    // as long as nobody has moved the photo it stays whole, also when the pane changes its size
    // (a listener that gives back false would stop the event: hence the braces)
    this.map.on("change:size", () => {
      if (this.whole) this.fit(0);
    });
    for (const name of ["pointerdrag", "wheel"]) {
      this.map.on(name as "pointerdrag", () => {
        this.whole = false;
      });
    }
  }

  show(photo: PhotoEntry): void {
    const same = this.photo?.id === photo.id && this.photo.tileUrl === photo.tileUrl;
    this.photo = photo;
    if (same) return;
    const source = makeSource(photo, (text) => this.onFailure(text));
    this.tiles.setSource(source);
    let view = this.views.get(photo.id);
    if (!view) {
      const extent = photoExtent(photo);
      view = new View({
        projection: source.getProjection() ?? undefined,
        center: [(extent[0] + extent[2]) / 2, (extent[1] + extent[3]) / 2],
        resolution: Math.max(photo.width, photo.height) / 600,
        minResolution: 1 / 24,
        maxResolution: Math.max(photo.width, photo.height) / 150,
        constrainRotation: false,
        extent: [extent[0] - photo.width / 2, extent[1] - photo.height / 2, extent[2] + photo.width / 2, extent[3] + photo.height / 2],
        constrainOnlyCenter: true,
        smoothResolutionConstraint: false,
      });
      this.views.set(photo.id, view);
      this.map.setView(view);
      this.fit(0);
    } else {
      this.whole = false;
      this.map.setView(view);
    }
    this.shape();
  }

  /** On a narrow screen the pane takes the photo's shape; see canvas.css. */
  private shape(): void {
    if (!this.photo) return;
    const lying = Math.round(this.view.getRotation() / (Math.PI / 2)) % 2 === 0;
    const { width, height } = this.photo;
    this.host.style.setProperty("--cm-aspect", `${lying ? height / width : width / height}`);
  }

  get view(): View {
    return this.map.getView();
  }

  get resolution(): number {
    return this.view.getResolution() ?? 1;
  }

  fit(duration = 150): void {
    this.whole = true;
    const size = this.map.getSize();
    if (this.photo && size && size[0]! > 0 && size[1]! > 0) this.view.fit(photoExtent(this.photo), { padding: [6, 6, 6, 6], duration });
  }

  zoomBy(steps: number): void {
    this.whole = false;
    const zoom = this.view.getZoom();
    if (zoom !== undefined) this.view.animate({ zoom: zoom + steps, duration: 120 });
  }

  turn(quarter: 1 | -1): void {
    this.view.setRotation(Math.round(this.view.getRotation() / (Math.PI / 2) + quarter) * (Math.PI / 2));
    this.shape();
    this.fit(0);
  }

  center(): XY {
    return fromOl(this.view.getCenter() ?? [0, 0]);
  }

  /** Show a place, scrolling only when it is out of sight. */
  reveal(px: XY): void {
    const at = this.map.getPixelFromCoordinate(toOl(px));
    const size = this.map.getSize();
    if (!at || !size) return;
    const margin = 24;
    if (at[0]! < margin || at[1]! < margin || at[0]! > size[0]! - margin || at[1]! > size[1]! - margin) {
      this.whole = false;
      this.view.setCenter(toOl(px));
    }
  }

  destroy(): void {
    this.map.setTarget(undefined);
    this.map.dispose();
  }
}
