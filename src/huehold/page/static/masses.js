// Titrant masses: typed with Enter, shown as saved only once the program has written them down.

import { ask, byId, clock, kept, make, newKey, Refusal, wordsOf } from "/static/page.js";

const RETRY_MS = 2500;

/** Said in place of "saved" while the program cannot write. */
export const UNSAVED = "Kept in memory only: the notebook cannot be written just now. It is tried again by itself.";

export class Masses {
  constructor(now_s) {
    this._now_s = now_s; // the run's time
    this._entries = [];
    this._run = null;
    this._waiting = []; // typed, not yet known to be saved; survive a reload
    this._editing = null;
    byId("mass-form").addEventListener("submit", (event) => this._typed(event));
    byId("tare-use").addEventListener("change", () => this._showTare());
    setInterval(() => this._retry(), RETRY_MS);
  }

  /** Begin with a run's masses as the program knows them. */
  begin(run, entries) {
    if (run !== this._run) {
      this._run = run;
      this._waiting = kept.get(`waiting.${run}`, [], sessionStorage);
    }
    this.show(entries);
    this._retry();
  }

  show(entries) {
    this._entries = entries;
    this._draw();
  }

  _showTare() {
    byId("tare-fields").hidden = !byId("tare-use").checked;
  }

  _typed(event) {
    event.preventDefault();
    const field = byId("mass");
    const text = field.value.trim();
    if (!text) return this._say("Type the mass that the balance shows.", true);
    const bare = /^[\d\s.,'’]+$/.test(text);
    const tared = byId("tare-use").checked;
    this._waiting.push({
      key: newKey(),
      text: bare ? `${text} ${byId("mass-unit").value}` : text,
      typed_s: this._now_s(),
      tare: tared ? byId("tare").value.trim() : "",
      falling: tared && byId("tare-way").value === "falling",
    });
    field.value = "";
    this._keep();
    this._draw();
    return this._retry();
  }

  _keep() {
    kept.set(`waiting.${this._run}`, this._waiting, sessionStorage);
  }

  /** Send what waits, in order; what the program refuses goes back to the field. */
  async _retry() {
    if (this._sending || !this._waiting.length) return;
    this._sending = true;
    try {
      while (this._waiting.length) {
        const entry = await ask("POST", "/api/masses", this._waiting[0]);
        this._waiting.shift();
        this._keep();
        this._upsert(entry);
        this._sayOf(entry, `Saved: ${grams(entry.mass_g)} at ${clock(entry.time_s)}.`);
      }
    } catch (error) {
      this._failed(error);
    } finally {
      this._sending = false;
      this._draw();
    }
  }

  _failed(error) {
    if (!(error instanceof Refusal) || error.status === 429 || error.status >= 500) {
      this._say("Not saved yet: the program cannot be reached. It is tried again by itself.", true);
      return;
    }
    const refused = this._waiting.shift();
    this._keep();
    const field = byId("mass");
    if (!field.value) field.value = refused.text;
    this._say(`Not saved: ${wordsOf(error)}`, true);
    field.focus();
  }

  _upsert(entry) {
    const others = this._entries.filter((e) => e.entry !== entry.entry);
    this._entries = [...others, entry].sort((a, b) => a.entry - b.entry);
  }

  async _change(method, entry, text) {
    try {
      const changed = await ask(method, `/api/masses/${entry.entry}`, text && { text });
      this._upsert(changed);
      this._editing = null;
      this._sayOf(changed, method === "DELETE" ? `Taken back: ${grams(entry.mass_g)}.` : "Changed and saved.");
    } catch (error) {
      this._say(`Not changed: ${wordsOf(error)}`, true);
    }
    this._draw();
  }

  /** An entry without the time of its writing is in the program's memory alone. */
  _sayOf(entry, text) {
    if (entry.entered_at) this._say(text);
    else this._say(UNSAVED, true);
  }

  _say(text, bad = false) {
    const place = byId("mass-word");
    place.textContent = text;
    place.classList.toggle("bad", bad);
  }

  _draw() {
    const standing = this._entries.filter((entry) => !entry.struck);
    const last = standing[standing.length - 1];
    byId("mass-total").textContent = last ? grams(last.mass_g) : "none yet";
    const rows = [
      ...this._entries.map((entry, n) => this._row(entry, this._entries[n - 1])),
      ...this._waiting.map(({ text, typed_s }) => waitingRow(text, typed_s)),
    ];
    byId("mass-list").replaceChildren(...rows.reverse());
    byId("mass-none").hidden = rows.length > 0;
  }

  _row(entry) {
    if (this._editing === entry.entry) return this._editor(entry);
    const value = make(entry.struck ? "del" : "strong", {}, grams(entry.mass_g));
    const about = [clock(entry.time_s), entry.struck ? "taken back" : entry.entered_at ? "saved" : "⧗ in memory only"];
    if (entry.revision > 1 && !entry.struck) about.push(`version ${entry.revision}`);
    const tools = entry.struck
      ? [button("Bring back", () => this._change("PUT", entry, `${entry.mass_g} g`), `Bring back ${grams(entry.mass_g)}`)]
      : [
          button("Edit", () => this._edit(entry), `Edit ${grams(entry.mass_g)}`),
          button("Take back", () => this._change("DELETE", entry), `Take back ${grams(entry.mass_g)}`),
        ];
    return make("li", {}, make("span", { className: "mass-value" }, value), make("span", { className: "about" }, about.join(", ")), make("span", { className: "tools" }, ...tools));
  }

  _edit(entry) {
    this._editing = entry.entry;
    this._draw();
    byId("mass-edit").focus();
    byId("mass-edit").select();
  }

  _editor(entry) {
    const input = make("input", { id: "mass-edit", value: String(entry.mass_g), inputMode: "decimal", autocomplete: "off" });
    const form = make("form", { className: "row" }, make("label", { className: "field" }, "Corrected mass, g", input), make("button", { type: "submit" }, "Save"), button("Cancel", () => this._stopEditing()));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      this._change("PUT", entry, input.value.trim() || "?");
    });
    return make("li", {}, form);
  }

  _stopEditing() {
    this._editing = null;
    this._draw();
  }

  /** Every version of every entry, as the program keeps them. */
  async history() {
    const place = byId("mass-history");
    try {
      const { masses } = await ask("GET", "/api/masses");
      const rows = masses.map((m) =>
        make("tr", {}, make("td", {}, `${m.entry}.${m.revision}`), make("td", {}, clock(m.time_s)), make("td", { className: "number" }, grams(m.mass_g)), make("td", {}, m.typed), make("td", {}, m.struck ? "taken back" : m.revision > 1 ? "changed" : "typed"), make("td", {}, m.entered_at ? new Date(m.entered_at).toLocaleTimeString() : "")),
      );
      const heads = ["Entry", "Run time", "Mass", "As typed", "What", "At"].map((text) => make("th", { scope: "col" }, text));
      place.replaceChildren(make("table", {}, make("thead", {}, make("tr", {}, ...heads)), make("tbody", {}, ...rows)));
    } catch (error) {
      place.textContent = wordsOf(error);
    }
  }
}

function waitingRow(text, typed_s) {
  return make("li", { className: "waiting" }, make("span", { className: "mass-value" }, make("strong", {}, text)), make("span", { className: "about" }, `${clock(typed_s)}, ⧗ not saved yet`));
}

function button(text, act, name) {
  const made = make("button", { type: "button", className: "quiet" }, text);
  if (name) made.setAttribute("aria-label", name);
  made.addEventListener("click", act);
  return made;
}

function grams(mass_g) {
  return `${Number(mass_g.toFixed(4))} g`;
}

/** The form of what is weighed and read off labels; each change is sent and saved. */
export class Inputs {
  constructor() {
    this._form = byId("inputs-form");
    this._form.addEventListener("submit", (event) => event.preventDefault());
    this._form.addEventListener("input", () => this._isBad() || this._say(""));
    this._form.addEventListener("change", () => this._changed());
    this._built = false;
    this._dirty = false; // something typed is not known to be saved
    this._sending = false;
  }

  begin(fields, values) {
    if (!this._built) {
      this._form.replaceChildren(...fields.map((field) => this._field(field)));
      this._built = true;
    }
    this.show(values);
  }

  _field({ key, label, example }) {
    const hint = `input-${key}-hint`;
    const control =
      key === "strength_basis"
        ? make("select", { name: key }, ...[["", "as the method says"], ["per-100-mL", "grams per 100 mL"], ["per-100-g", "grams per 100 g"]].map(([value, text]) => make("option", { value }, text)))
        : make("input", { name: key, autocomplete: "off", "aria-describedby": hint });
    control.id = `input-${key}`;
    const about = key === "strength_basis" ? "" : `such as ${example}`;
    return make("div", { className: "field" }, make("label", { htmlFor: control.id }, label), control, make("span", { id: hint, className: "hint" }, about));
  }

  /** Show what is saved, but never over what is being typed. */
  show(values) {
    if (this._dirty || this._sending) return;
    for (const control of this._form.elements) {
      if (control !== document.activeElement) control.value = values[control.name] ?? "";
    }
  }

  /** One request at a time, so that an older one never overtakes a newer. */
  async _changed() {
    this._dirty = true;
    if (!this._isBad()) this._say("Saving…");
    if (this._sending) return;
    this._sending = true;
    while (this._dirty) {
      this._dirty = false;
      if (await this._send()) continue;
      this._dirty = true;
      break;
    }
    this._sending = false;
  }

  _typed() {
    const filled = [...this._form.elements].filter((c) => c.value.trim());
    return Object.fromEntries(filled.map((c) => [c.name, c.value.trim()]));
  }

  /** "Saved." is said only while the form holds nothing newer than what was sent. */
  async _send() {
    const values = this._typed();
    try {
      const { saved } = await ask("PUT", "/api/inputs", { values });
      const newer = JSON.stringify(this._typed()) !== JSON.stringify(values);
      if (!saved) this._say(UNSAVED, true);
      else if (newer) this._say(this._dirty ? "Saving…" : "");
      else this._say("Saved.");
      return true;
    } catch (error) {
      this._say(`Not saved: ${wordsOf(error)}`, true);
      if (!(error instanceof Refusal)) setTimeout(() => this._changed(), RETRY_MS);
      return false;
    }
  }

  _isBad() {
    return byId("inputs-word").classList.contains("bad");
  }

  _say(text, bad = false) {
    const word = byId("inputs-word");
    word.textContent = text;
    word.classList.toggle("bad", bad);
  }
}
