// Tiles that are drawn only when they or the view are others. OpenLayers draws every
// layer of a map whenever one of them changes; without a graphics card the whole photo
// would be painted again, and copied to the screen, for every point of an outline.

import type { FrameState } from "ol/Map";
import TileLayer from "ol/layer/Tile";
import type CanvasTileLayerRenderer from "ol/renderer/canvas/TileLayer";
import type ImageTile from "ol/source/ImageTile";

import { same } from "./features";

export class StillTiles extends TileLayer<ImageTile> {
  private shown: HTMLElement | null = null;
  private state: readonly unknown[] = [];

  override render(frame: FrameState | null, target: HTMLElement): HTMLElement | null {
    if (!frame) return super.render(frame, target);
    const { center, resolution, rotation } = frame.viewState;
    const source = this.getSource();
    const state = [...center, resolution, rotation, ...frame.size, frame.pixelRatio, source, source?.getRevision(), this.getRevision()];
    if (this.shown && same(state, this.state)) return this.shown;
    this.shown = super.render(frame, target);
    // a tile that is still on its way makes no new revision: until all are painted, every frame draws them
    const isWhole = (this.getRenderer() as CanvasTileLayerRenderer).renderComplete;
    this.state = isWhole ? state : [];
    return this.shown;
  }
}
