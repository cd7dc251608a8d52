// What desk and phone show alike: the state, the hold, the twin of every sound, the sound's controls.

import { byId, clock } from "/static/page.js";
import { shapeOf, stateOf } from "/static/words.js";

const LOUD = new Set(["endpoint", "overshoot", "attention"]);
let shown = "";

/** Show where the run stands, in a word and a shape. */
export function showMoment(moment, linked, over) {
  const state = stateOf(moment, linked, over);
  if (shown !== state.word) {
    shown = state.word;
    document.title = `${state.word} – Huehold`;
    byId("state").dataset.tone = state.tone;
    byId("state-word").textContent = state.word;
    byId("state-shape").replaceChildren(shapeOf(state.shape));
  }
  setText("advice", adviceOf(moment, linked, over));
  showHold(moment, over);
  return state;
}

function adviceOf(moment, linked, over) {
  if (over) return over.error || over.verdict_sentence || "The run is over.";
  if (!linked) return "The page lost touch with the program and tries again. The program goes on watching.";
  return moment?.advice || "Waiting for the camera's first picture.";
}

function showHold(moment, over) {
  const hold = byId("hold");
  const wanted = Boolean(moment) && !over && moment.held_s > 0;
  hold.hidden = !wanted;
  if (!wanted) return;
  const held = Math.min(moment.held_s, moment.hold_s);
  hold.setAttribute("aria-valuemax", moment.hold_s);
  hold.setAttribute("aria-valuenow", Math.floor(held));
  hold.setAttribute("aria-valuetext", `${Math.floor(held)} of ${moment.hold_s} seconds`);
  byId("hold-fill").style.setProperty("--share", held / moment.hold_s);
  setText("hold-text", `${Math.floor(held)} of ${Math.round(moment.hold_s)} s`);
}

/** Change a text only when it differs, so that nothing is announced or painted for nothing. */
export function setText(id, text) {
  const place = byId(id);
  if (place.textContent !== text) place.textContent = text;
}

/** The visible twin of a sound: its symbol and words; the loud ones stay as an alarm. */
export class Twin {
  show(cue, { time_s, advice }) {
    if (!cue) return;
    const why = cue.name === "attention" ? `: ${advice}` : "";
    const text = `${cue.symbol} ${cue.words}, ${clock(time_s)}${why}`;
    if (LOUD.has(cue.name)) setText("alarm", text);
    else {
      setText("twin", text);
      if (cue.name !== "addition") setText("alarm", "");
    }
  }

  /** Take a call for attention back once the cup is seen again. */
  settle(moment) {
    const calling = byId("alarm").textContent.includes("Attention");
    if (calling && !moment.cues.length && moment.seen?.trust >= 0.5) setText("alarm", "");
  }

  clear() {
    setText("alarm", "");
    setText("twin", "");
  }
}

/** Wire the sound's controls, and say whether it can be heard. */
export function bindSound(sound) {
  const volume = byId("volume");
  const muted = byId("muted");
  const speaks = byId("speaks");
  volume.value = sound.volume;
  muted.checked = sound.muted;
  if (speaks) speaks.checked = sound.speaks;
  volume.addEventListener("input", () => sound.set({ volume: volume.valueAsNumber }));
  muted.addEventListener("change", () => sound.set({ muted: muted.checked }));
  speaks?.addEventListener("change", () => {
    sound.set({ speaks: speaks.checked });
    if (speaks.checked) sound.speak("Spoken words are on");
  });
  byId("test").addEventListener("click", () => setTimeout(() => sound.play("hold_started"), 60));
  const say = () => {
    muted.checked = sound.muted;
    setText("sound-state", soundWords(sound));
  };
  sound.addEventListener("change", say);
  say();
}

export function soundWords(sound) {
  if (sound.muted) return "Muted: cues are shown only.";
  if (sound.ready) return "Sound is on.";
  return "Sound is off until you touch the page: browsers ask for that.";
}
