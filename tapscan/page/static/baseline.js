// @ts-check
/** The baseline's tick goes where the form says a plate in its piano and no pickup: nothing can be compared with such a scan. */
const note = /** @type {HTMLElement | null} */ (document.querySelector("[data-in-piano]"));
const form = note?.closest("form");
const box = /** @type {HTMLInputElement | null | undefined} */ (form?.elements.namedItem("baseline"));
const state = /** @type {HTMLSelectElement | null | undefined} */ (form?.elements.namedItem("state"));
const sensor = /** @type {HTMLSelectElement | null | undefined} */ (form?.elements.namedItem("sensor"));

if (note && box && state && sensor) {
  const inPiano = (note.dataset.inPiano ?? "").split(" ");
  let taken = false;
  const judge = () => {
    const useless = inPiano.includes(state.value) && sensor.value !== "contact";
    if (useless && box.checked) {
      box.checked = false;
      taken = true;
    } else if (!useless && taken) {
      box.checked = true;
      taken = false;
    }
  };
  for (const one of [state, sensor]) one.addEventListener("change", judge);
  judge();
}
