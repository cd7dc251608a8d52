/* Wires the report: the cursor, zoom, switches, the readout and the jumps from the tables. */
(function () {
  "use strict";

  const { clock, drawCursor, drawTrace, nearest } = globalThis.hueholdTrace;
  const $ = (id) => document.getElementById(id);
  const data = JSON.parse($("run-data").textContent);
  const LEAST_SPAN_S = 2;
  const PAPER_PX = 1000;
  const calm = matchMedia("(prefers-reduced-motion: reduce)");

  const state = {
    range: [0, Math.max(data.duration_s, 1)],
    index: null,
    selection: null,
    layout: null,
    show: {},
    ribbon: null,
  };

  function redraw() {
    state.layout = drawTrace($("trace"), data, state);
    $("chart").style.height = `${state.layout.height}px`;
    redrawPaper();
    redrawCursor();
  }

  /** Keep the same picture ready in light inks: print takes what is drawn already. */
  function redrawPaper() {
    drawTrace($("paper"), data, { ...state, width: PAPER_PX });
  }

  function redrawCursor() {
    drawCursor($("cursor"), state.layout, data, state.index, state.selection);
  }

  /** Draw at the next frame: everything if anyone asked for it, else the cursor alone. */
  let wanted = null;
  function soon(draw) {
    if (wanted === null) {
      requestAnimationFrame(() => {
        const chosen = wanted;
        wanted = null;
        chosen();
      });
    }
    if (wanted !== redraw) wanted = draw;
  }

  function setRange(start_s, end_s) {
    const whole = Math.max(data.duration_s, 1);
    const span = Math.min(whole, Math.max(LEAST_SPAN_S, end_s - start_s));
    const start = Math.min(Math.max(0, start_s), whole - span);
    state.range = [start, start + span];
    $("from").value = start.toFixed(1);
    $("to").value = (start + span).toFixed(1);
    redraw();
  }

  function zoom(factor) {
    const [start, end] = state.range;
    const at = state.index === null ? (start + end) / 2 : data.time_s[state.index];
    const middle = at >= start && at <= end ? at : (start + end) / 2;
    setRange(middle - (middle - start) * factor, middle + (end - middle) * factor);
  }

  function setCursor(time_s, spoken) {
    if (!data.time_s.length) return;
    state.index = nearest(data.time_s, time_s);
    const t = data.time_s[state.index];
    if (spoken) keepInView(t);
    $("chart").setAttribute("aria-valuenow", t.toFixed(1));
    $("chart").setAttribute("aria-valuetext", clock(t, 1));
    tell(state.index);
    soon(redrawCursor);
    if (spoken) announce();
  }

  function keepInView(t) {
    const [start, end] = state.range;
    if (t >= start && t <= end) return;
    setRange(t - (end - start) / 2, t + (end - start) / 2);
  }

  /* ---- the readout ---- */

  function tell(index) {
    const t = data.time_s[index];
    for (const [id, text] of Object.entries(words(index))) $(id).textContent = text;
    showPicture(t);
    showChip(t);
  }

  function words(index) {
    const t = data.time_s[index];
    return {
      "r-time": clock(t, 1),
      "r-hue": hueWords(index),
      "r-chroma": known(data.chroma[index], (v) => v.toFixed(1)),
      "r-turbidity": known(data.turbidity[index], (v) => v.toFixed(2)),
      "r-trust": trustWords(index),
      "r-titrant": massWords(t),
      "r-now": happening(t).join("; ") || "nothing noted",
    };
  }

  function known(value, write) {
    return value === null || value === undefined ? "not seen" : write(value);
  }

  function hueWords(index) {
    const hue = data.hue_deg[index];
    if (hue === null) return "not seen";
    const sd = data.hue_sd_deg[index];
    const spread = sd === null ? "" : ` ± ${(2 * sd).toFixed(1)}°`;
    const weak = data.chroma[index] < data.low_chroma ? ", chroma too low for a sure hue" : "";
    const angle = ((hue % 360) + 360) % 360;
    const word = (data.hue_words.find((pair) => angle < pair[0]) || data.hue_words[0])[1];
    return `${angle.toFixed(1)}°${spread}, ${word}${weak}`;
  }

  function trustWords(index) {
    const reasons = data.reason_sets[data.reasons[index]];
    const share = `${Math.round(100 * (data.trust[index] || 0))} %`;
    const used = data.trust[index] >= 0.5 ? "" : ", not used";
    return reasons ? `${share}${used}: ${reasons}` : `${share}${used}`;
  }

  /** A mass as a balance shows it: two decimals, more only if it has them. */
  function grams(mass_g) {
    return `${mass_g.toFixed(4).replace(/0{1,2}$/, "")} g`;
  }

  function massWords(t) {
    if (!data.readings.length) return "not weighed";
    const before = data.readings.filter((reading) => reading[0] <= t);
    return grams(before.length ? before[before.length - 1][1] : 0);
  }

  function happening(t) {
    const found = data.events
      .filter((e) => e.end_s !== null && e.time_s <= t && t <= e.end_s)
      .map((e) => (e.kind === "disturbance" ? `disturbance: ${e.label}` : e.label));
    const hold = data.hold;
    if (hold && t >= hold.start_s && t <= hold.held_until_s) {
      found.unshift(`hold, ${(t - hold.start_s).toFixed(0)} s since the onset`);
    }
    const made = data.additions.filter((a) => a.time_s <= t);
    if (made.length) {
      const last = made[made.length - 1];
      found.push(`${(t - last.time_s).toFixed(1)} s after addition ${last.number}`);
    }
    return found;
  }

  function showPicture(t) {
    if (!data.pictures.length) return;
    const picture = data.pictures[nearest(data.picture_times_s, t)];
    const image = $("picture");
    if (image.src !== picture.src) image.src = picture.src;
    image.alt = `The scene at ${clock(picture.time_s, 1)}`;
    $("picture-time").textContent = `frame at ${clock(picture.time_s, 1)}`;
  }

  /** Copy the ribbon's column at this moment, so that eyes can check the numbers. */
  function showChip(t) {
    const chip = $("chip");
    const ctx = chip.getContext("2d");
    ctx.clearRect(0, 0, chip.width, chip.height);
    const image = state.ribbon;
    if (!image || !data.duration_s) return;
    const column = Math.min(image.width - 1, Math.floor((t / data.duration_s) * image.width));
    ctx.imageSmoothingEnabled = false;
    ctx.drawImage(image, column, 0, 1, image.height, 0, 0, chip.width, chip.height);
  }

  let speech = null;
  function announce() {
    clearTimeout(speech);
    speech = setTimeout(() => {
      const said = words(state.index);
      $("status").textContent =
        `${said["r-time"]}. Hue ${said["r-hue"]}. Chroma ${said["r-chroma"]}. ` +
        `Turbidity ${said["r-turbidity"]}. Trust ${said["r-trust"]}. ${said["r-now"]}.`;
    }, 350);
  }

  /* ---- keyboard ---- */

  const moments = [...new Set(data.events.map((event) => event.time_s))].sort((a, b) => a - b);

  function jump(direction) {
    const now = state.index === null ? 0 : data.time_s[state.index];
    const later = moments.filter((t) => t > now + 0.06);
    const earlier = moments.filter((t) => t < now - 0.06);
    const next = direction > 0 ? later[0] : earlier[earlier.length - 1];
    if (next !== undefined) setCursor(next, true);
  }

  function onKey(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const now = state.index === null ? 0 : data.time_s[state.index];
    const step = event.shiftKey ? 10 : 1;
    const actions = {
      ArrowLeft: () => setCursor(now - step, true),
      ArrowDown: () => setCursor(now - step, true),
      ArrowRight: () => setCursor(now + step, true),
      ArrowUp: () => setCursor(now + step, true),
      Home: () => setCursor(0, true),
      End: () => setCursor(data.duration_s, true),
      PageUp: () => jump(-1),
      PageDown: () => jump(1),
      "+": () => zoom(0.5),
      "=": () => zoom(0.5),
      "-": () => zoom(2),
      0: () => setRange(0, data.duration_s),
      Escape: () => select(null),
    };
    if (!actions[event.key]) return;
    event.preventDefault();
    actions[event.key]();
  }

  /* ---- pointer: hover or touch moves the cursor, dragging a mouse chooses a range ---- */

  let pressed_s = null;

  function timeAt(event) {
    const box = $("chart").getBoundingClientRect();
    return Math.min(state.range[1], Math.max(state.range[0], state.layout.time(event.clientX - box.left)));
  }

  function select(range) {
    state.selection = range;
    soon(redrawCursor);
  }

  function onDown(event) {
    if (event.pointerType === "mouse" && event.button === 0) {
      pressed_s = timeAt(event);
      $("chart").setPointerCapture(event.pointerId);
    }
    setCursor(timeAt(event));
  }

  function onMove(event) {
    setCursor(timeAt(event));
    if (pressed_s === null) return;
    const range = [Math.min(pressed_s, timeAt(event)), Math.max(pressed_s, timeAt(event))];
    const wide = state.layout.x(range[1]) - state.layout.x(range[0]) > 6;
    select(wide ? range : null);
  }

  function onUp() {
    const range = state.selection;
    pressed_s = null;
    select(null);
    if (range) setRange(...range);
  }

  /* ---- wiring ---- */

  function wireChart() {
    const chart = $("chart");
    chart.addEventListener("keydown", onKey);
    chart.addEventListener("pointerdown", onDown);
    chart.addEventListener("pointermove", onMove);
    chart.addEventListener("pointerup", onUp);
    chart.addEventListener("pointercancel", onUp);
    chart.setAttribute("aria-valuemax", data.duration_s.toFixed(1));
  }

  function wireButtons() {
    const shift = (part) => {
      const [start, end] = state.range;
      setRange(start + part * (end - start), end + part * (end - start));
    };
    const hold = data.hold;
    const actions = {
      "zoom-in": () => zoom(0.5),
      "zoom-out": () => zoom(2),
      "pan-left": () => shift(-0.5),
      "pan-right": () => shift(0.5),
      "see-all": () => setRange(0, data.duration_s),
      "see-hold": () => hold && setRange(hold.start_s - 15, hold.held_until_s + 5),
      "event-before": () => jump(-1),
      "event-after": () => jump(1),
    };
    for (const [id, action] of Object.entries(actions)) {
      if ($(id)) $(id).addEventListener("click", action);
    }
    $("range").addEventListener("submit", (event) => {
      event.preventDefault();
      setRange(Number($("from").value), Number($("to").value));
    });
  }

  function wireSwitches() {
    for (const box of document.querySelectorAll("[data-show]")) {
      const follow = () => (state.show[box.dataset.show] = box.checked);
      follow();
      box.addEventListener("change", () => {
        follow();
        redraw();
      });
    }
  }

  function wireJumps() {
    for (const button of document.querySelectorAll("[data-time]")) {
      button.addEventListener("click", () => {
        setCursor(Number(button.dataset.time), true);
        $("chart-part").scrollIntoView({ behavior: calm.matches ? "auto" : "smooth", block: "start" });
      });
    }
  }

  function wirePage() {
    new ResizeObserver(() => soon(redraw)).observe($("chart-box"));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  }

  function loadRibbon() {
    const image = new Image();
    image.addEventListener("load", () => {
      state.ribbon = image;
      redraw();
      if (state.index !== null) tell(state.index);
    });
    if (data.ribbon) image.src = data.ribbon;
  }

  wireSwitches();
  wireChart();
  wireButtons();
  wireJumps();
  wirePage();
  setRange(0, data.duration_s);
  setCursor(data.hold ? (data.hold.confirmed_s ?? data.hold.start_s) : 0);
  loadRibbon();
})();
