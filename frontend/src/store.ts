// Entries as Python sent them. Only differences travel: each revision names the
// one it builds on, so a few earlier ones are kept.

import type { Entry, Sync } from "./types";

const KEPT = 12;

export class Store {
  private snapshots = new Map<number, Map<string, Entry>>();
  current = new Map<string, Entry>();
  revision: number | null = null;

  /** Take in a difference; false when its base is not here and all must be sent again. */
  apply(sync: Sync): boolean {
    if (sync.revision === this.revision) return true;
    const base = sync.base === null ? new Map<string, Entry>() : this.snapshots.get(sync.base);
    if (!base) return false;
    const next = new Map(base);
    for (const key of sync.gone) next.delete(key);
    for (const [key, entry] of Object.entries(sync.put)) next.set(key, entry);
    this.snapshots.set(sync.revision, next);
    this.current = next;
    this.revision = sync.revision;
    while (this.snapshots.size > KEPT) {
      this.snapshots.delete(Math.min(...this.snapshots.keys()));
    }
    return true;
  }

  get<T extends Entry>(key: string): T | undefined {
    return this.current.get(key) as T | undefined;
  }

  under<T extends Entry>(prefix: string): T[] {
    const found: T[] = [];
    for (const [key, entry] of this.current) if (key.startsWith(prefix)) found.push(entry as T);
    return found;
  }
}
