// Draws traces: hue on an axis that does not break, turbidity, what happened, the colour ribbon.

import { clock } from "/static/page.js";

const LEFT = 58;
const RIGHT = 18;
const LOW_CHROMA = 5;
const STEPS = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600];
const INKS = ["ink", "muted", "rule", "panel", "hue", "turbidity", "faint", "band", "hold", "mass", "trust"];
const DASHES = [[], [8, 3], [2, 2], [9, 3, 2, 3], [4, 4], [12, 4]];
export const LINE_INKS = ["hue", "mass", "turbidity", "trust", "ink", "muted"];

/** The middle of the hue axis: opposite to where it is cut. */
export function middleOf(bands) {
  if (!bands.length) return 130;
  const turns = bands.flatMap(({ low, high }) => [low, high]);
  const x = turns.reduce((sum, deg) => sum + Math.cos((deg * Math.PI) / 180), 0);
  const y = turns.reduce((sum, deg) => sum + Math.sin((deg * Math.PI) / 180), 0);
  return (Math.atan2(y, x) * 180) / Math.PI;
}

/** The turn of an angle that lies within half a turn of the middle. */
export function near(deg, middle) {
  return middle + ((((deg - middle + 180) % 360) + 360) % 360) - 180;
}

/**
 * Draw runs on a canvas.
 *
 * `lines` are { columns, label }; `range` is [start_s, end_s]; `bands` are { low, high, name };
 * `events` and `hold_s` are optional and only make sense for a single run.
 */
export function drawChart(canvas, { lines, range, bands = [], events = [], ribbon = true }) {
  const width = canvas.clientWidth;
  const height = canvas.clientHeight;
  if (!width || !height) return;
  const ctx = prepared(canvas, width, height);
  const style = getComputedStyle(canvas);
  const inks = Object.fromEntries(INKS.map((n) => [n, style.getPropertyValue(`--${n}`).trim()]));
  ctx.font = `12px ${style.fontFamily}`;
  const plot = layoutOf(width, height, range, ribbon && lines.length === 1);
  const middle = middleOf(bands);
  plot.hue.scale = hueScale(lines, bands, middle, plot);
  plot.turbidity.scale = { low: -0.05, high: 1.25, ticks: [0, 0.5, 1] };
  for (const panel of [plot.hue, plot.turbidity]) drawPanel(ctx, inks, plot, panel);
  drawBands(ctx, inks, plot, bands, middle);
  drawEvents(ctx, inks, plot, events);
  lines.forEach((line, n) => drawLines(ctx, inks, plot, line.columns, n, lines.length, middle));
  nameBands(ctx, inks, plot, bands, middle);
  if (plot.ribbon) drawRibbon(ctx, inks, plot, lines[0]?.columns.strips || []);
  drawTimes(ctx, inks, plot);
}

function prepared(canvas, width, height) {
  const ratio = Math.min(3, globalThis.devicePixelRatio || 1);
  const size = [Math.round(width * ratio), Math.round(height * ratio)];
  if (canvas.width !== size[0] || canvas.height !== size[1]) [canvas.width, canvas.height] = size;
  const ctx = canvas.getContext("2d");
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.clearRect(0, 0, width, height);
  return ctx;
}

function layoutOf(width, height, range, ribbon) {
  const bottom = height - 24;
  const ribbonTop = ribbon ? bottom - 30 : bottom;
  const tall = ribbonTop - 20 - 24 - 22;
  const hueEnd = 22 + tall * 0.66;
  const [start, end] = range;
  const right = width - RIGHT;
  return {
    width,
    right,
    range,
    hue: { title: "hue / degrees", ink: "hue", top: 22, bottom: hueEnd },
    turbidity: { title: "turbidity (1 as at the start, 0 clear)", ink: "turbidity", top: hueEnd + 24, bottom: ribbonTop - 10 },
    ribbon: ribbon ? { top: ribbonTop, bottom } : null,
    axis: bottom,
    x: (t) => LEFT + ((t - start) / Math.max(1e-6, end - start)) * (right - LEFT),
  };
}

function hueScale(lines, bands, middle, plot) {
  const seen = bands.flatMap(({ low, high }) => [near(low, middle), near(high, middle)]);
  for (const { columns } of lines) {
    for (let i = 0; i < columns.length; i += 1) {
      if (sound(columns, i) && columns.time_s[i] >= plot.range[0]) seen.push(near(columns.hue_deg[i], middle));
    }
  }
  const low = Math.max(middle - 180, seen.reduce((a, b) => Math.min(a, b), middle - 40) - 8);
  const high = Math.min(middle + 180, seen.reduce((a, b) => Math.max(a, b), middle + 40) + 8);
  const step = high - low > 150 ? 60 : 30;
  const ticks = [];
  for (let tick = Math.ceil(low / step) * step; tick <= high; tick += step) ticks.push(tick);
  return { low, high, ticks, label: (tick) => ((tick % 360) + 360) % 360 };
}

function sound(columns, i) {
  return columns.hue_deg[i] !== null && columns.trust[i] >= 0.5 && columns.chroma[i] >= LOW_CHROMA;
}

function yOf(panel, value) {
  const { low, high } = panel.scale;
  return panel.bottom - ((value - low) / (high - low)) * (panel.bottom - panel.top);
}

function write(ctx, text, x, y, ink, align = "left") {
  ctx.fillStyle = ink;
  ctx.textAlign = align;
  ctx.textBaseline = "middle";
  ctx.fillText(text, x, y);
}

function rule(ctx, ink, x0, y0, x1, y1, dashes = []) {
  ctx.strokeStyle = ink;
  ctx.lineWidth = 1;
  ctx.setLineDash(dashes);
  ctx.beginPath();
  ctx.moveTo(x0, y0);
  ctx.lineTo(x1, y1);
  ctx.stroke();
  ctx.setLineDash([]);
}

function drawPanel(ctx, inks, plot, panel) {
  ctx.fillStyle = inks.panel;
  ctx.fillRect(LEFT, panel.top, plot.right - LEFT, panel.bottom - panel.top);
  for (const tick of panel.scale.ticks) {
    const y = yOf(panel, tick);
    rule(ctx, inks.rule, LEFT, y, plot.right, y);
    write(ctx, String(panel.scale.label ? panel.scale.label(tick) : tick), LEFT - 7, y, inks.muted, "right");
  }
  write(ctx, panel.title, LEFT, panel.top - 10, inks.ink);
}

function drawBands(ctx, inks, plot, bands, middle) {
  for (const { low, high } of bands) {
    const top = yOf(plot.hue, near(high, middle));
    const bottom = yOf(plot.hue, near(low, middle));
    ctx.fillStyle = inks.band;
    ctx.fillRect(LEFT, top, plot.right - LEFT, bottom - top);
    for (const y of [top, bottom]) rule(ctx, inks.faint, LEFT, y, plot.right, y, [1, 3]);
  }
}

/** Over the line, on a halo that keeps the words readable. */
function nameBands(ctx, inks, plot, bands, middle) {
  ctx.lineWidth = 4;
  ctx.lineJoin = "round";
  for (const { high, name } of bands) {
    const y = yOf(plot.hue, near(high, middle)) + 11;
    ctx.strokeStyle = inks.band;
    ctx.textAlign = "left";
    ctx.textBaseline = "middle";
    ctx.strokeText(name, LEFT + 6, y);
    write(ctx, name, LEFT + 6, y, inks.muted);
  }
}

function clipped(ctx, plot, panel, draw) {
  ctx.save();
  ctx.beginPath();
  ctx.rect(LEFT, panel.top - 1, plot.right - LEFT, panel.bottom - panel.top + 2);
  ctx.clip();
  draw();
  ctx.restore();
}

function drawEvents(ctx, inks, plot, events) {
  clipped(ctx, plot, { top: plot.hue.top, bottom: plot.turbidity.bottom }, () => {
    for (const event of events) {
      const x = plot.x(event.time_s);
      if (event.kind === "addition") {
        ctx.fillStyle = inks.ink;
        ctx.beginPath();
        for (const [dx, dy] of [[-5, 0], [5, 0], [0, 8]]) ctx.lineTo(x + dx, plot.hue.top + dy);
        ctx.fill();
      } else if (event.kind === "endpoint") {
        rule(ctx, inks.ink, x, plot.hue.top, x, plot.turbidity.bottom);
        const onset = plot.x(event.detail.onset_s ?? event.time_s);
        ctx.fillStyle = inks.hold;
        ctx.globalAlpha = 0.45;
        ctx.fillRect(onset, plot.hue.top, x - onset, plot.turbidity.bottom - plot.hue.top);
        ctx.globalAlpha = 1;
      }
    }
  });
}

function drawLines(ctx, inks, plot, columns, number, count, middle) {
  const ink = (panel) => inks[count === 1 ? panel.ink : LINE_INKS[number % LINE_INKS.length]];
  const dashes = DASHES[number % DASHES.length];
  const hue = (i) => near(columns.hue_deg[i], middle);
  clipped(ctx, plot, plot.hue, () => {
    if (count === 1) drawDoubtful(ctx, inks, plot, columns, hue);
    drawLine(ctx, plot, plot.hue, columns, hue, (i) => sound(columns, i), ink(plot.hue), dashes);
  });
  clipped(ctx, plot, plot.turbidity, () => {
    const good = (i) => columns.turbidity[i] !== null && columns.trust[i] >= 0.5;
    drawLine(ctx, plot, plot.turbidity, columns, (i) => columns.turbidity[i], good, ink(plot.turbidity), dashes);
  });
}

function drawDoubtful(ctx, inks, plot, columns, hue) {
  ctx.fillStyle = inks.faint;
  for (let i = 0; i < columns.length; i += 1) {
    if (columns.hue_deg[i] === null || sound(columns, i) || columns.time_s[i] < plot.range[0]) continue;
    ctx.fillRect(plot.x(columns.time_s[i]) - 1, yOf(plot.hue, hue(i)) - 1, 2, 2);
  }
}

function drawLine(ctx, plot, panel, columns, value, good, ink, dashes) {
  ctx.strokeStyle = ink;
  ctx.lineWidth = 2;
  ctx.lineJoin = "round";
  ctx.setLineDash(dashes);
  ctx.beginPath();
  const gap_s = Math.max(2, 3 * columns.spacing_s);
  let before = -1;
  for (let i = 0; i < columns.length; i += 1) {
    if (columns.time_s[i] < plot.range[0] - gap_s || !good(i)) continue;
    const joined =
      before >= 0 &&
      columns.time_s[i] - columns.time_s[before] <= gap_s &&
      (panel.ink !== "hue" || Math.abs(value(i) - value(before)) < 180);
    const point = [plot.x(columns.time_s[i]), yOf(panel, value(i))];
    if (joined) ctx.lineTo(...point);
    else ctx.moveTo(...point);
    before = i;
  }
  ctx.stroke();
  ctx.setLineDash([]);
}

/** Every strip is a column of the liquid's colours, side to side from top to bottom. */
function drawRibbon(ctx, inks, plot, strips) {
  const { top, bottom } = plot.ribbon;
  ctx.fillStyle = inks.band;
  ctx.fillRect(LEFT, top, plot.right - LEFT, bottom - top);
  write(ctx, "liquid", LEFT - 7, (top + bottom) / 2, inks.muted, "right");
  const tall = bottom - top;
  clipped(ctx, plot, { top: top + 1, bottom: bottom - 1 }, () => {
    strips.forEach(([time_s, rgb], n) => {
      const next_s = n + 1 < strips.length ? strips[n + 1][0] : time_s + 0.5;
      const x = plot.x(time_s);
      if (plot.x(next_s) < LEFT || x > plot.right) return;
      const wide = Math.max(1, plot.x(Math.min(next_s, time_s + 20)) - x) + 0.6;
      const count = rgb.length / 3;
      const pieces = Math.min(6, count);
      for (let k = 0; k < pieces; k += 1) {
        const at = 3 * Math.floor(((k + 0.5) * count) / pieces);
        ctx.fillStyle = `rgb(${rgb[at]} ${rgb[at + 1]} ${rgb[at + 2]})`;
        ctx.fillRect(x, top + (k * tall) / pieces, wide, tall / pieces + 0.6);
      }
    });
  });
}

function drawTimes(ctx, inks, plot) {
  const [start, end] = plot.range;
  const most = Math.max(2, Math.floor((plot.right - LEFT) / 60));
  const step = STEPS.find((s) => (end - start) / s <= most) || 7200;
  for (let t = Math.ceil(start / step) * step; t <= end; t += step) {
    const x = plot.x(t);
    for (const panel of [plot.hue, plot.turbidity]) rule(ctx, inks.rule, x, panel.top, x, panel.bottom);
    rule(ctx, inks.muted, x, plot.axis, x, plot.axis + 4);
    write(ctx, clock(t), x, plot.axis + 13, inks.muted, "center");
  }
  write(ctx, "min:s", 2, plot.axis + 13, inks.muted);
}
