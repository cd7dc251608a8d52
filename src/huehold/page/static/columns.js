// The trace in the browser: bounded however long the run, fine where it is new.

const RECENT_S = 120;
const MOST_STRIPS = 900;

/** Columns of a trace that never grow beyond `most` points. */
export class Columns {
  constructor(most = 5000) {
    this.most = most;
    this.clear();
  }

  clear() {
    this.time_s = [];
    this.hue_deg = [];
    this.chroma = [];
    this.turbidity = [];
    this.trust = [];
    this.strips = []; // [time_s, Uint8Array of RGB]
    this.spacing_s = 0.05;
  }

  get length() {
    return this.time_s.length;
  }

  get end_s() {
    return this.length ? this.time_s[this.length - 1] : 0;
  }

  /** Take a whole trace as the program tells it. */
  load(trace) {
    this.clear();
    for (let i = 0; i < trace.time_s.length; i += 1) {
      this._put(trace.time_s[i], trace.hue_deg[i], trace.chroma[i], trace.turbidity[i], trace.trust[i]);
    }
    this.spacing_s = Math.max(0.05, this.end_s / Math.max(1, this.length)); // thinned already
    this.strips = (trace.strips || []).map(([t, text]) => [t, bytesOf(text)]);
    this._bound();
  }

  /** Append what was seen at a moment; older moments are not taken twice. */
  push(time_s, seen) {
    if (this.length && time_s <= this.end_s) return;
    this._put(time_s, seen.hue_deg, seen.chroma, seen.turbidity, seen.trust);
    const last = this.strips[this.strips.length - 1];
    if (seen.strip && (!last || time_s >= last[0] + 0.4)) this.strips.push([time_s, bytesOf(seen.strip)]);
    this._bound();
  }

  _put(time_s, hue, chroma, turbidity, trust) {
    this.time_s.push(time_s);
    this.hue_deg.push(hue);
    this.chroma.push(chroma);
    this.turbidity.push(turbidity);
    this.trust.push(trust);
  }

  _bound() {
    while (this.length > this.most) {
      this._thin();
      if (this.length > 0.8 * this.most) this.spacing_s *= 1.5;
    }
    if (this.strips.length > MOST_STRIPS) this.strips = this.strips.filter((_, i) => i % 2 === 0);
  }

  /** Keep what is new; of older stretches the extremes of the hue, so that no fade-back goes. */
  _thin() {
    const fine = this.time_s.findIndex((t) => t >= this.end_s - RECENT_S);
    const keep = [];
    for (let i = 0; i < fine; ) {
      const until_s = this.time_s[i] + 2 * this.spacing_s;
      let [low, high] = [i, i];
      for (; i < fine && this.time_s[i] < until_s; i += 1) {
        if (this.hue_deg[i] < this.hue_deg[low]) low = i;
        if (this.hue_deg[i] > this.hue_deg[high]) high = i;
      }
      keep.push(...new Set([Math.min(low, high), Math.max(low, high)]));
    }
    for (let i = fine; i < this.length; i += 1) keep.push(i);
    for (const name of ["time_s", "hue_deg", "chroma", "turbidity", "trust"]) {
      const column = this[name];
      this[name] = keep.map((i) => column[i]);
    }
  }
}

function bytesOf(text) {
  return Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
}
