// The desk's page: everything of one run, and the way to the earlier ones.

import { Camera, figureWords } from "/static/camera.js";
import { drawChart } from "/static/chart.js";
import { Columns } from "/static/columns.js";
import { Link } from "/static/link.js";
import { Inputs, Masses, UNSAVED } from "/static/masses.js";
import { Outline } from "/static/outline.js";
import { ask, byId, clock, kept, make, wordsOf } from "/static/page.js";
import { showResult } from "/static/result.js";
import { Runs } from "/static/runs.js";
import { bindSound, setText, showMoment, soundWords, Twin } from "/static/shown.js";
import { Sound } from "/static/sound.js";
import { EVENTS, forecastWords } from "/static/words.js";

const DRAW_EVERY_MS = 250;
const MOST_EVENTS = 400;

const run = { id: null, moment: null, over: null, events: [], bands: [], pushed: false };
const columns = new Columns();
const link = new Link("/live");
const sound = new Sound();
const twin = new Twin();
const outline = new Outline();
const masses = new Masses(() => run.moment?.time_s ?? 0);
const inputs = new Inputs();
const runs = new Runs();
const camera = new Camera(byId("video"));
let span_s = kept.get("span", 0);
let still = false;
let due = false;

// -- what the program says -------------------------------------------------------------------

const HEARD = {
  hello(told) {
    if (told.run_id !== run.id) twin.clear();
    Object.assign(run, { id: told.run_id, moment: told.moment, over: told.finished, events: told.events, bands: told.method.bands, pushed: told.source.pushed });
    sound.cues = told.cues;
    columns.load(told.trace);
    setText("method", told.method.title);
    masses.begin(told.run_id, told.masses);
    inputs.begin(told.input_fields, told.inputs);
    listInto("cautions", told.method.cautions);
    HEARD.warnings(told);
    showPause(Boolean(told.moment?.paused));
    listInto("cue-list", Object.values(told.cues).map((cue) => `${cue.symbol} ${cue.words}`));
    byId("own-camera").hidden = !run.pushed || Boolean(run.over);
    if (run.pushed && !run.over && !camera.running && Camera.ran) camera.start(null);
    showEvents();
    showOver();
  },
  moment(told) {
    run.moment = told;
    if (told.seen) columns.push(told.time_s, told.seen);
    if (told.events.length) addEvents(told.events);
    for (const name of told.cues) {
      sound.play(name);
      twin.show(sound.cues[name], told);
    }
    twin.settle(told);
    outline.show(told.size, told.seen?.vessel, told.white);
    showPause(told.paused);
  },
  masses: (told) => masses.show(told.masses),
  inputs: (told) => inputs.show(told.inputs),
  warnings: (told) => listInto("warnings", told.warnings),
  finished(told) {
    run.over = told;
    showOver();
    if (!byId("result").hidden && told.verdict) byId("result-title").focus();
  },
};

function heard({ detail: told }) {
  HEARD[told.type]?.(told);
  link.quiet = Boolean(run.over);
  showMoment(run.moment, link.state === "open", run.over);
  drawSoon();
}

function addEvents(events) {
  const known = new Set(run.events.map((event) => `${event.kind} ${event.time_s}`));
  run.events.push(...events.filter((event) => !known.has(`${event.kind} ${event.time_s}`)));
  run.events.sort((a, b) => a.time_s - b.time_s);
  showEvents();
}

function showEvents() {
  const newest = run.events.slice(-MOST_EVENTS).reverse();
  byId("events").replaceChildren(...newest.map((event) => make("li", {}, eventWords(event))));
  byId("events-none").hidden = newest.length > 0;
  byId("events").hidden = newest.length === 0;
}

function eventWords(event) {
  const { word, sign } = EVENTS[event.kind];
  const until = event.end_s === null ? "" : ` to ${clock(event.end_s)}`;
  const why = event.detail.reason || (event.kind === "disturbance" && event.detail.kind) || "";
  return `${clock(event.time_s)}${until} ${sign} ${word}${why ? `: ${String(why).replaceAll("_", " ")}` : ""}`;
}

function listInto(id, sentences) {
  byId(id).replaceChildren(...sentences.map((text) => make("li", {}, text)));
}

function showOver() {
  showResult(run.over);
  for (const id of ["pause", "note", "finish", "place-vessel", "place-white"]) byId(id).disabled = Boolean(run.over);
  if (run.over) {
    byId("own-camera").hidden = true;
    if (camera.running) camera.stop();
  }
}

// -- drawing, a few times a second --------------------------------------------------------------

function drawSoon() {
  if (due) return;
  due = true;
  setTimeout(() => {
    due = false;
    requestAnimationFrame(draw);
  }, DRAW_EVERY_MS);
}

function draw() {
  const { moment } = run;
  showFigures(moment);
  if (still || document.hidden || byId("view-watch").hidden) return;
  const end_s = Math.max(columns.end_s, moment?.time_s ?? 0, 10);
  const start_s = span_s ? Math.max(0, end_s - span_s) : 0;
  drawChart(byId("trace"), { lines: [{ columns, label: "this run" }], range: [start_s, end_s], bands: run.bands, events: run.events });
}

function showFigures(moment) {
  setText("clock", clock(moment?.time_s ?? 0));
  setText("forecast", run.over || link.state !== "open" ? "" : forecastWords(moment?.forecast, moment?.phase));
  const seen = moment?.seen;
  byId("no-picture").hidden = columns.length > 0 || Boolean(moment?.seen);
  if (!seen) return;
  setText("hue-now", seen.hue_deg === null ? "no colour" : `${Math.round(seen.hue_deg)}° ${seen.chroma < 5 ? "pale" : seen.hue_word}`);
  setText("seen-words", seenWords(seen));
  const strip = columns.strips[columns.strips.length - 1]?.[1];
  if (strip) byId("disc").style.setProperty("--liquid", middleOf(strip));
  setText("trace-words", traceWords(seen));
}

function seenWords(seen) {
  const trust = `Trust ${Math.round(100 * seen.trust)} in 100`;
  return seen.reasons.length ? `${trust}: ${seen.reasons.join(", ")}.` : `${trust}.`;
}

function middleOf(strip) {
  const at = 3 * Math.floor(strip.length / 6);
  return `rgb(${strip[at]} ${strip[at + 1]} ${strip[at + 2]})`;
}

function traceWords(seen) {
  const hue = seen.hue_deg === null ? "Hue not seen" : `Hue ${Math.round(seen.hue_deg)}° (${seen.hue_word}), chroma ${Math.round(seen.chroma)}`;
  const cloudy = seen.turbidity === null ? "turbidity not known" : `turbidity ${seen.turbidity.toFixed(2)}`;
  return `${hue}, ${cloudy}, after ${clock(run.moment.time_s)}.`;
}

function showTable() {
  if (!byId("trace-more").open) return;
  const step = Math.max(1, Math.ceil(columns.length / 60));
  const rows = [];
  for (let i = columns.length - 1; i >= 0; i -= step) {
    const cells = [clock(columns.time_s[i], 1), columns.hue_deg[i]?.toFixed(0) ?? "–", columns.chroma[i]?.toFixed(0) ?? "–", columns.turbidity[i]?.toFixed(2) ?? "–", columns.trust[i]?.toFixed(2) ?? "–"];
    rows.push(make("tr", {}, ...cells.map((text) => make("td", { className: "number" }, text))));
  }
  const heads = ["Time", "Hue, degrees", "Chroma", "Turbidity", "Trust"].map((text) => make("th", { scope: "col" }, text));
  byId("trace-table").replaceChildren(make("table", {}, make("thead", {}, make("tr", {}, ...heads)), make("tbody", {}, ...rows)));
}

// -- buttons ------------------------------------------------------------------------------------

async function doing(method, path, body, word) {
  try {
    const told = await ask(method, path, body);
    setText("action-word", word);
    return told;
  } catch (error) {
    setText("action-word", wordsOf(error));
    return null;
  }
}

async function pause() {
  const paused = byId("pause").getAttribute("aria-pressed") !== "true";
  const word = paused ? "Paused. Nothing counts until you go on." : "Watching goes on.";
  await doing("PUT", "/api/pause", { paused }, word);
}

function showPause(paused) {
  if (byId("pause").getAttribute("aria-pressed") === String(paused)) return;
  byId("pause").setAttribute("aria-pressed", String(paused));
  setText("pause", paused ? "Go on" : "Pause");
}

function dialog(id) {
  const box = byId(id);
  box.returnValue = "";
  box.showModal();
  return new Promise((done) => box.addEventListener("close", () => done(box.returnValue), { once: true }));
}

async function note() {
  if ((await dialog("note-dialog")) !== "save") return;
  const text = byId("note-text").value.trim();
  if (!text) return;
  const told = await doing("POST", "/api/notes", { text }, "Note saved.");
  if (!told) return;
  byId("note-text").value = "";
  if (!told.saved) setText("action-word", UNSAVED);
}

async function finish() {
  if ((await dialog("finish-dialog")) !== "yes") return;
  setText("action-word", "Working the result out…");
  await doing("POST", "/api/finish", undefined, "Finished.");
}

async function newRun() {
  if (await doing("POST", "/api/run", undefined, "A new run has begun.")) byId("main").focus();
}

async function usePhone() {
  byId("phone-qr").hidden = true;
  for (const id of ["phone-link", "phone-print"]) setText(id, "");
  dialog("phone-dialog");
  try {
    const { link: address, qr, fingerprint } = await ask("POST", "/api/phone");
    setText("phone-word", "Point the phone's camera at this code.");
    Object.assign(byId("phone-qr"), { src: qr, hidden: false });
    setText("phone-link", address);
    setText("phone-print", fingerprint);
  } catch (error) {
    setText("phone-word", wordsOf(error));
  }
}

function ownCamera() {
  if (camera.running) camera.stop();
  else camera.start(null);
}

function cameraShown({ detail }) {
  setText("camera-state", detail.words);
  byId("camera-start").textContent = camera.running ? "Stop this computer's camera" : "Use this computer's camera";
}

function chooseSpan(chosen) {
  span_s = chosen;
  kept.set("span", span_s);
  for (const button of document.querySelectorAll(".span")) button.setAttribute("aria-pressed", String(Number(button.dataset.span) === span_s));
  drawSoon();
}

function standStill() {
  still = !still;
  byId("still").setAttribute("aria-pressed", String(still));
  drawSoon();
}

function mute() {
  sound.set({ muted: !sound.muted });
}

const KEYS = { m: () => byId("mass").focus(), p: pause, n: note, s: mute };

function key(event) {
  if (!byId("keys").checked || event.ctrlKey || event.metaKey || event.altKey || byId("view-watch").hidden) return;
  if (event.target.closest("input, textarea, select, dialog, .stage")) return;
  const act = KEYS[event.key.toLowerCase()];
  if (!act || (run.over && event.key !== "s")) return;
  event.preventDefault();
  act();
}

// -- views ----------------------------------------------------------------------------------------

function view() {
  const hash = location.hash.slice(1) || "watch";
  if (hash === "main") return;
  const earlier = hash === "runs" || hash.startsWith("run-");
  byId("view-watch").hidden = earlier;
  byId("view-runs").hidden = !earlier;
  byId(earlier ? "nav-runs" : "nav-watch").setAttribute("aria-current", "page");
  byId(earlier ? "nav-watch" : "nav-runs").removeAttribute("aria-current");
  if (hash === "runs") runs.list();
  else if (earlier) runs.list().then(() => runs.open(Number(hash.slice(4))));
  else drawSoon();
}

const LINK_WORDS = { open: "connected", connecting: "connecting", lost: "out of touch", locked: "locked out" };

function linked({ detail }) {
  setText("link-state", LINK_WORDS[detail]);
  if (detail === "locked") setText("alarm", "This page's key is not good any more. Open the address that the program printed.");
  if (detail === "lost") setText("twin", "");
  showMoment(run.moment, detail === "open", run.over);
  drawSoon();
}

function soundShown() {
  byId("mute-quick").setAttribute("aria-pressed", String(sound.muted));
  setText("sound-state", soundWords(sound));
}

function begin() {
  bindSound(sound);
  sound.addEventListener("change", soundShown);
  link.addEventListener("message", heard);
  link.addEventListener("picture", ({ detail }) => outline.picture(detail));
  link.addEventListener("state", linked);
  camera.addEventListener("state", cameraShown);
  camera.addEventListener("figures", ({ detail }) => setText("figures", figureWords(detail)));
  camera.addEventListener("locks", ({ detail }) => listInto("locks", detail.map(({ name, locked, words }) => `${locked ? "✓" : "–"} ${name}: ${words}`)));
  const clicks = { pause, note, finish, "new-run": newRun, "phone-open": usePhone, "camera-start": ownCamera, still: standStill, "mute-quick": mute, "settings-open": () => dialog("settings") };
  for (const [id, act] of Object.entries(clicks)) byId(id).addEventListener("click", act);
  for (const button of document.querySelectorAll(".span")) button.addEventListener("click", () => chooseSpan(Number(button.dataset.span)));
  byId("keys").checked = kept.get("keys", true);
  byId("keys").addEventListener("change", () => kept.set("keys", byId("keys").checked));
  byId("history").addEventListener("toggle", () => byId("history").open && masses.history());
  byId("trace-more").addEventListener("toggle", showTable);
  addEventListener("keydown", key);
  addEventListener("hashchange", view);
  addEventListener("resize", drawSoon);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawSoon);
  chooseSpan(span_s);
  view();
  link.open();
}

begin();
globalThis.huehold = { camera, columns, link, run, sound };
