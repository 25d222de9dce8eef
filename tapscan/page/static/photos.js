// @ts-check
/** Photos of a plate: chosen or dropped, sent, shown. */
import { send } from "./sending.js";

/** What is ticked and written meanwhile goes along: the page is loaded again after a photo. */
async function keepForm() {
  const form = /** @type {HTMLFormElement | null} */ (document.querySelector("form[data-keep]"));
  if (!form) return;
  const told = new URLSearchParams(/** @type {any} */ (new FormData(form)));
  const answer = await fetch(form.action, { method: "POST", body: told });
  if (!answer.ok) throw new Error("The photo is kept. What was ticked could not be kept yet: use the button below.");
}

for (const box of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("[data-photos]"))) {
  const input = /** @type {HTMLInputElement} */ (box.querySelector("input[type=file]"));
  const words = /** @type {HTMLElement} */ (box.querySelector("[role=status]"));
  const take = async () => {
    const files = [...(input.files ?? [])];
    input.value = ""; // some browsers keep it when the page is loaded again
    try {
      for (const file of files) {
        words.textContent = `Sending ${file.name}`;
        await send(box.dataset.address ?? `/plate/photo?plate=${encodeURIComponent(box.dataset.photos ?? "")}`, file, () => {});
      }
      if (box.dataset.address) await keepForm();
      const form = /** @type {HTMLFormElement | null} */ (document.querySelector("form[data-keep]"));
      if (form?.dataset.keep) location.assign(form.dataset.keep); // a form that came back is not sent again
      else location.reload();
    } catch (problem) {
      words.textContent = /** @type {Error} */ (problem).message;
    }
  };
  input.addEventListener("change", take);
  if (input.files?.length) take(); // chosen before this script was there
}
