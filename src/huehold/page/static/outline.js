// The live picture with the vessel and the white outlined; both can be moved by hand or by number.

import { ask, byId, make, wordsOf } from "/static/page.js";

const SVG = "http://www.w3.org/2000/svg";
const FIELDS = {
  vessel: [
    ["x_px", "Centre, from the left"],
    ["y_px", "Centre, from the top"],
    ["semi_major_px", "Longer half axis"],
    ["semi_minor_px", "Shorter half axis"],
    ["angle_deg", "Turn, degrees"],
  ],
  white: [
    ["x_px", "From the left"],
    ["y_px", "From the top"],
    ["width_px", "Width"],
    ["height_px", "Height"],
  ],
};
const NAMES = { vessel: "liquid", white: "white" };

export class Outline {
  constructor() {
    this._canvas = byId("picture");
    this._overlay = byId("overlay");
    this._stage = byId("stage");
    this._size = null;
    this._seen = { vessel: null, white: null };
    this._edited = null; // { what, shape } while one of them is being placed
    for (const what of Object.keys(FIELDS)) {
      byId(`place-${what}`).addEventListener("click", () => this._begin(what));
    }
    byId("place-use").addEventListener("click", () => this._use());
    byId("place-auto").addEventListener("click", () => this._leaveToProgram());
    byId("place-cancel").addEventListener("click", () => this._end());
    this._overlay.addEventListener("pointerdown", (event) => this._grab(event));
    this._stage.addEventListener("keydown", (event) => this._key(event));
  }

  async picture(blob) {
    const bitmap = await createImageBitmap(blob).catch(() => null);
    if (!bitmap) return;
    if (this._canvas.width !== bitmap.width || this._canvas.height !== bitmap.height) {
      [this._canvas.width, this._canvas.height] = [bitmap.width, bitmap.height];
      this._stage.classList.add("seen");
    }
    this._canvas.getContext("2d").drawImage(bitmap, 0, 0);
    bitmap.close();
  }

  /** Take where the program sees vessel and white, in pixels of a picture of this size. */
  show(size, vessel, white) {
    if (size && String(size) !== String(this._size)) {
      this._size = size;
      this._overlay.setAttribute("viewBox", `0 0 ${size[0]} ${size[1]}`);
    }
    this._seen = { vessel, white };
    this._draw();
  }

  _begin(what) {
    if (!this._size) return;
    this._edited = { what, shape: { ...(this._seen[what] || this._usual(what)) } };
    byId("place").hidden = false;
    byId("place-title").textContent = what === "vessel" ? "Where is the liquid?" : "Where is the white?";
    byId("place-error").textContent = "";
    byId("place-fields").replaceChildren(...FIELDS[what].map(([key, label]) => this._field(key, label)));
    this._draw();
    this._stage.focus();
  }

  _usual(what) {
    const [w, h] = this._size;
    const r = 0.25 * Math.min(w, h);
    return what === "vessel"
      ? { x_px: w / 2, y_px: h / 2, semi_major_px: r, semi_minor_px: r, angle_deg: 0 }
      : { x_px: 0.06 * w, y_px: 0.1 * h, width_px: 0.1 * w, height_px: 0.15 * h };
  }

  _field(key, label) {
    const input = make("input", { type: "number", step: "1", id: `place-${key}` });
    input.value = Math.round(this._edited.shape[key]);
    input.addEventListener("input", () => {
      if (!Number.isFinite(input.valueAsNumber)) return;
      this._edited.shape[key] = input.valueAsNumber;
      this._draw();
    });
    return make("label", { className: "field" }, label, input);
  }

  _changed() {
    for (const [key] of FIELDS[this._edited.what]) byId(`place-${key}`).value = Math.round(this._edited.shape[key]);
    this._draw();
  }

  async _use() {
    await this._send("PUT", this._edited.shape);
  }

  async _leaveToProgram() {
    await this._send("DELETE");
  }

  async _send(method, shape) {
    try {
      await ask(method, `/api/${this._edited.what}`, shape);
      this._end();
    } catch (error) {
      byId("place-error").textContent = wordsOf(error);
    }
  }

  _end() {
    const what = this._edited?.what;
    this._edited = null;
    byId("place").hidden = true;
    this._draw();
    if (what) byId(`place-${what}`).focus();
  }

  _draw() {
    if (!this._size) return;
    const { vessel, white } = this._seen;
    const parts = [];
    const wide = this._size[0];
    if (vessel && this._edited?.what !== "vessel") parts.push(...shapeOf("vessel", vessel, "seen", wide));
    if (white && this._edited?.what !== "white") parts.push(...shapeOf("white", white, "seen", wide));
    if (this._edited) parts.push(...shapeOf(this._edited.what, this._edited.shape, "edited", wide), ...this._handles());
    this._overlay.replaceChildren(...parts);
  }

  _handles() {
    const { what, shape } = this._edited;
    const r = 0.028 * this._size[0];
    return handlePlaces(what, shape).map(([name, x, y]) => {
      const handle = svg("circle", { cx: x, cy: y, r, class: "handle" });
      handle.dataset.handle = name;
      return handle;
    });
  }

  _at(event) {
    const box = this._overlay.getBoundingClientRect();
    const [w, h] = this._size;
    return [((event.clientX - box.left) / box.width) * w, ((event.clientY - box.top) / box.height) * h];
  }

  _grab(event) {
    if (!this._edited) return;
    event.preventDefault();
    const handle = event.target.dataset?.handle || "middle";
    const begun = this._at(event);
    const before = { ...this._edited.shape };
    const move = (later) => {
      if (!this._edited) return;
      const [x, y] = this._at(later);
      this._edited.shape = moved(this._edited.what, before, handle, x - begun[0], y - begun[1]);
      this._changed();
    };
    const drop = () => {
      removeEventListener("pointermove", move);
      removeEventListener("pointerup", drop);
      removeEventListener("pointercancel", drop);
    };
    addEventListener("pointermove", move);
    addEventListener("pointerup", drop);
    addEventListener("pointercancel", drop);
  }

  _key(event) {
    if (!this._edited) return;
    const step = event.shiftKey ? 10 : 2;
    const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    const grow = { "+": step, "-": -step }[event.key];
    if (event.key === "Escape") this._end();
    else if (by) this._edited.shape = moved(this._edited.what, this._edited.shape, "middle", ...by);
    else if (grow) this._edited.shape = grown(this._edited.what, this._edited.shape, grow);
    else return;
    event.preventDefault();
    if (this._edited) this._changed();
  }
}

function svg(tag, attributes, text) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  if (text) made.textContent = text;
  return made;
}

function shapeOf(what, s, state, wide) {
  const letter = 0.03 * wide;
  const attributes =
    what === "vessel"
      ? { cx: s.x_px, cy: s.y_px, rx: s.semi_major_px, ry: s.semi_minor_px, transform: `rotate(${s.angle_deg} ${s.x_px} ${s.y_px})` }
      : { x: s.x_px, y: s.y_px, width: s.width_px, height: s.height_px };
  const tag = what === "vessel" ? "ellipse" : "rect";
  const [x, top, below] =
    what === "vessel"
      ? [s.x_px, s.y_px - s.semi_minor_px, s.y_px + s.semi_minor_px]
      : [s.x_px + s.width_px / 2, s.y_px, s.y_px + s.height_px];
  const y = top > 2 * letter ? top - 0.4 * letter : below + 1.2 * letter;
  return [
    svg(tag, { ...attributes, class: `halo ${state}` }),
    svg(tag, { ...attributes, class: `line ${what} ${state}` }),
    svg("text", { x, y, class: "outline-name", "font-size": letter, "stroke-width": 0.22 * letter }, NAMES[what]),
  ];
}

function handlePlaces(what, s) {
  if (what === "white") {
    return [["middle", s.x_px + s.width_px / 2, s.y_px + s.height_px / 2], ["corner", s.x_px + s.width_px, s.y_px + s.height_px]];
  }
  const turn = (s.angle_deg * Math.PI) / 180;
  const [c, n] = [Math.cos(turn), Math.sin(turn)];
  return [
    ["middle", s.x_px, s.y_px],
    ["major", s.x_px + c * s.semi_major_px, s.y_px + n * s.semi_major_px],
    ["minor", s.x_px - n * s.semi_minor_px, s.y_px + c * s.semi_minor_px],
  ];
}

function moved(what, s, handle, dx, dy) {
  if (handle === "middle") return { ...s, x_px: s.x_px + dx, y_px: s.y_px + dy };
  if (handle === "corner") {
    return { ...s, width_px: Math.max(4, s.width_px + dx), height_px: Math.max(4, s.height_px + dy) };
  }
  const turn = (s.angle_deg * Math.PI) / 180 + (handle === "minor" ? Math.PI / 2 : 0);
  const key = `semi_${handle}_px`;
  return { ...s, [key]: Math.max(4, s[key] + dx * Math.cos(turn) + dy * Math.sin(turn)) };
}

function grown(what, s, by) {
  const keys = what === "vessel" ? ["semi_major_px", "semi_minor_px"] : ["width_px", "height_px"];
  return { ...s, ...Object.fromEntries(keys.map((key) => [key, Math.max(4, s[key] + by)])) };
}
