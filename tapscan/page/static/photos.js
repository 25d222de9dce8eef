// @ts-check
/** Photos of a plate: chosen or dropped, sent, shown. */
import { send } from "./sending.js";

for (const box of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("[data-photos]"))) {
  const input = /** @type {HTMLInputElement} */ (box.querySelector("input[type=file]"));
  const words = /** @type {HTMLElement} */ (box.querySelector("[role=status]"));
  const take = async () => {
    const files = [...(input.files ?? [])];
    input.value = ""; // some browsers keep it when the page is loaded again
    try {
      for (const file of files) {
        words.textContent = `Sending ${file.name}`;
        await send(`/plate/photo?plate=${encodeURIComponent(box.dataset.photos ?? "")}`, file, () => {});
      }
      location.reload();
    } catch (problem) {
      words.textContent = /** @type {Error} */ (problem).message;
    }
  };
  input.addEventListener("change", take);
  if (input.files?.length) take(); // chosen before this script was there
}
