// The cues, synthesised from the program's own definitions, with speech and vibration beside.

import { kept } from "/static/page.js";

const RAMP_S = 0.008;
const AHEAD_S = 0.004;

/**
 * Events: "change" (whether it can be heard, volume, mute) and "started" (detail: name of the
 * cue and the moment it leaves, in milliseconds of performance.now()).
 */
export class Sound extends EventTarget {
  constructor() {
    super();
    this.cues = {};
    this.volume = kept.get("volume", 0.8);
    this.muted = kept.get("muted", false);
    this.speaks = kept.get("speaks", false);
    this._context = null;
    this._playing = [];
    // For as long as the page lives: a call or a lock screen may silence it again.
    for (const type of ["pointerdown", "keydown", "touchend"]) {
      addEventListener(type, () => this.unlock(), { capture: true, passive: true });
    }
  }

  /** Whether a cue would be heard now. */
  get ready() {
    return this._context?.state === "running";
  }

  /** Called within a touch or key press: browsers let sound begin only there. */
  unlock() {
    if (this.ready) return;
    if (!this._context || this._context.state === "closed") this._build();
    this._context.resume().then(() => this._changed(), () => this._changed());
  }

  _build() {
    if (navigator.audioSession) navigator.audioSession.type = "playback";
    this._context = new AudioContext({ latencyHint: "interactive" });
    this._context.onstatechange = () => this._changed();
    this._gain = this._context.createGain();
    this.analyser = this._context.createAnalyser();
    this._gain.connect(this.analyser).connect(this._context.destination);
    this._level();
  }

  set(choices) {
    Object.assign(this, choices);
    for (const name of ["volume", "muted", "speaks"]) kept.set(name, this[name]);
    this._level();
    this._changed();
  }

  _level() {
    if (this._gain) this._gain.gain.value = this.muted ? 0 : this.volume;
  }

  /** Play a cue by its name. */
  play(name) {
    const cue = this.cues[name];
    if (!cue) return;
    if (navigator.vibrate && navigator.userActivation?.hasBeenActive) navigator.vibrate(cue.vibration_ms);
    if (this.ready) this._sound(name, cue);
    if (this.speaks && !this.muted) this.speak(cue.words);
  }

  _sound(name, cue) {
    for (const tone of this._playing) tone.stop();
    this._playing = [];
    const begin_s = this._context.currentTime + AHEAD_S;
    for (const note of cue.notes) this._note(note, begin_s + note.start_s);
    const leaves_ms = performance.now() + 1000 * (AHEAD_S + (this._context.baseLatency || 0));
    this.dispatchEvent(new CustomEvent("started", { detail: { name, leaves_ms, muted: this.muted } }));
  }

  _note(note, at_s) {
    const context = this._context;
    const end_s = at_s + note.duration_s;
    const shape = context.createGain();
    shape.gain.setValueAtTime(0, at_s);
    shape.gain.linearRampToValueAtTime(note.gain, at_s + RAMP_S);
    shape.gain.setValueAtTime(note.gain, end_s - RAMP_S);
    shape.gain.linearRampToValueAtTime(0, end_s);
    shape.connect(this._gain);
    const tone = context.createOscillator();
    // A weak second harmonic makes the tone carry on small loudspeakers.
    tone.setPeriodicWave(context.createPeriodicWave([0, 0, 0], [0, 0.8, 0.2], { disableNormalization: true }));
    tone.frequency.value = note.frequency_hz;
    tone.connect(shape);
    tone.start(at_s);
    tone.stop(end_s);
    tone.onended = () => {
      shape.disconnect();
      this._playing = this._playing.filter((other) => other !== tone);
    };
    this._playing.push(tone);
  }

  speak(words) {
    if (!globalThis.speechSynthesis) return;
    speechSynthesis.cancel();
    const said = new SpeechSynthesisUtterance(words);
    said.lang = "en";
    said.volume = this.volume;
    speechSynthesis.speak(said);
  }

  _changed() {
    this.dispatchEvent(new Event("change"));
  }
}
