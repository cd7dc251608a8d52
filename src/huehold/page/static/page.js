// Small helpers that every page uses.

export const byId = (id) => document.getElementById(id);

/** Make an element: properties first, then what it holds. */
export function make(tag, properties = {}, ...content) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (value === undefined || value === null) continue;
    if (name in made && !name.includes("-")) made[name] = value;
    else made.setAttribute(name, value);
  }
  made.append(...content.filter((part) => part !== null && part !== undefined));
  return made;
}

/** A problem that the server put in words. */
export class Refusal extends Error {
  constructor(status, text, told = {}) {
    super(text);
    this.status = status;
    this.told = told; // all that was answered, such as which field is wrong
  }
}

/** Ask the server; gives what it answers, throws a Refusal or, without a connection, a TypeError. */
export async function ask(method, path, body) {
  const options = { method, signal: AbortSignal.timeout(15000) };
  if (body !== undefined) options.body = JSON.stringify(body);
  const answer = await fetch(path, options);
  const text = await answer.text();
  const told = text ? JSON.parse(text) : null;
  if (!answer.ok) throw new Refusal(answer.status, told?.error || `The program answered ${answer.status}.`, told);
  return told;
}

/** What to say about an error of `ask`. */
export function wordsOf(error) {
  return error instanceof Refusal ? error.message : "The program cannot be reached just now.";
}

/** Open a WebSocket of this server; some browsers refuse one at once, others a little later. */
export function socketTo(path) {
  try {
    return new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}${path}`);
  } catch {
    const none = { readyState: 3, close() {} };
    setTimeout(() => none.onclose?.());
    return none;
  }
}

/** Seconds as minutes and seconds. */
export function clock(time_s, digits = 0) {
  if (time_s === null || time_s === undefined) return "–";
  const scale = 10 ** digits;
  const ticks = Math.round(Math.abs(time_s) * scale);
  const minutes = Math.floor(ticks / (60 * scale));
  const seconds = ((ticks - minutes * 60 * scale) / scale).toFixed(digits);
  return `${minutes}:${seconds.padStart(digits ? 3 + digits : 2, "0")}`;
}

/** Choices that outlive the page; a browser that keeps none is no reason to stop. */
export const kept = {
  get(name, usual, store = globalThis.localStorage) {
    try {
      return JSON.parse(store.getItem(`huehold.${name}`)) ?? usual;
    } catch {
      return usual;
    }
  },
  set(name, value, store = globalThis.localStorage) {
    try {
      store.setItem(`huehold.${name}`, JSON.stringify(value));
    } catch {
      // Private windows may refuse.
    }
  },
};

/** A short random name. */
export function newKey() {
  return [...crypto.getRandomValues(new Uint8Array(12))].map((b) => b.toString(16).padStart(2, "0")).join("");
}
