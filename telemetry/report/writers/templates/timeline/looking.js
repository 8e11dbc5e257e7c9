// What is looked at: the stretch, the moment that is read, the places and the event stepped to.
const SHORTEST = 1;

class Looking {
  constructor(data, pictures, tools) {
    this.data = data;
    this.pictures = pictures;
    this.tools = tools;
    this.traces = unpacked(data);
    this.view = { from: data.start, to: data.end };
    this.cursor = null;
    this.stepped = null;
    this.off = new Set();
    this.fitted = true;
    // What is stepped through: sags that the load explains only where there is nothing else.
    const told = data.events.filter((e) => !e[3]);
    this.passedOver = told.length ? data.events.length - told.length : 0;
    this.steps = [...(told.length ? told : data.events),
      ...data.marks.map(([s, words]) => [s, s, "marked, " + words])].sort((a, b) => a[0] - b[0]);
  }

  get length() { return this.view.to - this.view.from; }
  get isWhole() { return this.view.from <= this.data.start && this.view.to >= this.data.end; }
  get span() { return `${mmss(this.view.from, true)} to ${mmss(this.view.to, true)}`; }
  has(s) { return s !== null && s >= this.view.from && s <= this.view.to; }

  draw() {
    const shown = this.traces.filter((t) => !this.off.has(t.place));
    for (const picture of this.pictures) {
      picture.draw(this.view, this.isWhole && this.off.size === 0, shown, this.fitted);
    }
    this.tools.extent(this.isWhole, this.isWhole ? "Whole recording." : `Shown: ${this.span}.`);
    this.point(this.cursor);
  }
  switched(place, on) {
    if (on) this.off.delete(place); else this.off.add(place);
    this.draw();
  }
  fit(on) {
    this.fitted = on;
    this.draw();
  }

  // Per place its voltage and current at a moment, as text.
  readings(s) {
    const text = (place, quantity) => {
      const t = this.traces.find((one) => one.place === place && one.quantity === quantity);
      if (!t) return "";
      const v = reading(t, s);
      return Number.isNaN(v) ? "-" : v.toFixed(t.digits) + " " + t.unit;
    };
    return this.tools.names.map((name, k) => [name, text(k, "voltage"), text(k, "current")]);
  }
  point(s) {
    this.cursor = s;
    for (const picture of this.pictures) picture.point(s);
    if (s !== null) this.tools.read("at " + mmss(s, true), this.readings(s));
  }
  // A page that can keep a mark has a field for its moment: what was chosen, not passed over.
  settle() {
    if (this.cursor !== null) this.tools.moment(mmss(this.cursor, true));
  }
  say() {
    this.settle();
    this.tools.say(!this.has(this.cursor) ? `Shown: ${this.span}`
      : "At " + mmss(this.cursor, true) + ": " + this.readings(this.cursor)
        .filter((_, place) => !this.off.has(place)).map((v) => v.filter(Boolean).join(" "))
        .join(", "));
  }

  look(from, to) {
    const { start, end } = this.data;
    const wide = Math.min(Math.max(to - from, SHORTEST), end - start);
    const left = between((from + to - wide) / 2, start, end - wide);
    this.view = { from: left, to: left + wide };
    this.draw();
  }
  showAll() { this.look(this.data.start, this.data.end); }
  zoom(factor, around = this.cursor) {
    const { from, to } = this.view;
    const middle = this.has(around) ? around : (from + to) / 2;
    this.look(middle - (middle - from) * factor, middle + (to - middle) * factor);
  }
  pan(seconds) {
    const by = between(seconds, this.data.start - this.view.from, this.data.end - this.view.to);
    this.look(this.view.from + by, this.view.to + by);
    return by;
  }
  panShare(share) {
    const by = this.pan(share * this.length);
    if (this.cursor !== null) this.point(this.cursor + by);
  }
  readShare(share) {
    const from = this.cursor === null ? this.view.from : this.cursor;
    const by = Math.sign(share) * Math.max(0.1, Math.abs(share) * this.length);
    this.point(between(from + by, this.view.from, this.view.to));
  }

  zoomTo(from, to) {
    const beside = Math.max(6, (to - from) * 0.8);
    this.look(from - beside, to + beside);
    this.point(from);
  }
  stepTo(k) {
    if (!this.steps.length) { this.tools.where("No events were found in this recording."); return; }
    this.stepped = between(k, 0, this.steps.length - 1);
    const [from, to, name] = this.steps[this.stepped];
    this.zoomTo(from, to);
    this.settle();
    const n = this.passedOver;
    this.tools.where(
      `Event ${this.stepped + 1} of ${this.steps.length}: ${name}, ${mmss(from, true)}` +
      (to > from ? ` to ${mmss(to, true)}.` : ".") +
      (n ? ` Passed over: ${n} ${n > 1 ? "sags" : "sag"} that the load explains.` : ""));
  }
  forward() { this.stepTo(this.stepped === null ? 0 : this.stepped + 1); }
  back() { this.stepTo(this.stepped === null ? this.steps.length - 1 : this.stepped - 1); }
  show(from, to) {
    const k = this.steps.findIndex((one) => one[0] === from && one[1] === to);
    if (k >= 0) this.stepTo(k); else this.zoomTo(from, to);
  }
}
