// The recording's readings: unpacked, read at a moment, and as a line of the picture.
const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer;

const unpacked = (data) => {
  const clocks = data.clocks.map((c) => {
    let now = c.start;
    return Float64Array.from(new Uint16Array(bytes(c.steps)), (ms) => (now += ms / 1000));
  });
  return data.traces.map((t) => ({
    ...t,
    time: clocks[t.clock],
    value: Float64Array.from(new Int16Array(bytes(t.values)), (n) =>
      n === -32768 ? NaN : t.base + n * t.step),
  }));
};

const mmss = (s, tenths) => {
  const all = Math.floor(s * 10 + 1e-6);
  const text = String(Math.floor(all / 600)).padStart(2, "0") + ":" +
    String(Math.floor(all / 10) % 60).padStart(2, "0");
  return tenths ? text + "." + (all % 10) : text;
};

const between = (value, low, high) => Math.min(Math.max(value, low), high);

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

// From the reading that still holds at the left edge to the first one beyond the right edge.
const inView = (t, view) => [Math.max(0, before(t.time, view.from)),
  Math.min(before(t.time, view.to) + 2, t.time.length)];

// Room above and below the readings as a share of their span, and the least span of an axis: the
// noise of a steady voltage must not fill the picture as a dip would.
const ROOM = { voltage: [0.08, 0.5], current: [0.06, 1] };

// The values that a panel shows, fitted to these traces; without any the panel's own.
const scaleOf = (panel, traces, view) => {
  let low = Infinity, high = -Infinity;
  for (const t of traces) {
    for (let [k, end] = inView(t, view); k < end; k++) {
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

// A trace as the "d" of an SVG path: every column of the picture, so many units wide, keeps its
// lowest and its highest reading, and no line runs over a gap.
const lineOf = (t, view, width, x, y) => {
  let [k, end] = inView(t, view);
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
    const c = Math.floor(x(t.time[k]) / width);
    if (c !== column) { flush(); column = c; }
    if (low === null) { low = high = k; continue; }
    if (t.value[k] < t.value[low]) low = k;
    if (t.value[k] > t.value[high]) high = k;
  }
  flush();
  return d;
};
