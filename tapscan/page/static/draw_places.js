// @ts-check
/** The places as a list: names, words and numbers, by keyboard alone. */

const BARE = ["bare", "in-piano-unstrung"];

export class Rows {
  /** @param {HTMLTableSectionElement} body @param {import("./drawing.js").Sheet} sheet @param {() => void} changed */
  constructor(body, sheet, changed) {
    this.body = body;
    this.sheet = sheet;
    this.changed = changed;
  }

  show() {
    this.body.replaceChildren(...this.sheet.drawn.places.map((place, i) => this.row(place, i)));
  }

  /** @param {number} i */
  words(i) {
    /** @type {HTMLInputElement | null} */ (this.body.rows[i]?.querySelector(".where"))?.focus();
  }

  /** @param {import("./drawing.js").Place} place @param {number} i */
  row(place, i) {
    const row = document.createElement("tr");
    row.append(
      cell("Name", this.text(place, "name", `Name of place ${i + 1}`)),
      cell("Where, in words", this.text(place, "where", `Where place ${i + 1} is, in words`)),
      cell("Across, %", this.figure(place, 0, `Place ${i + 1}, across, percent`)),
      cell("Down, %", this.figure(place, 1, `Place ${i + 1}, down, percent`)),
      cell("With strings on", this.strung(place, i)),
      cell("", this.button("Earlier", `Tap place ${i + 1} earlier`, () => this.swap(i)), this.button("Take out", `Take place ${i + 1} out`, () => this.out(i))),
    );
    return row;
  }

  /** @param {any} place @param {"name" | "where"} key @param {string} label */
  text(place, key, label) {
    const field = input("text", label);
    field.className = key;
    field.value = place[key];
    field.addEventListener("input", () => {
      place[key] = field.value;
      this.changed();
    });
    return field;
  }

  /** @param {import("./drawing.js").Place} place @param {0 | 1} axis @param {string} label */
  figure(place, axis, label) {
    const field = input("number", label);
    Object.assign(field, { min: "0", max: "100", step: "any", value: String(Math.round(1000 * place.at[axis]) / 10) });
    field.addEventListener("change", () => {
      if (!field.checkValidity() || field.value === "") return;
      this.sheet.keep();
      place.at[axis] = Number(field.value) / 100;
      this.changed();
    });
    return field;
  }

  /** @param {import("./drawing.js").Place} place @param {number} i */
  strung(place, i) {
    const field = input("checkbox", `Place ${i + 1} may be tapped with strings on`);
    field.checked = place.states.includes("all") || place.states.includes("strung");
    field.addEventListener("change", () => {
      place.states = field.checked ? ["all"] : [...BARE];
      this.changed();
    });
    return field;
  }

  /** @param {string} words @param {string} label @param {() => void} act */
  button(words, label, act) {
    const made = document.createElement("button");
    Object.assign(made, { type: "button", className: "button", textContent: words });
    made.setAttribute("aria-label", label);
    made.addEventListener("click", act);
    return made;
  }

  /** @param {number} i */
  swap(i) {
    if (!i) return;
    this.sheet.keep();
    const places = this.sheet.drawn.places;
    [places[i - 1], places[i]] = [places[i], places[i - 1]];
    this.again();
  }

  /** @param {number} i */
  out(i) {
    this.sheet.keep();
    this.sheet.drawn.places.splice(i, 1);
    this.again();
  }

  again() {
    this.show();
    this.changed();
  }
}

/** @param {string} type @param {string} label */
function input(type, label) {
  const field = document.createElement("input");
  field.type = type;
  field.setAttribute("aria-label", label);
  field.autocomplete = "off";
  return field;
}

/** @param {string} label @param {HTMLElement[]} content */
function cell(label, ...content) {
  const made = document.createElement("td");
  made.dataset.label = label;
  made.append(...content);
  return made;
}
