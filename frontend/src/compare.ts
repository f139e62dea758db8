// Further photos beside the one worked on. When both are placed on the panel
// looked at, they show the same place at the same scale.

import { PhotoLayers } from "./photo_layers";
import { noteView } from "./notes";
import { PhotoPane, toOl } from "./photo_pane";
import type { Placing } from "./placing";
import type { MarkEntry, PhotoEntry, StyleEntry, XY } from "./types";

export class ComparePane {
  readonly element: HTMLElement;
  readonly pane: PhotoPane;
  readonly layers = new PhotoLayers();
  private readonly caption: HTMLElement;

  constructor(host: HTMLElement) {
    this.element = document.createElement("figure");
    this.element.className = "cm-pane cm-compare";
    this.element.innerHTML = `<div class="cm-view"></div><figcaption class="cm-caption"></figcaption>`;
    host.insertBefore(this.element, host.querySelector(".cm-lengthbar"));
    this.caption = this.element.querySelector(".cm-caption")!;
    this.pane = new PhotoPane(this.element.querySelector<HTMLElement>(".cm-view")!);
    for (const layer of this.layers.all) this.pane.map.addLayer(layer);
    this.pane.map.on("postrender", () => noteView(this.element, "view", this.pane.map));
  }

  update(photo: PhotoEntry, marks: MarkEntry[], placings: Placing[], styles: Record<string, StyleEntry>, active: string | null): void {
    this.pane.show(photo);
    this.layers.setStyles(styles);
    this.layers.setMarks(marks, new Set());
    this.layers.setTemplate(placings, active);
    this.caption.textContent = placings.length ? photo.name : `${photo.name}: not placed yet, so it cannot follow`;
  }

  /** Show a place of a panel; the scale follows the main photo's millimetres per screen pixel. */
  follow(placing: Placing | undefined, mm: XY, mmPerScreenPx: number): void {
    const px = placing?.toPx(mm);
    if (!placing || !px) return;
    const right = placing.toPx([mm[0] + 1, mm[1]]);
    const up = placing.toPx([mm[0], mm[1] + 1]);
    this.pane.view.setCenter(toOl(px));
    if (right && up) {
      const pxPerMm = Math.sqrt(Math.abs((right[0] - px[0]) * (up[1] - px[1]) - (right[1] - px[1]) * (up[0] - px[0])));
      if (pxPerMm > 0) this.pane.view.setResolution(mmPerScreenPx * pxPerMm);
    }
  }

  destroy(): void {
    this.pane.destroy();
    this.element.remove();
  }
}
