// One step of a guide as a form: fields once, or rows of fields; pictures from a file or the camera.

import { ask, make, wordsOf } from "/static/page.js";

const WIDEST_PX = 1600;
const POINTING = "If the chart is not found, click the middles of the patches dark skin, bluish green, black and white, in that order, or type them.";
const SVG = "http://www.w3.org/2000/svg";

/** The form of a step; what is typed goes into `answers`, by field or as rows by step. */
export class StepForm {
  constructor(step, answers, { standards, live, say }) {
    this.step = step;
    this.answers = answers;
    this._standards = standards;
    this._live = live; // whether the run's camera may be asked for a picture
    this._say = say;
    if (step.rows && !answers[step.key]) answers[step.key] = this._offered();
  }

  _offered() {
    const count = Math.max(1, this.step.offered);
    return Array.from({ length: count }, (_, n) => this._newRow(n));
  }

  _newRow(n) {
    return Object.fromEntries(this.step.fields.map((f) => [f.key, f.starts[n] ?? f.start]));
  }

  draw(place) {
    this._place = place;
    if (this.step.rows) return this._drawRows();
    const parts = this.step.fields.map((field) => this._field(field, this.answers, `f-${field.key}`));
    return place.replaceChildren(make("div", { className: "fields" }, ...parts));
  }

  _drawRows() {
    const rows = this.answers[this.step.key];
    const groups = rows.map((row, n) => this._row(row, n));
    const more = make("button", { type: "button", id: "more" }, "One more");
    more.addEventListener("click", () => this._more());
    this._place.replaceChildren(...groups, make("div", { className: "row" }, more));
  }

  _row(row, n) {
    const fields = this.step.fields.map((field) => this._field(field, row, `f-${field.key}-${n}`, n));
    const legend = make("legend", { className: "muted small" }, `${n + 1}`);
    return make("fieldset", { className: "fields guide-row" }, legend, ...fields);
  }

  _more() {
    const rows = this.answers[this.step.key];
    rows.push(this._newRow(rows.length));
    this._drawRows();
    this._place.querySelector(`fieldset:nth-of-type(${rows.length}) input, fieldset:nth-of-type(${rows.length}) button`).focus();
  }

  _field(field, values, id, row = -1) {
    if (field.kind === "picture") return this._picture(field, values, id, row);
    const control = this._control(field, values, id);
    const numbered = row < 0 ? field.label : `${field.label} ${row + 1}`;
    const label = numbered + (field.unit ? `, ${field.unit}` : "") + (field.needed || row >= 0 ? "" : " (optional)");
    const hint = field.example ? `such as ${field.example}` : "";
    control.setAttribute("aria-describedby", `${id}-hint`);
    const width = field.kind === "corners" ? "field wide" : "field";
    return make("div", { className: width }, make("label", { htmlFor: id }, label), control, make("span", { id: `${id}-hint`, className: "hint" }, hint));
  }

  _control(field, values, id) {
    const offered = field.choices === "standards" ? this._standards(this.answers.method) : field.offered;
    const closed = ["methods", "lights", "standards"].includes(field.choices);
    const control = closed ? this._select(field, offered, id) : make("input", { id, name: id });
    if (!closed && offered.length) control.setAttribute("list", this._list(field.choices, offered));
    control.value = values[field.key] ?? (field.start || field.default);
    values[field.key] = control.value;
    const heed = () => {
      values[field.key] = control.value;
      control.removeAttribute("aria-invalid");
    };
    control.addEventListener("input", heed);
    control.addEventListener("change", heed);
    return control;
  }

  _select(field, offered, id) {
    const none = field.needed || field.default ? [] : [make("option", { value: "" }, offered.length === 1 ? offered[0][1] : "any")];
    const shown = none.length && offered.length === 1 ? [] : offered;
    return make("select", { id, name: id }, ...none, ...shown.map(([value, text]) => make("option", { value }, text)));
  }

  _list(name, offered) {
    const id = `list-${name}`;
    if (!document.getElementById(id)) {
      const options = offered.map(([value, text]) => make("option", { value, label: text }));
      document.body.append(make("datalist", { id }, ...options));
    }
    return id;
  }

  _picture(field, values, id, row) {
    const which = row < 0 ? "Picture" : `Picture ${row + 1}`;
    const file = make("input", { type: "file", id, accept: "image/*", "aria-describedby": `${id}-hint` });
    file.addEventListener("change", () => file.files[0] && this._take(values, field, id, () => upload(file.files[0])));
    const camera = make("button", { type: "button", id: `${id}-live`, "aria-label": `${which} from the run's camera` }, "Take from the camera");
    camera.addEventListener("click", () => this._take(values, field, id, () => ask("POST", "/api/calibrate/pictures/live")));
    const shown = make("div", { className: "grow" }, make("span", { id: `${id}-hint`, className: "hint" }));
    const made = make("div", { className: this._pointed ? "field wide" : "field" }, make("label", { htmlFor: id }, `${which}, from a file`), file, this._live ? camera : null, shown);
    this._places ??= {};
    this._places[id] = shown;
    if (values[field.key]) this._show(id, this._shots?.[values[field.key]]);
    return made;
  }

  async _take(values, field, id, get) {
    this._say("Looking at the picture…");
    try {
      const shot = await get();
      values[field.key] = shot.name;
      this._shots ??= {};
      this._shots[shot.name] = shot;
      this._show(id, shot);
      document.getElementById(id).removeAttribute("aria-invalid");
      this._say(this._pointed ? `Taken: ${shot.name}.` : `Taken: ${shot.name}. ${shot.says}`);
    } catch (error) {
      this._say(error instanceof PictureError ? error.message : wordsOf(error), true);
    }
  }

  _show(id, shot) {
    if (!shot) return;
    const words = this._pointed ? `${shot.name}. ${POINTING}` : `${shot.name}: ${shot.says}`;
    const picture = shownPicture(this._pointed ? { ...shot, vessel: null, says: "" } : shot);
    if (this._pointed) this._letPoint(picture, shot);
    const hint = make("span", { id: `${id}-hint`, className: "hint" }, words);
    this._places[id].replaceChildren(picture, hint);
  }

  /** The field that is filled by pointing at four places of the picture, if there is one. */
  get _pointed() {
    return this.step.fields.find((field) => field.kind === "corners");
  }

  _letPoint(svg, { width, height }) {
    const points = [];
    svg.addEventListener("click", (event) => {
      const box = svg.getBoundingClientRect();
      if (points.length === 4) points.length = 0;
      points.push([(event.clientX - box.left) * (width / box.width), (event.clientY - box.top) * (height / box.height)]);
      for (const dot of svg.querySelectorAll("circle")) dot.remove();
      svg.append(...points.map(([cx, cy]) => drawn("circle", { cx, cy, r: width / 100, class: "handle" })));
      const control = document.getElementById(`f-${this._pointed.key}`);
      control.value = points.length === 4 ? points.flat().map(Math.round).join(",") : "";
      control.dispatchEvent(new Event("input"));
      this._say(`${points.length} of 4 patches pointed at.`);
    });
  }

  /** Mark the field an error belongs to, and go there. */
  mark({ field, row }) {
    const at = field && document.getElementById(row >= 0 ? `f-${field}-${row}` : `f-${field}`);
    const control = at || this._place.querySelector("input, select, button");
    if (at) at.setAttribute("aria-invalid", "true");
    control?.focus();
  }
}

class PictureError extends Error {}

/** A file as the JPEG that is sent: upright, in sRGB, no wider than needed. */
async function upload(file) {
  let picture;
  try {
    picture = await createImageBitmap(file);
  } catch {
    throw new PictureError("This file is no picture that the browser can read; take a JPEG or PNG.");
  }
  const scale = Math.min(1, WIDEST_PX / picture.width);
  const canvas = make("canvas", { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
  const pen = canvas.getContext("2d");
  pen.imageSmoothingQuality = "high";
  pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
  const body = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.95));
  const answer = await fetch("/api/calibrate/pictures", { method: "POST", body, signal: AbortSignal.timeout(30000) });
  const told = await answer.json();
  if (!answer.ok) throw new PictureError(told.error);
  return told;
}

/** The picture with the outline of the liquid that was found. */
function shownPicture({ name, width, height, vessel, says }) {
  const number = name.split(" ")[1];
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", `${name}. ${says}`);
  svg.append(drawn("image", { href: `/api/calibrate/pictures/${number}`, width, height }));
  if (vessel) {
    const turn = `rotate(${vessel.angle} ${vessel.x} ${vessel.y})`;
    const shape = { cx: vessel.x, cy: vessel.y, rx: vessel.rx, ry: vessel.ry, transform: turn };
    svg.append(drawn("ellipse", { ...shape, class: "halo" }), drawn("ellipse", { ...shape, class: "line" }));
  }
  return svg;
}

function drawn(tag, attributes) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  return made;
}
