// Events on their way to Python. Each has a running number; they are sent again
// and again, as one state value, until Python says it has applied them, so a
// broken connection loses none and a repeat is not applied twice.

import type { Numbered, OutEvent } from "./types";

const REPEATABLE = new Set([
  "mark_added",
  "mark_changed",
  "mark_removed",
  "mark_split",
  "marks_joined",
  "sighting_set",
  "sighting_removed",
  "scale_set",
  "scale_removed",
]);

const FIRST_PAUSE_MS = 10_000;
const LONGEST_PAUSE_MS = 60_000;

export function freshId(prefix: string): string {
  // crypto.randomUUID is missing on plain http from another device
  const bytes = crypto.getRandomValues(new Uint8Array(10));
  return prefix + Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
}

export class Outbox {
  client: string;
  pending: Numbered[] = [];
  private seq = 0;
  private timer: ReturnType<typeof setTimeout> | undefined;
  private pause = FIRST_PAUSE_MS;
  private ended = false;
  private readonly place: string;
  emittedAt = new Map<number, number>();

  constructor(
    key: string,
    private readonly send: (value: unknown) => void,
    private readonly seen: () => number | null,
  ) {
    this.place = `corromap-canvas/${key}/outbox`;
    const kept = readStored<{ client: string; seq: number; pending: Numbered[] }>(this.place);
    this.client = kept?.client ?? freshId("c");
    this.seq = kept?.seq ?? 0;
    // after a reload Python no longer knows what it applied: only what may come twice is sent again
    this.pending = (kept?.pending ?? []).filter((event) => REPEATABLE.has(event.type));
    if (this.pending.length) setTimeout(() => this.flush(), 0);
  }

  emit(event: OutEvent): number {
    this.seq += 1;
    this.pending.push({ ...event, seq: this.seq });
    this.emittedAt.set(this.seq, performance.now());
    this.keep();
    this.flush();
    return this.seq;
  }

  /** Send what is pending, and again later if no answer comes: at ever longer pauses, as each asks for a run of the page. */
  flush(): void {
    clearTimeout(this.timer);
    if (this.pending.length && !this.ended) {
      this.timer = setTimeout(() => this.flush(), this.pause);
      this.pause = Math.min(this.pause * 2, LONGEST_PAUSE_MS);
    }
    this.send({ client: this.client, seen: this.seen(), events: this.pending });
  }

  applied(client: string, seq: number): void {
    if (client !== this.client) return;
    const before = this.pending.length;
    this.pending = this.pending.filter((event) => event.seq > seq);
    if (before === this.pending.length) return;
    this.pause = FIRST_PAUSE_MS;
    if (!this.pending.length) clearTimeout(this.timer);
    this.keep();
  }

  end(): void {
    this.ended = true;
    clearTimeout(this.timer);
  }

  private keep(): void {
    writeStored(this.place, { client: this.client, seq: this.seq, pending: this.pending });
  }
}

export function readStored<T>(place: string): T | null {
  try {
    const text = sessionStorage.getItem(place);
    return text === null ? null : (JSON.parse(text) as T);
  } catch {
    return null; // storage is off, or not ours
  }
}

export function writeStored(place: string, value: unknown): void {
  try {
    if (value === null) sessionStorage.removeItem(place);
    else sessionStorage.setItem(place, JSON.stringify(value));
  } catch {
    // storage is off or full: the outline lives on in memory
  }
}
