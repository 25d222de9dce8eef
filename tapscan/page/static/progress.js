// @ts-check
/** Follows what takes a while, and goes on to its result. */

const box = /** @type {HTMLElement} */ (document.getElementById("work"));
const words = /** @type {HTMLElement} */ (box.querySelector("[role=status]"));
const bar = /** @type {HTMLProgressElement} */ (box.querySelector("progress"));
const since = /** @type {HTMLElement} */ (document.getElementById("since"));
const began = Date.now();
setInterval(() => {
  since.textContent = `It works: ${Math.round((Date.now() - began) / 1000)} seconds.`;
}, 1000);
const source = new EventSource(/** @type {string} */ (box.dataset.events));

source.addEventListener("message", (message) => {
  const told = /** @type {{stage?: string, done?: number, total?: number, leads_to?: string, problem?: string}} */ (JSON.parse(message.data));
  if (told.leads_to || told.problem) {
    source.close();
    location.replace(/** @type {string} */ (box.dataset.here));
    return;
  }
  words.textContent = told.total ? `${told.stage}: ${told.done} of ${told.total}.` : `${told.stage}.`;
  if (told.total) {
    bar.max = told.total;
    bar.value = told.done ?? 0;
  } else bar.removeAttribute("value");
});
source.addEventListener("error", () => {
  words.textContent = "The program does not answer. If its window was closed, open it again; what was stored is safe.";
});
