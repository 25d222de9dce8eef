// @ts-check
/** Photos of a plate: chosen or dropped, sent, shown. */
import { send } from "./sending.js";

for (const box of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("[data-photos]"))) {
  const input = /** @type {HTMLInputElement} */ (box.querySelector("input[type=file]"));
  const words = /** @type {HTMLElement} */ (box.querySelector("[role=status]"));
  input.addEventListener("change", async () => {
    try {
      for (const file of input.files ?? []) {
        words.textContent = `Sending ${file.name}`;
        await send(`/plate/photo?plate=${encodeURIComponent(box.dataset.photos ?? "")}`, file, () => {});
      }
      location.reload();
    } catch (problem) {
      words.textContent = /** @type {Error} */ (problem).message;
    }
  });
}
