// @ts-check
/** What is drawn on a photo: points in shares of it, and what was there before each change. */

/** @typedef {[number, number]} Point */
/** @typedef {{name: string, where: string, at: Point, states: string[], direction: string, trouble: string}} Place */
/** @typedef {{name: string, ends: Point[]}} Strut */
/** @typedef {{name: string, kind: string, note: string, width: number, height: number, sides: string[], edge: Point[], openings: Point[][],
 *   pin_fields: Point[][], screws: Point[], struts: Strut[], places: Place[]}} Drawn */
/** @typedef {"edge" | "openings" | "pin_fields" | "screws" | "struts" | "places"} Tool */

/** @returns {Drawn} */
export function empty() {
  return {
    name: "", kind: "", note: "", width: 1000, height: 1000, sides: ["", "", "", ""], edge: [], openings: [], pin_fields: [],
    screws: [], struts: [], places: [],
  };
}

/** @param {number} share */
const tidy = (share) => Math.round(1e5 * Math.min(1, Math.max(0, share))) / 1e5;

export class Sheet {
  /** @param {Drawn} drawn */
  constructor(drawn) {
    this.drawn = drawn;
    /** @type {string[]} */
    this.before = [];
    this.fresh = true; // the next point begins a new shape
  }

  keep() {
    this.before.push(JSON.stringify([this.drawn, this.fresh]));
    if (this.before.length > 300) this.before.shift();
  }

  /** @returns {boolean} */
  undo() {
    const last = this.before.pop();
    if (!last) return false;
    const words = { name: this.drawn.name, kind: this.drawn.kind, note: this.drawn.note, sides: this.drawn.sides };
    const size = { width: this.drawn.width, height: this.drawn.height };
    [this.drawn, this.fresh] = JSON.parse(last);
    Object.assign(this.drawn, words, size);
    return true;
  }

  /** @param {Tool} tool @param {number} x @param {number} y */
  add(tool, x, y) {
    this.keep();
    /** @type {Point} */
    const at = [tidy(x), tidy(y)];
    const d = this.drawn;
    if (tool === "edge" || tool === "screws") d[tool].push(at);
    else if (tool === "places") d.places.push({ name: this.free(), where: "", at, states: ["all"], direction: "", trouble: "" });
    else if (tool === "struts") this.end(at);
    else if (this.fresh || !d[tool].length) d[tool].push([at]);
    else /** @type {Point[]} */ (d[tool].at(-1)).push(at);
    this.fresh = tool !== "openings" && tool !== "pin_fields";
  }

  /** @param {Point} at */
  end(at) {
    const last = this.drawn.struts.at(-1);
    if (last && last.ends.length === 1) last.ends.push(at);
    else this.drawn.struts.push({ name: "", ends: [at] });
  }

  /** @returns {string} */
  free() {
    const names = new Set(this.drawn.places.map((p) => p.name));
    for (let n = 1; ; n++) if (!names.has(`S${n}`)) return `S${n}`;
  }

  /** A strut with one end is none yet, nor is a shape of fewer than three points.
   * @returns {Drawn} */
  whole() {
    const d = this.drawn;
    return {
      ...d, struts: d.struts.filter((s) => s.ends.length === 2), openings: d.openings.filter((o) => o.length > 2),
      pin_fields: d.pin_fields.filter((o) => o.length > 2),
    };
  }

  /** @param {Point} point @param {number} x @param {number} y */
  static move(point, x, y) {
    point[0] = tidy(x);
    point[1] = tidy(y);
  }
}
