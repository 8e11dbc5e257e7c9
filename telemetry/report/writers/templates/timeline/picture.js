// One picture of the timeline, for wide or for narrow windows, and what is drawn over it anew.
const SVG = "http://www.w3.org/2000/svg";
const SMALL = { "font-size": "10px" };
const STEPS = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200];
const UNITS = { voltage: "V", current: "A" };

const make = (parent, name, attributes, text) => {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  parent.append(element);
  return element;
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

class Picture {
  constructor(root, data, name) {
    this.data = data;
    this.name = name;
    this.svg = root.querySelector("." + name + " svg");
    this.layout = data.layouts[name];
    this.panels = this.layout.panels;
    [this.first] = this.panels;
    this.last = this.panels[this.panels.length - 1];
    this.bottom = this.last.top + this.last.height;
    this.right = this.first.left + this.first.width;
    this.line = make(this.svg, "line", {
      class: "cursor", y1: this.first.top, y2: this.bottom, visibility: "hidden",
    });
    this.chosen = make(this.svg, "rect", {
      class: "chosen", y: this.first.top, height: this.bottom - this.first.top,
      visibility: "hidden",
    });
    this.overlay = null;
    this.view = { from: data.start, to: data.end };
  }

  get length() { return this.view.to - this.view.from; }
  get perUnit() { return this.length / this.first.width; }
  x(s) { return this.first.left + ((s - this.view.from) / this.length) * this.first.width; }
  at(event) {
    const box = this.svg.getBoundingClientRect();
    const unit = this.svg.viewBox.baseVal.width / box.width;
    return { x: (event.clientX - box.left) * unit, y: (event.clientY - box.top) * unit };
  }
  share(event) { return (this.at(event).x - this.first.left) / this.first.width; }
  nearest(event) { return this.view.from + between(this.share(event), 0, 1) * this.length; }
  time(event) {
    const share = this.share(event);
    return share < -0.02 || share > 1.02 ? null : this.nearest(event);
  }

  // The printed picture where all is shown as printed; else the traces drawn over it.
  draw(view, asPrinted, traces, fitted) {
    if (this.overlay) this.overlay.remove();
    this.overlay = null;
    this.view = view;
    this.svg.classList.toggle("zoomed", !asPrinted);
    // The other picture is for another width of window.
    if (!asPrinted && this.svg.getClientRects().length) this.drawOver(traces, fitted);
  }
  point(s) {
    const inside = s !== null && s >= this.view.from && s <= this.view.to;
    this.line.setAttribute("visibility", inside ? "visible" : "hidden");
    if (!inside) return;
    this.line.setAttribute("x1", this.x(s));
    this.line.setAttribute("x2", this.x(s));
  }
  choose(from, to) {
    this.chosen.setAttribute("visibility", from === null ? "hidden" : "visible");
    if (from === null) return;
    this.chosen.setAttribute("x", this.x(Math.min(from, to)));
    this.chosen.setAttribute("width", Math.abs(this.x(to) - this.x(from)));
  }

  drawOver(traces, fitted) {
    const g = this.overlay = make(this.svg, "g", { class: "overlay" });
    this.svg.insertBefore(g, this.line);
    const clip = (id, y, height) => make(make(g, "clipPath", { id }), "rect",
      { x: this.first.left, y, width: this.first.width, height });
    clip("frame-" + this.name, 0, 2000);
    for (const p of this.panels) clip(p.quantity + "-" + this.name, p.top, p.height);
    const hatch = make(g, "pattern", { id: "hatch-" + this.name, width: 6, height: 6,
      patternUnits: "userSpaceOnUse" });
    make(hatch, "rect", { width: 6, height: 6, fill: "var(--wash)" });
    make(hatch, "path", { d: "M0 0l6 6M6 0l-6 6", stroke: "var(--muted)", "stroke-width": 0.5 });
    const beneath = make(g, "g", {});
    const inner = make(g, "g", { "clip-path": `url(#frame-${this.name})` });
    this.strip(inner);
    this.lane(beneath, inner);
    for (const panel of this.panels) {
      const there = traces.filter((t) => t.quantity === panel.quantity);
      this.panel(beneath, inner, panel, there, scaleOf(panel, fitted ? there : [], this.view));
    }
    this.marks(inner);
    this.timeAxis(g);
  }
  crosses(from, to) { return to >= this.view.from && from <= this.view.to; }

  strip(g) {
    for (const [from, to, name, fill] of this.data.phases) {
      if (!this.crosses(from, to)) continue;
      const left = Math.max(this.x(from), this.first.left);
      const right = Math.min(this.x(to), this.right);
      make(g, "rect", { x: left, y: this.layout.strip_top, width: right - left,
        height: this.layout.strip_height, fill: `var(--${fill})`, stroke: "var(--muted)" });
      if (right - left > 7 * name.length) {
        make(g, "text", { x: (left + right) / 2, y: this.layout.strip_top + 11,
          "text-anchor": "middle", ...SMALL }, name);
      }
    }
  }
  lane(g, inner) {
    const middle = this.layout.lane_top + this.layout.lane_height / 2;
    make(g, "text", { x: this.first.left - 8, y: middle + 4, "text-anchor": "end",
      "font-size": "11px" }, "events");
    make(g, "path", { d: `M${this.first.left} ${middle}h${this.first.width}`,
      stroke: "var(--guide)" });
    const there = this.data.events.filter((e) => this.crosses(e[0], e[1]));
    let free = 0;
    for (const [from, to, name, quiet] of there) {
      const left = this.x(from), wide = Math.max(2, this.x(to) - left);
      for (const p of quiet ? [] : this.panels) {
        make(inner, "rect", { x: left, y: p.top, width: wide, height: p.height,
          fill: "var(--mark)" });
      }
      make(inner, "rect", { x: left, y: middle - (quiet ? 3 : 6), width: wide,
        height: quiet ? 6 : 12, fill: `var(--${quiet ? "muted" : "vermillion"})` });
      // Few have their names beside them; of those at one moment the first.
      const right = left + wide + 5 + 6 * name.length;
      if (there.length > 3 || left < free) continue;
      const beyond = right > this.right;
      make(inner, "text", { x: beyond ? left - 5 : left + wide + 5, y: middle + 4,
        "text-anchor": beyond ? "end" : "start", ...SMALL }, name);
      free = right;
    }
  }
  panel(g, inner, panel, traces, scale) {
    const x = (s) => this.x(s);
    const y = (v) => panel.top + ((scale.high - v) / (scale.high - scale.low)) * panel.height;
    const part = make(g, "g", { class: "axis", "data-quantity": panel.quantity,
      "data-low": scale.low, "data-high": scale.high });
    valueAxis(part, panel, scale, y);
    for (const [from, to] of this.data.gaps) {
      if (!this.crosses(from, to)) continue;
      make(inner, "rect", { class: "gap", x: x(from), y: panel.top, width: x(to) - x(from),
        height: panel.height, fill: `url(#hatch-${this.name})` });
    }
    for (const t of traces) {
      make(inner, "path", { class: "line", "data-place": t.place, fill: "none",
        d: lineOf(t, this.view, panel.width > 600 ? 1 : 1.5, x, y),
        stroke: `var(--${t.colour})`, "stroke-width": 1.3, "stroke-dasharray": t.dash,
        "clip-path": `url(#${panel.quantity}-${this.name})` });
    }
    for (const [level, words] of panel.quantity === "voltage" ? this.data.levels : []) {
      if (level < scale.low || level > scale.high) continue;
      make(part, "path", { d: `M${panel.left} ${y(level)}h${panel.width}`, stroke: "var(--muted)",
        "stroke-dasharray": "2 2" });
      make(part, "text", { x: panel.left + panel.width - 5, y: y(level) - 2, "text-anchor": "end",
        ...SMALL }, words);
    }
  }
  marks(g) {
    this.data.marks.forEach(([s, words], k) => {
      if (!this.crosses(s, s)) return;
      make(g, "path", { class: "marked", d: `M${this.x(s)} ${this.first.top}V${this.bottom}`,
        stroke: "var(--ink)", "stroke-dasharray": "4 2" });
      const left = this.x(s) < this.first.left + this.first.width / 2;
      make(g, "text", { x: this.x(s) + (left ? 4 : -4), y: this.first.top + 10,
        "text-anchor": left ? "start" : "end", ...SMALL },
        `M${k + 1} ${words.length > 40 ? words.slice(0, 39) + "\u2026" : words}`);
    });
  }
  timeAxis(g) {
    const most = Math.max(3, Math.floor(this.last.width / 66));
    const step = STEPS.find((s) => this.length / s <= most) || STEPS[STEPS.length - 1];
    for (let k = Math.ceil(this.view.from / step - 1e-9); k * step <= this.view.to + 1e-9; k++) {
      const at = this.x(k * step);
      make(g, "path", { d: `M${at} ${this.bottom}v4`, stroke: "var(--muted)" });
      make(g, "text", { x: at, y: this.bottom + 14, "text-anchor": "middle", ...SMALL },
        mmss(k * step, step < 1));
    }
    make(g, "text", { x: this.last.left + this.last.width / 2, y: this.bottom + 30,
      "text-anchor": "middle", "font-size": "11px" }, "time of the recording (mm:ss)");
  }
}
