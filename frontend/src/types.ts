// What Python sends and what goes back. Python's side: corromap/ui/canvas_entries.py and canvas_events.py.

export type XY = [number, number];
export type Ring = XY[];

export type MarkKind = "rust" | "filler" | "patch" | "hidden" | "sound" | "blur";
export type Stage = "surface" | "scaled" | "holed";
export type Mode = "place" | "mark" | "look";

export interface StyleEntry {
  colour: string;
  pattern: string;
  label: string;
}

export interface CanvasEntry {
  mode: Mode;
  photo: string;
  compare: string[];
  activePanel: string | null;
  suggestion: string | null;
  message: string;
  canUndo: boolean;
  canRedo: boolean;
  position: string;
  chosen: string | null; // a mark a link led to
  footprint: { label: string; proposed: boolean } | null; // what the photo shows of the body
  reportSelection: boolean;
  height: number;
}

export interface DatumEntry {
  id: string;
  name: string;
  description: string;
  atMm: XY; // panel mm
  at: XY; // map mm, reckoned here
}

export interface ZoneEntry {
  id: string;
  name: string;
  role: string;
  outlineMm: Ring;
  outline: Ring; // map mm, reckoned here
}

export interface PanelEntry {
  id: string;
  name: string;
  outlineMm: Ring;
  outline: Ring; // map mm, reckoned here
  origin: XY;
  u: XY;
  v: XY;
  covers: string[];
  zones: ZoneEntry[];
  datums: DatumEntry[];
  mountings: { name: string; atMm: XY; at: XY }[];
  lines: { kind: string; lineMm: Ring; line: Ring }[];
}

export interface TemplateEntry {
  id: string;
  name: string;
  panels: PanelEntry[];
}

export interface PhotoEntry {
  id: string;
  name: string;
  width: number;
  height: number;
  tileUrl: string;
}

export interface PlacingEntry {
  ok: true;
  matrix: number[]; // 9, row by row, undistorted px -> panel mm
  centre: XY;
  focal: number;
  k1: number;
  wMin: number;
  rmsPx: number;
  rmsMm: number;
  datums: string[];
  residualPx: number[];
  residualMm: number[];
  warnings: string[];
}

export interface NoPlacingEntry {
  ok: false;
  message: string;
  suspects: string[];
}

export interface MarkEntry {
  id: string;
  photo: string;
  kind: MarkKind;
  stage: Stage | null;
  fixing: string | null;
  exterior: Ring;
  holes: Ring[];
}

export interface SightingEntry {
  photo: string;
  datum: string;
  at: XY;
}

/** A bar or board of known size; a board's length is null: it is not changed here. */
export interface ScaleEntry {
  id: string;
  photo: string;
  panel: string;
  at: Ring; // both ends of a bar, or a board's corners
  lengthMm: number | null;
  label: string;
  sentence: string;
  agrees: boolean;
}

export type BarSet = Pick<ScaleEntry, "id" | "photo" | "panel" | "at" | "lengthMm">;

/** The photo laid on the map. */
export interface DrapedEntry {
  url: string;
  cornerMm: XY; // map mm of its top left corner
  sizeMm: XY;
}

export type FootprintEntry = Ring[][]; // map mm; polygons of rings

export interface ProjectedEntry {
  mark: string;
  photo: string;
  panel: string;
  kind: MarkKind;
  stage: Stage | null;
  area: Ring[][]; // map mm; polygons of rings
}

export type Entry =
  | CanvasEntry
  | TemplateEntry
  | PhotoEntry
  | PlacingEntry
  | NoPlacingEntry
  | MarkEntry
  | SightingEntry
  | ProjectedEntry
  | ScaleEntry
  | DrapedEntry
  | FootprintEntry
  | Record<string, StyleEntry>;

export interface Sync {
  base: number | null;
  revision: number;
  put: Record<string, Entry>;
  gone: string[];
}

export interface CanvasData {
  key: string;
  sync: Sync;
  applied: { client: string; seq: number } | null;
  refused: { seq: number; text: string }[];
}

export type OutEvent =
  | { type: "mark_added" | "mark_changed"; mark: MarkEntry }
  | { type: "mark_removed"; mark: string }
  | { type: "mark_split"; mark: string; line: Ring; id: string }
  | { type: "marks_joined"; marks: string[]; id: string }
  | { type: "sighting_set"; photo: string; datum: string; at: XY }
  | { type: "sighting_removed"; photo: string; datum: string }
  | { type: "scale_set"; scale: BarSet }
  | { type: "scale_removed"; scale: string }
  | { type: "undo" | "redo" | "resend" }
  | { type: "photo_step"; step: 1 | -1 }
  | { type: "mark_selected"; mark: string | null }
  | { type: "datum_selected"; datum: string }
  | { type: "panel_selected"; panel: string };

export type Numbered = OutEvent & { seq: number };
