// A finished run: verdict, result lines, decision, working, and its files.

import { byId, make } from "/static/page.js";
import { shapeOf, VERDICTS } from "/static/words.js";

/** Everything that is said about a run that is over, as elements. */
export function resultParts(told, runId) {
  if (!told.verdict) return [make("p", { className: "bad" }, told.error || "The run ended without a picture.")];
  const look = VERDICTS[told.verdict];
  return [
    make("p", { className: "verdict" }, shapeOf(look.shape), make("strong", {}, told.verdict_word), ` ${told.verdict_sentence}`),
    told.error ? make("p", { className: "bad" }, told.error) : null,
    told.lines.length ? linesOf(told.lines, "result-lines") : null,
    told.decision ? make("p", { className: "decision" }, told.decision) : null,
    told.remarks.length ? linesOf(told.remarks, "result-remarks") : null,
    listOf("Why", told.reasons),
    listOf("Read beside it", [...told.warnings, ...told.notes]),
    workingOf(told.working_html),
    filesOf(runId),
  ].filter(Boolean);
}

function linesOf(lines, className) {
  const rows = lines.map(([label, value]) => make("div", {}, make("dt", {}, label), make("dd", {}, value)));
  return make("dl", { className }, ...rows);
}

function listOf(title, sentences) {
  const once = [...new Set(sentences)];
  if (!once.length) return null;
  return make("div", {}, make("h3", {}, title), make("ul", {}, ...once.map((text) => make("li", {}, text))));
}

/** The program's own HTML, already escaped there; anything that could run is left out here. */
function workingOf(html) {
  if (!html) return null;
  const read = new DOMParser().parseFromString(html, "text/html");
  read.querySelectorAll("script, style, link, iframe, object").forEach((found) => found.remove());
  const inside = make("div", { className: "working", tabIndex: 0, role: "region", "aria-label": "Working" });
  inside.append(...read.body.childNodes);
  return make("details", {}, make("summary", {}, "Working, step by step"), inside);
}

function filesOf(runId) {
  if (!runId) return null;
  const link = (kind, text) => make("a", { href: `/api/runs/${runId}/file.${kind}`, download: `huehold-run-${runId}.${kind}`, className: "button" }, text);
  return make("p", { className: "row files" }, link("html", "Report"), link("csv", "Trace as CSV"), link("json", "Result as JSON"));
}

export function showResult(told) {
  byId("result").hidden = !told;
  if (told) byId("result-body").replaceChildren(...resultParts(told, told.run_id));
}
