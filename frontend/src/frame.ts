// The elements of the canvas.

import { icon } from "./icons";

export interface Frame {
  root: HTMLElement;
  bar: HTMLElement;
  viewBar: HTMLElement;
  lengthBar: HTMLElement;
  said: HTMLElement; // what a scale on the photo says
  photos: HTMLElement;
  photo: HTMLElement;
  photoName: HTMLElement;
  map: HTMLElement;
  help: HTMLElement;
  alert: HTMLElement;
  read: HTMLElement;
  mapButtons: HTMLElement;
  shown: HTMLElement; // what is outlined on the map as shown by the photo
  liftFunctions: SVGElement[];
}

const MARKUP = `
<svg width="0" height="0" class="cm-filters" aria-hidden="true" focusable="false">
  <filter id="cm-lift" color-interpolation-filters="sRGB">
    <feComponentTransfer>
      <feFuncR type="gamma" exponent="1"/><feFuncG type="gamma" exponent="1"/><feFuncB type="gamma" exponent="1"/>
    </feComponentTransfer>
  </filter>
</svg>
<div class="cm-bar"></div>
<p class="cm-help" role="status" aria-live="polite"></p>
<p class="cm-alert" role="alert" hidden></p>
<div class="cm-panes">
  <section class="cm-photos" aria-label="Photos">
    <figure class="cm-pane cm-main">
      <div class="cm-view cm-photo" tabindex="0" role="application" aria-roledescription="photo canvas"
        aria-label="Photo. Arrow keys move a cross, Enter sets a point, Escape lets go."></div>
      <figcaption class="cm-caption"></figcaption>
    </figure>
    <div class="cm-bar cm-viewbar cm-lengthbar"></div>
    <p class="cm-said cm-viewbar" role="status" hidden></p>
    <div class="cm-bar cm-viewbar cm-views"></div>
  </section>
  <section class="cm-body" aria-label="Map of the body">
    <figure class="cm-pane">
      <div class="cm-view cm-map" tabindex="0" role="application" aria-roledescription="body map"
        aria-label="Map of the body, seen from below, front at the top. The car's left is on the right."></div>
      <span class="cm-side cm-side-right" aria-hidden="true">RIGHT</span>
      <span class="cm-side cm-side-left" aria-hidden="true">LEFT</span>
      <span class="cm-front" aria-hidden="true">FRONT</span>
      <p class="cm-shown" hidden></p>
      <div class="cm-map-buttons"></div>
      <figcaption class="cm-caption"><b>Seen from below</b> <span class="cm-read"></span></figcaption>
    </figure>
  </section>
</div>`;

export function buildFrame(parent: HTMLElement | ShadowRoot): Frame {
  const root = document.createElement("div");
  root.className = "cm-root";
  root.innerHTML = MARKUP;
  parent.append(root);
  const find = <T extends Element = HTMLElement>(selector: string) => root.querySelector<T>(selector)!;
  return {
    root,
    bar: find(".cm-bar"),
    viewBar: find(".cm-views"),
    lengthBar: find(".cm-lengthbar"),
    said: find(".cm-said"),
    photos: find(".cm-photos"),
    photo: find(".cm-photo"),
    photoName: find(".cm-main .cm-caption"),
    map: find(".cm-map"),
    help: find(".cm-help"),
    alert: find(".cm-alert"),
    read: find(".cm-read"),
    mapButtons: find(".cm-map-buttons"),
    shown: find(".cm-shown"),
    liftFunctions: [...root.querySelectorAll<SVGElement>("feFuncR, feFuncG, feFuncB")],
  };
}

function mapButton(host: HTMLElement, name: string, label: string, run: () => void): void {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "cm-button cm-small";
  button.innerHTML = icon(name);
  button.setAttribute("aria-label", label);
  button.title = label;
  button.addEventListener("click", run);
  host.append(button);
}

export function addMapButtons(host: HTMLElement, map: { zoomBy(steps: number): void; fit(panel: null): void }): void {
  mapButton(host, "closer", "Map closer", () => map.zoomBy(1));
  mapButton(host, "farther", "Map farther", () => map.zoomBy(-1));
  mapButton(host, "fit", "Whole map", () => map.fit(null));
}
