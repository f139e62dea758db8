// Notes on the elements for whoever drives or times the canvas from outside: where the
// panes look, what is drawn, and how long an answer took.

import type OlMap from "ol/Map";

import type { Outbox } from "./outbox";
import { fromOl, type PhotoPane } from "./photo_pane";
import type { CanvasData } from "./types";

/** Write on an element where a pane looks, for whoever drives the canvas from outside. */
export function noteView(element: HTMLElement, name: string, map: OlMap): void {
  const view = map.getView();
  const center = view.getCenter();
  const text = center ? JSON.stringify([...fromOl(center), view.getResolution(), view.getRotation()]) : "";
  if (element.dataset[name] !== text) element.dataset[name] = text;
}

export function noteDrawn(root: HTMLElement, pane: PhotoPane, map: OlMap): void {
  pane.map.on("rendercomplete", () => {
    root.dataset["drawn"] = pane.photo?.id ?? "";
  });
  pane.map.on("postrender", () => noteView(root, "view", pane.map));
  map.on("postrender", () => noteView(root, "mapView", map));
}

/** Python's answer is taken in: which event it follows, and when the map shows it. */
export function noteAnswer(root: HTMLElement, outbox: Outbox, map: OlMap, data: CanvasData, marks: number): void {
  const { dataset } = root;
  const seq = data.applied?.client === outbox.client ? data.applied.seq : 0;
  const since = outbox.emittedAt.get(seq);
  dataset["applied"] = `${seq}`;
  dataset["revision"] = `${data.sync.revision}`;
  dataset["marks"] = `${marks}`;
  if (since === undefined) return;
  outbox.emittedAt.delete(seq);
  map.once("postrender", () => {
    dataset["latencyMs"] = (performance.now() - since).toFixed(1);
    dataset["latencySeq"] = `${seq}`;
  });
  map.render();
}

export interface Noted {
  mode: string;
  datum: string | null;
  points: number;
  chosen: string[];
  bars: boolean;
}

export function noteState({ dataset }: HTMLElement, { mode, datum, points, chosen, bars }: Noted): void {
  dataset["mode"] = mode;
  dataset["datum"] = datum ?? "";
  dataset["points"] = `${points}`;
  dataset["chosen"] = chosen.join(" ");
  dataset["clicks"] = bars ? "bars" : "points";
}
