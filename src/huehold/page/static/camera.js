// This device's camera as the run's camera: opened, locked, and sent under back-pressure.

import { ask, kept, newKey, socketTo } from "/static/page.js";

const WIDTH_PX = 640;
const QUALITY = 0.9;
const MOST_IN_FLIGHT = 2;
const MOST_HZ = 15;
const SETTLE_MS = 300;
const OPEN_WITHIN_MS = 2500;
const WAITS_S = [0.5, 1, 2, 4];

/** What is asked to stand still, in this order: name, capability, what locks it. */
const LOCKS = [
  ["Exposure", "exposureMode", "manual"],
  ["White balance", "whiteBalanceMode", "manual"],
  ["Focus", "focusMode", "manual"],
];

/** What is wrong with asking this browser for its camera at all; empty if nothing. */
export function whyNoCamera() {
  if (!globalThis.isSecureContext) {
    return "This browser gives its camera only to a secure page: open the https address, or use this computer itself.";
  }
  if (!navigator.mediaDevices?.getUserMedia) {
    return "This browser gives no camera to pages; open the address in the phone's own browser.";
  }
  return "";
}

function refusalWords(error) {
  return (
    {
      NotAllowedError: "The camera was not allowed; allow it in the browser's settings for this page, then try again.",
      NotFoundError: "No camera was found on this device.",
      NotReadableError: "The camera is used by another program; close that one, then try again.",
      OverconstrainedError: "The camera cannot give such a picture.",
    }[error.name] || `The camera could not be opened (${error.name}).`
  );
}

/** Ask one thing of a track, and read back what it says it does. */
async function lockOne(track, [name, key, wanted]) {
  const modes = track.getCapabilities?.()[key];
  if (!modes?.includes(wanted)) return { name, locked: false, words: "cannot be locked from here" };
  try {
    await track.applyConstraints({ advanced: [{ [key]: wanted }] });
    await new Promise((done) => setTimeout(done, SETTLE_MS));
    const now = track.getSettings()[key];
    return now === wanted
      ? { name, locked: true, words: "locked, as the browser says" }
      : { name, locked: false, words: `asked to lock, but it says ${now ?? "nothing"}` };
  } catch (error) {
    return { name, locked: false, words: `refused to lock (${error.name})` };
  }
}

/**
 * Events: "state" (detail: words, good), "locks" (detail: a list of { name, locked, words }),
 * "figures" (detail: what is sent and how well) and "moment" (detail: how the run stands, as the
 * answer to a picture that went as a plain request).
 */
export class Camera extends EventTarget {
  constructor(video) {
    super();
    this.running = false;
    this._video = video;
    this._sender = new Sender((moment) => this._tell("moment", moment));
    this._canvas = document.createElement("canvas");
    this._context = this._canvas.getContext("2d", { alpha: false });
    this._last_ms = 0;
    this._wanted = false;
    document.addEventListener("visibilitychange", () => this._seenAgain());
    setInterval(() => this._tellFigures(), 1000);
  }

  /** Call within a tap. `facing` is "environment" for the rear camera, or null. */
  async start(facing) {
    this._wanted = true;
    kept.set("camera", true, sessionStorage);
    this._facing = facing;
    const problem = whyNoCamera();
    if (problem) return this._say(problem, false);
    this._stayAwake();
    return this._open();
  }

  /** Whether this page's camera ran before the page was loaded anew. */
  static get ran() {
    return kept.get("camera", false, sessionStorage);
  }

  stop() {
    this._wanted = false;
    kept.set("camera", false, sessionStorage);
    this._close();
    this._lock?.release().catch(() => {});
    this._sender.close();
    this._say("The camera is off.", false);
  }

  async _open() {
    this._close();
    this._say("Opening the camera…", false);
    const video = { width: { ideal: 1280 }, height: { ideal: 720 }, frameRate: { ideal: 30, max: 30 } };
    if (this._facing) video.facingMode = { ideal: this._facing };
    try {
      this._stream = await navigator.mediaDevices.getUserMedia({ video, audio: false });
    } catch (error) {
      return this._failed(error);
    }
    const [track] = this._stream.getVideoTracks();
    track.onended = () => this._interrupted("The camera stopped; it is opened again.");
    track.onmute = () => this._say("The camera gives no picture just now.", false);
    track.onunmute = () => this._say("Sending.", true);
    this._video.srcObject = this._stream;
    await this._video.play().catch(() => {});
    this.running = true;
    this._failures = 0;
    this._sender.open();
    this._follow(this._stream);
    this._say("Sending.", true);
    return this._lockAll(track);
  }

  _failed(error) {
    this._say(refusalWords(error), false);
    if (error.name === "NotAllowedError" || error.name === "NotFoundError") {
      this._wanted = false;
      return;
    }
    this._again();
  }

  _interrupted(words) {
    if (!this._wanted) return;
    this._close();
    this._say(words, false);
    this._again();
  }

  _again() {
    const wait_s = WAITS_S[Math.min(this._failures || 0, WAITS_S.length - 1)];
    this._failures = (this._failures || 0) + 1;
    clearTimeout(this._timer);
    this._timer = setTimeout(() => this._wanted && !document.hidden && this._open(), 1000 * wait_s);
  }

  _close() {
    this.running = false;
    for (const track of this._stream?.getTracks() || []) {
      track.onended = null;
      track.stop();
    }
    this._stream = null;
  }

  async _lockAll(track) {
    const locks = [];
    for (const wanted of LOCKS) locks.push(await lockOne(track, wanted));
    this._tell("locks", locks);
    const said = locks.map(({ name, locked }) => [name.toLowerCase(), locked ? "locked" : "refused"]);
    await ask("PUT", "/locks", { locks: Object.fromEntries(said) }).catch(() => {});
  }

  /** Back from a call or another page: phones stop the camera meanwhile. */
  _seenAgain() {
    if (!this._wanted || document.hidden) return;
    this._stayAwake();
    const live = this._stream?.getVideoTracks().some((t) => t.readyState === "live" && !t.muted);
    if (!live) this._open();
    else this._video.play().catch(() => {});
  }

  async _stayAwake() {
    try {
      this._lock = await navigator.wakeLock?.request("screen");
      this.awake = Boolean(this._lock);
      this._lock?.addEventListener("release", () => (this.awake = false));
    } catch {
      this.awake = false;
    }
  }

  /** Send pictures as the camera gives them, for as long as this stream is the one in use. */
  _follow(stream) {
    const next = (now_ms, about) => {
      if (this._stream !== stream) return;
      this._offer((about.captureTime ?? now_ms) / 1000, now_ms);
      this._video.requestVideoFrameCallback(next);
    };
    this._video.requestVideoFrameCallback(next);
  }

  _offer(stamp_s, now_ms) {
    if (now_ms - this._last_ms < 1000 / MOST_HZ - 8 || !this._sender.free) return;
    const wide = this._video.videoWidth;
    if (!wide) return;
    this._last_ms = now_ms;
    this._sender.reserve();
    const scale = Math.min(1, WIDTH_PX / wide);
    const size = [Math.round(wide * scale), Math.round(this._video.videoHeight * scale)];
    if (this._canvas.width !== size[0] || this._canvas.height !== size[1]) {
      [this._canvas.width, this._canvas.height] = size;
    }
    this._context.drawImage(this._video, 0, 0, ...size);
    this._canvas.toBlob((blob) => this._send(blob, stamp_s), "image/jpeg", QUALITY);
  }

  _send(blob, stamp_s) {
    return blob ? this._sender.send(blob, stamp_s) : this._sender.release();
  }

  _tellFigures() {
    if (!this._wanted) return;
    this._tell("figures", { ...this._sender.figures(), awake: Boolean(this.awake), size: [this._canvas.width, this._canvas.height] });
  }

  _say(words, good) {
    this._tell("state", { words, good });
  }

  _tell(type, detail) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }
}

/** Sends pictures by WebSocket, or by plain requests where the browser refuses one. */
class Sender {
  constructor(onMoment) {
    this._onMoment = onMoment;
    this.way = "connecting";
    this.error = "";
    this._name = newKey();
    this._in_flight = 0;
    this._sent = [];
    this._round_ms = null;
    this._failures = 0;
    this._bytes = 0;
  }

  get free() {
    if (this._in_flight >= MOST_IN_FLIGHT) return false;
    return this.way === "requests" || (this._ready && this._socket.bufferedAmount === 0);
  }

  get _ready() {
    return this._socket?.readyState === WebSocket.OPEN;
  }

  reserve() {
    this._in_flight += 1;
  }

  release() {
    this._in_flight = Math.max(0, this._in_flight - 1);
  }

  open() {
    if (this._socket || this.way === "requests") return;
    this._closing = false;
    const socket = socketTo(`/frames?sender=${this._name}`);
    this._socket = socket;
    this._times = [];
    socket.binaryType = "arraybuffer";
    socket.onopen = () => {
      this.way = "WebSocket";
      this._opened = true;
      this._in_flight = 0;
    };
    socket.onmessage = ({ data }) => this._answered(JSON.parse(data), this._times.shift());
    socket.onclose = () => socket === this._socket && this._lost();
    setTimeout(() => {
      if (socket !== this._socket || socket.readyState === WebSocket.OPEN) return;
      this._lost();
      socket.close();
    }, OPEN_WITHIN_MS);
  }

  close() {
    this._closing = true;
    this._socket?.close();
    this._socket = null;
  }

  /** Where a socket never opened, it is refused for good: go the other way. */
  _lost() {
    this._failures += 1;
    this._socket = null;
    this._in_flight = 0;
    this.way = this._failures > 1 && !this._opened ? "requests" : "connecting";
    if (!this._closing) this._timer = setTimeout(() => this.open(), 700);
  }

  async send(blob, stamp_s) {
    this._sent.push(performance.now());
    this._bytes = blob.size;
    if (this.way === "requests") return this._post(blob, stamp_s);
    const picture = new Uint8Array(await blob.arrayBuffer());
    if (!this._ready) return this.release();
    const message = new Uint8Array(8 + picture.length);
    new DataView(message.buffer).setFloat64(0, stamp_s, true);
    message.set(picture, 8);
    this._times.push(performance.now());
    return this._socket.send(message);
  }

  async _post(blob, stamp_s) {
    const begun = performance.now();
    try {
      const answer = await fetch(`/frame?stamp_s=${stamp_s}&sender=${this._name}`, { method: "POST", body: blob, signal: AbortSignal.timeout(5000) });
      this._answered(await answer.json(), begun);
    } catch {
      this.error = "The program cannot be reached just now.";
      await new Promise((done) => setTimeout(done, 1000));
      this.release();
    }
  }

  _answered(told, begun_ms) {
    this.release();
    this._failures = 0;
    this.error = told.taken ? "" : told.error;
    this.over = Boolean(told.over);
    if (told.moment) this._onMoment(told.moment);
    const took = performance.now() - begun_ms;
    if (Number.isFinite(took)) this._round_ms = this._round_ms === null ? took : 0.9 * this._round_ms + 0.1 * took;
  }

  figures() {
    const now = performance.now();
    this._sent = this._sent.filter((t) => now - t < 3000);
    return { way: this.way, error: this.error, over: this.over, fps: this._sent.length / 3, round_ms: this._round_ms, in_flight: this._in_flight, bytes: this._bytes };
  }
}

/** The figures in words. */
export function figureWords({ way, fps, round_ms, in_flight, size, bytes, awake, error }) {
  if (error) return error;
  if (way === "connecting") return "Connecting to the program…";
  const parts = [`${fps.toFixed(1)} pictures/s`, `${size[0]} × ${size[1]}`, `${Math.round(bytes / 1000)} kB each`];
  if (round_ms !== null) parts.push(`there and back ${Math.round(round_ms)} ms`);
  parts.push(`${in_flight} under way`, `by ${way}`, awake ? "screen kept awake" : "the screen may sleep: keep it on");
  return parts.join(", ");
}
