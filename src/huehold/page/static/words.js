// The word, shape and tone of everything a run can be, and the drawings of the shapes.

const SVG = "http://www.w3.org/2000/svg";

/** What the page shows for each state that the program names. */
export const PHASES = {
  "waiting for the start colour": { word: "Waiting", shape: "dots", tone: "quiet" },
  "start colour": { word: "Start colour", shape: "ring", tone: "start" },
  "addition seen": { word: "Addition seen", shape: "disc", tone: "quiet" },
  "fading back": { word: "Fading back", shape: "down", tone: "fading" },
  "end colour, holding": { word: "Holding", shape: "half", tone: "holding" },
  endpoint: { word: "Endpoint", shape: "square", tone: "endpoint" },
  overshoot: { word: "Too much", shape: "triangle", tone: "over" },
  "cannot see": { word: "Cannot see", shape: "cross", tone: "blind" },
};

/** What goes before the phase: states of the camera and the run. */
export const STATES = {
  none: { word: "No run yet", shape: "dots", tone: "quiet" },
  opening: { word: "No picture yet", shape: "dots", tone: "quiet" },
  stalled: { word: "No picture", shape: "cross", tone: "blind" },
  lost: { word: "Camera lost", shape: "cross", tone: "blind" },
  paused: { word: "Paused", shape: "bars", tone: "quiet" },
  unlinked: { word: "Out of touch", shape: "cross", tone: "blind" },
};

export const VERDICTS = {
  endpoint: { word: "Endpoint", shape: "square", tone: "endpoint" },
  not_reached: { word: "Not reached", shape: "ring", tone: "quiet" },
  overshoot: { word: "Too much", shape: "triangle", tone: "over" },
  no_start_colour: { word: "No start colour", shape: "dots", tone: "quiet" },
  unreadable: { word: "Unreadable", shape: "cross", tone: "blind" },
};

export const EVENTS = {
  addition: { word: "Addition", sign: "●" },
  fade_back: { word: "Faded back", sign: "↘" },
  hold_started: { word: "Hold started", sign: "▷" },
  hold_broken: { word: "Hold broken", sign: "✕" },
  endpoint: { word: "Endpoint", sign: "■" },
  overshoot: { word: "Overshoot", sign: "▲" },
  disturbance: { word: "Disturbance", sign: "≈" },
};

const SHAPES = {
  disc: [["circle", { cx: 50, cy: 50, r: 40 }]],
  dots: [["circle", { cx: 20, cy: 50, r: 11 }], ["circle", { cx: 50, cy: 50, r: 11 }], ["circle", { cx: 80, cy: 50, r: 11 }]],
  ring: [["path", { d: "M50 8a42 42 0 1 0 0 84a42 42 0 1 0 0-84zm0 18a24 24 0 1 1 0 48a24 24 0 1 1 0-48z", "fill-rule": "evenodd" }]],
  down: [["path", { d: "M14 26L26 14L66 54V28H84V86H26V68H54z" }]],
  half: [["path", { d: "M50 8a42 42 0 1 0 0 84a42 42 0 1 0 0-84zm0 14v56a28 28 0 1 1 0-56z", "fill-rule": "evenodd" }]],
  square: [["rect", { x: 10, y: 10, width: 80, height: 80, rx: 6 }]],
  triangle: [["path", { d: "M50 8L94 90H6z" }]],
  cross: [["path", { d: "M24 10L50 36L76 10L90 24L64 50L90 76L76 90L50 64L24 90L10 76L36 50L10 24z" }]],
  bars: [["rect", { x: 18, y: 12, width: 24, height: 76, rx: 4 }], ["rect", { x: 58, y: 12, width: 24, height: 76, rx: 4 }]],
};

/** Draw a shape; it only repeats what a word beside it says. */
export function shapeOf(name) {
  const drawing = document.createElementNS(SVG, "svg");
  drawing.setAttribute("viewBox", "0 0 100 100");
  drawing.setAttribute("aria-hidden", "true");
  for (const [tag, attributes] of SHAPES[name]) {
    const part = document.createElementNS(SVG, tag);
    for (const [key, value] of Object.entries(attributes)) part.setAttribute(key, value);
    drawing.append(part);
  }
  return drawing;
}

/** Choose what to show for a moment of the run. */
export function stateOf(moment, linked, over) {
  if (over) return VERDICTS[over.verdict] || STATES.lost;
  if (!linked) return STATES.unlinked;
  if (!moment) return STATES.opening;
  if (moment.paused) return STATES.paused;
  return STATES[moment.source] || PHASES[moment.state] || PHASES["cannot see"];
}

/** A forecast in words, with how sure it is; whether it holds only while there is a colour to hold. */
export function forecastWords(forecast, phase) {
  if (!forecast || phase === "endpoint" || phase === "overshoot") return "";
  const parts = phase === "end colour, holding" ? holdWords(forecast) : [];
  if (forecast.additions_left !== null) parts.push(additionsWords(forecast));
  const text = parts.join("; ");
  return text && `${text[0].toUpperCase()}${text.slice(1)}.`;
}

function holdWords({ label, will_hold: share, fades_back_in_s: fades_s }) {
  const words = [`${label} (${Math.round(100 * share)} in 100)`];
  if (fades_s !== null && share < 0.5) words.push(`fades in about ${Math.max(1, Math.round(fades_s))} s`);
  return words;
}

function additionsWords({ additions_left: left, additions_left_low: low, additions_left_high: high }) {
  const middle = Math.max(1, Math.round(left));
  const least = Math.max(0, Math.floor(low ?? middle));
  const most = Math.max(middle, Math.ceil(high ?? middle));
  const range = least === most ? "" : ` (${least} to ${most})`;
  return `about ${middle}${range} more if they are as large as the last few`;
}
