/*
 * Draws a run on a canvas: the lane of events, panels on one time axis, the colour ribbon.
 *
 *   const layout = hueholdTrace.drawTrace(canvas, data, { range, show, ribbon });
 *   hueholdTrace.drawCursor(overlay, layout, data, index);
 *
 * `data` holds columns by name (time_s, hue_deg, chroma, ...) and the events; `range` is
 * [start_s, end_s]; `show` says by name what is wanted; `ribbon` is an image or null;
 * `width` is in CSS pixels, the canvas's own if not given.
 * Inks come from CSS custom properties of the canvas, so themes live in the style sheet.
 */
globalThis.hueholdTrace = (function () {
  "use strict";

  const PANELS = [
    { key: "hue", title: "hue / degrees", height: 212 },
    { key: "chroma", title: "chroma C*", height: 76 },
    { key: "turbidity", title: "turbidity", about: ": 1 cloudy as at the start, 0 clear", height: 76 },
    { key: "mass", title: "titrant / g", height: 88 },
    { key: "trust", title: "trust", about: ": under 0.5 not used", height: 56 },
  ];
  const LANE = ["additions", "fade-backs", "disturbed", "hold"];
  const ROW = 19;
  const TITLE = 21;
  const RIBBON = 44;
  const AXIS = 26;
  const STEPS = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200];
  const INKS = [
    "ink", "muted", "rule", "panel", "band", "hue", "chroma", "turbidity", "mass", "trust",
    "faint", "hold", "hold-edge", "fade", "fade-edge", "disturbed", "disturbed-edge",
  ];
  const DASHES = {
    hue: [], chroma: [7, 2], turbidity: [8, 2, 2, 2], mass: [2, 1.5], trust: [1, 1.5],
  };

  function clock(time_s, digits) {
    const scale = 10 ** digits;
    const ticks = Math.round(Math.abs(time_s) * scale);
    const minutes = Math.floor(ticks / (60 * scale));
    const seconds = ((ticks - minutes * 60 * scale) / scale).toFixed(digits);
    return `${minutes}:${seconds.padStart(digits ? 3 + digits : 2, "0")}`;
  }

  /** Index of the first time at or after `time_s`. */
  function lowerBound(times, time_s) {
    let low = 0;
    let high = times.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (times[middle] < time_s) low = middle + 1;
      else high = middle;
    }
    return low;
  }

  function nearest(times, time_s) {
    const after = Math.min(lowerBound(times, time_s), times.length - 1);
    if (after > 0 && time_s - times[after - 1] < times[after] - time_s) return after - 1;
    return after;
  }

  function inksOf(canvas) {
    const style = getComputedStyle(canvas);
    return Object.fromEntries(INKS.map((n) => [n, style.getPropertyValue(`--${n}`).trim()]));
  }

  /** Place the panels that are wanted; all lengths in CSS pixels. */
  function layoutOf(width, data, options) {
    const narrow = width < 560;
    const layout = {
      width,
      narrow,
      left: 74,
      right: width - (narrow ? 8 : 16),
      range: options.range,
      panels: [],
      font: `${narrow ? 11 : 12}px ${getComputedStyle(document.body).fontFamily}`,
    };
    let top = 16;
    layout.lane = { top, bottom: top + LANE.length * ROW };
    top = layout.lane.bottom + 4;
    for (const panel of PANELS) {
      if (!options.show[panel.key]) continue;
      if (panel.key === "mass" && !data.readings.length) continue;
      layout.panels.push({ ...panel, top: top + TITLE, bottom: top + TITLE + panel.height });
      top += TITLE + panel.height;
    }
    layout.ribbon = { top: top + 12, bottom: top + 12 + RIBBON };
    layout.height = layout.ribbon.bottom + AXIS;
    const [start, end] = options.range;
    layout.x = (t) => layout.left + ((t - start) / (end - start)) * (layout.right - layout.left);
    layout.time = (x) => start + ((x - layout.left) / (layout.right - layout.left)) * (end - start);
    return layout;
  }

  /** Give the canvas its size at the screen's resolution and return a context to draw on. */
  function prepare(canvas, width, height) {
    const ratio = globalThis.devicePixelRatio || 1;
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
    canvas.style.height = `${height}px`;
    const ctx = canvas.getContext("2d");
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    ctx.clearRect(0, 0, width, height);
    return ctx;
  }

  function hatch(ctx, colour, kind) {
    const tile = document.createElement("canvas");
    tile.width = tile.height = 8;
    const pen = tile.getContext("2d");
    pen.strokeStyle = pen.fillStyle = colour;
    pen.lineWidth = 1;
    pen.beginPath();
    if (kind === "dots") pen.arc(4, 4, 1, 0, 7);
    if (kind !== "dots") {
      for (const shift of [-8, 0, 8]) {
        pen.moveTo(shift, 8);
        pen.lineTo(shift + 8, 0);
        if (kind === "cross") {
          pen.moveTo(shift, 0);
          pen.lineTo(shift + 8, 8);
        }
      }
    }
    if (kind === "dots") pen.fill();
    else pen.stroke();
    return ctx.createPattern(tile, "repeat");
  }

  function rule(ctx, colour, x0, y0, x1, y1, dashes = [], width = 1) {
    ctx.save();
    ctx.strokeStyle = colour;
    ctx.lineWidth = width;
    ctx.setLineDash(dashes);
    ctx.beginPath();
    ctx.moveTo(x0, y0);
    ctx.lineTo(x1, y1);
    ctx.stroke();
    ctx.restore();
  }

  function write(ctx, text, x, y, colour, align = "left", baseline = "middle") {
    ctx.fillStyle = colour;
    ctx.textAlign = align;
    ctx.textBaseline = baseline;
    ctx.fillText(text, x, y);
  }

  function clipped(ctx, layout, box, draw) {
    ctx.save();
    ctx.beginPath();
    ctx.rect(layout.left, box.top, layout.right - layout.left, box.bottom - box.top);
    ctx.clip();
    draw();
    ctx.restore();
  }

  /** Scale of a panel: values shown and where the ticks stand. */
  function scaleOf(panel, data) {
    const scales = {
      hue: () => [data.hue_axis.low_deg, data.hue_axis.high_deg, multiples(data.hue_axis)],
      chroma: () => evenly(Math.max(2 * data.low_chroma, ...seen(data.chroma)) * 1.1),
      turbidity: () => [-0.06, Math.min(1.6, Math.max(1, ...seen(data.turbidity))) * 1.08, [0, 0.5, 1]],
      mass: () => evenly(Math.max(0.01, ...data.readings.map((r) => r[1])) * 1.15),
      trust: () => [-0.05, 1.08, [0, 0.5, 1]],
    };
    const [low, high, ticks] = scales[panel.key]();
    const y = (v) => panel.bottom - ((v - low) / (high - low)) * (panel.bottom - panel.top);
    return { low, high, ticks, y };
  }

  function seen(values) {
    return values.filter((value) => value !== null);
  }

  function multiples(axis) {
    const step = axis.high_deg - axis.low_deg <= 240 ? 30 : 45;
    const ticks = [];
    for (let v = Math.ceil(axis.low_deg / step) * step; v <= axis.high_deg; v += step) ticks.push(v);
    return ticks;
  }

  function evenly(high) {
    const rough = high / 3;
    const power = 10 ** Math.floor(Math.log10(rough));
    const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= rough);
    const ticks = [];
    for (let v = 0; v <= high; v += step) ticks.push(Number(v.toPrecision(6)));
    return [0, high, ticks];
  }

  function drawFrame(ctx, inks, layout, panel, scale) {
    ctx.fillStyle = inks.panel;
    ctx.fillRect(layout.left, panel.top, layout.right - layout.left, panel.bottom - panel.top);
    for (const tick of scale.ticks) {
      const y = scale.y(tick);
      if (y < panel.top - 1 || y > panel.bottom + 1) continue;
      rule(ctx, inks.rule, layout.left, y, layout.right, y);
      const label = panel.key === "hue" ? ((tick % 360) + 360) % 360 : tick;
      write(ctx, String(label), layout.left - 6, y, inks.muted, "right");
    }
    const title = layout.narrow ? panel.title : `${panel.title}${panel.about || ""}`;
    write(ctx, title, layout.left, panel.top - 9, inks.ink);
    drawKey(ctx, inks, layout, panel, layout.left + ctx.measureText(title).width + 8);
  }

  /** A short piece of the panel's line beside its title. */
  function drawKey(ctx, inks, layout, panel, x) {
    rule(ctx, inks[panel.key], x, panel.top - 9, x + 30, panel.top - 9, DASHES[panel.key], 2);
  }

  function drawBands(ctx, inks, layout, panel, scale, data) {
    for (const band of data.hue_axis.bands) {
      const top = scale.y(band.high_deg);
      const bottom = scale.y(band.low_deg);
      ctx.fillStyle = inks.band;
      ctx.fillRect(layout.left, top, layout.right - layout.left, bottom - top);
      rule(ctx, inks.faint, layout.left, top, layout.right, top, [1, 3]);
      rule(ctx, inks.faint, layout.left, bottom, layout.right, bottom, [1, 3]);
    }
  }

  /** Name the bands over the lines, on a halo that keeps the words readable. */
  function nameBands(ctx, inks, layout, scale, data) {
    ctx.lineWidth = 4;
    ctx.lineJoin = "round";
    ctx.strokeStyle = inks.band;
    ctx.textAlign = "left";
    ctx.textBaseline = "middle";
    for (const band of data.hue_axis.bands) {
      const text = `${band.role}: ${band.name}`;
      const y = scale.y(band.high_deg) + 10;
      ctx.strokeText(text, layout.left + 6, y);
      write(ctx, text, layout.left + 6, y, inks.muted);
    }
  }

  /** Walk the visible points and call `draw` for each unbroken stretch of good ones. */
  function stretches(layout, data, values, good, draw) {
    const times = data.time_s;
    const from = Math.max(0, lowerBound(times, layout.range[0]) - 1);
    const to = Math.min(times.length - 1, lowerBound(times, layout.range[1]) + 1);
    let piece = [];
    for (let i = from; i <= to; i += 1) {
      const usable = values[i] !== null && good(i);
      const last = piece[piece.length - 1];
      const gap = piece.length && times[i] - times[last] > data.gap_s;
      const wrap = piece.length && usable && Math.abs(values[i] - values[last]) > 180;
      if ((!usable || gap || wrap) && piece.length) {
        draw(piece);
        piece = [];
      }
      if (usable) piece.push(i);
    }
    if (piece.length) draw(piece);
  }

  function drawLine(ctx, layout, data, values, y, style) {
    ctx.save();
    ctx.strokeStyle = ctx.fillStyle = style.colour;
    ctx.lineWidth = style.width || 1.6;
    ctx.lineJoin = "round";
    ctx.setLineDash(style.dashes || []);
    stretches(layout, data, values, style.good, (piece) => {
      ctx.beginPath();
      piece.forEach((i, n) => {
        const point = [layout.x(data.time_s[i]), y(values[i])];
        if (n) ctx.lineTo(...point);
        else ctx.moveTo(...point);
      });
      ctx.stroke();
      if (piece.length === 1) {
        ctx.fillRect(layout.x(data.time_s[piece[0]]) - 0.8, y(values[piece[0]]) - 0.8, 1.6, 1.6);
      }
    });
    ctx.restore();
  }

  function drawSpread(ctx, inks, layout, data, y, good) {
    ctx.save();
    ctx.fillStyle = inks.hue;
    ctx.globalAlpha = 0.22;
    stretches(layout, data, data.hue_deg, good, (piece) => {
      const half = (i) => 2 * Math.min(90, data.hue_sd_deg[i] || 0);
      ctx.beginPath();
      for (const i of piece) ctx.lineTo(layout.x(data.time_s[i]), y(data.hue_deg[i] + half(i)));
      for (const i of piece.slice().reverse()) {
        ctx.lineTo(layout.x(data.time_s[i]), y(data.hue_deg[i] - half(i)));
      }
      ctx.fill();
    });
    ctx.restore();
  }

  /** Small marks where a value was seen but is not good enough for the line. */
  function drawStray(ctx, inks, layout, data, values, y, stray) {
    ctx.strokeStyle = inks.faint;
    ctx.lineWidth = 1;
    data.time_s.forEach((t, i) => {
      if (values[i] === null || !stray(i) || t < layout.range[0] || t > layout.range[1]) return;
      const px = layout.x(t);
      const py = y(values[i]);
      ctx.beginPath();
      ctx.moveTo(px - 2, py - 2);
      ctx.lineTo(px + 2, py + 2);
      ctx.moveTo(px - 2, py + 2);
      ctx.lineTo(px + 2, py - 2);
      ctx.stroke();
    });
  }

  function drawHue(ctx, inks, layout, panel, scale, data, show) {
    const sound = (i) => data.trust[i] >= 0.5;
    const strong = (i) => sound(i) && data.chroma[i] >= data.low_chroma;
    drawStray(ctx, inks, layout, data, data.hue_deg, scale.y, (i) => !strong(i));
    if (show.uncertainty) drawSpread(ctx, inks, layout, data, scale.y, strong);
    const style = { colour: inks.hue, good: strong, width: 2 };
    drawLine(ctx, layout, data, data.hue_deg, scale.y, style);
    nameBands(ctx, inks, layout, scale, data);
  }

  function drawMass(ctx, inks, layout, panel, scale, data) {
    if (data.bracket && data.bracket.before_g !== null && data.bracket.after_g !== null) {
      const top = scale.y(data.bracket.after_g);
      ctx.globalAlpha = 0.3;
      ctx.fillStyle = inks.mass;
      const height = Math.max(2, scale.y(data.bracket.before_g) - top);
      ctx.fillRect(layout.left, top, layout.right - layout.left, height);
      ctx.globalAlpha = 1;
    }
    ctx.save();
    ctx.strokeStyle = ctx.fillStyle = inks.mass;
    ctx.lineWidth = 1.8;
    ctx.setLineDash(DASHES.mass);
    ctx.beginPath();
    ctx.moveTo(layout.x(0), scale.y(0));
    let mass = 0;
    for (const [t, g] of [...data.readings, [data.duration_s, null]]) {
      ctx.lineTo(layout.x(t), scale.y(mass));
      mass = g === null ? mass : g;
      ctx.lineTo(layout.x(t), scale.y(mass));
    }
    ctx.stroke();
    for (const [t, g] of data.readings) ctx.fillRect(layout.x(t) - 2, scale.y(g) - 2, 4, 4);
    ctx.restore();
  }

  function drawPanel(ctx, inks, layout, panel, data, show) {
    const scale = scaleOf(panel, data);
    panel.scale = scale;
    drawFrame(ctx, inks, layout, panel, scale);
    clipped(ctx, layout, panel, () => {
      if (panel.key === "hue") drawBands(ctx, inks, layout, panel, scale, data);
      if (show.events) drawSpans(ctx, inks, layout, panel, data);
      if (panel.key === "hue") drawHue(ctx, inks, layout, panel, scale, data, show);
      else if (panel.key === "mass") drawMass(ctx, inks, layout, panel, scale, data);
      else drawPlain(ctx, inks, layout, panel, scale, data);
    });
  }

  function drawPlain(ctx, inks, layout, panel, scale, data) {
    const level = { chroma: data.low_chroma, trust: 0.5 }[panel.key];
    if (level !== undefined) {
      const y = scale.y(level);
      rule(ctx, inks.muted, layout.left, y, layout.right, y, [2, 3]);
    }
    drawLine(ctx, layout, data, data[panel.key], scale.y, {
      colour: inks[panel.key],
      dashes: DASHES[panel.key],
      good: (i) => panel.key === "trust" || data.trust[i] >= 0.5,
    });
  }

  /** Run the hold and the disturbances through a panel. */
  function drawSpans(ctx, inks, layout, panel, data) {
    const tall = panel.bottom - panel.top;
    ctx.fillStyle = hatch(ctx, inks.rule, "cross");
    for (const event of data.events.filter((e) => e.kind === "disturbance")) {
      ctx.fillRect(layout.x(event.time_s), panel.top, spanWidth(layout, event), tall);
    }
    if (!data.hold) return;
    const x = layout.x(data.hold.start_s);
    ctx.fillStyle = inks.hold;
    ctx.globalAlpha = 0.5;
    ctx.fillRect(x, panel.top, layout.x(data.hold.end_s) - x, tall);
    ctx.globalAlpha = 1;
    rule(ctx, inks.ink, x, panel.top, x, panel.bottom, [6, 3], 1.3);
    if (data.hold.confirmed_s === null) return;
    const end = layout.x(data.hold.confirmed_s);
    rule(ctx, inks.ink, end, panel.top, end, panel.bottom, [], 1.3);
  }

  function spanWidth(layout, event) {
    const end = event.end_s === null ? layout.range[1] : event.end_s;
    return Math.max(2, layout.x(end) - layout.x(event.time_s));
  }

  function drawLane(ctx, inks, layout, data) {
    const middle = (row) => layout.lane.top + (row + 0.5) * ROW;
    LANE.forEach((name, row) => {
      rule(ctx, inks.rule, layout.left, middle(row), layout.right, middle(row));
      write(ctx, name, layout.left - 6, middle(row), inks.muted, "right");
    });
    const box = { top: 0, bottom: layout.lane.bottom };
    clipped(ctx, { ...layout, left: layout.left - 5 }, box, () => {
      drawAdditions(ctx, inks, layout, data, middle(0));
      for (const event of data.events) {
        if (event.kind === "fade_back") drawBar(ctx, inks, layout, event, middle(1), "fade", "slash");
        if (event.kind === "disturbance") {
          drawBar(ctx, inks, layout, event, middle(2), "disturbed", "cross");
        }
      }
      for (const span of data.broken_holds) drawBroken(ctx, inks, layout, span, middle(3));
      if (data.hold) drawHold(ctx, inks, layout, data.hold, middle(3));
    });
  }

  function drawAdditions(ctx, inks, layout, data, y) {
    let free = -Infinity;
    for (const addition of data.additions) {
      const x = layout.x(addition.time_s);
      ctx.fillStyle = inks.ink;
      ctx.beginPath();
      ctx.moveTo(x - 4, y - 3);
      ctx.lineTo(x + 4, y - 3);
      ctx.lineTo(x, y + 4);
      ctx.fill();
      const half = ctx.measureText(String(addition.number)).width / 2;
      if (x - half < free) continue;
      write(ctx, String(addition.number), x, y - 11, inks.ink, "center");
      free = x + half + 4;
    }
  }

  function drawBar(ctx, inks, layout, event, y, ink, pattern) {
    const x = layout.x(event.time_s);
    const width = spanWidth(layout, event);
    ctx.fillStyle = inks[ink];
    ctx.fillRect(x, y - 6, width, 12);
    ctx.fillStyle = hatch(ctx, inks[`${ink}-edge`], pattern);
    ctx.fillRect(x, y - 6, width, 12);
    ctx.strokeStyle = inks[`${ink}-edge`];
    ctx.lineWidth = 1;
    ctx.strokeRect(x, y - 6, width, 12);
    if (ctx.measureText(event.label).width + 8 > width) return;
    label(ctx, inks, ink, event.label, x + width / 2, y);
  }

  function label(ctx, inks, ink, text, x, y) {
    const width = ctx.measureText(text).width + 6;
    ctx.fillStyle = inks[ink];
    ctx.fillRect(x - width / 2, y - 5.5, width, 11);
    write(ctx, text, x, y + 0.5, inks.ink, "center");
  }

  /** A hold that did not last: an open bar, and a cross where it was broken. */
  function drawBroken(ctx, inks, layout, [start, end], y) {
    const [x, until] = [layout.x(start), layout.x(end)];
    ctx.strokeStyle = inks["hold-edge"];
    ctx.lineWidth = 1;
    ctx.strokeRect(x, y - 4, until - x, 8);
    ctx.strokeStyle = inks.ink;
    ctx.lineWidth = 1.5;
    ctx.beginPath();
    for (const tilt of [-1, 1]) {
      ctx.moveTo(until - 3.5, y - 3.5 * tilt);
      ctx.lineTo(until + 3.5, y + 3.5 * tilt);
    }
    ctx.stroke();
  }

  function drawHold(ctx, inks, layout, hold, y) {
    const event = { time_s: hold.start_s, end_s: hold.held_until_s, label: hold.label };
    drawBar(ctx, inks, layout, event, y, "hold", "dots");
    if (hold.confirmed_s === null) return;
    const x = layout.x(hold.confirmed_s);
    ctx.fillStyle = inks.ink;
    ctx.beginPath();
    for (const [dx, dy] of [[0, -6], [6, 0], [0, 6], [-6, 0]]) ctx.lineTo(x + dx, y + dy);
    ctx.fill();
  }

  function drawRibbon(ctx, inks, layout, data, image) {
    const { top, bottom } = layout.ribbon;
    const wide = layout.right - layout.left;
    ctx.fillStyle = inks.panel;
    ctx.fillRect(layout.left, top, wide, bottom - top);
    ctx.fillStyle = hatch(ctx, inks.rule, "slash");
    ctx.fillRect(layout.left, top, wide, bottom - top);
    write(ctx, "liquid", layout.left - 6, (top + bottom) / 2, inks.muted, "right");
    if (!image || !data.duration_s) return;
    clipped(ctx, layout, layout.ribbon, () => {
      const x = layout.x(0);
      ctx.imageSmoothingEnabled = false;
      ctx.drawImage(image, x, top, layout.x(data.duration_s) - x, bottom - top);
    });
  }

  function drawTimeAxis(ctx, inks, layout) {
    const [start, end] = layout.range;
    const most = Math.max(2, Math.floor((layout.right - layout.left) / 64));
    const step = STEPS.find((s) => (end - start) / s <= most) || 14400;
    const y = layout.ribbon.bottom;
    for (let t = Math.ceil(start / step) * step; t <= end + 1e-9; t += step) {
      const x = layout.x(t);
      rule(ctx, inks.muted, x, y, x, y + 4);
      write(ctx, clock(t, step < 1 ? 1 : 0), x, y + 13, inks.muted, "center");
      for (const panel of layout.panels) rule(ctx, inks.rule, x, panel.top, x, panel.bottom);
    }
    write(ctx, "min:s", layout.left - 22, y + 13, inks.muted, "right");
  }

  /** Draw the whole trace; returns the layout for cursors and pointers. */
  function drawTrace(canvas, data, options) {
    const width = options.width || canvas.clientWidth;
    const layout = layoutOf(width, data, options);
    const ctx = prepare(canvas, width, layout.height);
    const inks = inksOf(canvas);
    ctx.font = layout.font;
    drawLane(ctx, inks, layout, data);
    for (const panel of layout.panels) drawPanel(ctx, inks, layout, panel, data, options.show);
    drawRibbon(ctx, inks, layout, data, options.ribbon);
    drawTimeAxis(ctx, inks, layout);
    return layout;
  }

  /** Draw the cursor over the trace: a line, and a dot on each panel's line. */
  function drawCursor(canvas, layout, data, index, selection) {
    const ctx = prepare(canvas, layout.width, layout.height);
    const inks = inksOf(canvas);
    if (selection) {
      const [x0, x1] = selection.map(layout.x);
      ctx.globalAlpha = 0.2;
      ctx.fillStyle = inks.hue;
      ctx.fillRect(x0, layout.lane.top, x1 - x0, layout.ribbon.bottom - layout.lane.top);
      ctx.globalAlpha = 1;
    }
    if (index === null || index >= data.time_s.length) return;
    const x = layout.x(data.time_s[index]);
    if (x < layout.left - 1 || x > layout.right + 1) return;
    rule(ctx, inks.ink, x, layout.lane.top - 4, x, layout.ribbon.bottom, [], 1.5);
    for (const panel of layout.panels) drawDot(ctx, inks, panel, data, index, x);
  }

  function drawDot(ctx, inks, panel, data, index, x) {
    const column = panel.key === "hue" ? data.hue_deg : data[panel.key];
    if (!column || column[index] === null || !panel.scale) return;
    ctx.beginPath();
    ctx.arc(x, panel.scale.y(column[index]), 4.5, 0, 7);
    ctx.fillStyle = inks[panel.key];
    ctx.fill();
    ctx.lineWidth = 2;
    ctx.strokeStyle = inks.panel;
    ctx.stroke();
  }

  return { PANELS, clock, drawCursor, drawTrace, nearest };
})();
