// Reads values off the timeline and zooms it. Without this script everything is still readable.
(() => {
  "use strict";
  const root = document.getElementById("timeline");
  const source = document.getElementById("timeline-data");
  if (!root || !source) return;
  const data = JSON.parse(source.textContent);
  const plot = root.querySelector(".plot");
  const tools = root.querySelector(".tools");
  const rows = [...root.querySelectorAll(".names li")];
  const SVG = "http://www.w3.org/2000/svg";
  const STEPS = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200];
  const SHORTEST = 1;

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

  let view = { from: data.start, to: data.end };
  let cursor = null;

  const make = (parent, name, attributes, text) => {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    if (text !== undefined) element.textContent = text;
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
    const x = (s) => first.left + ((s - view.from) / (view.to - view.from)) * first.width;
    const time = (event) => {
      const box = svg.getBoundingClientRect();
      const at = ((event.clientX - box.left) / box.width) * svg.viewBox.baseVal.width;
      const share = (at - first.left) / first.width;
      return share < -0.02 || share > 1.02 ? null
        : view.from + Math.min(1, Math.max(0, share)) * (view.to - view.from);
    };
    return { name, svg, layout, line, x, time, overlay: null };
  });

  const path = (t, panel, x) => {
    const a = Math.max(0, before(t.time, view.from)), b = before(t.time, view.to) + 2;
    const span = panel.high - panel.low, wide = panel.width;
    const y = (v) => panel.top + ((panel.high - v) / span) * panel.height;
    let d = "", open = false, column = -1, low = null, high = null;
    const point = (k) => {
      d += (open ? "L" : "M") + x(t.time[k]).toFixed(1) + " " + y(t.value[k]).toFixed(1);
      open = true;
    };
    const flush = () => {
      if (low === null) return;
      const [p, q] = low <= high ? [low, high] : [high, low];
      point(p);
      if (q !== p) point(q);
      low = high = null;
    };
    for (let k = a; k < Math.min(b, t.time.length); k++) {
      if (Number.isNaN(t.value[k])) continue;
      if (k > 0 && t.time[k] - t.time[k - 1] > t.hold) { flush(); open = false; }
      // Every column of the picture keeps its lowest and its highest reading.
      const c = Math.floor(x(t.time[k]) / (wide > 600 ? 1 : 1.5));
      if (c !== column) { flush(); column = c; }
      if (low === null) { low = high = k; continue; }
      if (t.value[k] < t.value[low]) low = k;
      if (t.value[k] > t.value[high]) high = k;
    }
    flush();
    return d;
  };

  const ticks = (picture, g, panel) => {
    const { x } = picture, bottom = panel.top + panel.height;
    const most = Math.max(3, Math.floor(panel.width / 66));
    const step = STEPS.find((s) => (view.to - view.from) / s <= most) || STEPS[STEPS.length - 1];
    for (let k = Math.ceil(view.from / step - 1e-9); k * step <= view.to + 1e-9; k++) {
      const at = x(k * step);
      make(g, "path", { d: `M${at} ${bottom}v4`, stroke: "var(--muted)" });
      make(g, "text", { x: at, y: bottom + 14, "text-anchor": "middle", "font-size": "10px" },
        mmss(k * step, step < 1));
    }
    make(g, "text", {
      x: panel.left + panel.width / 2, y: bottom + 30, "text-anchor": "middle",
      "font-size": "11px",
    }, "time of the recording (mm:ss)");
  };

  const overlay = (picture) => {
    const { svg, layout, x } = picture;
    const g = make(svg, "g", { class: "overlay" });
    svg.insertBefore(g, picture.line);
    const id = "frame-" + picture.name, first = layout.panels[0];
    const clip = make(g, "clipPath", { id });
    make(clip, "rect", { x: first.left, y: 0, width: first.width, height: 2000 });
    const inner = make(g, "g", { "clip-path": `url(#${id})` });
    for (const [from, to, name, fill] of data.phases) {
      if (to < view.from || from > view.to) continue;
      const left = Math.max(x(from), first.left);
      const right = Math.min(x(to), first.left + first.width);
      make(inner, "rect", { x: left, y: layout.strip_top, width: right - left,
        height: layout.strip_height, fill: `var(--${fill})`, stroke: "var(--muted)" });
      if (right - left > 7 * name.length) {
        make(inner, "text", { x: (left + right) / 2, y: layout.strip_top + 11,
          "text-anchor": "middle", "font-size": "10px" }, name);
      }
    }
    const shown = data.events.filter((e) => e[1] >= view.from && e[0] <= view.to);
    const middle = layout.lane_top + layout.lane_height / 2;
    for (const [from, to, name, quiet] of shown) {
      const left = x(from), wide = Math.max(2, x(to) - left);
      if (!quiet) {
        for (const p of layout.panels) {
          make(inner, "rect", { x: left, y: p.top, width: wide, height: p.height,
            fill: "var(--mark)" });
        }
      }
      make(inner, "rect", { x: left, y: middle - (quiet ? 3 : 6), width: wide,
        height: quiet ? 6 : 12, fill: `var(--${quiet ? "muted" : "vermillion"})` });
      if (shown.length < 4) {
        make(inner, "text", { x: left + wide + 5, y: middle + 4, "font-size": "10px" }, name);
      }
    }
    for (const p of layout.panels) {
      for (const t of traces.filter((one) => one.quantity === p.quantity)) {
        make(inner, "path", { d: path(t, p, x), fill: "none", stroke: `var(--${t.colour})`,
          "stroke-width": 1.3, "stroke-dasharray": t.dash });
      }
    }
    ticks(picture, g, layout.panels[layout.panels.length - 1]);
    picture.overlay = g;
  };

  const isWhole = () => view.from <= data.start && view.to >= data.end;
  const draw = () => {
    for (const picture of pictures) {
      if (picture.overlay) picture.overlay.remove();
      picture.overlay = null;
      picture.svg.classList.toggle("zoomed", !isWhole());
      if (!isWhole()) overlay(picture);
    }
    whole.disabled = isWhole();
    point(cursor);
  };

  const values = (s) => rows.map((row, place) => {
    const text = (quantity) => {
      const t = traces.find((one) => one.place === place && one.quantity === quantity);
      if (!t) return "";
      const v = reading(t, s);
      return Number.isNaN(v) ? "-" : v.toFixed(t.digits) + " " + t.unit;
    };
    return [row.children[1].textContent, text("voltage"), text("current")];
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
    values(s).forEach(([, v, a], k) => {
      rows[k].children[2].textContent = v;
      rows[k].children[3].textContent = a;
    });
  };
  const say = () => {
    if (cursor === null) return;
    live.textContent = "At " + mmss(cursor, true) + ": " +
      values(cursor).map((v) => v.filter(Boolean).join(" ")).join(", ");
  };

  const look = (from, to) => {
    let length = Math.min(Math.max(to - from, SHORTEST), data.end - data.start);
    let start = (from + to - length) / 2;
    start = Math.min(Math.max(start, data.start), data.end - length);
    view = { from: start, to: start + length };
    draw();
  };
  const scale = (factor) => {
    const middle = cursor !== null && cursor >= view.from && cursor <= view.to
      ? cursor : (view.from + view.to) / 2;
    look(middle - (middle - view.from) * factor, middle + (view.to - middle) * factor);
  };
  const shift = (share) => {
    const by = share * (view.to - view.from);
    const kept = Math.min(Math.max(by, data.start - view.from), data.end - view.to);
    look(view.from + kept, view.to + kept);
  };
  const zoomTo = (from, to) => {
    const beside = Math.max(6, (to - from) * 0.8);
    look(from - beside, to + beside);
    point(from);
  };

  const button = (name, action) => {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = name;
    made.addEventListener("click", action);
    tools.append(made);
    return made;
  };
  const whole = button("Whole recording", () => look(data.start, data.end));
  button("Closer", () => scale(0.5));
  button("Wider", () => scale(2));
  button("Earlier", () => shift(-0.5));
  button("Later", () => shift(0.5));
  const now = document.createElement("output");
  now.textContent = "Point at the timeline, or tap it, to read it.";
  const live = document.createElement("p");
  live.className = "unseen live";
  live.setAttribute("aria-live", "polite");
  tools.append(now, live);
  tools.hidden = false;

  for (const picture of pictures) {
    const { svg, layout } = picture;
    const move = (event) => {
      const s = picture.time(event);
      if (s !== null) point(s);
    };
    svg.addEventListener("pointermove", move);
    svg.addEventListener("pointerdown", move);
    svg.addEventListener("click", (event) => {
      const box = svg.getBoundingClientRect();
      const unit = svg.viewBox.baseVal.width / box.width;
      const y = (event.clientY - box.top) * unit, atX = (event.clientX - box.left) * unit;
      if (y < layout.lane_top - 6 || y > layout.lane_top + layout.lane_height + 6) return;
      const far = (e) => Math.max(picture.x(e[0]) - atX, atX - picture.x(e[1]), 0) + (e[3] ? 3 : 0);
      const near = [...data.events].sort((a, b) => far(a) - far(b))[0];
      if (near && far(near) < 12) zoomTo(near[0], near[1]);
    });
  }
  plot.tabIndex = 0;
  plot.setAttribute("role", "group");
  plot.setAttribute("aria-label", "Timeline. Arrow keys read values, plus and minus change the " +
    "stretch shown, Escape shows the whole recording.");
  plot.addEventListener("keydown", (event) => {
    const step = Math.max(0.1, (view.to - view.from) / (event.shiftKey ? 20 : 200));
    const from = cursor === null ? view.from : cursor;
    const clamp = (s) => Math.min(view.to, Math.max(view.from, s));
    const actions = {
      ArrowLeft: () => point(clamp(from - step)), ArrowRight: () => point(clamp(from + step)),
      Home: () => point(view.from), End: () => point(view.to),
      "+": () => scale(0.5), "-": () => scale(2), Escape: () => look(data.start, data.end),
    };
    if (!(event.key in actions) || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    actions[event.key]();
    say();
  });
  for (const link of document.querySelectorAll("[data-from]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      zoomTo(Number(link.dataset.from), Number(link.dataset.to));
      root.scrollIntoView({ block: "start" });
      plot.focus({ preventScroll: true });
      say();
    });
  }
  window.addEventListener("beforeprint", () => look(data.start, data.end));
  draw();
})();
