// What Streamlit calls: once at the start, and again whenever data or theme change.

import { Canvas } from "./app";
import type { CanvasData } from "./types";

interface Call {
  data: CanvasData;
  parentElement: HTMLElement | ShadowRoot;
  setStateValue: (name: string, value: unknown) => void;
}

const canvases = new WeakMap<HTMLElement | ShadowRoot, Canvas>();

export default function show({ data, parentElement, setStateValue }: Call): () => void {
  let canvas = canvases.get(parentElement);
  if (!canvas) {
    canvas = new Canvas(parentElement, data.key, { setStateValue });
    canvases.set(parentElement, canvas);
  }
  canvas.bridge = { setStateValue };
  canvas.update(data);
  const mine = canvas;
  return () => {
    // also called between two updates: only a canvas that has left the page ends
    setTimeout(() => {
      if (mine.isAttached) return;
      canvases.delete(parentElement);
      mine.destroy();
    }, 500);
  };
}
