// @ts-check
/** What the phone sent, told on the computer. */

const box = /** @type {HTMLElement} */ (document.getElementById("code"));
const words = /** @type {HTMLElement} */ (box.querySelector("[role=status]"));
const source = new EventSource(/** @type {string} */ (box.dataset.events));
source.addEventListener("message", (message) => {
  const told = /** @type {{said: string, over?: boolean}} */ (JSON.parse(message.data));
  words.textContent = told.said;
  if (told.over) {
    source.close();
    location.assign(/** @type {string} */ (box.dataset.back));
  }
});
source.addEventListener("error", () => source.close());
