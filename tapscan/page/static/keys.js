// @ts-check
/** Keys for those whose hands are chalky: every element with `data-key` is pressed by its letter, outside fields; ? names them all. */

/** @param {EventTarget | null} target */
function typing(target) {
  return target instanceof HTMLElement && (target.isContentEditable || /^(INPUT|SELECT|TEXTAREA)$/.test(target.tagName))
    && !(target instanceof HTMLInputElement && /^(checkbox|radio|button|submit)$/.test(target.type));
}

/** @returns {HTMLElement[]} */
function keyed() {
  return [.../** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("[data-key]"))].filter((e) => e.offsetParent !== null);
}

function names() {
  const box = document.createElement("dialog");
  box.className = "keys";
  const title = document.createElement("h2");
  title.textContent = "Keys on this page";
  const list = document.createElement("dl");
  for (const e of keyed()) {
    const row = document.createElement("div"), key = document.createElement("dt"), what = document.createElement("dd");
    const sign = document.createElement("kbd");
    sign.textContent = e.dataset.key ?? "";
    key.append(sign);
    what.textContent = e.getAttribute("aria-label") || e.textContent?.trim() || "find";
    row.append(key, what);
    list.append(row);
  }
  const close = document.createElement("button");
  close.className = "button";
  close.textContent = "Close";
  close.addEventListener("click", () => box.close());
  box.append(title, list, close);
  box.addEventListener("close", () => box.remove());
  document.body.append(box);
  box.showModal();
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || typing(event.target) || document.querySelector("dialog[open]")) return;
  if (event.key === "?") {
    names();
    return;
  }
  const one = keyed().find((e) => e.dataset.key === event.key);
  if (!one) return;
  event.preventDefault();
  const field = one instanceof HTMLSelectElement || (one instanceof HTMLInputElement && one.type !== "checkbox");
  if (field) one.focus();
  else one.click();
});
