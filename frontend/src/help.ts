// What to do next, above the panes, and under the photo what its scales say.

import type { Bars } from "./bars";
import type { Datums } from "./datums";
import { setText } from "./features";
import type { Frame } from "./frame";
import type { Marking } from "./marking";
import type { PlacingTool } from "./placing_tool";
import { placeHelp, toolHelp } from "./texts";
import type { CanvasEntry } from "./types";

export interface AtHand {
  marking: Marking;
  placer: PlacingTool;
  bars: Bars;
  datums: Datums;
  touch: boolean;
}

/** Say it only where it is another: the page is laid out anew for every replacement. */
export function showHelp({ help, said }: Frame, state: CanvasEntry, hand: AtHand): void {
  const words = helpLine(state, hand);
  setText(help, words);
  help.hidden = !words;
  const scales = state.mode === "place" ? hand.bars.said : "";
  setText(said, scales);
  said.hidden = !scales;
  said.classList.toggle("cm-agrees", hand.bars.agrees);
}

function helpLine(state: CanvasEntry, { marking, placer, bars, datums, touch }: AtHand): string {
  const words: string[] = [];
  if (state.mode === "mark") {
    words.push(toolHelp(marking.tool, marking.points().length, marking.selected.length, touch, marking.isCarrying));
  } else if (state.mode === "place" && bars.on) {
    words.push(bars.help(touch));
  } else if (state.mode === "place") {
    const datum = datums.entry(placer.datum);
    words.push(placeHelp(datum?.name ?? null, datum?.description ?? "", placer.sighting(placer.datum) !== undefined, touch));
  }
  if (state.message) words.push(state.message);
  return words.join(" ");
}
