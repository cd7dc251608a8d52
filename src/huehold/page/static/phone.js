// The phone's page: it is the camera, and it sounds too.

import { Camera, figureWords } from "/static/camera.js";
import { Link } from "/static/link.js";
import { ask, byId, make } from "/static/page.js";
import { bindSound, showMoment, Twin } from "/static/shown.js";
import { Sound } from "/static/sound.js";

const sound = new Sound();
const twin = new Twin();
const link = new Link("/live?pictures=0");
const camera = new Camera(byId("video"));
let moment = null;
let over = null;

bindSound(sound);

byId("start").addEventListener("click", () => {
  if (camera.running) camera.stop();
  else camera.start("environment");
  byId("start").textContent = camera.running ? "Stop the camera" : "Start the camera";
});

camera.addEventListener("state", ({ detail }) => {
  byId("camera-state").textContent = detail.words;
  byId("start").textContent = camera.running ? "Stop the camera" : "Start the camera";
});
camera.addEventListener("figures", ({ detail }) => {
  byId("figures").textContent = figureWords(detail);
});
camera.addEventListener("locks", ({ detail }) => {
  const rows = detail.map(({ name, locked, words }) => make("li", {}, `${locked ? "✓" : "–"} ${name}: ${words}`));
  byId("locks").replaceChildren(...rows);
});

function show() {
  showMoment(moment, link.state === "open", over);
}

link.addEventListener("state", ({ detail }) => {
  byId("link-state").textContent = { open: "connected", lost: "out of touch", locked: "locked out" }[detail] || "connecting";
  if (detail === "locked") {
    byId("alarm").textContent = "This phone's key is not good any more; take a new address from the computer's page.";
  }
  show();
});

function heard(told) {
  const fresh = told.time_s !== moment?.time_s;
  moment = told;
  for (const name of fresh ? told.cues : []) {
    sound.play(name);
    twin.show(sound.cues[name], told);
  }
  twin.settle(told);
}

link.addEventListener("message", ({ detail: told }) => {
  if (told.type === "hello") {
    sound.cues = told.cues;
    moment = told.moment;
    over = told.finished;
  } else if (told.type === "moment") heard(told);
  else if (told.type === "finished") over = told;
  link.quiet = Boolean(over);
  show();
});

// A browser may refuse the live connection but let plain requests through.
camera.addEventListener("moment", async ({ detail: told }) => {
  if (link.state === "open") return;
  if (!Object.keys(sound.cues).length) sound.cues = await ask("GET", "/cues").catch(() => ({}));
  heard(told);
  byId("link-state").textContent = "connected by requests";
  showMoment(moment, true, over);
});

link.open();
byId("start").disabled = false;
if (Camera.ran) camera.start("environment");
globalThis.huehold = { camera, sound, link };
