// Corners by dragging and by keys. The number fields hold the truth: the form sends them, with a script or without.
const svg = document.querySelector(".glass svg"), form = document.getElementById("pictures");
const handle = Number(svg.dataset.handle), space = "http://www.w3.org/2000/svg";
const said = (name) => form.querySelector(`template[data-said=${name}]`).innerHTML;
const note = form.querySelector("[data-moved]");
let dragged = null, changed = false;

const field = (number, at, axis) => form.elements[`${axis}${number}_${at}`];
const corner = (number, at) => ["x", "y"].map((axis) => Number(field(number, at, axis).value.replace(",", ".")) || 0);
const [width, height] = svg.getAttribute("viewBox").split(" ").slice(2).map(Number);

function draw(number) {
  const group = svg.querySelector(`g[data-number="${number}"]`);
  const corners = [0, 1, 2, 3].map((at) => corner(number, at));
  for (const outline of group.querySelectorAll("polygon")) outline.setAttribute("points", corners.map((one) => one.join(",")).join(" "));
  const tag = group.querySelector("text");
  tag.setAttribute("x", corners[0][0] + handle); tag.setAttribute("y", corners[0][1] + 3 * handle);
  group.querySelectorAll(".corner").forEach((dot, at) => { dot.setAttribute("cx", corners[at][0]); dot.setAttribute("cy", corners[at][1]); });
}

function move(number, at, x, y) {
  field(number, at, "x").value = Math.min(width, Math.max(0, x)).toFixed(1);
  field(number, at, "y").value = Math.min(height, Math.max(0, y)).toFixed(1);
  if (!changed) note.textContent = said("moved");
  changed = true;
  draw(number);
}

function choose(number) {
  for (const one of document.querySelectorAll(".glass g, .print")) one.classList.toggle("chosen", one.dataset.number === number);
  const group = svg.querySelector(`g[data-number="${number}"]`);
  if (group && svg.lastElementChild !== group) { // on top of its neighbours; moving it would drop the focus
    const focused = group.contains(document.activeElement) ? document.activeElement : null;
    svg.append(group);
    focused?.focus({ preventScroll: true });
  }
}

function placeOf(event) {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  return [point.x, point.y];
}

for (const group of svg.querySelectorAll("g")) {
  const number = group.dataset.number, name = group.querySelector("text").textContent;
  for (let at = 0; at < 4; at++) {
    const dot = document.createElementNS(space, "circle");
    dot.setAttribute("class", "corner"); dot.setAttribute("r", handle); dot.setAttribute("stroke-width", handle / 3);
    dot.setAttribute("tabindex", "0"); dot.setAttribute("role", "button"); dot.setAttribute("aria-label", said("corner").replace("#", at + 1).replace("@", name));
    dot.addEventListener("pointerdown", (event) => { dot.setPointerCapture(event.pointerId); dragged = [number, at]; dot.focus(); event.preventDefault(); });
    dot.addEventListener("pointermove", (event) => { if (dragged) move(...dragged, ...placeOf(event)); });
    dot.addEventListener("pointerup", () => { dragged = null; });
    dot.addEventListener("pointercancel", () => { dragged = null; });
    dot.addEventListener("keydown", (event) => {
      const step = event.shiftKey ? 10 : 1, [x, y] = corner(number, at);
      const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
      if (by) { move(number, at, x + by[0], y + by[1]); event.preventDefault(); }
    });
    dot.addEventListener("focus", () => choose(number));
    group.append(dot);
  }
  draw(number);
  group.querySelector(".over").addEventListener("pointerdown", () => { choose(number); group.querySelector(".corner").focus({ preventScroll: true }); });
}
for (const section of document.querySelectorAll(".print[data-number]")) {
  section.addEventListener("focusin", () => choose(section.dataset.number));
  for (const one of section.querySelectorAll(".corners input")) one.addEventListener("input", () => { changed = true; note.textContent = said("moved"); draw(section.dataset.number); });
}
// R and Shift+R act only while the focus is on a picture's corner or its card, never in a field.
document.addEventListener("keydown", (event) => {
  if (event.key.toLowerCase() !== "r" || event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, textarea")) return;
  const owner = event.target.closest("[data-number]");
  if (!owner) return;
  const button = form.querySelector(`button[value="${event.shiftKey ? "left" : "right"}:${owner.dataset.number}"]`);
  if (button) { event.preventDefault(); changed = false; button.click(); }
});
form.addEventListener("submit", () => { changed = false; });
addEventListener("beforeunload", (event) => { if (changed) event.preventDefault(); });
const first = svg.dataset.chosen || document.querySelector(".print[data-number]")?.dataset.number;
if (first) {
  choose(first);
}
// The address names the card, for those without scripts, and the browser puts the focus there; the corner has it after.
function begin() {
  if (svg.dataset.chosen) svg.querySelector(`g[data-number="${first}"] .corner`)?.focus({ preventScroll: true });
  document.documentElement.dataset.awake = "yes"; // keys are heard from here on
}
if (document.readyState === "complete") requestAnimationFrame(begin);
else addEventListener("load", () => requestAnimationFrame(begin));
