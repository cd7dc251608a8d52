// The live connection to the program: comes back by itself, and says how it stands.

import { socketTo } from "/static/page.js";

const WAITS_S = [0.3, 0.7, 1.5, 3, 5];
const SILENT_AFTER_S = 5;

/**
 * Events: "message" (detail: what was said), "picture" (detail: a Blob), and "state" (detail:
 * "connecting", "open", "lost" or "locked": the key is not good any more).
 */
export class Link extends EventTarget {
  constructor(path) {
    super();
    this.state = "connecting";
    this.quiet = false; // nothing is to be expected: the run is over
    this._path = path;
    this._failures = 0;
    this._heard = 0;
    addEventListener("offline", () => this._drop());
    addEventListener("online", () => this._hurry());
    document.addEventListener("visibilitychange", () => document.hidden || this._hurry());
    setInterval(() => this._watch(), 1000);
  }

  open() {
    clearTimeout(this._timer);
    const socket = socketTo(this._path);
    this._socket = socket;
    this._heard = performance.now();
    socket.onmessage = ({ data }) => socket === this._socket && this._hear(data);
    socket.onclose = () => socket === this._socket && this._closed();
    return this;
  }

  _hear(data) {
    this._heard = performance.now();
    this._failures = 0;
    this._say("open");
    if (typeof data === "string") this._tell("message", JSON.parse(data));
    else this._tell("picture", data);
  }

  _closed() {
    this._socket = null;
    this._say("lost");
    const wait_s = WAITS_S[Math.min(this._failures, WAITS_S.length - 1)];
    this._failures += 1;
    this._timer = setTimeout(() => this.open(), 1000 * wait_s * (0.8 + 0.4 * Math.random()));
    if (this._failures === 2) this._askWhy();
  }

  /** A refused WebSocket does not say why; a plain request does. */
  async _askWhy() {
    const answer = await fetch("/static/link.js").catch(() => null);
    if (answer?.status === 403) this._say("locked");
  }

  _watch() {
    const silent = performance.now() - this._heard > 1000 * SILENT_AFTER_S;
    if (this._socket && silent && !this.quiet) this._drop();
  }

  _drop() {
    const socket = this._socket;
    if (!socket) return;
    this._closed();
    socket.close();
  }

  _hurry() {
    if (!this._socket) this.open();
  }

  _say(state) {
    if (state === this.state) return;
    this.state = state;
    this._tell("state", state);
  }

  _tell(type, detail) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }
}
