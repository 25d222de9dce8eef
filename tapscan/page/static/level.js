// @ts-check
/** While the room is listened to: the level as it comes, then what was heard, without losing what was typed. */

const form = /** @type {HTMLFormElement} */ (document.getElementById("record"));
const button = /** @type {HTMLButtonElement} */ (document.getElementById("listen"));

/** @returns {EventSource} */
function follow() {
  const row = /** @type {HTMLElement} */ (document.getElementById("listening"));
  const bar = /** @type {HTMLElement} */ (document.getElementById("bar"));
  const words = /** @type {HTMLElement} */ (document.getElementById("level"));
  document.getElementById("heard")?.remove();
  row.hidden = false;
  words.textContent = "Listening";
  const source = new EventSource("/record/level/events");
  source.addEventListener("message", (message) => {
    const told = /** @type {{level: number, level_words: string}} */ (JSON.parse(message.data));
    bar.style.width = `${100 * told.level}%`;
    words.textContent = told.level_words;
  });
  return source;
}

form.addEventListener("submit", async (event) => {
  if (event.submitter !== button) return;
  event.preventDefault();
  const told = new URLSearchParams(/** @type {any} */ (new FormData(form)));
  button.disabled = true;
  const source = follow();
  const box = /** @type {HTMLElement} */ (document.getElementById("level-box"));
  try {
    const answer = await fetch("/record/level", { method: "POST", body: told });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const heard = page.getElementById("heard") ?? page.querySelector("[role=alert].said, .summary");
    box.replaceChildren(...(heard ? [heard] : []), ...(page.getElementById("listening") ? [/** @type {HTMLElement} */ (page.getElementById("listening"))] : []));
  } catch {
    box.querySelector("#level")?.replaceChildren("The program does not answer. Is its window still open?");
  } finally {
    source.close();
    button.disabled = false;
  }
});
