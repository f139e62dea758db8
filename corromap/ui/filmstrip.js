// Row or grid of photos to choose from, and to put in order by drag or by Alt + arrow keys.
// Texts reach the page as text nodes only.

function build(item, options, send) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "frame";
  button.dataset.id = item.id;
  button.setAttribute("role", "option");
  button.setAttribute("aria-selected", String(item.id === options.selected));
  button.tabIndex = item.id === options.selected ? 0 : -1;
  const picture = document.createElement("img");
  picture.loading = "lazy";
  picture.decoding = "async";
  picture.alt = "";
  picture.src = item.url;
  picture.draggable = false;
  const title = document.createElement("span");
  title.className = "title";
  title.textContent = item.title;
  const sub = document.createElement("span");
  sub.className = `sub ${item.tone || ""}`;
  sub.textContent = item.sub;
  const number = document.createElement("span");
  number.className = "number";
  number.textContent = item.number;
  button.append(picture, number, title, sub);
  button.addEventListener("click", () => send("picked", item.id));
  return button;
}

function wireOrder(list, send) {
  let dragged = null;
  list.addEventListener("dragstart", (event) => {
    dragged = event.target.closest(".frame");
    event.dataTransfer.effectAllowed = "move";
    event.dataTransfer.setData("text/plain", dragged ? dragged.dataset.id : "");
  });
  list.addEventListener("dragover", (event) => {
    const over = event.target.closest(".frame");
    if (!dragged || !over) return;
    event.preventDefault();
    list.querySelectorAll(".over").forEach((frame) => frame.classList.remove("over"));
    if (over !== dragged) over.classList.add("over");
  });
  list.addEventListener("drop", (event) => {
    const over = event.target.closest(".frame");
    if (!dragged || !over || over === dragged) return;
    event.preventDefault();
    send("moved", { id: dragged.dataset.id, to: Number(over.dataset.index) });
  });
  list.addEventListener("dragend", () => {
    dragged = null;
    list.querySelectorAll(".over").forEach((frame) => frame.classList.remove("over"));
  });
}

function onKey(event, list, data, send) {
  const frames = [...list.querySelectorAll(".frame")];
  const at = frames.indexOf(event.target.closest(".frame"));
  const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  if (at < 0 || !step) return;
  const to = at + step;
  if (to < 0 || to >= frames.length) return;
  event.preventDefault();
  if (event.altKey && data.sortable) send("moved", { id: frames[at].dataset.id, to });
  else {
    frames.forEach((frame) => (frame.tabIndex = -1));
    frames[to].tabIndex = 0;
    frames[to].focus();
  }
}

export default function ({ data, parentElement, setTriggerValue }) {
  const list = parentElement.querySelector(".film");
  const signature = JSON.stringify(data);
  if (list.dataset.signature === signature) return;
  const hadFocus = list.contains(list.getRootNode().activeElement);
  const scroll = [list.scrollLeft, list.scrollTop];
  const isFirst = !list.dataset.signature;
  list.dataset.signature = signature;
  list.className = `film ${data.layout}`;
  list.setAttribute("aria-label", data.label);
  list.replaceChildren(
    ...data.items.map((item, index) => {
      const frame = build(item, data, setTriggerValue);
      frame.dataset.index = index;
      frame.draggable = data.sortable;
      return frame;
    }),
  );
  [list.scrollLeft, list.scrollTop] = scroll;
  const chosen = list.querySelector('[aria-selected="true"]');
  if (!chosen && list.firstElementChild) list.firstElementChild.tabIndex = 0;
  if (chosen) {
    if (hadFocus) chosen.focus({ preventScroll: true });
    const left = chosen.offsetLeft - list.offsetLeft;
    const isOut = left < list.scrollLeft || left + chosen.offsetWidth > list.scrollLeft + list.clientWidth;
    if (data.layout === "strip" && (isOut || isFirst)) list.scrollLeft = left - (list.clientWidth - chosen.offsetWidth) / 2;
  }
  if (isFirst) {
    if (data.sortable) wireOrder(list, setTriggerValue);
    list.addEventListener("keydown", (event) => onKey(event, list, list.corromapData, setTriggerValue));
  }
  list.corromapData = data;
}
