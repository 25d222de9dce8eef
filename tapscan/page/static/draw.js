// @ts-check
/** An outline and places on a photo. The photo never leaves the browser; what is right is told by the program when it is kept. */
import { Sheet, empty } from "./drawing.js";
import { Rows } from "./draw_places.js";

/** @typedef {import("./drawing.js").Drawn} Drawn */
/** @typedef {import("./drawing.js").Point} Point */
/** @typedef {import("./drawing.js").Tool} Tool */

const NS = "http://www.w3.org/2000/svg", KEPT = "tapscan-drawing";
const TOLD = {
  edge: "points on the edge", openings: "openings", pin_fields: "fields of tuning pins", screws: "screws", struts: "struts", places: "places",
};
/** @param {string} id @returns {any} */
const part = (id) => document.getElementById(id);
const form = /** @type {HTMLFormElement} */ (part("draw"));
const stage = /** @type {HTMLElement} */ (part("stage"));
const lines = /** @type {SVGSVGElement} */ (part("lines"));
const picture = /** @type {HTMLImageElement} */ (part("picture"));
const was = /** @type {HTMLInputElement} */ (form.elements.namedItem("was")).value;
const given = form.dataset.drawing;
const kept = given ? null : localStorage.getItem(KEPT);
const sheet = new Sheet(given || kept ? { ...empty(), ...JSON.parse(given || kept || "") } : empty());
/** @type {Point} */
const cross = [0.5, 0.5];
/** @type {Point | null} */
let held = null;

/** @returns {Tool} */
function tool() {
  return /** @type {Tool} */ (/** @type {RadioNodeList} */ (form.elements.namedItem("tool")).value);
}

/** @param {string} tag @param {Record<string, string | number>} at @param {string} [text] */
function mark(tag, at, text) {
  const made = document.createElementNS(NS, tag);
  for (const [name, value] of Object.entries(at)) made.setAttribute(name, String(value));
  if (text) made.textContent = text;
  lines.append(made);
  return made;
}

/** @param {Point[]} points @param {boolean} closed @param {string} kind */
function path(points, closed, kind) {
  const { width, height } = sheet.drawn;
  const d = `M${points.map(([x, y]) => `${x * width} ${y * height}`).join("L")}${closed && points.length > 2 ? "Z" : ""}`;
  mark("path", { d, class: "under" });
  mark("path", { d, class: `over ${kind}` });
}

/** @param {Point} at @param {string} kind @param {number} size */
function handle(at, kind, size) {
  const { width, height } = sheet.drawn;
  const made = mark("circle", { cx: at[0] * width, cy: at[1] * height, r: size, class: kind });
  made.addEventListener("pointerdown", (e) => {
    e.stopPropagation();
    e.preventDefault();
    sheet.keep();
    held = at;
    stage.setPointerCapture(/** @type {PointerEvent} */ (e).pointerId);
  });
}

function show() {
  const d = sheet.drawn, unit = Math.max(d.width, d.height) / 100;
  lines.replaceChildren();
  lines.setAttribute("viewBox", `0 0 ${d.width} ${d.height}`);
  if (d.edge.length) path(d.edge, true, "shape");
  for (const opening of d.openings) path(opening, true, "hole");
  for (const field of d.pin_fields) path(field, true, "pins");
  for (const strut of d.struts) path(strut.ends, false, "");
  for (const points of [d.edge, ...d.openings, ...d.pin_fields, ...d.struts.map((s) => s.ends), d.screws]) {
    for (const at of points) handle(at, "handle", 0.8 * unit);
  }
  for (const place of d.places) {
    handle(place.at, "spot", 1.4 * unit);
    mark("text", { x: place.at[0] * d.width + 2 * unit, y: place.at[1] * d.height + unit, "font-size": 3 * unit }, place.name);
  }
  mark("path", { class: "cross", d: `M${cross[0] * d.width} 0V${d.height}M0 ${cross[1] * d.height}H${d.width}` });
  part("told").textContent = `${d[tool()].length} ${TOLD[tool()]} so far. ${hint()}`;
  if (!was) localStorage.setItem(KEPT, JSON.stringify(d));
}

function hint() {
  if (tool() === "openings" || tool() === "pin_fields") return sheet.fresh ? "The next point begins one." : "The next point goes on with this one.";
  const last = sheet.drawn.struts.at(-1);
  return tool() === "struts" && last?.ends.length === 1 ? "Set its other end." : "";
}

const rows = new Rows(part("places").tBodies[0], sheet, show);

/** @param {number} x @param {number} y @param {boolean} pointed */
function set(x, y, pointed) {
  sheet.add(tool(), x, y);
  show();
  if (tool() !== "places") return;
  rows.show();
  if (pointed) rows.words(sheet.drawn.places.length - 1);
}

/** @param {PointerEvent} e @returns {Point} */
function place(e) {
  const box = lines.getBoundingClientRect();
  return [(e.clientX - box.left) / box.width, (e.clientY - box.top) / box.height];
}

stage.addEventListener("pointerdown", (e) => {
  if (e.button !== 0) return;
  e.preventDefault();
  const [x, y] = place(e);
  set(x, y, true);
});
stage.addEventListener("pointermove", (e) => {
  if (!held) return;
  Sheet.move(held, ...place(e));
  show();
});
for (const kind of ["pointerup", "pointercancel"]) {
  stage.addEventListener(kind, () => {
    if (held) rows.show();
    held = null;
  });
}
stage.addEventListener("keydown", (e) => {
  const step = e.shiftKey ? 0.002 : 0.02;
  /** @type {Record<string, Point>} */
  const ways = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
  if (e.key === "Enter") set(cross[0], cross[1], false);
  else if (ways[e.key]) {
    Sheet.move(cross, cross[0] + ways[e.key][0], cross[1] + ways[e.key][1]);
    show();
  } else return;
  e.preventDefault();
});

part("undo").addEventListener("click", () => {
  if (!sheet.undo()) part("told").textContent = "There is nothing to take back.";
  else show();
  rows.show();
});
part("next").addEventListener("click", () => {
  sheet.fresh = true;
  show();
});
part("add").addEventListener("click", () => {
  sheet.add("places", 0.5, 0.5);
  show();
  rows.show();
  rows.words(sheet.drawn.places.length - 1);
});
form.addEventListener("change", (e) => {
  if (/** @type {HTMLInputElement} */ (e.target).name === "tool") {
    sheet.fresh = true;
    show();
  }
});

async function take() {
  const file = part("photo").files?.[0];
  if (!file) return;
  picture.src = URL.createObjectURL(file);
  try {
    await picture.decode();
  } catch {
    problem(`${file.name}: this browser cannot show it; take a JPEG or PNG.`);
    return;
  }
  picture.hidden = false;
  Object.assign(sheet.drawn, { width: picture.naturalWidth, height: picture.naturalHeight });
  show();
}
part("photo").addEventListener("change", take);
take(); // chosen before this was loaded

const kind = /** @type {HTMLSelectElement} */ (part("f-kind"));
const sides = ["top", "right", "bottom", "left"].map((side) => /** @type {HTMLInputElement} */ (part(`f-side-${side}`)));
function usual() {
  const words = (kind.selectedOptions[0].dataset.sides ?? "|||").split("|");
  sides.forEach((field, i) => (field.value = words[i]));
}
kind.addEventListener("change", usual);
if (!given) usual();

/** @param {string} words */
function problem(words) {
  part("problem").hidden = false;
  part("problem").textContent = words;
  part("problem").scrollIntoView({ block: "center" });
}

form.addEventListener("submit", async (e) => {
  e.preventDefault();
  const d = sheet.whole();
  const named = { name: part("f-name").value.trim(), kind: kind.value, note: part("f-note").value, sides: sides.map((s) => s.value) };
  const fields = new URLSearchParams({ was, drawing: JSON.stringify({ ...d, ...named }) });
  fields.set("token", /** @type {HTMLInputElement} */ (form.elements.namedItem("token")).value);
  try {
    const answer = await fetch("/layout/draw", { method: "POST", body: fields });
    if (answer.ok) {
      if (!was) localStorage.removeItem(KEPT);
      location.assign(answer.url);
      return;
    }
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    problem(page.querySelector(".summary")?.textContent || page.body.textContent || "It was refused.");
  } catch {
    problem("The program does not answer. What you drew stays here: start it again, then keep it.");
  }
});

if (kept) part("told").textContent = "";
rows.show();
show();
