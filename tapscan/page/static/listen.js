// @ts-check
/** The same place before and now: one button changes between them, both going round. */

const box = /** @type {HTMLElement} */ (document.querySelector(".listen"));
const list = /** @type {HTMLSelectElement} */ (document.getElementById("station"));
const turn = /** @type {HTMLButtonElement} */ (document.getElementById("turn"));
const which = /** @type {HTMLElement} */ (document.getElementById("which"));
const sounds = { before: new Audio(), now: new Audio() };
for (const sound of Object.values(sounds)) {
  sound.loop = true;
  sound.preload = "auto";
  sound.addEventListener("error", () => {
    which.textContent = "This place cannot be heard: its recording is gone or has no tap here.";
  });
}
/** @type {"before" | "now" | null} */
let playing = null;

function load() {
  for (const when of /** @type {("before" | "now")[]} */ (["before", "now"])) {
    sounds[when].src = `/sound?scan=${encodeURIComponent(box.dataset[when] ?? "")}&station=${encodeURIComponent(list.value)}`;
  }
}

function stop() {
  for (const sound of Object.values(sounds)) sound.pause();
  playing = null;
  which.textContent = "";
  turn.textContent = "Listen";
}

async function change() {
  const next = playing === "before" ? "now" : "before";
  for (const sound of Object.values(sounds)) sound.pause();
  sounds[next].currentTime = 0;
  try {
    await sounds[next].play();
  } catch {
    return;
  }
  playing = next;
  which.textContent = next === "before" ? `before (${box.dataset.before})` : `now (${box.dataset.now})`;
  turn.textContent = next === "before" ? "Change to now" : "Change to before";
}

if (box) {
  load();
  list.addEventListener("change", () => {
    stop();
    load();
  });
  turn.addEventListener("click", change);
  document.getElementById("stop")?.addEventListener("click", stop);
}
