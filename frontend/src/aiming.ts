// Aiming with a finger, and the ring round a point that can be dragged: for datum points and ends of bars.

import type MapBrowserEvent from "ol/MapBrowserEvent";
import PointerInteraction from "ol/interaction/Pointer";
import { Circle, Stroke, Style } from "ol/style";

import { fromOl } from "./photo_pane";
import type { XY } from "./types";

export const HOLD_MS = 280;

/** On a touch screen: hold, then slide to aim under the magnifier; lifting the finger sets the point. */
export class AimInteraction extends PointerInteraction {
  justPlaced = false;
  private timer: ReturnType<typeof setTimeout> | undefined;
  private held = false;
  private start: number[] = [0, 0];

  constructor(
    private readonly holdMs: number,
    private readonly aim: (at: XY | null) => void,
    private readonly place: (at: XY) => void,
  ) {
    super();
  }

  override handleEvent(event: MapBrowserEvent<PointerEvent>): boolean {
    const kind = event.type as string;
    const touch = event.originalEvent.pointerType === "touch";
    if (kind === "pointerdown") {
      clearTimeout(this.timer);
      this.justPlaced = this.held = false;
      this.start = event.pixel;
      if (touch && (event.activePointers?.length ?? 1) < 2) {
        const at = fromOl(event.coordinate);
        this.timer = setTimeout(() => {
          this.held = true;
          this.aim(at);
        }, this.holdMs);
      }
    } else if (kind === "pointerdrag") {
      if (this.held) {
        this.aim(fromOl(event.coordinate));
        return false; // the photo stays where it is
      }
      if (Math.hypot(event.pixel[0]! - this.start[0]!, event.pixel[1]! - this.start[1]!) > 8) clearTimeout(this.timer);
    } else if (kind === "pointerup") {
      clearTimeout(this.timer);
      if (this.held) {
        this.held = false;
        this.justPlaced = true;
        this.aim(null);
        this.place(fromOl(event.coordinate));
      }
    }
    return true;
  }
}

export const GRIP = new Style({ image: new Circle({ radius: 11, stroke: new Stroke({ color: "#FFD54A", width: 2.5 }) }) });
