// @ts-check
/** The live screen: shows what the program says, sends what is pressed. Nothing is decided here. */

/**
 * @typedef {{station: string, force: string, where: string, counts: string, done: number, done_of: string, said: string, tone: string,
 *   waiting: string, ready: boolean, level: number, level_words: string, pause: string, map: string, over?: boolean}} Told
 */

const live = /** @type {HTMLElement} */ (document.getElementById("live"));
const form = /** @type {HTMLFormElement} */ (document.getElementById("wishes"));
const here = `/record?id=${live.dataset.id}`;
const LOST = "The program does not answer. What was accepted is safe: start it again, then load this page anew.";

/** @param {string} id */
const part = (id) => /** @type {HTMLElement} */ (document.getElementById(id));

/** @param {string} id @param {string} text */
function put(id, text) {
  const at = part(id);
  if (at.textContent !== text) at.textContent = text;
}

/** @param {string} key */
async function draw(key) {
  if (live.dataset.map === key) return;
  live.dataset.map = key;
  const answer = await fetch(`/record/map?id=${live.dataset.id}`);
  if (answer.ok) part("map").innerHTML = await answer.text();
}

/** @param {Told} told */
function show(told) {
  for (const id of /** @type {("station" | "force" | "where" | "counts" | "waiting" | "said")[]} */ (["station", "force", "where", "counts", "waiting", "said"])) put(id, told[id]);
  put("done", String(told.done));
  put("done-of", told.done_of);
  put("level", told.level_words);
  part("bar").style.width = `${100 * told.level}%`;
  part("said").className = `verdict ${told.tone}`;
  part("waiting").classList.toggle("ready", told.ready);
  const pause = /** @type {HTMLElement} */ (form.querySelector("[value=pause] span"));
  if (pause.textContent !== told.pause) pause.textContent = told.pause;
  draw(told.map).catch(() => {});
}

const source = new EventSource(`/record/events?id=${live.dataset.id}`);
source.addEventListener("message", (message) => {
  const told = /** @type {Told} */ (JSON.parse(message.data));
  show(told);
  if (told.over) {
    source.close();
    location.replace(here);
  }
});
source.addEventListener("error", () => {
  put("said", LOST);
  part("said").className = "verdict bad";
  if (source.readyState === EventSource.CLOSED) location.replace(here);
});

/** @param {FormData} told */
async function send(told) {
  try {
    const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(/** @type {any} */ (told)) });
    if (!answer.ok || told.get("wish") === "stop") location.replace(here);
  } catch {
    put("said", LOST);
  }
}

let turn = Promise.resolve(); // one after the other, in the order in which they were pressed
form.addEventListener("submit", (event) => {
  event.preventDefault();
  const told = new FormData(form, event.submitter);
  told.set("quiet", "yes");
  turn = turn.then(() => send(told));
});
