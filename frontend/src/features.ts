// Features on the screen. A layer whose features change is drawn anew and, without
// a graphics card, copied pixel by pixel: so nothing is touched that stays as it is.

import type Feature from "ol/Feature";
import type VectorLayer from "ol/layer/Vector";
import type VectorSource from "ol/source/Vector";

export interface Wanted {
  name: string;
  stamp: readonly unknown[]; // the feature is made anew when one of these is another
  make: () => Feature;
}

/** Features by name: only those that changed are taken away and added. */
export class Keeper {
  private kept = new Map<string, { stamp: readonly unknown[]; feature: Feature }>();

  constructor(private readonly source: VectorSource) {}

  /** Show what is wanted and nothing else; gives back the features, in the same order. */
  show(wanted: readonly Wanted[]): Feature[] {
    const before = this.kept;
    this.kept = new Map();
    const added: Feature[] = [];
    const shown = wanted.map(({ name, stamp, make }) => {
      const known = before.get(name);
      const stays = known !== undefined && same(known.stamp, stamp);
      const feature = stays ? known.feature : make();
      if (stays) before.delete(name);
      else added.push(feature);
      this.kept.set(name, { stamp, feature });
      return feature;
    });
    const gone = [...before.values()].map((one) => one.feature);
    if (gone.length) this.source.removeFeatures(gone);
    if (added.length) this.source.addFeatures(added);
    return shown;
  }

  /** The source was emptied by somebody else. */
  forget(): void {
    this.kept.clear();
  }
}

export function same(one: readonly unknown[], other: readonly unknown[]): boolean {
  return one.length === other.length && one.every((value, i) => value === other[i]);
}

export function refill(target: VectorLayer<VectorSource>, features: Feature[]): void {
  const source = target.getSource();
  if (!source || (!features.length && source.isEmpty())) return;
  source.clear(true);
  source.addFeatures(features);
}

/** Replace an element's text only when it is another: the page is laid out anew for every replacement. */
export function setText(element: HTMLElement, text: string): void {
  if (element.textContent !== text) element.textContent = text;
}
