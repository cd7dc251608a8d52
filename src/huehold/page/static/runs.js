// Earlier runs: list, open, compare, put away and bring back.

import { drawChart, LINE_INKS } from "/static/chart.js";
import { Columns } from "/static/columns.js";
import { ask, byId, clock, make, wordsOf } from "/static/page.js";
import { resultParts } from "/static/result.js";
import { EVENTS, VERDICTS } from "/static/words.js";

const DASH_WORDS = ["solid", "long dashes", "dots", "dash and dot", "even dashes", "widest dashes"];

export class Runs {
  constructor(bands) {
    this._bands = bands;
    this._chosen = new Set();
    this._drawn = null;
    byId("runs-compare").addEventListener("click", () => this.compare());
    byId("runs-removed").addEventListener("change", () => this.list());
    addEventListener("resize", () => this._redraw());
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this._redraw());
  }

  async list() {
    const removed = byId("runs-removed").checked;
    this._put(null);
    try {
      const { runs } = await ask("GET", `/api/runs${removed ? "?removed=1" : ""}`);
      this._runs = runs;
      byId("runs-list").replaceChildren(...runs.map((run) => this._row(run)));
      byId("runs-none").hidden = runs.length > 0;
      this._sayChosen();
    } catch (error) {
      byId("runs-word").textContent = wordsOf(error);
    }
  }

  _row(run) {
    const name = nameOf(run);
    const box = make("input", { type: "checkbox", checked: this._chosen.has(run.id), "aria-label": `Compare ${name}` });
    box.addEventListener("change", () => {
      if (box.checked) this._chosen.add(run.id);
      else this._chosen.delete(run.id);
      this._sayChosen();
    });
    const open = make("a", { href: `#run-${run.id}` }, name);
    const away = make("button", { type: "button", className: "quiet", "aria-label": `${run.removed ? "Bring back" : "Put away"} ${name}` }, run.removed ? "Bring back" : "Put away");
    away.addEventListener("click", () => this._move(run, !run.removed));
    return make(
      "tr",
      {},
      make("td", {}, make("label", { className: "box" }, box)),
      make("th", { scope: "row" }, open),
      make("td", {}, new Date(run.started_at).toLocaleString()),
      make("td", {}, verdictWords(run)),
      make("td", {}, run.main || "–"),
      make("td", {}, away),
    );
  }

  _sayChosen() {
    const count = this._chosen.size;
    byId("runs-compare").disabled = count < 2;
    byId("runs-compare").textContent = count < 2 ? "Compare: choose two or more" : `Compare ${count} runs`;
  }

  async _move(run, away) {
    const word = byId("runs-word");
    try {
      await (away ? ask("DELETE", `/api/runs/${run.id}`) : ask("POST", `/api/runs/${run.id}/back`));
      this._chosen.delete(run.id);
      const undo = make("button", { type: "button" }, "Undo");
      undo.addEventListener("click", () => this._move(run, !away));
      word.replaceChildren(`${nameOf(run)} was ${away ? "put away" : "brought back"}. `, undo);
      await this.list();
    } catch (error) {
      word.textContent = wordsOf(error);
    }
  }

  async open(number) {
    this._put(make("p", {}, "Going through the run again…"));
    try {
      const run = await ask("GET", `/api/runs/${number}`);
      const canvas = chartOf(`Hue and turbidity of ${nameOf(run)}`);
      const line = { columns: columnsOf(run.trace), label: nameOf(run) };
      const title = make("h2", { tabIndex: -1 }, nameOf(run));
      this._put(title, ...resultParts(run, run.id), canvas, ...listsOf(run));
      this._draw(canvas, { lines: [line], bands: run.bands, events: run.events, range: [0, Math.max(1, line.columns.end_s)] });
      title.focus();
    } catch (error) {
      this._put(make("p", { className: "bad" }, wordsOf(error)));
    }
  }

  async compare() {
    const numbers = [...this._chosen].sort((a, b) => a - b);
    this._put(make("p", {}, "Going through the runs again…"));
    try {
      const runs = [];
      for (const number of numbers) runs.push(await ask("GET", `/api/runs/${number}`));
      const lines = runs.map((run) => ({ columns: columnsOf(run.trace), label: nameOf(run) }));
      const canvas = chartOf(`Hue and turbidity of ${runs.map(nameOf).join(", ")}`);
      const title = make("h2", { tabIndex: -1 }, `${runs.length} runs compared`);
      this._put(title, canvas, tableOf(runs));
      const end_s = Math.max(1, ...lines.map(({ columns }) => columns.end_s));
      this._draw(canvas, { lines, bands: runs[0].bands, range: [0, end_s], ribbon: false });
      title.focus();
    } catch (error) {
      this._put(make("p", { className: "bad" }, wordsOf(error)));
    }
  }

  _put(...parts) {
    this._drawn = null;
    byId("run-shown").replaceChildren(...parts.filter(Boolean));
  }

  _draw(canvas, what) {
    this._drawn = () => drawChart(canvas, what);
    this._drawn();
  }

  _redraw() {
    this._drawn?.();
  }
}

function columnsOf(trace) {
  const columns = new Columns();
  columns.load(trace);
  return columns;
}

function chartOf(label) {
  return make("canvas", { className: "chart", role: "img", "aria-label": `${label}; the tables beside it say the same.` });
}

function nameOf(run) {
  return run.title ? `${run.title} (run ${run.id})` : `Run ${run.id}`;
}

function verdictWords(run) {
  const look = VERDICTS[run.verdict];
  return look ? look.word : run.finished_at ? "–" : "not finished";
}

function headOf(...texts) {
  return make("thead", {}, make("tr", {}, ...texts.map((text) => make("th", { scope: "col" }, text))));
}

function listsOf(run) {
  const events = run.events.map((e) => make("tr", {}, make("td", {}, clock(e.time_s, 1)), make("td", {}, `${EVENTS[e.kind].sign} ${EVENTS[e.kind].word}`), make("td", {}, e.end_s === null ? "" : clock(e.end_s, 1))));
  const masses = run.masses.map((m) => make("tr", {}, make("td", {}, `${m.entry}.${m.revision}`), make("td", {}, clock(m.time_s)), make("td", {}, `${m.mass_g} g`), make("td", {}, m.typed), make("td", {}, m.struck ? "taken back" : "stands")));
  return [
    make("h3", {}, "Events"),
    scrolled("Events", make("table", {}, headOf("From", "What", "To"), make("tbody", {}, ...events))),
    masses.length ? make("h3", {}, "Masses, every version") : null,
    masses.length ? scrolled("Masses", make("table", {}, headOf("Entry", "Run time", "Mass", "As typed", "State"), make("tbody", {}, ...masses))) : null,
    run.notes.length ? make("h3", {}, "Notes") : null,
    run.notes.length ? make("ul", {}, ...run.notes.map(([t, text]) => make("li", {}, `${clock(t)} ${text}`))) : null,
  ];
}

function scrolled(name, table) {
  return make("div", { className: "scroll", tabIndex: 0, role: "region", "aria-label": name }, table);
}

function tableOf(runs) {
  const rows = runs.map((run, n) => {
    const key = make("span", { className: "key", "aria-hidden": "true" });
    key.style.setProperty("--key", `var(--${LINE_INKS[n % LINE_INKS.length]})`);
    const line = make("td", {}, key, DASH_WORDS[n % DASH_WORDS.length]);
    const cells = [verdictWords(run), clock(run.onset_s, 1), String(run.additions), run.lines[0]?.[1] || "–"];
    return make("tr", {}, make("th", { scope: "row" }, nameOf(run)), line, ...cells.map((text) => make("td", {}, text)));
  });
  return scrolled("Comparison", make("table", {}, headOf("Run", "Line", "Verdict", "Onset", "Additions", "Result"), make("tbody", {}, ...rows)));
}
