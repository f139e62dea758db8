// A drawing of the body on which one point is chosen by a click or a tap.
// The drawing is made and escaped by corromap.report.drawing; texts of marks reach the page as text nodes only.

const SVG = "http://www.w3.org/2000/svg";

function dot(point, size) {
  const group = document.createElementNS(SVG, "g");
  group.setAttribute("class", point.chosen ? "dot chosen" : "dot");
  const circle = document.createElementNS(SVG, "circle");
  circle.setAttribute("cx", point.x);
  circle.setAttribute("cy", point.y);
  circle.setAttribute("r", point.chosen ? size * 1.3 : size);
  const title = document.createElementNS(SVG, "title");
  title.textContent = point.label;
  group.append(circle, title);
  return group;
}

function place(svg, event) {
  // numbers and mountings are drawn over the panels: the topmost panel below the pointer counts
  const below = svg.getRootNode().elementsFromPoint(event.clientX, event.clientY);
  const panel = below.map((node) => node.closest("[data-panel]")).find(Boolean);
  const matrix = svg.getScreenCTM();
  if (!panel || !matrix) return null;
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
  const [a, b, c, d, e, f] = panel.dataset.uvToSvg.split(",").map(Number);
  const det = a * d - b * c;
  const x = at.x - e;
  const y = at.y - f;
  return { panel: panel.dataset.panel, u: (d * x - c * y) / det, v: (a * y - b * x) / det };
}

export default function ({ parentElement, data, setTriggerValue }) {
  const box = parentElement.querySelector(".pick");
  if (box.dataset.drawn !== data.drawn) {
    box.innerHTML = data.svg;
    box.dataset.drawn = data.drawn;
  }
  const svg = box.querySelector("svg");
  svg.querySelectorAll("g.dot").forEach((old) => old.remove());
  const size = svg.viewBox.baseVal.width / 110;
  data.points.forEach((point) => svg.append(dot(point, size)));
  svg.onclick = (event) => {
    const found = place(svg, event);
    if (found) setTriggerValue("point", found);
  };
}
