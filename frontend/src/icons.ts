// Own line icons on a 20 x 20 grid.

const PATHS: Record<string, string> = {
  outline: "M4 14 6 5l7-1 4 6-5 6z",
  freehand: "M3 13c1-6 5-9 8-8s1 5 4 5 2 5-2 6-6-3-10-3z",
  change: "M5 3v13l3.5-3.5L11 17l2-1-2.4-4.3H15z",
  hole: "M3 10a7 7 0 1 0 14 0 7 7 0 1 0-14 0M8 10a2 2 0 1 0 4 0 2 2 0 1 0-4 0",
  split: "M4 6h5v8H4zM11 6h5v8h-5zM10 2v16",
  join: "M3 7h6v6H3zM11 7h6v6h-6zM9 10h2",
  undo: "M7 4 3 8l4 4M3 8h8a5 5 0 0 1 0 10H8",
  redo: "M13 4l4 4-4 4M17 8H9a5 5 0 0 0 0 10h3",
  remove: "M4 6h12M8 6V4h4v2M6 6l1 11h6l1-11",
  finish: "M4 11l4 4 8-10",
  cancel: "M5 5l10 10M15 5 5 15",
  closer: "M4 10h12M10 4v12",
  farther: "M4 10h12",
  fit: "M3 7V3h4M13 3h4v4M17 13v4h-4M7 17H3v-4M7 7h6v6H7z",
  turn: "M15 7a6 6 0 1 0 1 6M16 3v5h-5",
  snap: "M5 3v6a5 5 0 0 0 10 0V3M5 6h3M12 6h3",
  loupe: "M3 8.5a5.5 5.5 0 1 0 11 0 5.5 5.5 0 1 0-11 0M12.5 12.5 17 17",
  before: "M12 4l-6 6 6 6",
  after: "M8 4l6 6-6 6",
  lift: "M10 3v2M10 15v2M3 10h2M15 10h2M5 5l1.4 1.4M13.6 13.6 15 15M15 5l-1.4 1.4M6.4 13.6 5 15M7 10a3 3 0 1 0 6 0 3 3 0 1 0-6 0",
  bar: "M2 7h16v6H2zM5 7v3M8 7v2M11 7v3M14 7v2",
  point: "M10 2v5M10 13v5M2 10h5M13 10h5",
};

export function icon(name: string): string {
  return `<svg viewBox="0 0 20 20" aria-hidden="true" focusable="false"><path d="${PATHS[name] ?? ""}"/></svg>`;
}
