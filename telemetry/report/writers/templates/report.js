// Reads values off the timeline, zooms and moves it. Without this script everything is readable.
(() => {
  "use strict";
  const root = document.getElementById("timeline");
  const source = document.getElementById("timeline-data");
  if (!root || !source) return;
  const data = JSON.parse(source.textContent);
  const plot = root.querySelector(".plot");
  const tools = root.querySelector(".tools");
  const rows = [...root.querySelectorAll(".names li")].map((row) => ({
    row, name: row.querySelector(".name").textContent,
    voltage: row.querySelector(".v"), current: row.querySelector(".a"),
  }));
  const SVG = "http://www.w3.org/2000/svg";
  const STEPS = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200];
  const SHORTEST = 1;
  // Room above and below the readings as a share of their span, and the least span of an axis: the
  // noise of a steady voltage must not fill the picture as a dip would.
  const ROOM = { voltage: [0.08, 0.5], current: [0.06, 1] };
  const UNITS = { voltage: "V", current: "A" };

  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer;
  const clocks = data.clocks.map((c) => {
    let now = c.start;
    return Float64Array.from(new Uint16Array(bytes(c.steps)), (ms) => (now += ms / 1000));
  });
  const traces = data.traces.map((t) => {
    const time = clocks[t.clock];
    const value = Float64Array.from(new Int16Array(bytes(t.values)), (n) =>
      n === -32768 ? NaN : t.base + n * t.step);
    return { ...t, time, value };
  });

  const mmss = (s, tenths) => {
    const all = Math.floor(s * 10 + 1e-6);
    const text = String(Math.floor(all / 600)).padStart(2, "0") + ":" +
      String(Math.floor(all / 10) % 60).padStart(2, "0");
    return tenths ? text + "." + (all % 10) : text;
  };
  // Index of the last sample at or before a time; -1 before the first.
  const before = (time, s) => {
    let low = 0, high = time.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (time[middle] <= s + 1e-6) low = middle + 1; else high = middle;
    }
    return low - 1;
  };
  const reading = (t, s) => {
    const at = before(t.time, s);
    return at < 0 || s - t.time[at] > t.hold ? NaN : t.value[at];
  };

  const length = data.end - data.start;
  let view = { from: data.start, to: data.end };
  let cursor = null;
  let stepped = null;
  const off = new Set();
  const isWhole = () => view.from <= data.start && view.to >= data.end;

  const make = (parent, name, attributes, text) => {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    if (text !== undefined) element.textContent = text;
    parent.append(element);
    return element;
  };
  const add = (parent, name, attributes = {}, text = "") => {
    const element = document.createElement(name);
    Object.assign(element, attributes);
    element.append(text);
    parent.append(element);
    return element;
  };

  const pictures = ["wide", "narrow"].map((name) => {
    const svg = root.querySelector("." + name + " svg");
    const layout = data.layouts[name];
    const first = layout.panels[0], last = layout.panels[layout.panels.length - 1];
    const line = make(svg, "line", {
      class: "cursor", y1: first.top, y2: last.top + last.height, visibility: "hidden",
    });
    const chosen = make(svg, "rect", {
      class: "chosen", y: first.top, height: last.top + last.height - first.top,
      visibility: "hidden",
    });
    const x = (s) => first.left + ((s - view.from) / (view.to - view.from)) * first.width;
    const at = (event) => {
      const box = svg.getBoundingClientRect(), unit = svg.viewBox.baseVal.width / box.width;
      return { x: (event.clientX - box.left) * unit, y: (event.clientY - box.top) * unit };
    };
    const share = (event) => (at(event).x - first.left) / first.width;
    const time = (event) => {
      const found = share(event);
      return found < -0.02 || found > 1.02 ? null
        : view.from + Math.min(1, Math.max(0, found)) * (view.to - view.from);
    };
    return { name, svg, layout, first, line, chosen, x, at, share, time, overlay: null };
  });

  // From the reading that still holds at the left edge to the first one beyond the right edge.
  const inView = (t) => [Math.max(0, before(t.time, view.from)),
    Math.min(before(t.time, view.to) + 2, t.time.length)];
  const shown = (panel) => traces.filter((t) => t.quantity === panel.quantity && !off.has(t.place));

  const scaleOf = (panel) => {
    let low = Infinity, high = -Infinity;
    for (const t of fit.checked ? shown(panel) : []) {
      for (let [k, end] = inView(t); k < end; k++) {
        if (t.value[k] < low) low = t.value[k];
        if (t.value[k] > high) high = t.value[k];
      }
    }
    if (low > high) return { low: panel.low, high: panel.high };
    const fromZero = panel.quantity === "current" && low >= 0;
    if (fromZero) low = 0;
    const [share, least] = ROOM[panel.quantity];
    const room = Math.max((high - low) * share, (least - (high - low)) / 2);
    return { low: fromZero ? 0 : low - room, high: high + room };
  };

  const path = (t, panel, x, y) => {
    let [k, end] = inView(t);
    let d = "", open = false, column = -1, low = null, high = null, last = null;
    const point = (k) => {
      d += (open ? "L" : "M") + x(t.time[k]).toFixed(1) + " " + y(t.value[k]).toFixed(1);
      open = true;
    };
    const flush = () => {
      if (low === null) return;
      const [p, q] = low <= high ? [low, high] : [high, low];
      const begins = !open;
      point(p);
      if (q !== p) point(q);
      // One reading between two gaps is a dot, not nothing.
      else if (begins) d += "h.5";
      low = high = null;
    };
    for (; k < end; k++) {
      if (Number.isNaN(t.value[k]) || (last !== null && t.time[k] - last > t.hold)) {
        flush();
        open = false;
      }
      last = t.time[k];
      if (Number.isNaN(t.value[k])) continue;
      // Every column of the picture keeps its lowest and its highest reading.
      const c = Math.floor(x(t.time[k]) / (panel.width > 600 ? 1 : 1.5));
      if (c !== column) { flush(); column = c; }
      if (low === null) { low = high = k; continue; }
      if (t.value[k] < t.value[low]) low = k;
      if (t.value[k] > t.value[high]) high = k;
    }
    flush();
    return d;
  };

  const SMALL = { "font-size": "10px" };
  const marks = ({ layout, first, x }, g) => {
    const last = layout.panels[layout.panels.length - 1];
    data.marks.forEach(([s, words], k) => {
      if (s < view.from || s > view.to) return;
      make(g, "path", { class: "marked", d: `M${x(s)} ${first.top}V${last.top + last.height}`,
        stroke: "var(--ink)", "stroke-dasharray": "4 2" });
      const left = x(s) < first.left + first.width / 2;
      make(g, "text", { x: x(s) + (left ? 4 : -4), y: first.top + 10,
        "text-anchor": left ? "start" : "end", ...SMALL },
        `M${k + 1} ${words.length > 40 ? words.slice(0, 39) + "\u2026" : words}`);
    });
  };
  const timeAxis = ({ x }, g, panel) => {
    const bottom = panel.top + panel.height;
    const most = Math.max(3, Math.floor(panel.width / 66));
    const step = STEPS.find((s) => (view.to - view.from) / s <= most) || STEPS[STEPS.length - 1];
    for (let k = Math.ceil(view.from / step - 1e-9); k * step <= view.to + 1e-9; k++) {
      const at = x(k * step);
      make(g, "path", { d: `M${at} ${bottom}v4`, stroke: "var(--muted)" });
      make(g, "text", { x: at, y: bottom + 14, "text-anchor": "middle", ...SMALL },
        mmss(k * step, step < 1));
    }
    make(g, "text", { x: panel.left + panel.width / 2, y: bottom + 30, "text-anchor": "middle",
      "font-size": "11px" }, "time of the recording (mm:ss)");
  };
  const valueAxis = (g, panel, { low, high }, y) => {
    const most = Math.max(3, Math.round(panel.height / 30)), raw = (high - low) / most;
    const power = 10 ** Math.floor(Math.log10(raw));
    const round = [1, 2, 2.5, 5, 10].find((n) => n * power >= raw * 0.999), step = round * power;
    const digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9)) + (round === 2.5 ? 1 : 0);
    for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9; k++) {
      make(g, "path", { d: `M${panel.left} ${y(k * step)}h${panel.width}`, stroke: "var(--guide)",
        "stroke-width": 0.6 });
      make(g, "text", { x: panel.left - 6.5, y: y(k * step) + 3.8, "text-anchor": "end", ...SMALL },
        (k * step).toFixed(digits));
    }
    make(g, "path", { d: `M${panel.left} ${panel.top}v${panel.height}h${panel.width}`,
      fill: "none", stroke: "var(--muted)", "stroke-width": 0.8 });
    const middle = panel.top + panel.height / 2;
    make(g, "text", { x: 15, y: middle, "text-anchor": "middle", "font-size": "11px",
      transform: `rotate(-90 15 ${middle})` }, `${panel.quantity} (${UNITS[panel.quantity]})`);
  };

  const strip = ({ layout, first, x }, g) => {
    for (const [from, to, name, fill] of data.phases) {
      if (to < view.from || from > view.to) continue;
      const left = Math.max(x(from), first.left);
      const right = Math.min(x(to), first.left + first.width);
      make(g, "rect", { x: left, y: layout.strip_top, width: right - left,
        height: layout.strip_height, fill: `var(--${fill})`, stroke: "var(--muted)" });
      if (right - left > 7 * name.length) {
        make(g, "text", { x: (left + right) / 2, y: layout.strip_top + 11,
          "text-anchor": "middle", ...SMALL }, name);
      }
    }
  };
  const lane = ({ layout, first, x }, g, inner) => {
    const middle = layout.lane_top + layout.lane_height / 2;
    make(g, "text", { x: first.left - 8, y: middle + 4, "text-anchor": "end",
      "font-size": "11px" }, "events");
    make(g, "path", { d: `M${first.left} ${middle}h${first.width}`, stroke: "var(--guide)" });
    const there = data.events.filter((e) => e[1] >= view.from && e[0] <= view.to);
    let free = 0;
    for (const [from, to, name, quiet] of there) {
      const left = x(from), wide = Math.max(2, x(to) - left);
      for (const p of quiet ? [] : layout.panels) {
        make(inner, "rect", { x: left, y: p.top, width: wide, height: p.height,
          fill: "var(--mark)" });
      }
      make(inner, "rect", { x: left, y: middle - (quiet ? 3 : 6), width: wide,
        height: quiet ? 6 : 12, fill: `var(--${quiet ? "muted" : "vermillion"})` });
      // Few have their names beside them; of those at one moment the first.
      const right = left + wide + 5 + 6 * name.length;
      if (there.length > 3 || left < free) continue;
      const beyond = right > first.left + first.width;
      make(inner, "text", { x: beyond ? left - 5 : left + wide + 5, y: middle + 4,
        "text-anchor": beyond ? "end" : "start", ...SMALL }, name);
      free = right;
    }
  };
  const panelOf = ({ name, x }, g, inner, panel) => {
    const scale = scaleOf(panel);
    const y = (v) => panel.top + ((scale.high - v) / (scale.high - scale.low)) * panel.height;
    const part = make(g, "g", { class: "axis", "data-quantity": panel.quantity,
      "data-low": scale.low, "data-high": scale.high });
    valueAxis(part, panel, scale, y);
    for (const [from, to] of data.gaps) {
      if (to < view.from || from > view.to) continue;
      make(inner, "rect", { class: "gap", x: x(from), y: panel.top, width: x(to) - x(from),
        height: panel.height, fill: `url(#hatch-${name})` });
    }
    for (const t of shown(panel)) {
      make(inner, "path", { class: "line", "data-place": t.place, d: path(t, panel, x, y),
        fill: "none", stroke: `var(--${t.colour})`, "stroke-width": 1.3,
        "stroke-dasharray": t.dash, "clip-path": `url(#${panel.quantity}-${name})` });
    }
    for (const [level, words] of panel.quantity === "voltage" ? data.levels : []) {
      if (level < scale.low || level > scale.high) continue;
      make(part, "path", { d: `M${panel.left} ${y(level)}h${panel.width}`, stroke: "var(--muted)",
        "stroke-dasharray": "2 2" });
      make(part, "text", { x: panel.left + panel.width - 5, y: y(level) - 2, "text-anchor": "end",
        ...SMALL }, words);
    }
  };
  const overlay = (picture) => {
    const { svg, layout, first, name } = picture;
    const g = make(svg, "g", { class: "overlay" });
    svg.insertBefore(g, picture.line);
    const box = (id, y, height) => make(make(g, "clipPath", { id }), "rect",
      { x: first.left, y, width: first.width, height });
    box("frame-" + name, 0, 2000);
    for (const p of layout.panels) box(p.quantity + "-" + name, p.top, p.height);
    const hatch = make(g, "pattern", { id: "hatch-" + name, width: 6, height: 6,
      patternUnits: "userSpaceOnUse" });
    make(hatch, "rect", { width: 6, height: 6, fill: "var(--wash)" });
    make(hatch, "path", { d: "M0 0l6 6M6 0l-6 6", stroke: "var(--muted)", "stroke-width": 0.5 });
    const beneath = make(g, "g", {});
    const inner = make(g, "g", { "clip-path": `url(#frame-${name})` });
    strip(picture, inner);
    lane(picture, beneath, inner);
    for (const panel of layout.panels) panelOf(picture, beneath, inner, panel);
    marks(picture, inner);
    timeAxis(picture, g, layout.panels[layout.panels.length - 1]);
    picture.overlay = g;
  };

  const span = () => `${mmss(view.from, true)} to ${mmss(view.to, true)}`;
  const draw = () => {
    const asPrinted = isWhole() && off.size === 0;
    for (const picture of pictures) {
      if (picture.overlay) picture.overlay.remove();
      picture.overlay = null;
      picture.svg.classList.toggle("zoomed", !asPrinted);
      // The other picture is for another width of window.
      if (!asPrinted && picture.svg.getClientRects().length) overlay(picture);
    }
    whole.disabled = isWhole();
    extent.textContent = isWhole() ? "Whole recording." : `Shown: ${span()}.`;
    point(cursor);
  };

  const readings = (s) => rows.map(({ name }, place) => {
    const text = (quantity) => {
      const t = traces.find((one) => one.place === place && one.quantity === quantity);
      if (!t) return "";
      const v = reading(t, s);
      return Number.isNaN(v) ? "-" : v.toFixed(t.digits) + " " + t.unit;
    };
    return [name, text("voltage"), text("current")];
  });
  const point = (s) => {
    cursor = s;
    const inside = s !== null && s >= view.from && s <= view.to;
    for (const { line, x } of pictures) {
      line.setAttribute("visibility", inside ? "visible" : "hidden");
      if (inside) { line.setAttribute("x1", x(s)); line.setAttribute("x2", x(s)); }
    }
    if (s === null) return;
    now.textContent = "at " + mmss(s, true);
    readings(s).forEach(([, v, a], k) => {
      rows[k].voltage.textContent = v;
      rows[k].current.textContent = a;
    });
  };
  // A page that can keep a mark has a field for its moment: what was chosen, not passed over.
  const moment = document.querySelector("input[data-moment]");
  if (moment) moment.placeholder = "or click the timeline";
  const settle = () => {
    if (moment && cursor !== null) moment.value = mmss(cursor, true);
  };
  const say = () => {
    settle();
    live.textContent = cursor === null || cursor < view.from || cursor > view.to
      ? `Shown: ${span()}`
      : "At " + mmss(cursor, true) + ": " + readings(cursor)
        .filter((_, place) => !off.has(place)).map((v) => v.filter(Boolean).join(" ")).join(", ");
  };

  const look = (from, to) => {
    const wide = Math.min(Math.max(to - from, Math.min(SHORTEST, length)), length);
    const start = Math.min(Math.max((from + to - wide) / 2, data.start), data.end - wide);
    view = { from: start, to: start + wide };
    draw();
  };
  const showAll = () => look(data.start, data.end);
  const zoom = (factor, around = cursor) => {
    const middle = around !== null && around >= view.from && around <= view.to
      ? around : (view.from + view.to) / 2;
    look(middle - (middle - view.from) * factor, middle + (view.to - middle) * factor);
  };
  const pan = (seconds) => {
    const kept = Math.min(Math.max(seconds, data.start - view.from), data.end - view.to);
    look(view.from + kept, view.to + kept);
    return kept;
  };
  const panShare = (share) => {
    const by = pan(share * (view.to - view.from));
    if (cursor !== null) point(cursor + by);
  };
  const zoomTo = (from, to) => {
    const beside = Math.max(6, (to - from) * 0.8);
    look(from - beside, to + beside);
    point(from);
  };

  // What is stepped through: sags that the load explains only where there is nothing else.
  const told = data.events.filter((e) => !e[3]);
  const passedOver = told.length ? data.events.length - told.length : 0;
  const steps = [...(told.length ? told : data.events),
    ...data.marks.map(([s, words]) => [s, s, "marked, " + words])].sort((a, b) => a[0] - b[0]);
  const stepTo = (k) => {
    if (!steps.length) { where.textContent = "No events were found in this recording."; return; }
    stepped = Math.min(Math.max(k, 0), steps.length - 1);
    const [from, to, name] = steps[stepped];
    zoomTo(from, to);
    settle();
    where.textContent = `Event ${stepped + 1} of ${steps.length}: ${name}, ${mmss(from, true)}` +
      (to > from ? ` to ${mmss(to, true)}.` : ".") + (passedOver
      ? ` Passed over: ${passedOver} ${passedOver > 1 ? "sags" : "sag"} that the load explains.` : "");
  };
  const forward = () => stepTo(stepped === null ? 0 : stepped + 1);
  const back = () => stepTo(stepped === null ? steps.length - 1 : stepped - 1);
  const show = (event) => {
    const k = steps.findIndex((one) => one[0] === event[0] && one[1] === event[1]);
    if (k >= 0) stepTo(k); else zoomTo(event[0], event[1]);
  };

  const button = (name, action) => {
    const made = add(tools, "button", { type: "button" }, name);
    made.addEventListener("click", action);
    return made;
  };
  const tick = (parent, name, action) => {
    const label = add(parent, "label");
    const box = add(label, "input", { type: "checkbox", checked: true });
    label.append(name);
    box.addEventListener("change", () => action(box.checked));
    return box;
  };
  const whole = button("Whole recording", showAll);
  button("Closer", () => zoom(0.5));
  button("Wider", () => zoom(2));
  button("Earlier", () => panShare(-0.5));
  button("Later", () => panShare(0.5));
  button("Previous event", back);
  button("Next event", forward);
  const fit = tick(tools, "Fit the y axes", draw);
  const now = add(tools, "output", {}, "Point at the timeline, or tap it, to read it.");
  const extent = add(tools, "span", { className: "extent" });
  const live = add(tools, "p", { className: "unseen live", ariaLive: "polite" });
  const where = add(tools, "p", { className: "where", ariaLive: "polite" });
  const hint = add(tools, "details", { className: "hint" });
  add(hint, "summary", {}, "How to look closer");
  add(hint, "p", {}, "Drag over a stretch to zoom into it. Shift and drag moves along. Ctrl and " +
    "the wheel zooms, Shift and the wheel moves; the wheel alone scrolls the page. By touch: one " +
    "finger moves, two zoom. With the timeline in focus: left and right move, with Shift they " +
    "move the reading; plus and minus zoom; n and p step through the events; Home shows all.");
  const coarsest = Math.max(0, ...traces.map((t) => t.every));
  add(tools, "p", { className: "note" }, coarsest
    ? "The log is too long for this page to hold all of it: of every " + coarsest.toPrecision(2) +
      " s it holds the lowest and the highest reading. Nothing finer can be seen here."
    : "");
  rows.forEach(({ row, name }, place) => {
    const swatch = row.querySelector(".swatch");
    const box = tick(row, "", (on) => {
      if (on) off.delete(place); else off.add(place);
      row.classList.toggle("off", !on);
      draw();
    });
    box.setAttribute("aria-label", "Show " + name);
    box.parentElement.append(swatch, row.querySelector(".name"));
    row.prepend(box.parentElement);
  });
  tools.hidden = false;
  root.classList.add("live-tools");

  for (const picture of pictures) {
    const { svg, layout, first } = picture;
    const held = new Map();
    let drag = null;
    const seconds = () => (view.to - view.from) / first.width;
    const clicked = (event) => {
      const { x: atX, y } = picture.at(event);
      if (y < layout.lane_top - 6 || y > layout.lane_top + layout.lane_height + 6) return;
      const far = (e) => Math.max(picture.x(e[0]) - atX, atX - picture.x(e[1]), 0) + (e[3] ? 3 : 0);
      const near = [...data.events].sort((a, b) => far(a) - far(b))[0];
      if (near && far(near) < 12) show(near);
    };
    const choose = (from, to) => {
      picture.chosen.setAttribute("visibility", from === null ? "hidden" : "visible");
      if (from === null) return;
      picture.chosen.setAttribute("x", picture.x(Math.min(from, to)));
      picture.chosen.setAttribute("width", Math.abs(picture.x(to) - picture.x(from)));
    };
    svg.addEventListener("pointerdown", (event) => {
      const s = picture.time(event);
      if (event.button !== 0 || s === null) return;
      held.set(event.pointerId, picture.share(event));
      svg.setPointerCapture(event.pointerId);
      point(s);
      const moves = event.pointerType === "touch" || event.shiftKey;
      drag = { kind: moves ? "pan" : "span", s, x: picture.at(event).x, moved: false };
      if (held.size === 2) {
        const shares = [...held.values()];
        drag = { kind: "pinch", moved: true,
          times: shares.map((one) => view.from + one * (view.to - view.from)) };
      }
      if (event.pointerType === "mouse") event.preventDefault();
      plot.focus({ preventScroll: true });
    });
    svg.addEventListener("pointermove", (event) => {
      const s = picture.time(event);
      if (held.has(event.pointerId)) held.set(event.pointerId, picture.share(event));
      if (!drag) { if (s !== null) point(s); return; }
      const at = picture.at(event).x;
      if (!drag.moved && Math.abs(at - drag.x) < 5) return;
      drag.moved = true;
      if (drag.kind === "pinch") {
        const [a, b] = [...held.values()], [from, to] = drag.times;
        if (Math.abs(a - b) < 0.02) return;
        const wide = (to - from) / (b - a);
        if (wide > 0) look(from - a * wide, from + (1 - a) * wide);
      } else if (drag.kind === "pan" && !isWhole()) {
        pan((drag.x - at) * seconds());
        drag.x = at;
      } else if (s !== null) {
        point(s);
        if (drag.kind === "span") choose(drag.s, s);
      }
    });
    const end = (event) => {
      held.delete(event.pointerId);
      const done = drag;
      drag = null;
      choose(null);
      if (!done || event.type !== "pointerup") return;
      if (!done.moved) { settle(); clicked(event); }
      else if (done.kind === "span") {
        const s = view.from + Math.min(1, Math.max(0, picture.share(event))) * (view.to - view.from);
        look(Math.min(done.s, s), Math.max(done.s, s));
        say();
      }
    };
    svg.addEventListener("pointerup", end);
    svg.addEventListener("pointercancel", end);
    // The wheel alone scrolls the page, as everywhere.
    svg.addEventListener("wheel", (event) => {
      const by = event.deltaY || event.deltaX;
      if (event.ctrlKey || event.metaKey) zoom(by > 0 ? 1.25 : 0.8, picture.time(event));
      else if (event.shiftKey && !isWhole()) pan((by > 0 ? 0.1 : -0.1) * (view.to - view.from));
      else return;
      event.preventDefault();
    }, { passive: false });
  }
  plot.tabIndex = 0;
  plot.setAttribute("role", "group");
  plot.setAttribute("aria-label", "Timeline. Left and right move along, with Shift they move the " +
    "reading. Plus and minus zoom, n and p step through the events, Home shows all.");
  plot.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const read = (share) => {
      const from = cursor === null ? view.from : cursor;
      const by = Math.sign(share) * Math.max(0.1, Math.abs(share) * (view.to - view.from));
      point(Math.min(view.to, Math.max(view.from, from + by)));
    };
    // With all of it in view there is nowhere to move to but the next reading.
    const along = (share) => (event.shiftKey || isWhole() ? read(share / 20) : panShare(share));
    const actions = {
      ArrowLeft: () => along(-0.1), ArrowRight: () => along(0.1), Home: showAll, Escape: showAll,
      "+": () => zoom(0.5), "=": () => zoom(0.5), "-": () => zoom(2), n: forward, p: back,
    };
    if (!(event.key in actions)) return;
    event.preventDefault();
    actions[event.key]();
    if (event.key !== "n" && event.key !== "p") say();
  });
  for (const link of document.querySelectorAll("[data-from]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      show([Number(link.dataset.from), Number(link.dataset.to)]);
      root.scrollIntoView({ block: "start" });
      plot.focus({ preventScroll: true });
      say();
    });
  }
  window.addEventListener("resize", draw);
  window.addEventListener("beforeprint", showAll);
  draw();
})();
