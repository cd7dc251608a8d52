// Guided calibration: choose what, go through the steps, look at the result, keep it.

import { ask, byId, make, Refusal, wordsOf } from "/static/page.js";
import { StepForm } from "/static/guide.js";

let overview = { guides: [], kept: [], standards: {}, run: false, told: [] };
let guide = null;
let answers = {};
let forms = {};
let at = 0; // number of the step among those that are gone through

function say(text, bad = false) {
  byId("word").textContent = bad ? "" : text;
  byId("fault").textContent = bad ? text : "";
}

async function begin() {
  try {
    overview = await ask("GET", "/api/calibrate");
  } catch (error) {
    say(wordsOf(error), true);
    return;
  }
  byId("to-run").hidden = !overview.run;
  byId("guides").replaceChildren(...overview.guides.map(guideLine));
  byId("kept").replaceChildren(...overview.kept.map(keptLine));
  byId("kept-none").hidden = overview.kept.length > 0;
  byId("told").replaceChildren(...overview.told.map((text) => make("li", {}, text)));
}

function guideLine(one) {
  const open = make("button", { type: "button", id: `open-${one.kind}` }, one.title);
  open.addEventListener("click", () => start(one));
  return make("li", { className: "row" }, open, make("span", { className: "about" }, one.what));
}

function keptLine(one) {
  if (!one.readable) return make("li", { className: "bad" }, `${one.name}: ${one.fault}`);
  const button = make("button", { type: "button", className: "quiet", "aria-pressed": String(one.used), "aria-label": `Runs use ${one.name}` }, one.used ? "In use" : "Use");
  button.addEventListener("click", () => choose(one));
  const about = [one.summary, one.reminder || `of ${one.date}`].join("; ");
  return make("li", { className: "row" }, button, make("span", { className: "about" }, `${one.name}: ${about}`));
}

async function choose({ name, used }) {
  try {
    await ask("PUT", "/api/calibrate/use", { name, use: !used });
    await begin();
    say(used ? `Runs do not use ${name} any more.` : `From now on runs use ${name}.`);
  } catch (error) {
    say(wordsOf(error), true);
  }
}

// -- going through a guide --------------------------------------------------------------------

function start(one) {
  guide = one;
  answers = {};
  forms = {};
  byId("choose").hidden = true;
  byId("step").hidden = false;
  byId("title").textContent = one.title;
  document.title = `${one.title} – Huehold`;
  byId("about").textContent = `${one.what} You need: ${one.needs}`;
  show(0);
}

function leave(word = "") {
  guide = null;
  byId("choose").hidden = false;
  byId("step").hidden = true;
  byId("title").textContent = "Calibrate";
  document.title = "Calibrate – Huehold";
  byId("about").textContent = "";
  say(word);
  begin().then(() => byId("main").focus());
}

/** Steps that are gone through, given what was answered. */
function steps() {
  return guide.steps.filter((step) => step.shown && !(step.unless && answered(step.unless)));
}

function answered(key) {
  const given = answers[key];
  if (typeof given === "string") return given.trim() !== "";
  return Boolean(given?.some((row) => Object.values(row).some((text) => text.trim())));
}

function show(number) {
  say("");
  at = number;
  const step = steps()[number];
  byId("step-count").textContent = `Step ${number + 1} of ${steps().length + 1}`;
  byId("step-title").textContent = step.title;
  byId("step-words").replaceChildren(...step.words.map((text) => make("p", {}, text)));
  forms[step.key] ??= new StepForm(step, answers, { standards: standardsOf, live: overview.run, say });
  forms[step.key].draw(byId("step-fields"));
  byId("next").textContent = "Next";
  byId("back").textContent = number ? "Back" : "Leave";
  byId("step-title").focus();
}

function standardsOf(method) {
  return overview.standards[method] ?? [];
}

async function next(event) {
  event.preventDefault();
  if (at >= steps().length) return keep();
  const step = steps()[at];
  try {
    await ask("POST", "/api/calibrate/check", { kind: guide.kind, step: step.key, answers });
  } catch (error) {
    return refused(error, forms[step.key]);
  }
  if (at + 1 < steps().length) return show(at + 1);
  return result();
}

function refused(error, form) {
  say(wordsOf(error), true);
  if (form && error instanceof Refusal) form.mark(error.told ?? {});
}

function back() {
  if (at === 0) leave();
  else show(Math.min(at, steps().length) - 1);
}

// -- the result -------------------------------------------------------------------------------

async function result() {
  say("Working it out…");
  let made;
  try {
    made = await ask("POST", "/api/calibrate/result", { kind: guide.kind, answers });
  } catch (error) {
    return say(wordsOf(error), true);
  }
  at = steps().length;
  byId("step-count").textContent = `Step ${at + 1} of ${at + 1}`;
  byId("step-title").textContent = "Result";
  byId("step-words").replaceChildren(...resultWords(made));
  byId("step-fields").replaceChildren(nameField(made.name), useField());
  byId("next").textContent = "Keep it";
  byId("back").textContent = "Back";
  say("");
  return byId("step-title").focus();
}

function resultWords({ summary, facts, seen, doubts, swatches }) {
  const lines = facts.map(([label, text]) => make("div", {}, make("dt", {}, label), make("dd", {}, text)));
  return [
    make("p", { id: "summary", className: "decision" }, summary),
    doubts.length ? make("ul", { className: "cautions bad" }, ...doubts.map((text) => make("li", {}, text))) : null,
    swatches.length ? make("ul", { className: "swatches", "aria-label": "Colours of the chart" }, ...swatches.map(swatch)) : null,
    make("dl", { className: "result-remarks" }, ...lines),
    seen.length ? make("ul", { className: "cautions" }, ...seen.map((text) => make("li", {}, text))) : null,
  ].filter(Boolean);
}

function swatch([text, colour]) {
  const patch = make("span", { className: "swatch" });
  patch.style.backgroundColor = colour;
  return make("li", {}, patch, text);
}

function nameField(name) {
  return make("div", { className: "field" }, make("label", { htmlFor: "name" }, "Name"), make("input", { id: "name", value: name, maxLength: 60 }));
}

function useField() {
  return make("label", { className: "check" }, make("input", { type: "checkbox", id: "use" }), " Have runs use it from now on");
}

async function keep() {
  const [name, use] = [byId("name").value, byId("use").checked];
  try {
    const kept = await ask("POST", "/api/calibrate/keep", { kind: guide.kind, answers, name, use });
    leave(`Kept as ${kept.ref}.${kept.used ? " Runs use it from now on." : ""}`);
  } catch (error) {
    say(wordsOf(error), true);
  }
}

byId("step-form").addEventListener("submit", next);
byId("back").addEventListener("click", back);
begin();
