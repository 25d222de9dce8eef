// @ts-check
/** On the phone: files chosen, sent, told. */
import { send } from "./sending.js";

const box = /** @type {HTMLElement} */ (document.getElementById("phone"));
const input = /** @type {HTMLInputElement} */ (box.querySelector("input"));
const words = /** @type {HTMLElement} */ (box.querySelector("[role=status]"));

input.addEventListener("change", async () => {
  let done = 0;
  const told = [];
  for (const file of input.files ?? []) {
    try {
      await send(`${box.dataset.address}?`, file, (share) => {
        words.textContent = `${file.name}: ${Math.round(100 * share)} %`;
      });
      done += 1;
    } catch (problem) {
      told.push(/** @type {Error} */ (problem).message);
    }
  }
  words.textContent = [done ? `${done} sent. Send more, or press Done.` : "", ...told].join(" ");
  input.value = "";
});
