// @ts-check
/** A scan from files: dropped and sent; taps dragged to their place. Everything else is the form's own, and works without this. */
import { send } from "./sending.js";

const form = /** @type {HTMLFormElement} */ (document.getElementById("draft"));
const drop = /** @type {HTMLElement} */ (document.getElementById("drop"));
const choose = /** @type {HTMLInputElement} */ (document.getElementById("choose"));
const words = /** @type {HTMLElement} */ (document.getElementById("sending"));
const seen = /** @type {HTMLInputElement} */ (form.elements.namedItem("seen"));

/** @param {string} act */
function press(act) {
  const button = document.createElement("button");
  button.name = "act";
  button.value = act;
  button.hidden = true;
  form.append(button);
  form.requestSubmit(button);
}

/** The day that the files say: offered, and never taken for granted. */
const day = /** @type {HTMLInputElement} */ (form.elements.namedItem("date"));
const DAY_KEY = `day-${form.dataset.id}`;

function offerDay() {
  const told = sessionStorage.getItem(DAY_KEY);
  if (!told || day.value || document.getElementById("day-offer")) return;
  const offer = document.createElement("button");
  offer.type = "button";
  offer.id = "day-offer";
  offer.className = "button";
  offer.textContent = `The files are of ${told}: tapped that day`;
  const ask = document.createElement("strong");
  ask.setAttribute("role", "alert");
  offer.addEventListener("click", () => {
    day.value = told;
    offer.remove();
    ask.remove();
  });
  day.after(offer, ask);
  form.addEventListener("submit", (e) => {
    if (e.submitter?.id !== "store" || day.value || !offer.isConnected) return;
    e.preventDefault();
    ask.textContent = `Say the day it was tapped: the files are of ${told}, and an empty box means today.`;
    day.focus();
  });
}
offerDay();

/** Year-month-day by the clock here. @param {Date} when */
function dayOf(when) {
  return [when.getFullYear(), when.getMonth() + 1, when.getDate()].map((n) => String(n).padStart(2, "0")).join("-");
}

/** @param {Iterable<File>} files @param {string} part of the plate, or of the bar before or after it */
async function take(files, part = "plate") {
  const refused = [];
  let taken = 0;
  for (const file of files) {
    try {
      const kept = await send(`/draft/file?id=${form.dataset.id}&part=${part}`, file, (share) => {
        words.textContent = `Taking in ${file.name}: ${Math.round(100 * share)} %`;
      });
      seen.value = String(kept.version);
      taken += 1;
      const told = dayOf(new Date(file.lastModified));
      if (told < dayOf(new Date())) sessionStorage.setItem(DAY_KEY, told);
    } catch (problem) {
      refused.push(/** @type {Error} */ (problem).message);
    }
  }
  words.textContent = refused.join(" ");
  if (refused.length) words.setAttribute("role", "alert");
  if (taken && !refused.length) press(part === "plate" ? "listen:dropped" : "look:dropped");
  else if (taken) {
    const again = document.createElement("button");
    again.className = "button";
    again.name = "act";
    again.value = "listen:dropped";
    again.textContent = "Go on with the others";
    words.append(" ", again);
  }
}

/** @param {HTMLInputElement} input */
function chosen(input) {
  const files = [...(input.files ?? [])];
  input.value = ""; // some browsers keep it when the page is loaded again
  take(files, input.dataset.part);
}
for (const input of [choose, .../** @type {NodeListOf<HTMLInputElement>} */ (form.querySelectorAll("input[data-part]"))]) {
  input.addEventListener("change", () => chosen(input));
  if (input.files?.length) chosen(input); // before this script was there
}
for (const kind of ["dragenter", "dragover"]) {
  document.addEventListener(kind, (e) => {
    const data = /** @type {DragEvent} */ (e).dataTransfer;
    if (!data || ![...data.types].includes("Files")) return;
    e.preventDefault();
    drop.classList.add("over");
  });
}
document.addEventListener("dragleave", (e) => {
  if (!e.relatedTarget) drop.classList.remove("over");
});
document.addEventListener("drop", (e) => {
  if (!e.dataTransfer?.files.length) return;
  e.preventDefault();
  drop.classList.remove("over");
  take([...e.dataTransfer.files].sort((a, b) => a.name.localeCompare(b.name)));
});

for (const button of /** @type {NodeListOf<HTMLButtonElement>} */ (form.querySelectorAll("[data-ask]"))) {
  button.addEventListener("click", (e) => {
    if (!confirm(button.dataset.ask)) e.preventDefault();
  });
}

/** Taps under the hand: marked ones together, else the one that is dragged. */
/** @type {HTMLElement | null} */
let ghost = null;
/** @type {{label: HTMLElement, x: number, y: number} | null} */
let held = null;

/** @returns {HTMLInputElement[]} */
function marked() {
  return [.../** @type {NodeListOf<HTMLInputElement>} */ (form.querySelectorAll(".tap input[name=tap]:checked"))];
}

/** The taps of a group, or the one tap. @param {HTMLInputElement} box @returns {HTMLInputElement[]} */
function group(box) {
  if (!("whole" in box.dataset)) return [box];
  return [.../** @type {NodeListOf<HTMLInputElement>} */ (/** @type {Element} */ (box.closest("tr")).querySelectorAll("input[name=tap]"))];
}

function say() {
  const note = document.getElementById("marked");
  note?.closest(".mover")?.classList.toggle("used", marked().length > 0);
  if (note) note.textContent = marked().length ? `${marked().map((m) => m.value).join(", ")} marked` : "";
}
form.addEventListener("change", (e) => {
  const box = e.target;
  if (box instanceof HTMLInputElement && "whole" in box.dataset) for (const one of group(box)) one.checked = box.checked;
  say();
});

/** @param {number} x @param {number} y */
function place(x, y) {
  return /** @type {HTMLElement | null} */ (document.elementFromPoint(x, y)?.closest("[data-station]") ?? null);
}

/** @param {HTMLElement | null} at */
function show(at) {
  for (const e of document.querySelectorAll(".onto")) e.classList.remove("onto");
  at?.classList.add("onto");
}

form.addEventListener("pointerdown", (e) => {
  const label = /** @type {HTMLElement} */ (e.target).closest(".tap");
  if (label instanceof HTMLElement && e.button === 0) held = { label, x: e.clientX, y: e.clientY };
});
document.addEventListener("pointermove", (e) => {
  if (!held) return;
  if (!ghost) {
    if (Math.hypot(e.clientX - held.x, e.clientY - held.y) < 8) return;
    const mine = /** @type {HTMLInputElement} */ (held.label.querySelector("input"));
    if (!mine.checked) for (const other of marked()) other.checked = false;
    for (const one of group(mine)) one.checked = true;
    say();
    ghost = document.createElement("div");
    ghost.className = "ghost";
    ghost.textContent = marked().map((m) => m.value).join(", ");
    document.body.append(ghost);
    document.body.classList.add("dragging");
  }
  ghost.style.left = `${e.clientX + 12}px`;
  ghost.style.top = `${e.clientY + 12}px`;
  show(place(e.clientX, e.clientY));
  e.preventDefault();
});
document.addEventListener("pointerup", (e) => {
  const dragged = ghost !== null;
  held = null;
  ghost?.remove();
  ghost = null;
  document.body.classList.remove("dragging");
  show(null);
  if (!dragged) return;
  document.addEventListener("click", (click) => click.preventDefault(), { once: true, capture: true });
  const at = place(e.clientX, e.clientY);
  if (at) moveTo(/** @type {string} */ (at.dataset.station));
});
document.addEventListener("pointercancel", () => {
  held = null;
  ghost?.remove();
  ghost = null;
  show(null);
});

/** @param {string} station */
function moveTo(station) {
  const list = /** @type {HTMLSelectElement} */ (document.getElementById("f-station"));
  list.value = station;
  if (list.value === station && marked().length) press("move");
}

/** A click on the map moves what is marked there. */
document.getElementById("map")?.addEventListener("click", (e) => {
  const at = /** @type {HTMLElement | null} */ (/** @type {Element} */ (e.target).closest("[data-station]"));
  if (at && marked().length) moveTo(/** @type {string} */ (at.dataset.station));
});
